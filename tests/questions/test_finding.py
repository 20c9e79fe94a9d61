"""Finding runs and adding them up; facts about the runner; typical error of repeats."""

import datetime as dt

import numpy as np
import pytest

from footwork.analysis import usual_watts
from footwork.api import Library
from footwork.errors import UsageError
from footwork.store import schema
from tests.analysis.test_usual import run as minutes_of_a_run
from tests.conftest import RUNNER, fit_of, simulate

DAY = dt.date(2026, 3, 30)  # a Monday


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    folder = tmp_path_factory.mktemp("find")
    files = folder / "in"
    files.mkdir()
    for i in range(6):
        samples = simulate(DAY + dt.timedelta(days=3 * i), [(600 + 100 * i, 0.7)], seed=i)
        (files / f"{i}.fit").write_bytes(fit_of(samples))
    with Library.open(folder / "library") as opened:
        opened.athlete.set(DAY, mass=RUNNER.mass)
        opened.add([files])
        ids = [r.id for r in reversed(opened.runs())]
        opened.mark(ids[1], "long")
        opened.describe_run(ids[1], surface="trail", shoe="Blue pair")
        opened.describe_run(ids[2], shoe="Grey pair")
        opened.tell(ids[2], note="Windy on the bridge")
        opened.set_weather(ids[3], temperature_c=4.0, wind_mps=9.0)
        opened.leave_out(ids[5])
        yield opened


def found(library, **wanted):
    order = [r.id for r in reversed(library.runs())]
    return [order.index(r.id) for r in reversed(library.find(**wanted))]


def test_runs_are_found_by_what_is_known_of_them(library):
    assert found(library, text="trail blue") == [1]
    assert found(library, text="WINDY") == [2]
    assert found(library, text="2026-04") == [1, 2, 3, 4, 5]
    assert found(library, mark="long") == [1]
    assert found(library, shoe="pair") == [1, 2]
    assert found(library, since=DAY + dt.timedelta(days=9)) == [3, 4, 5]
    assert found(library, until=DAY) == [0]
    assert found(library, temperature=(None, 10.0)) == [3] == found(library, wind=(8.0, None))
    rows = list(reversed(library.runs()))
    assert found(library, distance=(rows[4].distance_m, None)) == [4, 5]
    assert found(library, power=(1000.0, None)) == []
    with pytest.raises(UsageError, match="not a mark"):
        library.find(mark="epic")
    with pytest.raises(UsageError, match="ends before"):
        library.find(since=DAY, until=DAY - dt.timedelta(days=1))


def test_weeks_and_months_add_up(library):
    rows = library.runs()
    for by in ("week", "month"):
        groups = library.totals(by)
        assert sum(g["runs"] for g in groups) == 6
        assert sum(g["duration_s"] for g in groups) == sum(r.duration_s for r in rows)
        assert sum(g["distance_m"] for g in groups) == pytest.approx(sum(r.distance_m for r in rows))
        assert [g["start"] for g in groups] == sorted((g["start"] for g in groups), reverse=True)
    assert {dt.date.fromisoformat(g["start"]).weekday() for g in library.totals("week")} == {0}
    assert [g["start"] for g in library.totals("month")] == ["2026-04-01", "2026-03-01"]
    with pytest.raises(UsageError, match="week or month"):
        library.totals("fortnight")


def test_birth_year_and_sex_are_no_longer_asked_but_stay_readable(library):
    assert "sex" not in library.athlete.facts()
    with library.writing() as connection:
        for name, value in (("birth_year", 1990.0), ("sex", 2.0)):
            connection.execute(schema.athlete_fact.insert().values(name=name, date="2026-03-30", value=value))
    facts = library.athlete.facts()
    assert facts["sex"] == [{"date": "2026-03-30", "value": "female", "unit": ""}]
    assert facts["birth_year"][0]["value"] == 1990
    with pytest.raises(UsageError, match="facts are mass"):
        library.athlete.set(sex="female")


def test_a_new_mass_makes_stale_only_what_was_modelled_with_the_old_one(library, tmp_path):
    rows = "\n".join(f"2026-05-08T08:{s // 60:02}:{s % 60:02}Z,3.0" for s in range(900))
    (tmp_path / "c.csv").write_text("time,speed\n" + rows)
    library.add([tmp_path / "c.csv"])
    assert library.athlete.set(dt.date(2026, 5, 1), mass=RUNNER.mass + 2) == 1
    assert library.athlete.set(dt.date(2026, 5, 1), max_heart_rate=190.0) == 0
    assert library.athlete.set(dt.date(2026, 6, 1), mass=RUNNER.mass + 3) == 0


def test_the_spread_between_runs_is_hopkins_typical_error():
    # Hopkins 2000 (Sports Med 30:1): typical error = SD of the differences of repeats / √2.
    ours, theirs = [], []
    for seed in range(16):
        rng = np.random.default_rng(seed)
        repeats = [minutes_of_a_run(rng, day_sd=0.015) for _ in range(30)]
        ours.append(usual_watts.fit(repeats, [None] * 30).between)
        cost = [np.mean(usual_watts.power_design(usual_watts.steady(r), None, np.zeros(1))[1]) for r in repeats]
        theirs.append(np.std(np.diff(cost)[::2], ddof=1) / np.sqrt(2))
    assert np.mean(ours) == pytest.approx(np.mean(theirs), rel=0.15)
