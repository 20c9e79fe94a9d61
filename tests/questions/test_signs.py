"""Signs in a library: from the diary and the runs; words as they are given; runs much longer than the month's."""

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest

from footwork import Library
from footwork.questions.signs import long_run_words

TODAY = dt.date(2026, 6, 30)


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


def test_one_channel_however_loud_is_not_enough(library):
    for back in range(90):
        library.tell(date=TODAY - dt.timedelta(days=back), resting_heart_rate=48 + 20 * (back < 2))
    found = library.signs(TODAY)
    assert found.patterns[0].state == "not enough" and "soreness" in found.patterns[0].sentence
    assert found.sentence == "Not enough to watch."


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
    assert bool(words) is said
    assert not re.search(r"hazard|\brisk|ratio|1\.64|probab", words.lower())
