"""What a coach sees: consent, the diary shared or not, and that what is not shared is in no answer."""

import datetime as dt
import json
import re

import pytest

from footwork import Library
from footwork.errors import UsageError
from footwork.wording.cautions import NOT_NOW, PHYSICIAN_DECIDES
from tests.program import footwork, of_json, ok

SECRET = "sciatica-word"


def seen(library):
    """The library as a coach opens it."""
    made = Library.open(library.folder)
    made.for_coach = True
    return made


def test_the_diary_is_shared_only_with_consent_and_ends_with_it(library):
    assert (library.sharing().consent, library.sharing().diary) == (None, False)
    with pytest.raises(UsageError, match="only with consent"):
        library.share_diary(True)
    with pytest.raises(UsageError, match="none to withdraw"):
        library.withdraw_consent()
    with pytest.raises(UsageError, match="future"):
        library.consent("", dt.date.today() + dt.timedelta(days=1))
    library.consent("by  mail", dt.date(2026, 4, 1))
    assert (library.sharing().consent, library.sharing().note) == (dt.date(2026, 4, 1), "by mail")
    assert not library.sharing().diary
    library.share_diary(True)
    assert library.sharing().diary
    library.withdraw_consent()
    assert not library.sharing().diary
    library.consent("again")  # what was shared under the old consent stays closed
    assert not library.sharing().diary
    told = [e["sentence"] for e in library.edits()][:5]
    assert told == [
        "consent given: again",
        "consent withdrawn",
        "diary shared with the coach",
        "consent given: by mail",
        told[4],
    ]


def test_an_undone_consent_is_none(library):
    number = library.consent()
    library.share_diary(True)
    library.undo(number)
    assert library.sharing().consent is None and not library.sharing().diary


def answers(library):
    """Everything of one library that a coach may open, as text."""
    newest = library.runs()[0]
    day = newest.local.date()
    made = [
        library.today(day),
        library.week(day),
        library.signs(day),
        library.capacity(),
        library.progress(),
        library.run(newest.id),
        library.session("30 min easy"),
    ]
    plain = [m.to_json() for m in made] + [library.edits(), library.diary(), [r.to_json() for r in library.runs()]]
    return json.dumps(plain, default=str)


@pytest.mark.parametrize("shared", [False, True])
def test_a_coach_reads_not_now_where_the_diary_is_not_shared(library, shared):
    day = library.runs()[0].local.date()
    library.tell(date=day, illness=SECRET)
    library.tell(run=library.runs()[0].id, note=SECRET)
    library.tell(date=day - dt.timedelta(days=30), heart_medication="begins")
    library.consent("told")
    if shared:
        library.share_diary(True)
    assert SECRET in answers(library) and "illness" in answers(library)
    with seen(library) as coach:
        said = answers(coach)
        assert (SECRET in said) == (PHYSICIAN_DECIDES in said) == shared
        assert bool(re.search("diary tells of (an? )?(illness|injury)|what the diary tells", said)) == shared
        assert (coach.today(day).headline == NOT_NOW.rstrip(".")) != shared
        assert coach.health(day).state == "ill"  # what is asked is held back all the same
        assert coach.today(day).held


def test_commands_say_what_is_shared(library):
    assert "No consent is written down" in ok("privacy", "show", library=library.folder).stdout
    ok("privacy", "consent", "on paper", "--date", "2026-04-02", library=library.folder)
    assert of_json("privacy", "diary", "on", library=library.folder) == {
        "consent": "2026-04-02",
        "note": "on paper",
        "diary": True,
    }
    assert "no longer" not in ok("privacy", "show", library=library.folder).stdout
    assert of_json("privacy", "consent", "--withdraw", library=library.folder)["consent"] is None


def test_commands_of_a_squads_pages_tell_a_coach_no_more_than_its_pages(library, tmp_path):
    day = library.runs()[0].local.date()
    library.tell(date=dt.date.today(), illness=SECRET)
    race = str(dt.date.today() + dt.timedelta(days=80))
    coach = {"FOOTWORK_FOR_COACH": "1"}
    for words in (
        ["season", "new", "--race", race],
        ["session", "solve", "4 x (4 min at ?, 2 min easy)"],
        ["today"],
        ["today", "--json"],
        ["signs"],
        ["edit", "list"],
        ["diary"],
        ["load", "--json"],
    ):
        own, told = (footwork(*words, library=library.folder, env=env) for env in ({}, coach))
        assert not re.search(f"{SECRET}|diary tells of illness", told.stdout + told.stderr), words
        if words[0] in ("season", "today", "edit"):
            assert re.search(f"{SECRET}|diary tells of illness", own.stdout + own.stderr), words
    for words in (["export", "--all", "--out", tmp_path / "all"], ["backup", tmp_path / "b.zip"]):
        done = footwork(*words, library=library.folder, env=coach)
        assert done.returncode == 2 and "does not share the diary" in done.stderr
    assert not list(tmp_path.glob("*.zip")) and not (tmp_path / "all").exists()
    assert library.progress(date=day).change == seen(library).progress(date=day).change  # one number for whoever looks
