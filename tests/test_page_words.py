"""Words of the command line, which the rooms below say, never stand on a page."""

import ast
import re
from pathlib import Path

import pytest

import footwork
from footwork.web.page_words import on_page, sentence

SOURCE = Path(footwork.__file__).parent
COMMAND = re.compile(r"(?<![\w-])--[a-z]|\bfootwork [a-z]|check-up --")
NOT_ON_PAGES = {"cli", "web", "demo", "charts"}  # the first says it to those who have one; the rest say none


def told(source):
    """Every text of a module but its docstrings, with 7 for what is filled in."""
    tree = ast.parse(source)
    inner = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            inner |= {first.value} if isinstance(first, ast.Expr) else set()
        if isinstance(node, ast.JoinedStr):
            inner |= set(node.values)
    for node in ast.walk(tree):
        if node in inner:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.JoinedStr):
            yield "".join(str(v.value) if isinstance(v, ast.Constant) else "7" for v in node.values)


def test_all_that_names_a_command_has_words_for_pages():
    found = [
        said
        for path in SOURCE.rglob("*.py")
        if path.relative_to(SOURCE).parts[0] not in NOT_ON_PAGES
        for said in told(path.read_text("utf-8"))
        if COMMAND.search(said)
    ]
    assert len(found) > 50
    assert [(said, on_page(said)) for said in found if COMMAND.search(on_page(said))] == []


@pytest.mark.parametrize(
    ("said", "on_the_page"),
    [
        (
            "it has no date: add it with --start, for example --start 2026-04-14T18:05",
            "It has no date: say when it began under “A file that holds no date”, and drop it here again.",
        ),
        (
            "the runs have no power, and without a mass none can be modelled: footwork athlete --mass KG",
            "The runs have no power, and without a mass none can be modelled: say it under Settings.",
        ),
        (
            "there is no session 7: 'footwork session list' shows them",
            "There is no session 7: the Sessions page shows them.",
        ),
        ("--start 2031-01-01 lies in the future", "The beginning you gave, 2031-01-01, lies in the future."),
        ("--overnight-hrv is too large", "“overnight hrv” is too large."),
        ("the file my-run--start.fit is empty", "The file my-run--start.fit is empty."),
        ("the file a --take2 run.fit is empty", "The file a --take2 run.fit is empty."),
        ("did you mean Thursday?", "Did you mean Thursday?"),
        (
            "nothing was added: --start 2031-01-01 lies in the future",
            "Nothing was added: the beginning you gave, 2031-01-01, lies in the future.",
        ),
        ("", ""),
    ],
)
def test_a_sentence_of_the_program_on_a_page(said, on_the_page):
    assert sentence(said) == on_the_page


def test_an_option_is_called_as_its_field_is():
    labels = {"--sleep": "How long did you sleep? Hours", "--sleep-quality": "How well?"}
    assert sentence("--sleep-quality: 30 is not 0 to 10", labels) == "“How well?”: 30 is not 0 to 10."
    assert sentence("'--sleep' is 30: a day has 24 hours", labels) == (
        "“How long did you sleep? Hours” is 30: a day has 24 hours."
    )


def test_what_a_runner_wrote_stays():
    for note in (
        "windy -- and --hot",
        "my footwork was quick",
        "3 --course records",
        "race notes --start 2026-05-01T09:00 Berlin",
        "my plan: --race 2026-12-13 or later",
        "--start was cold; give --course more time; --log has it",
    ):
        assert on_page(note) == note
