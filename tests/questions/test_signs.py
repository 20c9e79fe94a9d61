"""Signs in a library: from the diary and the runs; words as they are given; runs much longer than the month's."""

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from footwork import Library
from footwork.questions.signs import long_run_words
from footwork.wording.sign_words import value_words

TODAY = dt.date(2026, 6, 30)
REAL = Path(__file__).parents[3] / "shared" / "recordings" / "open" / "one-runner-hr"


@pytest.fixture
def library(tmp_path):
    with Library.open(tmp_path / "library") as made:
        yield made


def told(library, last, days=90):
    """Ninety ordinary days of two channels, then what the last two were."""
    rng = np.random.default_rng(5)
    for back in range(days, 1, -1):
        day = TODAY - dt.timedelta(days=back)
        library.tell(date=day, resting_heart_rate=48 + rng.normal(0, 1.5), soreness=round(rng.uniform(1, 4)))
    for back in (1, 0):
        library.tell(date=TODAY - dt.timedelta(days=back), **last)


def test_two_days_off_in_two_channels_ask_for_a_check_in_plain_words(library):
    told(library, {"resting_heart_rate": 54.0, "soreness": 7.0})
    found = library.signs(TODAY)
    unwell = found.patterns[0]
    assert (
        unwell.pattern == "unwell"
        and unwell.state == "check"
        and unwell.since == (TODAY - dt.timedelta(days=1)).isoformat()
    )
    assert "It may be nothing. If you feel unwell, rest" in found.sentence and "bpm" in found.sentence
    assert found.instead and not re.search(r"overtrain|safe|diagnos|risk|injury prob", found.sentence.lower())


def test_ordinary_days_ask_for_nothing_and_do_not_say_that_all_is_well(library):
    told(library, {"resting_heart_rate": 48.0, "soreness": 2.0})
    found = library.signs(TODAY)
    assert found.patterns[0].state == "quiet" and found.sentence == "Nothing asks for a check." and not found.instead
    assert "does not say all is well" in found.patterns[0].sentence


def test_days_that_were_not_written_are_the_reason_not_too_few_of_them(library):
    told(library, {})
    said = library.signs(TODAY).patterns[0].sentence
    assert "nothing was written of resting heart rate and soreness in the last 2 days" in said


def test_while_ill_the_signs_leave_it_to_the_diary(library):
    told(library, {"resting_heart_rate": 54.0, "soreness": 7.0})
    library.tell(date=TODAY, illness="cold")
    found = library.signs(TODAY)
    assert found.sentence.startswith("The diary tells of illness") and found.instead == ""


def test_what_a_physician_decides_is_left_out_and_said_so(library):
    told(library, {"resting_heart_rate": 54.0, "soreness": 7.0})
    library.tell(date=TODAY - dt.timedelta(days=20), heart_medication="begins")
    unwell = library.signs(TODAY).patterns[0]
    assert "Resting heart rate, heart rate at power and overnight variability: left out by what the diary" in (
        unwell.sentence
    )
    assert {c.name for c in unwell.channels if c.left_out} == {
        "resting heart rate",
        "heart rate at power",
        "overnight variability",
    }


@pytest.mark.parametrize(
    "value, unit, words",
    [(-5.036, "%", "-5 %"), (54.4, "bpm", "54 bpm"), (7.25, "h", "7.2 h"), (np.log(52.0), "ln ms", "52 ms")],
)
def test_values_are_said_as_one_writes_them_down(value, unit, words):
    assert value_words(value, unit) == words


def test_one_channel_however_loud_is_not_enough(library):
    for back in range(90):
        library.tell(date=TODAY - dt.timedelta(days=back), resting_heart_rate=48 + 20 * (back < 2))
    found = library.signs(TODAY)
    assert found.patterns[0].state == "not enough" and "soreness" in found.patterns[0].sentence
    assert found.sentence == "Not enough to watch."


@pytest.mark.skipif(not REAL.exists(), reason="the recordings are not beside the project")
def test_one_real_runners_ten_runs_are_a_week_a_modest_plan_and_too_few_to_watch(library):
    """Ten runs of one runner over seven months, heart rate and no watts."""
    library.athlete.set(dt.date(2017, 1, 1), mass=70.0)
    library.add([REAL])
    newest = library.runs()[0]
    week = library.week(newest.local.date())
    assert [(r.state, r.run) for r in week.rows] == [("extra", newest.id)] and week.run.value > 0
    found = library.signs(newest.local.date())
    assert found.sentence == "Not enough to watch." and {p.state for p in found.patterns} == {"not enough"}
    plan = library.new_season(newest.local.date(), race=(newest.local.date() + dt.timedelta(days=91)).isoformat())
    usual = plan.usual
    assert usual["runs"] == 2.0 and max(len(w.sessions) for w in plan.weeks) == 2
    assert max(w.asked for w in plan.weeks) <= 1.15 * usual["cp_minutes"]
    assert plan.weeks[1].longest_s <= 1.10 * usual["longest_s"] + 60.0
    assert plan.race.time.high > 1.2 * plan.race.time.low  # no test, no race: it says how little is known


def test_after_a_check_it_is_silent(library):
    told(library, {"resting_heart_rate": 54.0, "soreness": 7.0})
    later = library.signs(TODAY + dt.timedelta(days=4))
    assert later.patterns[0].state == "silent" and not later.instead


@pytest.mark.parametrize("share, said", [(1.099, False), (1.101, True)])
def test_a_run_beyond_110_per_cent_of_thirty_days_is_said_and_no_hazard_with_it(season_library, share, said):
    """Schuster Brandt Frandsen et al. 2025, BJSM 59:1203: the reference is up to a tenth longer."""
    rows = season_library.runs()
    last = rows[0]
    near = [r for r in rows[1:] if 0 < (last.local.date() - r.local.date()).days <= 30]
    longest = max(r.distance_m for r in near)
    words = long_run_words(
        [replace(last, distance_m=share * longest), *rows[1:]], replace(last, distance_m=share * longest)
    )
    assert bool(words) is said and (not said or " is 10 % more than your longest of 30 days" in words)
    assert not re.search(r"hazard|\brisk|ratio|1\.64|probab", words.lower())
