"""Every command of the README, run on the demo as it stands there."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from footwork import formats
from footwork.demo import write
from footwork.demo.season import Samples
from footwork.formats import archive
from tests.program import footwork

ROOT = Path(__file__).parents[2]
HOURS = "time,temperature,wind_speed,wind_direction\n2026-10-04T08:00:00Z,9,3,240\n2026-10-04T09:00:00Z,11,4,250\n"


def commands() -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [line for block in re.findall(r"```\n(.*?)```", text, re.DOTALL) for line in block.splitlines()]
    return [re.split(r"\s+#", line)[0] for line in lines if line.startswith("footwork ")]


@pytest.fixture(scope="module")
def home(demo_folder, tmp_path_factory):
    """The demo with what the README's reader has beside it: recordings at home, a course, weather by the hour, and a
    second device on run 17 whose clock is three hours off."""
    home = tmp_path_factory.mktemp("home")
    work = home / "work"
    shutil.copytree(demo_folder, work)
    (home / "recordings").mkdir()
    shutil.copy(work / "recordings" / "2026-03-04-0845.fit", home / "recordings")
    shutil.copy(work / "recordings" / "cliff-half-marathon.gpx", work / "course.gpx")
    (work / "hours.csv").write_text(HOURS)
    for name in ("anna", "ben"):
        shutil.copytree(work / "library", work / "club" / name)
    (work / "words.txt").write_text("some plain words\n")
    name, data = archive.read_single(work / "recordings" / "2026-03-21-0820.fit")
    (made,) = formats.read(data, name)
    columns = {k: v for k, v in made.columns.items() if k != "time"}
    late = Samples(None, made.columns["time"] + 3 * 3600, columns, made.pauses, [])
    (home / "late.fit").write_bytes(write.fit_bytes([("running", late)], 4711))
    return home


def test_every_command_of_the_readme_runs(home, monkeypatch):
    monkeypatch.chdir(home / "work")
    monkeypatch.setenv("HOME", str(home))
    added = footwork("add", home / "late.fit", library="library")
    assert added.returncode == 0, added.stderr
    asked = commands()
    assert len(asked) > 60
    for line in asked:
        words = [w.replace("~", str(home)) for w in shlex.split(line)[1:]]
        if words[0] == "serve" or "--squad" in words:  # the tests of the pages do, and those of the demo's club
            continue
        done = footwork(*words, library="library")
        assert done.returncode == 0, f"{line}: {done.stderr}"
