"""Comments of coach and runner on a run, a session, a week or a race."""

import datetime as dt

import pytest

from footwork import Library
from footwork.errors import FootworkError, UsageError
from tests.program import footwork, of_json, ok

DAY = dt.timedelta(days=1)


def test_comments_stand_with_who_and_when_beside_what_they_are_about(library):
    run = library.runs()[0]
    day = run.local.date()
    session = library.plan_session("30 min easy", day + DAY)
    library.comment("  smooth\n\n and   even ", run=run.id)
    library.comment("take it easy", session=session, by="Nora")
    library.comment("a good week", week=day)
    last = library.comment("start slower", race=day + 20 * DAY)
    found = library.comments()
    assert [(c["about"], c["of"], c["by"]) for c in found] == [
        ("run", str(run.id), "runner"),
        ("session", str(session), "Nora"),
        ("week", (day - day.weekday() * DAY).isoformat(), "runner"),
        ("race", (day + 20 * DAY).isoformat(), "runner"),
    ]
    assert found[0]["text"] == "smooth\n\nand even" and found[0]["at"].endswith("Z")
    assert [c["text"] for c in library.comments(week=day - day.weekday() * DAY)] == ["a good week"]
    assert library.edits()[0]["sentence"] == f"runner on race {day + 20 * DAY}: start slower"
    library.undo(last)
    assert len(library.comments()) == 3
    moved = library.change_session(session, date=day + 5 * DAY)
    assert [c["by"] for c in library.comments(session=moved)] == ["Nora"]  # it goes with the session
    with Library.open(library.folder) as coach:
        coach.for_coach = True
        coach.comment("seen", run=run.id)
        assert library.comments(run=run.id)[-1]["by"] == "coach"


@pytest.mark.parametrize(
    "text, about, words",
    [
        ("  ", {"run": 1}, "says something"),
        ("x" * 2001, {"run": 1}, "2001"),
        ("x", {}, "about one thing"),
        ("x", {"run": 1, "week": dt.date(2026, 4, 1)}, "about one thing"),
        ("x", {"run": 999}, "no run 999"),
        ("x", {"session": 999}, "no session 999"),
    ],
)
def test_a_comment_that_cannot_be_is_refused(library, text, about, words):
    with pytest.raises(FootworkError, match=words):
        library.comment(text, **about)
    assert library.comments() == []


def test_commands_write_list_and_export_them(library, tmp_path):
    run = library.runs()[0].id
    made = of_json("comment", run, "well", "done", library=library.folder)
    assert (made["about"], made["of"], made["text"], made["by"]) == ("run", str(run), "well done", "runner")
    ok("comment", "7 hills", "--week", "2026-04-15", "--by", "coach", library=library.folder)
    said = ok("comments", library=library.folder).stdout.splitlines()
    assert said[0].endswith(f"runner on run {run}: well done") and said[1].endswith("on week 2026-04-13: 7 hills")
    assert of_json("comments", run, library=library.folder) == [made]
    assert footwork("comment", "nothing", library=library.folder).returncode == 2
    library.export_all(tmp_path / "all")
    assert '"well done"' in (tmp_path / "all" / "library.json").read_text()


def test_undone_by_its_number(library):
    number = library.comment("x", run=library.runs()[0].id)
    assert "runner on run" in library.undo(number)
    with pytest.raises(UsageError):
        library.undo(number)
