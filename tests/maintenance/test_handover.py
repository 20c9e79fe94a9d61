"""One encrypted file between two sides: what is inside, what taking it changes, and what is refused."""

import datetime as dt
import json
import shutil
import sqlite3
import zipfile
from contextlib import closing

import pytest

from footwork import Library
from footwork.errors import UnreadableFile, UsageError
from footwork.history.log import uniting
from footwork.maintenance import encryption, handover
from tests.conftest import fit_of, simulate
from tests.program import footwork, of_json, ok

WORDS = "four plain words here"
SECRET = "sciatica-word"
DAY = dt.timedelta(days=1)


@pytest.fixture
def coach(library, tmp_path):
    """The coach's copy of the runner's library, as both had it some day."""
    library.plan_session("30 min easy", library.runs()[0].local.date() + 3 * DAY, "first")
    library.close()
    shutil.copytree(library.folder, tmp_path / "coach")
    with Library.open(tmp_path / "coach") as made:
        yield made


def given(side, tmp_path, **what):
    path = tmp_path / f"h{len(list(tmp_path.iterdir()))}.age"
    handover.hand_over(side, path, WORDS, **what)
    return path


def texts(side):
    return sorted((str(s["date"]), s["text"]) for s in side.sessions())


def test_a_coachs_plan_comes_to_the_runner_entry_by_entry(library, coach, tmp_path):
    day = library.runs()[0].local.date()
    coach.for_coach = True
    added = coach.plan_session("50 min easy", day + 5 * DAY, "second")
    coach.change_session(coach.sessions()[-1]["id"], date=day + 4 * DAY)
    coach.comment("easy means easy", session=added)
    coach.comment("well run", run=coach.runs()[0].id)
    coach.tell(date=day, note=SECRET)
    path = given(coach, tmp_path, plan=True)
    seen = handover.receive(path, WORDS, library)
    assert not seen.taken and len(seen.united.new) == 4 and len(seen.united.undone) == 1 and not seen.united.conflicts
    assert texts(library) != texts(coach)  # nothing is changed by looking
    taken = handover.receive(path, WORDS, library, write=True)
    assert taken.taken and texts(library) == texts(coach)
    assert [(c["about"], c["text"], c["by"]) for c in library.comments()] == [
        ("session", "easy means easy", "coach"),
        ("run", "well run", "coach"),
    ]
    of_session = next(c for c in library.comments() if c["about"] == "session")
    assert of_session["of"] == str(next(s["first"] for s in library.sessions() if s["name"] == "second"))
    assert SECRET not in json.dumps(library.edits())  # a plan holds no diary
    again = handover.receive(path, WORDS, library, write=True)
    assert again.united.changes == 0 and texts(library) == texts(coach)


def test_both_sides_work_and_their_logs_unite(library, coach, tmp_path):
    day = library.runs()[0].local.date()
    (tmp_path / "new.fit").write_bytes(fit_of(simulate(day + DAY, [(1500, 0.7)], seed=8), 4711))
    library.add([tmp_path / "new.fit"])  # a run that only the runner has
    library.mark(library.runs()[0].id, "long")
    library.enter_run("2026-04-01T07:00", "31:00", "5km")
    library.tell(date=day, soreness=4.0)
    coach.plan_session("60 min easy", day + 9 * DAY)
    path = given(library, tmp_path, whole=True, with_diary=True)
    seen = handover.receive(path, WORDS, coach)
    assert seen.recordings == 1 and len(seen.united.new) == 3 and not seen.united.without_run
    done = handover.receive(path, WORDS, coach, write=True)
    assert done.recordings == 1 and not done.united.conflicts
    ours, theirs = ({(r.start, r.marks) for r in side.runs()} for side in (library, coach))
    assert ours == theirs and len(coach.sessions()) == 2
    assert next(d for d in coach.diary(day, day) if d["run"] is None)["soreness"] == 4.0
    back = given(coach, tmp_path, whole=True)
    handover.receive(back, WORDS, library, write=True)
    assert texts(library) == texts(coach)


def test_where_both_said_something_else_it_is_shown_and_left_as_it_is_here(library, coach, tmp_path):
    day = library.runs()[0].local.date()
    number = library.sessions()[0]["id"]
    library.change_session(number, date=day + 6 * DAY)
    coach.change_session(number, date=day + 7 * DAY)
    library.tell(date=day, soreness=2.0)
    coach.tell(date=day, soreness=6.0)
    library.accept(250.0, day)
    coach.accept(260.0, day)
    path = given(coach, tmp_path, whole=True, with_diary=True)
    seen = handover.receive(path, WORDS, library)
    assert len(seen.united.conflicts) == 3 and seen.united.new == []
    assert any(str(day + 6 * DAY) in c and str(day + 7 * DAY) in c for c in seen.united.conflicts)
    handover.receive(path, WORDS, library, write=True)
    assert [s["date"] for s in library.sessions()] == [str(day + 6 * DAY)]
    assert library.capacity(date=day).accepted["critical_power_w"] == 250.0
    handover.receive(path, WORDS, library, write=True, take_theirs=True)
    assert [s["date"] for s in library.sessions()] == [str(day + 7 * DAY)]
    assert [d["soreness"] for d in library.diary(day, day) if d["run"] is None] == [6.0]
    assert library.capacity(date=day).accepted["critical_power_w"] == 260.0


def test_each_sides_own_sessions_both_stand_though_their_numbers_are_one(library, coach, tmp_path):
    day = library.runs()[0].local.date()
    mine = library.plan_session("20 min easy", day + 8 * DAY, "mine")
    yours = coach.plan_session("25 min easy", day + 9 * DAY, "yours")
    assert mine == yours  # each side counts on from the same copy
    coach.comment("on yours", session=yours)
    moved = coach.plan_session("35 min easy", day + 10 * DAY, "moved")
    coach.change_session(moved, date=day + 11 * DAY)
    path = given(coach, tmp_path, plan=True)
    for _ in range(2):
        found = handover.receive(path, WORDS, library, write=True)
        assert found.united.conflicts == []
        assert {s["name"] for s in library.sessions()} == {"first", "mine", "yours", "moved"}
        said = library.comments()[0]
        assert said["of"] == str(next(s["first"] for s in library.sessions() if s["name"] == "yours"))
    assert str(day + 11 * DAY) == next(s["date"] for s in library.sessions() if s["name"] == "moved")


def test_what_was_said_later_counts_wherever_it_was_said(library, coach, tmp_path):
    day = library.runs()[0].local.date()
    library.tell(date=day - DAY, illness="cold")
    path = given(library, tmp_path, whole=True, with_diary=True)
    handover.receive(path, WORDS, coach, write=True)
    coach.tell(date=day, well="again")
    library.tell(date=day, illness="worse")  # later than what the coach wrote
    handover.receive(given(coach, tmp_path, whole=True, with_diary=True), WORDS, library, write=True)
    assert library.health(day).state == "ill"
    library.mark(library.runs()[2].id, "race")
    coach.mark(coach.runs()[2].id, "test")
    seen = handover.receive(given(coach, tmp_path, whole=True), WORDS, library, write=True)
    assert any("at once" in c for c in seen.united.conflicts)
    assert library.runs()[2].marks == ("race",)


def test_what_was_removed_for_ever_does_not_come_back_from_another_copy(library, coach, tmp_path):
    day = library.runs()[0].local.date()
    library.tell(date=day, pregnancy="begins")
    handover.receive(given(library, tmp_path, whole=True, with_diary=True), WORDS, coach, write=True)
    assert coach.context().spells
    library.tell(date=day, pregnancy=None)
    gone = library.runs()[3].start
    library.delete(library.runs()[3].id, forever=True)
    seen = handover.receive(given(coach, tmp_path, whole=True, with_diary=True), WORDS, library, write=True)
    assert seen.recordings == 0 and not library.context().spells
    assert gone not in {r.start for r in library.runs()}


def test_consent_that_was_withdrawn_stays_withdrawn(library, coach, tmp_path):
    library.consent("told")
    handover.receive(given(library, tmp_path, whole=True), WORDS, coach, write=True)
    coach.share_diary(True)
    library.withdraw_consent()
    handover.receive(given(coach, tmp_path, whole=True), WORDS, library, write=True)
    assert library.sharing().consent is None and not library.sharing().diary
    coach.for_coach = True
    with pytest.raises(UsageError, match="the runner's to say"):
        coach.undo(next(e["id"] for e in coach.edits() if e["kind"] == "privacy"))


def test_a_log_that_is_none_or_newer_is_refused(library):
    log = uniting.packed(library)
    for broken in ({}, {**log, "entries": [1]}, {**log, "entries": [{**log["entries"][0], "payload": []}]}):
        with pytest.raises(UsageError, match="no log of ours"):
            uniting.unite(library, broken)
    newer = {**log, "entries": [{**log["entries"][0], "kind": "dream"}]}
    with pytest.raises(UsageError, match="newer Footwork, which knows 'dream'"):
        uniting.unite(library, newer)


def test_a_whole_library_is_made_of_it_without_the_diary_unless_wanted(library, tmp_path):
    library.tell(date=library.runs()[0].local.date(), illness=SECRET)
    handover.receive_into(given(library, tmp_path, whole=True), WORDS, tmp_path / "new")
    assert SECRET.encode() not in (tmp_path / "new" / "library.sqlite").read_bytes()
    with Library.open(tmp_path / "new") as made:
        assert [r.start for r in made.runs()] == [r.start for r in library.runs()] and made.diary() == []
        assert made.capacity().critical_power == library.capacity().critical_power
    handover.receive_into(given(library, tmp_path, whole=True, with_diary=True), WORDS, tmp_path / "newer")
    with Library.open(tmp_path / "newer") as made:
        assert made.diary()[0]["illness"] == SECRET
    with pytest.raises(UsageError, match="no whole library"):
        handover.receive_into(given(library, tmp_path, plan=True), WORDS, tmp_path / "third")
    with pytest.raises(UsageError, match="there already"):
        handover.receive_into(given(library, tmp_path, whole=True), WORDS, tmp_path / "new")


def test_it_is_unreadable_without_the_passphrase_and_nothing_is_changed_by_a_bad_file(library, coach, tmp_path, cipher):
    coach.plan_session("60 min easy", coach.runs()[0].local.date() + 9 * DAY)
    path = given(coach, tmp_path, plan=True)
    content = path.read_bytes()
    assert content.startswith(b"age-encryption.org/v1") and b"60 min easy" not in content
    state = library.state()
    for bad in (content[: len(content) // 2], content[:-1] + bytes([content[-1] ^ 1]), b"", b"age-encryption.org/v1\n"):
        (tmp_path / "bad.age").write_bytes(bad)
        with pytest.raises(UnreadableFile, match="nothing was taken"):
            handover.receive(tmp_path / "bad.age", WORDS, library, write=True)
    with pytest.raises(UnreadableFile, match="passphrase is wrong"):
        handover.receive(path, "another passphrase", library, write=True)
    (tmp_path / "other.age").write_bytes(encryption.encrypted(b"no archive", WORDS))
    with pytest.raises(UnreadableFile, match="no hand-over of ours"):
        handover.receive(tmp_path / "other.age", WORDS, library, write=True)
    assert library.state() == state
    with pytest.raises(UsageError, match="at least 10"):
        handover.hand_over(library, tmp_path / "x.age", "short", plan=True)
    with pytest.raises(UsageError, match="say what"):
        handover.hand_over(library, tmp_path / "x.age", WORDS)
    with pytest.raises(UsageError, match="there already"):
        handover.hand_over(library, path, WORDS, plan=True)


def test_another_runners_is_refused(library, tmp_path):
    with Library.open(tmp_path / "stranger") as stranger:
        (tmp_path / "s.fit").write_bytes(fit_of(simulate(dt.date(2026, 4, 1), [(1500, 0.7)], seed=99), 5))
        stranger.add([tmp_path / "s.fit"])
        stranger.plan_session("30 min easy", dt.date(2026, 5, 1))
        path = given(stranger, tmp_path, whole=True)
    before = library.state()
    with pytest.raises(UsageError, match="another runner's"):
        handover.receive(path, WORDS, library, write=True)
    assert library.state() == before


def test_commands_hand_over_and_receive(library, coach, tmp_path):
    (tmp_path / "words.txt").write_text(f"{WORDS}\n")
    secret = ["--passphrase-file", tmp_path / "words.txt"]
    coach.plan_session("60 min easy", coach.runs()[0].local.date() + 9 * DAY)
    coach.close()
    said = ok("handover", tmp_path / "a.age", "--plan", "--report", "--zones", *secret, library=coach.folder).stdout
    assert "numbers.pdf" in said and "another way than the file" in said
    shown = ok("receive", tmp_path / "a.age", *secret, "--papers", tmp_path / "papers", library=library.folder).stdout
    assert "new: session planned" in shown and "Nothing is changed yet" in shown
    assert {p.name for p in (tmp_path / "papers").iterdir()} == {
        "numbers.json",
        "numbers.pdf",
        "report.html",
        "report.md",
    }
    told = of_json("receive", tmp_path / "a.age", "--apply", *secret, library=library.folder)
    assert told["taken"] and len(told["new"]) == 1
    assert "Nothing of it is new" in ok("receive", tmp_path / "a.age", *secret, library=library.folder).stdout
    asked = footwork("handover", tmp_path / "b.age", "--plan", library=library.folder)
    assert asked.returncode == 2 and "--passphrase-file" in asked.stderr
    whole = ok("handover", tmp_path / "w.age", "--whole", *secret, library=library.folder)
    assert "library" in whole.stdout
    assert "--apply makes a library" in ok("receive", tmp_path / "w.age", *secret, library=tmp_path / "n").stdout
    ok("receive", tmp_path / "w.age", "--apply", *secret, library=tmp_path / "n")
    with closing(sqlite3.connect(tmp_path / "n" / "library.sqlite")) as made:
        assert made.execute("SELECT count(*) FROM file").fetchone()[0] == len(library.known_files())
    assert not zipfile.is_zipfile(tmp_path / "w.age")


def test_a_change_that_came_with_a_handover_can_be_undone(library, coach, tmp_path):
    """Of one that was here the wording before comes back, of one that was not it ends."""
    day = library.runs()[0].local.date()
    known = library.sessions()[0]
    library.plan_session("20 min easy", day + 2 * DAY, "so that numbers differ")
    coach.change_session(known["id"], text="33 min easy")
    coach.change_session(coach.plan_session("25 min easy", day + 3 * DAY, "new"), date=day + 4 * DAY)
    handover.receive(given(coach, tmp_path, plan=True), WORDS, library, write=True)
    changed, new = (next(s for s in library.sessions() if s["text"] == text) for text in ("33 min easy", "25 min easy"))
    library.undo(changed["id"])
    library.undo(new["id"])
    assert texts(library) == sorted([(str(known["date"]), known["text"]), (str(day + 2 * DAY), "20 min easy")])
