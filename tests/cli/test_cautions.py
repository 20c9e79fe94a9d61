"""Whatever proposes hard running says for whom it is; while the diary tells of illness or injury nothing does."""

import datetime as dt
import shutil

import pytest

from footwork.api import Library
from footwork.errors import HeldBack
from footwork.formats import watch
from footwork.planning.shelf import SHELF
from footwork.wording.cautions import before_hard_work, held_back
from tests.program import footwork, of_json, ok

SESSION = "10 min easy, 5 x (3 min at 105 % CP, 2 min easy jog)"
PROPOSING = (
    ("capacity",),
    ("capacity", "--history"),
    ("race", "--distance", "10 km"),
    ("session", "preview", SESSION),
    ("session", "new", SESSION),
    ("session", "shelf"),
    ("session", "shelf", next(e.name for e in SHELF if e.caution)),
    ("session", "shelf", "hills"),
)
TODAY = dt.date.today()


@pytest.fixture
def folder(season_library, tmp_path):
    shutil.copytree(season_library.folder, tmp_path / "library")
    return tmp_path / "library"


@pytest.mark.parametrize("words", PROPOSING[1:], ids=" ".join)
def test_every_proposal_says_for_whom_it_is(folder, words):
    said = ok(*words, library=folder).stdout
    assert "only if you are well, rested and used to hard running" in said and "physician" in said


def test_what_is_taken_along_says_it_too(folder, tmp_path):
    ok("session", "new", SESSION, library=folder)
    fit, ics = tmp_path / "a.fit", tmp_path / "a.ics"
    ok("session", "export", SESSION, "--fit", fit, "--ics", ics, library=folder)
    assert b"only if you are well" in fit.read_bytes()
    assert "well" in ics.read_text() and "physician" in ics.read_text().replace("\r\n ", "")
    # The notes do not change what the watch is told.
    name, steps = watch.read_workout(fit.read_bytes())
    assert name and len(steps) == 11


@pytest.mark.parametrize(("field", "state"), [("illness", "ill"), ("injury", "injured")])
def test_while_ill_or_injured_nothing_hard_is_proposed(folder, field, state):
    with Library.open(folder) as library:
        run, newest = library.runs()[0].id, library.current_day()
    ok("diary", f"--{field}", "flu, fever", "--date", newest, library=folder)
    caution = {"ill": "rest comes first", "injured": "no running is proposed"}[state]
    for words in PROPOSING[:5]:
        said = ok(*words, library=folder).stdout
        assert caution in said and "flu" not in said, words  # not into what is printed or passed on
        assert "would narrow" not in said and "Kinder" not in said and "settles it" not in said
    assert of_json("session", "preview", SESSION, library=folder)["kinder"] is None
    match = of_json("session", "match", run, "--session", SESSION, library=folder)
    assert caution in match["next"]
    assert of_json("capacity", library=folder)["tests"] == []
    due = of_json("today", library=folder)["due"]
    assert any(caution in d["why"] for d in due) and not any("est" in d["what"].split() for d in due)
    for words in (
        ("session", "solve", "5 x (4 min at ?, 2 min easy)"),
        ("session", "export", SESSION, "--fit", folder / "a.fit"),
    ):
        done = footwork(*words, library=folder)
        assert done.returncode == HeldBack.exit_code and caution in done.stderr and not (folder / "a.fit").exists()
    # A race is computed, under the caution.
    race = of_json("race", "--distance", "10 km", library=folder)
    assert race["time"]["value"] > 0 and any(caution in w for w in race["warnings"])
    told = ok("race", "--distance", "10 km", library=folder).stdout
    assert told.startswith("Caution: ") and caution in told.splitlines()[0] and told.count(caution) == 1


def test_illness_counts_until_well_and_is_asked_about_after_two_weeks(tmp_path):
    with Library.open(tmp_path / "l") as library:
        library.tell(date=TODAY - dt.timedelta(days=15), illness="cold")
        found = library.health()
        assert (found.state, found.since, found.asks) == ("ill", TODAY - dt.timedelta(days=15), True)
        assert library.health(TODAY - dt.timedelta(days=1)).asks is False
        assert library.health(TODAY - dt.timedelta(days=16)) is None
        assert "whether it still holds" in held_back(found)
        library.tell(date=TODAY - dt.timedelta(days=2), injury="calf")
        assert library.health().state == "ill"  # the worse of the two speaks
        library.tell(well="again")
        back = library.health()
        # Fifteen days off: as many easy days, but at most fourteen.
        assert (back.state, back.until) == ("returning", TODAY + dt.timedelta(days=13))
        assert f"including {back.until}" in held_back(back)


def test_the_return_has_as_many_easy_days_as_were_off_at_least_three(tmp_path):
    with Library.open(tmp_path / "l") as library:
        library.tell(date=TODAY - dt.timedelta(days=6), illness="cold")
        library.tell(date=TODAY - dt.timedelta(days=5), well="again")
        assert library.health(TODAY - dt.timedelta(days=3)).state == "returning"
        assert library.health(TODAY - dt.timedelta(days=2)) is None and held_back(None) is None
        # Written later on the same day, a relapse counts; so does being well after it.
        library.tell(date=TODAY - dt.timedelta(days=5), illness="fever again")
        assert library.health().state == "ill"
        library.tell(date=TODAY - dt.timedelta(days=5), well=None)
        library.tell(date=TODAY - dt.timedelta(days=5), well="again")
        assert library.health() is None
        library.tell(date=TODAY - dt.timedelta(days=6), illness=None)
        library.tell(date=TODAY - dt.timedelta(days=5), illness=None)
        assert library.health(TODAY - dt.timedelta(days=4)) is None  # taken back: nothing to return from


@pytest.mark.parametrize("kind", ["race", "test", "session"])
def test_the_caution_names_when_to_stop_and_who_decides(kind):
    assert all(word in before_hard_work(kind) for word in ("well", "Stop", "chest pain", "physician"))
