"""An answer as of a date is that of a library without later files."""

import datetime as dt
import json
import shutil

import pytest

from footwork.api import Library
from footwork.errors import NotEnoughData
from footwork.quantities import plain
from tests.conftest import RUNNER, kept_along

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


def test_a_library_that_was_kept_all_along_is_asked_of_today_and_an_archive_of_its_newest_run(both, tmp_path):
    """The same runs, that were old when they came in, and that came in on their day."""
    shutil.copytree(both / "whole", tmp_path / "kept")
    with Library.open(both / "whole") as archive:
        newest = max(r.local.date() for r in archive.runs())
        assert archive.current_day() == newest and archive.capacity().date == newest
        assert f"{newest.year}, the day of the newest" in archive.pause()
        assert (
            archive.today().asked_on == str(newest)
            and f"as of {newest.day} " in archive.today().headline
            and archive.pause() in archive.today().reason
        )
        held = archive.capacity().critical_power.value
    with Library.open(tmp_path / "kept") as kept:
        kept_along(kept)
        today = dt.date.today()
        assert (today - newest).days > 84
        assert kept.current_day() == today and kept.capacity().date == today and kept.today().asked_on == str(today)
        assert "is not known from before it" in kept.pause() and kept.today().headline.startswith("Begin again")
        now = kept.capacity().critical_power.value
        assert now is None or now < held
        assert kept.health() is None
    with Library.open(both / "whole") as archive:
        with pytest.raises(NotEnoughData, match="no run on this scale since"):  # a race ahead is asked about today
            archive.new_season(race=today + dt.timedelta(days=80), distance="10km")
        assert archive.new_season(race=newest + dt.timedelta(days=80), distance="10km").asked_on == str(newest)
        archive.plan_session("6 x 2 min hard", newest + dt.timedelta(days=9), "of then")
        archive.plan_session("6 x 2 min hard", today + dt.timedelta(days=1), "of now")
        assert [(s["name"], s["not_now"]) for s in archive.today()["next"]] == [("of then", False), ("of now", True)]
        # Whoever is ill now tells it now, and that holds back whatever is asked.
        archive.tell(illness="cold")
        assert archive.current_day() == newest and archive.health().since == today
        assert archive.today().headline.startswith("Rest until you are well")
        archive.tell(well="again")
        assert archive.health().state == "returning" and archive.health().until > today
        assert not archive.session("30 min easy")["held_back"]
        assert "Easy running only" in archive.session("5 x (3 min hard, 2 min easy)")["held_back"]
        assert archive.today().headline.startswith("Easy running only")
