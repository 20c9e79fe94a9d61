"""What every question answers on the demo's season, number by number.

The models are checked against the outside and on simulated runners elsewhere; this holds what they come to when they
are put together, so that no formula changes unseen. When an answer is meant to change, run
``python -m tests.demo.test_answers`` and read the difference.
"""

import json
import sys
from pathlib import Path

import pytest

from footwork.quantities import plain
from footwork.questions import race, trials
from footwork.questions.race import Change
from tests.held import differences, thinned

GOLDEN = Path(__file__).with_name("answers.json")
FOUR = "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"
HILLY = {"course": "recordings/cliff-half-marathon.gpx", "laps": 1}


def _plan(library, **question):
    plan = library.race(**question)
    return {**plan.to_json(), "solver": None}


def _changed(library, **change):
    plan = library.race(distance="half")
    return [race.even_power(plan, Change(**change)), race.optimum(plan, Change(**change))["time_s"]]


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
    "due": lambda x: [_due(x.today(d)) for d in ("2026-08-24", "2026-08-30", "2026-07-05")],
}  # fmt: skip


@pytest.mark.parametrize("name", QUESTIONS)
def test_the_answer_is_what_it_was(demo_library, demo_folder, monkeypatch, name):
    monkeypatch.chdir(demo_folder)
    mine = thinned(plain(QUESTIONS[name](demo_library)))
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))[name]
    found = differences(mine, golden)
    assert not found, "\n".join(found[:10])


def renew(folder: Path) -> None:
    """Write the answers as they are now."""
    import os

    from footwork.api import Library

    os.chdir(folder)
    with Library.open(folder / "library") as library:
        made = {name: thinned(plain(ask(library))) for name, ask in QUESTIONS.items()}
    GOLDEN.write_text(json.dumps(made, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    import tempfile

    from footwork.demo import make

    with tempfile.TemporaryDirectory() as scratch:
        there = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(scratch) / "demo"
        if len(sys.argv) < 2:
            make(there)
        renew(there)
