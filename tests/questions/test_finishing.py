"""Whether a session can be finished: said when it is kept, and wherever it stands afterwards."""

import datetime as dt
import re
import shutil

import pytest

from footwork.api import Library
from footwork.wording.session_verdicts import can_finish, doubt_to_finish
from tests.program import of_json, ok

BEYOND = "10 min easy, 3 x (10 min at 150 % CP, 2 min easy jog)"


@pytest.fixture
def library(season_library, tmp_path):
    season_library.close()
    with Library.open(shutil.copytree(season_library.folder, tmp_path / "library")) as copy:
        yield copy


@pytest.mark.parametrize(
    ("dry", "said"),
    [
        (0.0, "You can finish it, with something left"),
        (0.02, "You most likely finish it: a chance of 98 %"),
        (0.1, "You probably finish it: a chance of 90 %"),
        (0.25, "You may not finish it: a chance of 25 % that W′ runs out"),
        (0.98, "You may not finish it: a chance of 98 % that W′ runs out"),
        (0.99, "By what is known of you it cannot be finished as it is"),
    ],
)
def test_the_chance_in_words(dry, said):
    assert can_finish(dry) == said
    assert doubt_to_finish(dry) == (said if dry >= 0.25 else "")


def test_a_session_beyond_the_runner_says_so_when_it_is_kept_and_until_it_is_run(library):
    day = library.runs()[0].local.date() + dt.timedelta(days=1)
    kept = ok("session", "new", BEYOND, "--date", day, library=library.folder).stdout
    assert "it cannot be finished as it is; session preview" in kept
    assert of_json("session", "new", "30 min easy", "--date", day, library=library.folder)["run_dry_probability"] < 0.02
    number = next(s["id"] for s in library.sessions() if s["text"] == BEYOND)
    changed = ok("session", "change", number, "--name", "beyond", library=library.folder).stdout
    assert "it cannot be finished as it is." in changed
    shown = ok("today", "--date", day, library=library.folder).stdout
    beyond, easy = (next(r for r in shown.splitlines() if of in r) for of in (BEYOND, ": 30 min easy"))
    assert beyond.endswith("By what is known of you it cannot be finished as it is.") and "finish" not in easy
    assert ", its hardest part at " in beyond and re.search(r"easy, at \d+ W$", easy)
    preview = ok("session", "preview", BEYOND, library=library.folder).stdout
    assert "W′ runs out in 10 min at 150 % CP that begins at 10:00, repeat 1; chance of running dry 100 %." in preview
    assert "W′ 0.0 kJ  dry by then 100 %" in preview and "W′ -" not in preview
