"""An answer as of a date is that of a library without later files."""

import datetime as dt
import json
import shutil

import pytest

from footwork.api import Library
from footwork.quantities import plain
from tests.conftest import RUNNER

ASKED = dt.date(2026, 3, 29)
QUESTIONS = {
    "capacity": lambda library: library.capacity(date=ASKED),
    "history": lambda library: library.history(date=ASKED),
    "usual": lambda library: library.usual(date=ASKED),
    "power at speed": lambda library: library.power_at_speed(date=ASKED),
    "race": lambda library: library.race(distance="10km", date=ASKED, mass=RUNNER.mass),
}


@pytest.fixture(scope="module")
def both(season_files, tmp_path_factory):
    """The season as a library, and another of its files up to the date only."""
    folder = tmp_path_factory.mktemp("dates")
    (folder / "early").mkdir()
    with Library.open(folder / "whole") as whole:
        whole.add([season_files])
        whole.athlete.set(dt.date(2026, 3, 1), mass=RUNNER.mass)
        late = {s["file"] for r in whole.runs() if r.local.date() > ASKED for s in plain(whole.run(r.id).recordings)}
    for path in season_files.iterdir():
        if path.name not in late:
            shutil.copy(path, folder / "early")
    with Library.open(folder / "part") as part:
        part.add([folder / "early"])
        part.athlete.set(dt.date(2026, 3, 1), mass=RUNNER.mass)
    return folder


@pytest.mark.parametrize("question", QUESTIONS)
def test_what_came_later_does_not_count(both, question):
    told = []
    for name in ("whole", "part"):
        with Library.open(both / name) as library:
            assert (name == "whole") == any(r.local.date() > ASKED for r in library.runs())
            found = plain(QUESTIONS[question](library))
        if question == "race":
            del found["solver"]["seconds"]  # how long it took
        told.append(json.dumps(found, sort_keys=True, default=str))
    assert told[0] == told[1]
