"""What the tests of questions share."""

import datetime as dt
import shutil

import pytest

from footwork.api import Library
from tests.conftest import fit_of, simulate


def run_of(library, day):
    return next(r.id for r in library.runs() if r.local.date() == day)


@pytest.fixture(scope="module")
def raced_season(season_library, tmp_path_factory):
    """The season with two races after it: one marked, with warm-up and cool-down, and one not marked."""
    folder = tmp_path_factory.mktemp("raced") / "season"
    shutil.copytree(season_library.folder, folder)
    made = Library.open(folder)
    files = tmp_path_factory.mktemp("races")
    for name, day, pieces in (
        ("race.fit", dt.date(2026, 4, 26), [(900, 0.68), (2400, 0.97), (600, 0.62)]),
        ("fade.fit", dt.date(2026, 5, 3), [(1000, 1.04), (1000, 0.98), (1000, 0.80)]),
    ):
        (files / name).write_bytes(fit_of(simulate(day, pieces, seed=day.day)))
    made.add([files])
    made.mark(run_of(made, dt.date(2026, 4, 26)), "race")
    return made
