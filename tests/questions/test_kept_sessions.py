"""Kept sessions are moved, copied, said otherwise and repeated; a calendar sees one event throughout."""

import datetime as dt
import re

import pytest

from footwork.api import Library
from footwork.errors import UsageError
from footwork.history.log import entries
from footwork.questions.sessions import calendar
from footwork.web.pages.session_week import restore
from tests.program import footwork, of_json, ok


@pytest.fixture
def library():
    with Library.from_nothing() as made:
        yield made


def kept(library):
    return [(str(r["date"]), r["text"], r["name"]) for r in reversed(library.sessions())]


def test_a_session_is_moved_and_said_otherwise_as_one_event(library):
    number = library.plan_session("30 min easy", "2026-05-04", "Easy")
    moved = library.change_session(number, "2026-05-06")
    again = library.change_session(moved, text="40 min easy", name="")
    assert kept(library) == [("2026-05-06", "40 min easy", "")]
    assert len({number, moved, again}) == 3 and library.sessions()[0]["first"] == number
    assert f"UID:session-{number}@footwork".encode() in calendar(library)
    with pytest.raises(UsageError, match=f"no session {number} any more: it was changed, and is session {again}$"):
        library.change_session(number, "2026-05-07")
    with pytest.raises(UsageError):
        library.change_session(again, text="run about")
    assert kept(library) == [("2026-05-06", "40 min easy", "")]


def test_a_change_that_is_undone_keeps_the_session_as_it_was(library):
    number = library.plan_session("30 min easy", "2026-05-04", "Easy")
    moved = library.change_session(number, "2026-05-06")
    library.change_session(moved, text="40 min easy")
    for stands in (("2026-05-06", "30 min easy", "Easy"), ("2026-05-04", "30 min easy", "Easy")):
        said = library.undo(library.sessions()[0]["id"])
        assert kept(library) == [stands] and library.sessions()[0]["first"] == number
        assert said.endswith(f"it stands for {stands[0]} again, as session {library.sessions()[0]['id']}")
    library.undo(library.sessions()[0]["id"])
    assert kept(library) == []


def test_what_two_undo_at_once_is_undone_once(library):
    """Both have read that it stands; the second finds that it does not."""
    number = library.change_session(library.plan_session("30 min easy", "2026-05-04"), "2026-05-06")
    with library.writing() as connection:
        entries.take_back(connection, number)
    with pytest.raises(UsageError, match=f"edit {number} is undone already"), library.writing() as connection:
        entries.take_back(connection, number)


def test_a_session_is_dropped_however_often_it_was_changed(library):
    moved = library.change_session(library.plan_session("30 min easy", "2026-05-04"), "2026-05-06")
    library.drop_session(moved)
    assert kept(library) == []
    with pytest.raises(UsageError, match="there is no session"):
        library.drop_session(moved)


def test_copies_and_weekly_repeats_are_sessions_of_their_own(library):
    number = library.plan_session("30 min easy", "2026-12-28", "Easy")
    copy = library.copy_session(number, "2026-12-30")
    made = library.repeat_session(number, 2)
    days = [d for d, _, _ in kept(library)]
    assert days == ["2026-12-28", "2026-12-30", "2027-01-04", "2027-01-11"] and len(made) == 2
    assert len({r["first"] for r in library.sessions()}) == 4 and copy != number
    for twice in (
        lambda: library.copy_session(number, "2026-12-28"),
        lambda: library.copy_session(copy, "2027-01-04"),
        lambda: library.repeat_session(number, 3),  # of which two are kept
    ):
        with pytest.raises(UsageError, match="has the same session already, number "):
            twice()
    assert [d for d, _, _ in kept(library)] == days
    library.copy_session(library.plan_session("30 min easy", "2026-12-29", "Another"), "2026-12-28")
    for weeks in (0, 53):
        with pytest.raises(UsageError, match="1 to 52"):
            library.repeat_session(number, weeks)


def test_the_last_change_is_undone_whatever_it_was(library):
    a = library.plan_session("30 min easy", "2026-05-04", "A")
    library.plan_session("20 min easy", "2026-05-05", "B")
    for change in (
        lambda: library.change_session(a, "2026-05-09", "50 min easy", "C"),
        lambda: library.undo(library.sessions()[0]["id"]),
        lambda: library.repeat_session(library.sessions()[0]["id"], 3),
        lambda: library.plan_session("10 min easy", dt.date(2026, 5, 8)),
    ):
        before = library.sessions()
        state = kept(library)
        change()
        assert kept(library) != state
        restore(library, before)
        assert kept(library) == state
    assert {r["first"] for r in library.sessions()} >= {a}


def test_the_command_line_changes_copies_and_repeats(tmp_path):
    folder = tmp_path / "library"
    Library.open(folder).close()
    number = of_json("session", "new", "30 min easy", "--date", "2026-05-04", library=folder)["id"]
    [row] = of_json("session", "change", number, "--date", "2026-05-05", library=folder)
    assert row["date"] == "2026-05-05"
    assert [r["date"] for r in of_json("session", "repeat", row["id"], "--weeks", 2, library=folder)] == [
        "2026-05-12",
        "2026-05-19",
    ]
    assert of_json("session", "copy", row["id"], "2026-05-06", library=folder)[0]["text"] == "30 min easy"
    for wrong in (("change", row["id"]), ("change", 999, "--date", "2026-05-05"), ("copy", row["id"], "soon")):
        done = footwork("session", *wrong, library=folder)
        assert done.returncode == 2 and done.stderr.startswith("footwork: ")
    assert len(of_json("session", "list", library=folder)) == 4


def test_the_list_begins_with_what_is_next_and_ends_with_what_was_first(library):
    today = library.current_day()
    for days, name in ((9, "later"), (-20, "long ago"), (0, "today"), (-2, "lately")):
        library.plan_session("30 min easy", today + dt.timedelta(days=days), name)
    lines = ok("session", "list", library=library.folder).stdout.splitlines()
    assert [re.search(r"  (\w[a-z ]+): ", line)[1] for line in lines] == ["today", "later", "lately", "long ago"]
    assert "to come" in lines[1] and "to come" not in lines[2]
