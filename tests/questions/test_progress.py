"""Progress, comparisons and trials as the library, the commands and files tell them."""

import datetime as dt
import shutil
from dataclasses import replace

import numpy as np
import pytest

from footwork.api import Library
from footwork.demo import season
from footwork.errors import NotEnoughData, UsageError
from footwork.questions import trials
from tests.conftest import RUNNER, fit_of, simulate
from tests.program import footwork, of_json, ok

ORDERS = [[0, 1, 1, 0], [1, 0, 0, 1], [0, 1, 1, 0]]


@pytest.fixture
def library(season_library, tmp_path):
    shutil.copytree(season_library.folder, tmp_path / "season")
    with Library.open(tmp_path / "season") as made:
        yield made


def test_progress_holds_what_is_documented(library):
    found = library.progress()
    assert found["series"][0]["date"] < found["series"][-1]["date"]
    for row in found["series"]:
        for name in ("heart_rate", "power"):
            assert row[name]["low"] < row[name]["value"] < row[name]["high"]
    # The season changes from March to April and no weather was told: the climate stands in, and widens the answer.
    assert found["verdict"] == "cannot tell yet" and found["change"]["low"] < 0 < found["change"]["high"]
    assert found["smallest_worthwhile_change_percent"] == 0.5
    assert "describes the device" in found["speed"]["sentence"]
    assert any("the climate stands in" in w for w in found["warnings"])  # no weather was told
    with pytest.raises(UsageError, match="smallest worthwhile"):
        library.progress(worthwhile=0.0)
    with pytest.raises(UsageError, match="ends after"):
        library.progress(dt.date(2026, 4, 1), dt.date(2026, 3, 1))
    with pytest.raises(NotEnoughData, match="progress needs"):
        library.progress(dt.date(2026, 4, 10))
    earlier = library.progress(date=dt.date(2026, 4, 12))
    assert earlier["until"] <= "2026-04-12" and earlier["runs"] < found["runs"]


def test_it_says_how_much_of_heart_rate_was_sound(library):
    rows = library.runs()
    before = library.progress()
    assert before["heart_rate_sound"] == pytest.approx(1.0, abs=0.02)
    assert not any("Heart rate was sound" in w for w in before["warnings"])
    doubted = rows[1::2][:8]  # all through the season
    for row in doubted:
        library.judge_heart_rate(row.id, "doubtful")
    found = library.progress()
    left = 1.0 - sum(r.duration_s for r in doubted) / sum(r.duration_s for r in rows)
    assert left < 0.7 and found["heart_rate_sound"] == pytest.approx(left, abs=0.05)
    share = f"sound in {100 * found['heart_rate_sound']:.0f} % of"
    assert any(f"Heart rate was {share} the time that it was recorded" in w for w in found["warnings"])
    width, narrow = (a["change_heart_rate"]["high"] - a["change_heart_rate"]["low"] for a in (found, before))
    assert width > narrow
    said = " ".join(ok("progress", library=library.folder).stdout.split())
    assert f"heart rate {share} its time" in said


def test_runs_without_heart_rate_say_nothing_of_how_sound_it_was(library, tmp_path):
    before = library.progress()["heart_rate_sound"]
    for k in range(6):
        run = simulate(dt.date(2026, 3, 3) + dt.timedelta(days=7 * k), [(1800, 0.72)], seed=500 + k)
        del run.columns["heart_rate"]
        (tmp_path / f"none-{k}.fit").write_bytes(fit_of(run))
    assert len(library.add([tmp_path / f"none-{k}.fit" for k in range(6)])["added"]) == 6
    assert library.progress()["heart_rate_sound"] == pytest.approx(before)


def test_two_blocks_and_two_runs(library):
    dark = library.compare_runs("2026-03-02..2026-03-21", "2026-03-30..2026-04-19")
    # The season can be the cause: the temperature of neither side is known.
    assert dark["verdict"] == "cannot tell yet" and "temperature: not known" in dark["sentence"]
    for row in library.runs():
        library.set_weather(row.id, temperature_c=11.0 + row.id % 3)
    found = library.compare_runs("2026-03-02..2026-03-21", "2026-03-30..2026-04-19")
    judged = {o["name"]: o for o in found["outcomes"]}
    gain = judged["power_at_heart_rate"]
    assert gain["difference"]["low"] < gain["difference"]["value"] < gain["difference"]["high"]
    assert 0 <= gain["probability_worthwhile"] <= 1 and gain["smallest_worthwhile_change"] == 0.5
    assert judged["speed_at_power"]["probability_worthwhile"] is None
    assert any("temperature: not known" in d for d in dark["differences_in_conditions"])
    back = library.compare_runs("2026-03-30..2026-04-19", "2026-03-02..2026-03-21")
    other = next(o for o in back["outcomes"] if o["name"] == "heart_rate_at_power")
    assert other["difference"]["value"] == pytest.approx(-judged["heart_rate_at_power"]["difference"]["value"], abs=0.1)
    runs = [r.id for r in library.runs() if r.local.weekday() == 0]
    single = library.compare_runs(str(runs[0]), str(runs[-1]))
    assert "Two single runs" in single["sentence"] or single["verdict"] != "cannot tell yet"
    wide, narrow = (
        next(o["difference"] for o in f["outcomes"] if o["name"] == "heart_rate_at_power") for f in (single, found)
    )
    assert wide["high"] - wide["low"] > narrow["high"] - narrow["low"]
    for a, b, words in (
        ("x", "1", "neither"),
        (str(runs[0]), str(runs[0]), "share runs"),
        ("2026-04-02..2026-03-01", "1", "ends before"),
        ("9999", "1", "no run"),
    ):
        with pytest.raises(UsageError, match=words):
            library.compare_runs(a, b)
    with pytest.raises(NotEnoughData, match="no outdoor run"):
        library.compare_runs("2020-01-01..2020-02-01", str(runs[0]))


def test_drift_along_a_run(library):
    run = next(r.id for r in library.runs() if r.local.weekday() == 0)
    found = library.within(run)
    # Twenty-five easy minutes hold no drift that could be told; the runner's usual one stands beside it.
    assert found["drift"]["n"] == 25 and found["drift"]["low"] < -10 < 10 < found["drift"]["high"]
    assert "So wide an interval tells nothing" in found["sentence"]
    assert found["usual"]["low"] < 2.5 < found["usual"]["high"]


def _run(library, tmp_path, day, order, factor, name, laps=True, pauses=()):
    """A run of a trial: ten minutes, four blocks of five with two easy between; the second condition costs the heart
    more or less."""
    pieces, costs = [(600, 0.66)], [1.0]
    for i, c in enumerate(order):
        pieces.append((300, 0.76))
        costs.append(factor if c else 1.0)
        if i < 3:
            pieces.append((120, 0.6))
            costs.append(1.0)
    rng = np.random.default_rng(day)
    at = dt.datetime(2026, 5, day, 8, tzinfo=dt.UTC)
    planned = season.Planned(at, "trial", pieces, 0.05, cost=tuple(costs), pauses=list(pauses))
    samples = season.run(planned, RUNNER, rng)
    if not laps:
        samples.laps.clear()
    path = tmp_path / f"{name}.fit"
    path.write_bytes(fit_of(samples))
    library.add([path])
    return next(r.id for r in library.runs() if r.local.date() == dt.date(2026, 5, day))


@pytest.mark.parametrize(
    ("factor", "word", "laps"), [(0.955, "improved", True), (1.0, "no worthwhile change", False), (1.05, "worse", True)]
)
def test_a_trial_tells_what_is_true(library, tmp_path, factor, word, laps):
    designed = library.design_trial("blue pair", "grey pair", block_s=300, runs=3, seed=1, speed=3.1)
    designed = replace(designed, orders=ORDERS)
    number = library.new_trial(designed, dt.date(2026, 5, 1))
    with pytest.raises(NotEnoughData, match="no run has been joined"):
        library.analyse_trial(number)
    for k, order in enumerate(ORDERS):
        run = _run(library, tmp_path, 4 + 3 * k, order, factor, f"t{k}", laps)
        library.join_trial(number, run)
    found = library.analyse_trial(number)
    (effect,) = found["primary"]["effects"]
    assert len(found["blocks"]) == 12 and found["looks"] == 3 and found["verdict"] == word
    assert effect["condition"] == "blue pair" and effect["difference"]["low"] < effect["difference"]["high"]
    truth = (RUNNER.max_rate - RUNNER.rest_rate) * 0.78 * 0.76 * (factor - 1)
    assert abs(effect["difference"]["value"] - truth) < 1.0
    assert any("Watts are secondary" in w for w in found["warnings"]) and "look" in found["corrected"]


def test_one_run_gives_no_verdict_and_one_condition_is_declined(library, tmp_path):
    number = library.new_trial(
        {**library.design_trial("arms low", block_s=300, runs=2, seed=1), "orders": [[0, 0, 0, 0], [0, 1, 1, 0]]}
    )
    run = _run(library, tmp_path, 5, [0, 0, 0, 0], 1.0, "one")
    library.join_trial(number, run, 1)
    with pytest.raises(NotEnoughData, match="only one condition"):
        library.analyse_trial(number)
    library.join_trial(number, run, 2)  # said otherwise: the later word counts
    with pytest.raises(UsageError, match="ends before its"):
        library.join_trial(number, run, 2, begin_s=2000)
    with pytest.raises(UsageError, match="does not look like"):
        library.join_trial(number, session_run(library), 1)
    found = library.analyse_trial(number)
    assert found["verdict"] == "cannot tell yet" and any("One run" in w for w in found["warnings"])
    assert trials.kept_trial(library, number)["joined"][0]["order"] == 1
    other = library.new_trial(library.design_trial("hands low", block_s=300, runs=2, seed=1))
    with pytest.raises(UsageError, match="run for trial"):
        library.join_trial(other, run)
    with pytest.raises(UsageError, match="was run in run"):
        library.join_trial(number, _run(library, tmp_path, 8, [0, 1, 1, 0], 1.0, "two"), 2)


def session_run(library):
    return next(r.id for r in library.runs() if r.local.weekday() == 4)


def test_a_stopped_watch_and_laps_of_kilometres_move_no_block(library, tmp_path):
    designed = {**library.design_trial("blue pair", block_s=300, runs=2, seed=1, speed=3.1), "orders": ORDERS[:2]}
    number = library.new_trial(designed)
    run = _run(library, tmp_path, 5, ORDERS[0], 0.95, "stopped", laps=False, pauses=[(1000, 200)])
    library.join_trial(number, run)
    blocks = library.analyse_trial(number)["blocks"]
    shifts = [round(b["start_s"] - (600 + 420 * k)) for k, b in enumerate(blocks)]
    assert shifts == pytest.approx([0, 200, 200, 200], abs=3)
    changed = _run(library, tmp_path, 11, ORDERS[1], 0.95, "changed", pauses=[(1000, 210)])  # laps, and a long change
    library.join_trial(number, changed)
    begins = [b["start_s"] for b in library.analyse_trial(number)["blocks"] if b["run"] == changed]
    assert begins == pytest.approx([600, 1230, 1650, 2070], abs=3)
    library.join_trial(number, changed, begin_s=[605, 1235, 1655, 2075])
    assert [b["start_s"] for b in library.analyse_trial(number)["blocks"] if b["run"] == changed] == [
        605,
        1235,
        1655,
        2075,
    ]
    for wrong in ([605, 1235], [605, 606, 607, 608], [2075, 1655, 1235, 605]):
        with pytest.raises(UsageError, match="each of the 4 in order"):
            library.join_trial(number, changed, begin_s=wrong)
    library.join_trial(number, changed, begin_s=[])  # back to the laps
    assert [b["start_s"] for b in library.analyse_trial(number)["blocks"] if b["run"] == changed] == pytest.approx(
        begins
    )
    library.undo(library.edits(changed)[0]["id"])
    library.undo(library.edits(changed)[0]["id"])
    library.undo(library.edits(changed)[0]["id"])
    inside = _run(library, tmp_path, 8, ORDERS[1], 0.95, "inside", laps=False, pauses=[(1150, 100)])
    with pytest.raises(UsageError, match="the watch was stopped within"):
        library.join_trial(number, inside)
    library.join_trial(number, run, 2, exertion=[1, 2, 3, 4])
    library.join_trial(number, run, begin_s=600)  # what is not said anew stays
    (joined,) = next(t for t in library.trials() if t["id"] == number)["joined"]
    assert (joined["order"], joined["exertion"], joined["begin_s"]) == (1, [1, 2, 3, 4], [600.0])


def test_exertion_is_an_outcome_of_its_own(library, tmp_path):
    designed = library.design_trial("arms low", block_s=300, runs=3, seed=1, outcome="exertion")
    designed = replace(designed, orders=ORDERS)
    number = library.new_trial(designed)
    for k, order in enumerate(ORDERS):
        run = _run(library, tmp_path, 4 + 3 * k, order, 1.0, f"e{k}")
        library.join_trial(number, run, exertion=[6 - 3 * c for c in order])
    found = library.analyse_trial(number)
    assert found["primary"]["outcome"] == "exertion" and found["verdict"] == "improved"
    with pytest.raises(UsageError, match="give 4 values"):
        library.join_trial(number, run, exertion=[1, 2])


def test_designs(library):
    made = library.design_trial("cadence", cadences=[-8, -4, 0, 4, 8], block_s=120, rest_s=60, repeats=1)
    assert made["conditions"][0] == "usual cadence" and made["blocks"] == 10 and len(made["orders"]) == made["runs"]
    assert made["statistical_power"][0]["power"] < made["statistical_power"][-1]["power"] + 1e-9
    fewer = library.design_trial("x", effect=5.0)
    assert fewer["runs"] <= library.design_trial("x", effect=3.0)["runs"]
    for bad, words in (
        ({"change": "as usual"}, "different names"),
        ({"change": "x", "block_s": 5}, "blocks last"),
        ({"change": "x", "cadences": [0, 50]}, "within 20"),
        ({"change": "x", "outcome": "mood"}, "no outcome"),
        ({"change": "x", "power": 1.0}, "chance"),
        ({"change": "x", "effect": 1.5}, "larger effect"),
        ({"change": "x", "seed": -1}, "whole number"),
        ({"change": "x", "speed": 20.0}, "pace"),
    ):
        with pytest.raises(UsageError, match=words):
            library.design_trial(**bad)


def test_the_commands(library, tmp_path):
    folder = library.folder

    def run(*words):
        return footwork(*words, library=folder)

    assert "%" in ok("progress", library=folder).stdout
    assert of_json("progress", library=folder)["series"]
    blocks = ("2026-03-02..2026-03-21", "2026-03-30..2026-04-19")
    assert "Matched at" in ok("compare-runs", *blocks, library=folder).stdout
    assert of_json("compare-runs", *blocks, library=folder)["outcomes"]
    made = of_json(
        "trial", "new", "blue pair", "--usual", "grey pair", "--pace", "5:20/km", "--runs", "3", library=folder
    )
    assert "grey pair against blue pair" in ok("trial", "list", library=folder).stdout
    number = str(made["id"])
    assert run("trial", "analyse", number).returncode == 5
    ok(
        "trial",
        "export",
        number,
        "--order",
        "2",
        "--fit",
        tmp_path / "t.fit",
        "--pdf",
        tmp_path / "t.pdf",
        library=folder,
    )
    from footwork.formats import watch

    name, steps = watch.read_workout((tmp_path / "t.fit").read_bytes())
    assert (
        "blue pair" in name and len(steps) == 8 and steps[1].of == "speed" and steps[1].low < 1000 / 320 < steps[1].high
    )
    assert (tmp_path / "t.pdf").read_bytes()[:4] == b"%PDF"
    for words, code in (
        (("trial", "analyse", "9999"), 2),
        (("trial", "export", number), 2),
        (("trial", "new", "x", "--cadence", "a,b"), 2),
        (("progress", "--run", "1", "--cadence"), 2),
        (("progress", "--worthwhile", "90"), 2),
    ):
        done = run(*words)
        assert done.returncode == code and len(done.stderr.strip().splitlines()) == 1
    refused = run("trial", "join", number, "1")
    assert refused.returncode == 2 and "does not look like" in refused.stderr
