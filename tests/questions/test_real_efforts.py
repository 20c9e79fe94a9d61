"""Efforts of recorded runs, where the open recordings lie beside the project: what anybody sees in the picture."""

from pathlib import Path

import pytest

from footwork.questions import runs

OPEN = Path(__file__).parents[3] / "shared" / "recordings" / "open"
pytestmark = pytest.mark.skipif(not OPEN.is_dir(), reason="the open recordings are not here")


def groups(name):
    found = [e for e in runs.reading_of_file(OPEN / name).efforts if e["kind"] == "work"]
    return len(found), sorted({e["group"] for e in found if e["group"]})


@pytest.mark.parametrize(
    ("name", "count", "group"),
    [
        ("step-test-power/step-test.csv", 6, "6 x 4:30"),  # seven steps of 4.5 min with stops: the first warms up
        ("hr-intervals/intervals.csv", 5, "5 x 1000 m"),  # its speed column is a running average
        ("power-in-developer-field/run.fit", 4, "4 x 1000 m"),
        ("two-watches/track-second.fit", 6, "4 x 400 m"),
        ("two-watches/track-first.fit", 6, "2 x 800 m"),
    ],
)
def test_repeats_are_found(name, count, group):
    found, named = groups(name)
    assert found == count and group in named


@pytest.mark.parametrize("name", ["hr-intervals/even.csv", "two-watches/easy-first.fit", "mountain-race/race.gpx"])
def test_runs_without_repeats_are_one_effort(name):
    assert groups(name)[0] == 1
