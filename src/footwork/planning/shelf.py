"""A shelf of classic sessions by purpose, and the usual tests with what each can and cannot tell."""

from __future__ import annotations

from dataclasses import dataclass

from footwork.wording.cautions import before_hard_work


@dataclass(frozen=True)
class Entry:
    """One session of the shelf: its name, what it is for, its wording; for a test also how to run it and what it
    tells."""

    name: str
    purpose: str
    text: str
    protocol: str = ""
    tells: str = ""
    caution: str = ""


SHELF = (
    Entry("easy run", "easy: most running is this; talking is possible throughout", "45 min easy"),
    Entry("long run", "long: endurance, without hurry", "100 min easy"),
    Entry(
        "long run with a steady end",
        "long: the last third as in a marathon",
        "70 min easy, 25 min at 85 to 90 % CP, 5 min easy",
    ),
    Entry(
        "steady run",
        "steady: under the first border, longer than comfortable",
        "15 min easy, 35 min steady, 10 min easy",
    ),
    Entry(
        "threshold repeats",
        "threshold: close to CP and never above it",
        "15 min easy, 4 x (8 min threshold, 2 min easy jog), 10 min easy",
    ),
    Entry("threshold run", "threshold: in one piece", "15 min easy, 25 min at 93 to 97 % CP, 10 min easy"),
    Entry(
        "four minutes",
        "severe-domain intervals: oxygen uptake near its highest for long",
        "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy",
    ),
    Entry(
        "three minutes",
        "severe-domain intervals: a little harder, a little shorter",
        "15 min easy, 6 x (3 min at 108 % CP, 2 min easy jog), 10 min easy",
    ),
    Entry(
        "thirty thirty",
        "severe-domain intervals: short ones, W′ down by steps",
        "15 min easy, 2 x (10 x (30 s at 118 % CP, 30 s jog), 4 min easy), 10 min easy",
    ),
    Entry(
        "hills",
        "hills: strength, on a climb of 5 to 8 %",
        "15 min easy, 8 x (75 s at 115 % CP, 2 min easy jog), 10 min easy",
    ),
    Entry(
        "strides", "strides: quick and loose, full rests", "40 min easy, 6 x (20 s strides, 70 s easy jog), 5 min easy"
    ),
    Entry(
        "race rehearsal",
        "race rehearsal: the race's watts, tired legs, the race's breakfast",
        "20 min easy, 3 x (3 km at 98 % CP, 3 min easy jog), 10 min easy",
    ),
    Entry(
        "off the bicycle",
        "brick: straight after a ride; mark the run as brick",
        "10 min at 85 % CP, 15 min steady, 5 min easy",
    ),
    Entry(
        "test: 12 and 3 minutes",
        "test of CP and W′",
        "15 min easy, 3 x (20 s strides, 1 min easy jog), 5 min easy, 12 min all out, 30 min easy jog, 3 min "
        "all out, 10 min easy",
        "All you can, evenly, rested, with half an hour between; seven minutes on another day make it surer. "
        "Flat, little wind, the same device. Mark the run as test.",
        "CP and W′ with the narrowest intervals. It does not tell what you can hold for hours: only races "
        "and long runs tell the tail.",
        before_hard_work("test"),
    ),
    Entry(
        "test: 7 minutes",
        "the third point of a test of CP and W′",
        "15 min easy, 3 x (20 s strides, 1 min easy jog), 5 min easy, 7 min all out, 10 min easy",
        "All you can, evenly, some days before or after the test of 12 and 3 minutes. Mark the run as test.",
        "With 12 and 3 minutes a narrower CP; alone little.",
        before_hard_work("test"),
    ),
    Entry(
        "test: 3 minutes all-out",
        "test of CP in one go",
        "20 min easy, 3 x (20 s strides, 1 min easy jog), 6 min easy, 3 min all out, 10 min easy",
        "As hard as possible from the first second and never paced; the last thirty seconds are near CP.",
        "CP and W′ from one effort, if it was all-out from the start; in runners it reads CP high (305 "
        "against 290 W in 23 runners, Hunter 2023).",
        before_hard_work("test"),
    ),
    Entry(
        "test: 20 minutes steady",
        "test of what half an hour can be held at",
        "15 min easy, 3 x (20 s strides, 1 min easy jog), 5 min easy, 20 min all out, 10 min easy",
        "Twenty minutes as hard as can be held evenly to the end; the second half not slower than the first.",
        "One point of the curve: CP only together with a shorter effort; nothing about W′ alone.",
        before_hard_work("test"),
    ),
    Entry(
        "test: 30 minutes steady",
        "test near CP for runners who know long efforts",
        "15 min easy, 3 x (20 s strides, 1 min easy jog), 5 min easy, 30 min all out, 10 min easy",
        "Half an hour as hard as can be held evenly, best in a race.",
        "A point close to CP and the beginning of the tail; nothing about W′.",
        before_hard_work("test"),
    ),
)


def find(name: str) -> Entry | None:
    """The entry of a name, whatever its case."""
    return next((e for e in SHELF if e.name == name.strip().lower()), None)
