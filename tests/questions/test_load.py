"""Load of everything that was done: the way in which each activity's load is known, and what days and weeks come to."""

import datetime as dt
import shutil
from dataclasses import replace

import numpy as np
import pytest

from footwork.analysis import speed
from footwork.analysis.summary import AT, BLOCK_COLUMNS
from footwork.api import Library
from footwork.demo import write
from footwork.errors import UsageError
from footwork.history.scales.scale_rows import StreamRows
from footwork.physics.power import slope_factor
from footwork.physiology import load_ways
from footwork.questions.load import activities
from tests.conftest import fit_of, simulate
from tests.program import footwork, of_json


@pytest.fixture
def library(season_library, tmp_path):
    season_library.close()
    with Library.open(shutil.copytree(season_library.folder, tmp_path / "library")) as copy:
        yield copy


def by_date(library, **asked):
    return {a.date: a for a in library.load_by("day", dt.date(2026, 3, 1), dt.date(2026, 5, 1), **asked).activities}


def beats(minutes, rate, start="2026-04-22T08:00:00+00:00"):
    """A recording of heart rate alone."""
    first = dt.datetime.fromisoformat(start)
    rows = [
        f"{(first + dt.timedelta(seconds=s)).isoformat()},{rate + 6 * np.sin(s / 200):.0f}" for s in range(60 * minutes)
    ]
    return "time,heart_rate\n" + "\n".join(rows)


def ride(day, seed=3, watts=None):
    samples = simulate(day, [(3600, 0.7)], seed=seed, hour=15)
    samples.columns["power"] = np.full(len(samples.time), watts)
    if watts is None:
        del samples.columns["power"]
    return write.fit_bytes([("cycling", samples)], 1002, 77002)


def test_a_flat_short_run_counts_its_minutes_by_power(library):
    row = next(r for r in library.runs() if r.date.startswith("2026-03-04"))
    found = by_date(library)["2026-03-04"]
    held = library.capacity(scale=row.power_scale).domains["heavy_severe"]["power"].value
    watts = np.nan_to_num(library.signals(row.id)["power"])
    mean = np.array([watts[max(i - 29, 0) : i + 1].mean() for i in range(len(watts))])
    shares = np.where(mean / held >= 0.1, np.maximum(mean / held, 0.45), mean / held)
    expected = float(load_ways.weight(shares).sum()) / 60
    assert found.way == "running power" and found.load.value == pytest.approx(expected, rel=0.05)
    assert found.load.low < found.load.value < found.load.high
    assert library.run_load(row.id).load.value == found.load.value  # one number for a run everywhere


def test_what_has_no_watts_counts_by_heart_rate_or_how_it_felt(library, tmp_path):
    (tmp_path / "beats.csv").write_text(beats(50, 150))
    library.add([tmp_path / "beats.csv"])
    felt = library.enter_run(dt.datetime(2026, 4, 23, 8, tzinfo=dt.UTC), "40:00", "8km")
    silent = library.enter_run(dt.datetime(2026, 4, 24, 8, tzinfo=dt.UTC), "40:00", "8km")
    library.tell(run=felt, exertion=5)
    found = by_date(library)
    by_heart = found["2026-04-22"]
    # The runner's own line of these weeks: runs at such heart rates were of some 0.7 to 0.9 of critical power.
    assert by_heart.way == "heart rate" and 0.6 < load_ways.share_of(by_heart.load.value / 50) < 1.0
    assert found["2026-04-23"].way == "exertion" and found["2026-04-23"].load.value == pytest.approx(28.8, rel=0.01)
    assert found["2026-04-24"].way == "" and found["2026-04-24"].load.value is None and silent
    week = library.load_by("week", dt.date(2026, 4, 20), dt.date(2026, 4, 26)).spans[0]
    assert (week.runs, week.without_load, week.silent_days) == (3, 1, 4)
    assert week.running.value == pytest.approx(by_heart.load.value + 28.8, rel=0.01)
    assert "1 not known" in footwork("load", "--until", "2026-04-26", library=library.folder).stdout


def test_other_sports_count_beside_running_and_never_in_it(library, tmp_path):
    day = dt.date(2026, 4, 21)
    (tmp_path / "ride.fit").write_bytes(ride(day))
    library.add([tmp_path / "ride.fit"])
    before = library.load_by("week", dt.date(2026, 4, 20), dt.date(2026, 4, 26)).spans[0]
    assert (before.runs, before.activities, before.running.value) == (0, 1, 0.0)
    assert before.all_sport.value > 10
    library.tell(date=day, exertion=7)
    library.athlete.set(dt.date(2026, 3, 1), max_heart_rate=190, resting_heart_rate=50)
    told = next(a for a in library.load_by("day", day, day).activities if a.sport == "cycling")
    assert told.way == "heart rate" and "exertion" in told.ways
    assert told.ways["exertion"] == pytest.approx(60 * 0.72 * (7 / 5) ** 0.85, rel=0.01)


def test_a_ride_with_watts_needs_the_critical_power_of_the_bicycle(library, tmp_path):
    day = dt.date(2026, 4, 21)
    (tmp_path / "ride.fit").write_bytes(ride(day, watts=80.0))
    library.add([tmp_path / "ride.fit"])
    assert library.load_by("day", day, day).activities[0].way != "cycling power"
    library.athlete.set(dt.date(2026, 3, 1), cycling_critical_power=250)
    told = library.load_by("day", day, day).activities[0]
    assert told.way == "cycling power"
    assert told.load.value == pytest.approx(60 * float(load_ways.weight(0.32)), rel=0.02)


def test_modelled_watts_beyond_anybody_are_not_counted():
    histogram = np.zeros(2500)
    histogram[[200, 2400]] = 1800, 600  # a quarter of the run at ten times critical power: positions that jumped
    row = stored(np.zeros((0, len(BLOCK_COLUMNS))), histogram, measured=False)
    run = activity()
    activities._by_power(run, row, 250.0, None)
    assert run.ways == {} and "more than anybody could hold" in run.notes[0]
    histogram[2400] = 20
    activities._by_power(run := activity(), row, 250.0, None)
    assert 0 < run.ways["modelled power"] < 40 and "drawn in" in run.notes[0]


def test_what_a_device_does_not_show_of_a_climb_is_put_in():
    block = np.zeros((30, len(BLOCK_COLUMNS)))
    block[:, AT["power"]], block[:, AT["grade"]] = 200.0, 0.06
    blind = replace(speed.prior(70.0), effects=dict.fromkeys(speed.EFFECTS, (0.0, 0.0)))
    row = stored(block, np.bincount([200] * 1800), measured=True)
    seen, unseen = activity(), activity()
    activities._by_power(seen, row, 250.0, replace(blind, effects=dict.fromkeys(speed.EFFECTS, (1.0, 0.0))))
    activities._by_power(unseen, row, 250.0, blind)
    share = 0.8 * float(slope_factor(np.array([0.06]))[0])
    assert seen.ways["running power"] == pytest.approx(30 * float(load_ways.weight(0.8)), rel=1e-3)
    assert unseen.ways["running power"] == pytest.approx(30 * float(load_ways.weight(share)), rel=1e-3)


def activity():
    return activities.Activity(1, None, dt.date(2026, 4, 1), "", "running", 1800.0, None, None, None)


def stored(block, histogram, measured):
    none = np.zeros(0)
    return StreamRows(
        1, 0.0, dt.date(2026, 4, 1), frozenset(), measured, False, 1800.0, None, none, none, histogram, block
    )


def test_rides_tell_nothing_of_how_heart_rate_reads_in_running(library, tmp_path):
    library.athlete.set(dt.date(2026, 3, 1), max_heart_rate=190, resting_heart_rate=50, cycling_critical_power=120)
    before = library.load_by("week").calibrations["heart rate"]
    for k in range(6):
        day = dt.date(2026, 4, 20) + dt.timedelta(days=k)
        (tmp_path / f"{k}.fit").write_bytes(ride(day, k, watts=200.0))
    library.add([tmp_path])
    assert before["low"] < before["factor"] < before["high"]
    assert before["low"] * before["high"] == pytest.approx(before["factor"] ** 2)  # alike in proportion on both sides
    after = library.load_by("week").calibrations
    assert after["heart rate"]["days"] == before["days"] and after["heart rate"]["factor"] == before["factor"]
    assert after["cycling power"]["days"] == 6 and after["cycling power"]["factor"] < 0.9


def test_a_week_of_little_running_is_no_usual_week(library, tmp_path):
    before = library.load_by("week", until=dt.date(2026, 4, 26)).usual_week
    (tmp_path / "short.fit").write_bytes(fit_of(simulate(dt.date(2026, 4, 21), [(600, 0.7)])))
    library.add([tmp_path / "short.fit"])
    after = library.load_by("week", until=dt.date(2026, 5, 3)).usual_week
    assert after.weeks == before.weeks == 7 and after.cp_minutes == pytest.approx(before.cp_minutes, rel=0.01)


def test_weeks_and_months_hold_every_day_once(library):
    weeks = library.load_by("week", dt.date(2026, 3, 2), dt.date(2026, 4, 19))
    months = library.load_by("month", dt.date(2026, 3, 1), dt.date(2026, 4, 30))
    assert [s.first for s in months.spans] == ["2026-03-01", "2026-04-01"] and len(weeks.spans) == 7
    assert sum(s.running.value for s in weeks.spans) == pytest.approx(sum(s.running.value for s in months.spans))
    assert sum(s.runs for s in weeks.spans) == 23 == len(months.activities)
    usual = weeks.usual_week
    assert usual.weeks == 6 and usual.low <= usual.cp_minutes <= usual.high
    assert "a usual week is" in weeks.sentence


def test_a_week_of_illness_is_no_usual_week(library):
    before = library.load_by("week", until=dt.date(2026, 4, 19)).usual_week.weeks
    library.tell(date=dt.date(2026, 3, 31), illness="a cold")
    library.tell(date=dt.date(2026, 4, 4), well="yes")
    assert library.load_by("week", until=dt.date(2026, 4, 19)).usual_week.weeks == before - 1


def test_bad_spans_are_refused(library):
    with pytest.raises(UsageError, match="day, week or month, not by 'year'"):
        library.load_by("year")
    with pytest.raises(UsageError, match="ends before it starts"):
        library.load_by("week", dt.date(2026, 4, 1), dt.date(2026, 3, 1))
    done = footwork("load", "--by", "year", library=library.folder)
    assert done.returncode == 2 and "not by 'year'" in done.stderr


def test_the_command_gives_what_the_library_gives(library):
    told = of_json("load", "--until", "2026-04-19", library=library.folder)
    assert told == library.load_by("week", until=dt.date(2026, 4, 19)).to_json()
    empty = footwork("load", library=library.folder.parent / "none")
    assert empty.returncode == 4


def test_an_empty_library_has_no_load(tmp_path):
    with Library.open(tmp_path / "library") as bare:
        found = bare.load_by("week")
        assert found.activities == [] and found.usual_week is None and found.spans[-1].running.value == 0.0
        (tmp_path / "run.fit").write_bytes(fit_of(simulate(dt.date(2026, 3, 3), [(1800, 0.7)])))
        bare.add([tmp_path / "run.fit"])
        only = bare.load_by("week", until=dt.date(2026, 3, 8))
        assert only.spans[-1].runs == 1 and only.usual_week is None


def test_weeks_without_running_rewrite_no_load_of_the_weeks_before(library, tmp_path):
    before = by_date(library)
    watts = library.capacity().critical_power.value
    (tmp_path / "back.fit").write_bytes(fit_of(simulate(dt.date(2026, 5, 24), [(1800, 0.7)], seed=5)))
    library.add([tmp_path / "back.fit"])
    assert library.capacity().critical_power.value < 0.96 * watts
    after = by_date(library)
    sizes = [after[day].load.value / of.load.value for day, of in before.items()]
    assert len(sizes) > 20 and sizes == pytest.approx([1.0] * len(sizes), abs=0.02)
