"""What every question answers on the demo's season, number by number.

The models are checked against the outside and on simulated runners elsewhere; this holds what they come to when they
are put together, so that no formula changes unseen. What is asked without a date is of the newest run, for
the season is an archive. When an answer is meant to change, run
``python -m tests.demo.test_answers`` and read the difference.
"""

import datetime as dt
import json
import shutil
import sys
import tempfile
from pathlib import Path

import pytest

from footwork.api import Library
from footwork.quantities import plain
from footwork.questions import race, sessions, squad, trials
from footwork.questions.race import Change
from footwork.questions.runs import titles
from tests.held import differences, thinned, write

GOLDEN = Path(__file__).with_name("answers.json")
FOUR = "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"
HILLY = {"course": "recordings/cliff-half-marathon.gpx", "laps": 1}


def _plan(library, **question):
    plan = library.race(**question)
    return {**plan.to_json(), "solver": None}


def _changed(library, **change):
    plan = library.race(distance="half")
    return [race.even_power(plan, Change(**change)), race.optimum(plan, Change(**change))["time_s"]]


DAYS = [dt.date(2026, 6, 1), dt.date(2026, 8, 24), dt.date(2026, 8, 30)]
METAR = "EXMP 040650Z 24012KT 9999 18/12 Q1012"
AFTERNOON = "2026-10-04T14:00+02:00"
AWAY, DAYS_FREE = "2026-08-01..2026-08-05", "mon,wed,fri,sun"
REPORTS = (("week", "2026-08-30"), ("block", "2026-07-31"), ("season", "2026-06-30"))
FOUND = (
    {"distance": (10e3, 15e3)}, {"since": "2026-06-01", "until": "2026-06-30"}, {"mark": "race"}, {"text": "new"},
    {"power": (250.0, None), "temperature": (None, 18.0)}, {"wind": (3.0, None)},
)  # fmt: skip


def _line(library, day):
    return {k: v for k, v in squad.line_of(library, "one", day).to_json().items() if k not in ("made_at", "folder")}


def _due(found):
    kept = {k: found[k] for k in ("headline", "reason", "days_since", "usual_week", "next", "critical_power", "due")}
    return {**kept, "loads": [w["load"] for w in found["weeks"]], "title": found["newest"]["title"]}


QUESTIONS = {
    "capacity": lambda x: x.history(),
    "capacity early": lambda x: x.history("2026-04-20"),
    "capacity of efforts": lambda x: x.capacity(("3:00=361", "7:00=298", "12:00=278@2026-08-01", "all-out=305")),
    "capacity of races": lambda x: x.capacity(("5km=20:30", "10km=42:50"), mass=68.0),
    "capacity converted": lambda x: x.capacity(scale="device A with converted watts"),
    "usual": lambda x: x.usual(),
    "usual early": lambda x: x.usual("2026-06-01"),
    "devices": lambda x: x.devices(),
    "two devices": lambda x: [x.compare(n) for n in (20, 14)],
    "converted means": lambda x: [x.mean_on(n, "device A") for n in (17, 42, 49, 139)],
    "power at speed": lambda x: [x.power_at_speed(), x.power_at_speed("2026-06-01", "device A")],
    "progress": lambda x: x.progress(),
    "progress early": lambda x: x.progress(until="2026-06-15", power=220.0),
    "along runs": lambda x: [x.within(n) for n in (30, 63, 120)],
    "periods": lambda x: [
        x.compare_runs("2026-03-02..2026-03-29", "2026-08-03..2026-08-30"),
        x.compare_runs("24", "139"),
        x.compare_runs("2026-04-01..2026-04-30", "2026-05-01..2026-05-31", worthwhile=1.0),
    ],
    "cadence": lambda x: trials.cadence_history(x),
    "trials": lambda x: [x.analyse_trial(250), x.analyse_trial(255), x.trials()],
    "designs": lambda x: [
        x.design_trial("new shoe", speed=3.03, seed=5),
        x.design_trial("shorter steps", cadences=(0, 5, -5), repeats=2, block_s=300.0, seed=6),
    ],
    "ten kilometres": lambda x: _plan(x, distance="10km"),
    "a goal": lambda x: [_plan(x, distance="half", time=t) for t in ("1:35:00", "1:20:00")],
    "an hour": lambda x: _plan(x, time="1:00:00"),
    "hills": lambda x: _plan(x, **HILLY, wind="5@240", temperature=18, humidity=60, risk=0.2, draft=0.3),
    "own watts": lambda x: _plan(x, distance="half", own=("5km=250", "21.1km=265"), negative_split=0.02),
    "marks": lambda x: _plan(x, **HILLY, marks=("12.5km: drinks, 20 s", "3km-5km: sand, +15 %"), strategy="even-pace"),
    "a companion": lambda x: _plan(x, distance="half", companion="5:00/km"),
    "after a ride": lambda x: _plan(x, distance="10km", after_ride="1:10:00", altitude=1500),
    "changes": lambda x: [
        _changed(x, **change) for change in ({"critical_power": 1.03}, {"warmer": 8.0}, {"mass": -2.0}, {"power": 0.98})
    ],
    "review": lambda x: x.review(115),
    "predictions": lambda x: x.predictions(),
    "efforts": lambda x: [x.efforts(n) for n in (17, 42, 98, 112, 139)],
    "efforts by others": lambda x: [x.efforts(139, "heart_rate"), x.efforts(98, "speed")],
    "balance": lambda x: [x.balance(n) for n in (42, 139)],
    "recognised": lambda x: [x.recognised(r.id) for r in x.runs()[::15]],
    "previews": lambda x: [
        x.session(FOUR),
        x.session("20 min easy, 10 x 400 m at 3:30/km (1 min rest), 10 min at exertion 3"),
        x.session("10 min easy, 3 x 8 min at threshold, 2 min walk, 20 min at 150 bpm, 3 min at 20 % of W′"),
    ],
    "solved": lambda x: [
        x.solve_session("5 x (4 min at ?, 2 min easy jog)", 0.2),
        x.solve_session("5 x (4 min at 105 % CP, ? min easy jog)", 0.3),
        x.solve_session("? x (3 min at 112 % CP, 45 s easy jog)", 0.1),
    ],
    "matches": lambda x: [
        x.match_session(139, FOUR),
        x.match_session(98, "15 min easy, 6 x (800 m hard, 2 min jog), 10 min easy"),
    ],
    "sessions apart": lambda x: x.compare_sessions(24, 139),
    "sessions kept": lambda x: x.sessions(),
    "load": lambda x: [x.load(), x.load("2026-05-01", "2026-05-31"), *(x.run_load(n) for n in (17, 63, 139))],
    "weeks": lambda x: x.totals("week"),
    "runs": lambda x: [x.run(n).to_json() for n in (17, 42, 63, 115)],
    "season planned": lambda x: [
        x.season("2026-08-30"),
        *(x.week(d) for d in ("2026-08-09", "2026-08-24", "2026-08-30")),
        x.season_changes("2026-08-30"),
        x.signs("2026-08-30"),
    ],
    "due": lambda x: [_due(x.today(d)) for d in ("2026-08-24", "2026-08-30", "2026-07-05", "2026-05-10")],
    "months": lambda x: [x.totals("month"), x.load_by("week", "2026-05-01"), x.load_by("month")],
    "found": lambda x: [[r.id for r in x.find(**w)] for w in FOUND],
    "runs against usual": lambda x: [x.run_against_usual(r.id) for r in x.runs()[::6]],
    "further runs": lambda x: [[x.run(n), x.within(n), x.efforts_otherwise(n)] for n in (24, 63, 98, 120, 139)],
    "titles": lambda x: list(titles.run_titles(x, x.runs()).values()),
    "best watts": lambda x: [x.best_curve(), x.best_curve("2026-05-01", "2026-06-15", "device A")],
    "reports": lambda x: [x.report(k, d) for k, d in REPORTS],
    "response": lambda x: [x.response("2026-08-30"), *(x.worth_of_weather(d) for d in ("2026-08-30", "2026-06-15"))],
    "signs by day": lambda x: [x.signs(d) for d in ("2026-04-01", "2026-06-15", "2026-08-20", "2026-08-26")],
    "weeks asked and run": lambda x: [x.week(d) for d in ("2026-03-08", "2026-05-17", "2026-07-05", "2026-08-16")],
    "further races": lambda x: [
        _plan(x, distance="marathon", date="2026-07-01", temperature=24, strategy="even-power"),
        _plan(x, distance="5km", risk=0.5, start="2026-10-04T09:00+02:00", metar=(METAR,)),
        _plan(x, course=HILLY["course"], start=AFTERNOON, smoothing=30, companion="5:30/km"),
        _plan(x, course="115", heights="115", flat=False, wind="4@90"),
        _plan(x, distance="10km", after_ride="5:00:00 takes 9 %", transitions=("1:30", "2:00")),
    ],
    "further reviews": lambda x: [x.review(115, distance="5km"), x.review(115, temperature=22, risk=0.4)],
    "further matches": lambda x: [
        x.match_session(n, t)
        for n, t in (
            (24, "20 min easy, 3 x (8 min at 95 % CP, 3 min jog), 10 min easy"),
            (112, "15 min at 130 bpm, 20 min at 4:30/km, 10 min easy"),
            (42, "10 min easy, 3 min all-out, 20 min easy, 12 min all-out, 10 min easy"),
        )
    ],
    "a squad's line": lambda x: [[_line(x, d), squad.population_row(x, "one", d)] for d in DAYS],
    "side by side": lambda x: squad.side_by_side([squad.figures_of(x, str(d.month), d) for d in DAYS]),
    "prescribed": lambda x: [squad.prescribed(x, "one", t, DAYS[2], DAYS[1]) for t in (FOUR, "4 h easy")],
    "further designs": lambda x: [
        x.design_trial("forward lean", others=("arms low",), runs=4, block_s=420.0, warm_s=900.0, seed=3),
        x.design_trial("longer steps", outcome="exertion", effect=20.0, power=0.9, speed=3.2, seed=8),
    ],
    "workouts": lambda x: [
        sessions.from_workout(sessions.workout_of(x, text, name))
        for text in (FOUR, "8 x 400 m at 3:40/km (90 s rest), 20 min at 150 bpm")
        for name in ("", "four minutes")
    ],
    "periods at power": lambda x: [
        x.compare_runs("2026-03-02..2026-04-12", "2026-04-13..2026-05-24", date="2026-07-01"),
        x.compare_runs("2026-06-01..2026-06-30", "2026-07-01..2026-07-31"),
        x.progress(until="2026-08-30", power=240.0),
    ],
}  # fmt: skip

# What changes the library is asked of a copy.
CHANGING = {
    "seasons": lambda x: [
        x.new_season("2026-08-31", race="2026-12-13", hours=6, days="tue,thu,sat,sun", keep="wed ride 2 h"),
        x.new_season("2026-07-06", race="2026-10-04", distance="10km", also="2026-09-06 5km", away=AWAY),
        x.new_season("2026-05-04", race="2027-03-14", distance="marathon", hours=7, days=DAYS_FREE, easier=3),
    ],
    "a season accepted": lambda x: [
        x.new_season("2026-07-06", race="2026-09-20", distance="half"),
        x.accept_season("2026-07-06").to_json(),
        x.week("2026-07-12"),
        x.today("2026-07-22")["next"],
    ],
    "told": lambda x: [
        x.tell(date="2026-08-25", illness="cold"),
        x.tell(date="2026-08-26", sleep=5.0, soreness=6),
        x.signs("2026-08-27"),
        _due(x.today("2026-08-27")),
        x.week("2026-08-27"),
        x.health("2026-08-27") is None,
    ],
    "marked": lambda x: [x.mark(139, "race"), x.accept(255, "2026-08-01"), x.history(), x.load("2026-08-01")],
}  # fmt: skip


def _held(name, mine):
    found = differences(thinned(plain(mine)), json.loads(GOLDEN.read_text(encoding="utf-8"))[name])
    assert not found, "\n".join(found[:10])


@pytest.mark.parametrize("name", QUESTIONS)
def test_the_answer_is_what_it_was(demo_library, demo_folder, monkeypatch, name):
    monkeypatch.chdir(demo_folder)
    _held(name, QUESTIONS[name](demo_library))


@pytest.mark.parametrize("name", CHANGING)
def test_the_answer_after_a_change_is_what_it_was(demo_library, demo_folder, tmp_path, name):
    _held(name, _of_a_copy(demo_folder, tmp_path, CHANGING[name]))


def _of_a_copy(folder, beside, ask):
    shutil.copytree(folder / "library", beside / "copy")
    with Library.open(beside / "copy") as library:
        return ask(library)


def renew(folder: Path) -> None:
    """Write the answers as they are now."""
    import os

    os.chdir(folder)
    with Library.open(folder / "library") as library:
        made = {name: thinned(plain(ask(library))) for name, ask in QUESTIONS.items()}
    for name, ask in CHANGING.items():
        with tempfile.TemporaryDirectory() as beside:
            made[name] = thinned(plain(_of_a_copy(folder, Path(beside), ask)))
    write(GOLDEN, made)


if __name__ == "__main__":
    from footwork.demo import make

    with tempfile.TemporaryDirectory() as scratch:
        there = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(scratch) / "demo"
        if len(sys.argv) < 2:
            make(there)
        renew(there)
