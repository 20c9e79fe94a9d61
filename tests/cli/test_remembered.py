"""What was printed before is printed again, and only while nothing that it rests on has changed."""

import datetime as dt
import shutil

import pytest

from footwork.api import Library
from footwork.maintenance import printed
from tests.program import footwork
from tests.program import ok as asked_ok


def ok(*words, **how):
    return asked_ok(*words, **how).stdout


@pytest.fixture
def library(season_library, tmp_path):
    season_library.close()
    folder = shutil.copytree(season_library.folder, tmp_path / "library")
    shutil.rmtree(folder / printed.FOLDER, ignore_errors=True)
    return folder


@pytest.fixture
def opened(monkeypatch):
    """How often a library was opened."""
    count = []
    there = Library.open.__func__

    def open_(cls, *given, **more):
        count.append(given)
        return there(cls, *given, **more)

    monkeypatch.setattr(Library, "open", classmethod(open_))
    return count


@pytest.mark.parametrize("question", [("today",), ("capacity", "--json"), ("show", "3"), ("runs", "--by", "week")])
def test_an_unchanged_library_is_not_opened_again(library, opened, question):
    first = ok(*question, library=library)
    once = len(opened)
    assert once and first
    assert ok(*question, library=library) == first and len(opened) == once


def test_whatever_it_rests_on_makes_the_answer_anew(library, opened, monkeypatch):
    before = ok("show", "3", library=library)
    assert "race" not in before
    ok("mark", "3", "--as", "race", library=library)
    assert "race" in ok("show", "3", library=library)

    asked = len(opened)
    tomorrow = dt.date.today() + dt.timedelta(days=1)

    class Tomorrow(dt.date):
        @classmethod
        def today(cls):
            return tomorrow

    with monkeypatch.context() as patched:
        patched.setattr(printed.dt, "date", Tomorrow)
        ok("show", "3", library=library)
    assert len(opened) == asked + 1

    monkeypatch.setattr(printed, "_source", lambda: 1)
    ok("show", "3", library=library)
    assert len(opened) == asked + 2


def test_an_error_and_what_was_said_beside_an_answer_are_not_remembered(library, tmp_path):
    for _ in range(2):
        assert footwork("show", "999", library=library).returncode == 2
    assert not (library / printed.FOLDER).exists()
    question, rests = {"command": "x"}, printed.rests_on(library)
    printed.keep(library, question, "of before", "text")
    assert printed.recall(library, question) is None
    printed.keep(library, question, rests, "text\n")
    assert printed.recall(library, question) == "text\n" and printed.recall(library, {"command": "y"}) is None
    printed.keep(tmp_path / "none", question, printed.rests_on(tmp_path / "none"), "text")
    assert not (tmp_path / "none").exists()


def test_a_file_is_read_anew(library, tmp_path):
    course = tmp_path / "course.gpx"
    answers = []
    for points in (50, 80):
        track = "".join(f'<trkpt lat="{50 + k / 1000}" lon="8"><ele>100</ele></trkpt>' for k in range(points))
        course.write_text(
            f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{track}</trkseg></trk></gpx>'
        )
        answers.append(ok("race", "--course", course, "--flat", library=library))
    assert answers[0] != answers[1]


def test_deleting_for_ever_takes_what_was_printed_with_it(library):
    ok("show", "3", library=library)
    assert list((library / printed.FOLDER).iterdir())
    ok("edit", "delete", "3", "--forever", "--yes", library=library)
    assert not (library / printed.FOLDER).exists()


def test_the_oldest_answers_go_first(library, monkeypatch):
    monkeypatch.setattr(printed, "MOST_KEPT", 3)
    rests = printed.rests_on(library)
    for k in range(5):
        printed.keep(library, {"command": k}, rests, str(k))
    assert len(list((library / printed.FOLDER).iterdir())) == 3
    assert printed.recall(library, {"command": 4}) == "4" and printed.recall(library, {"command": 0}) is None
