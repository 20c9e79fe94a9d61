"""The house: no circle, questions entered by their doors, names that tell where things are, no call of one system."""

import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).parents[1]
SOURCES = sorted((ROOT / "src" / "footwork").rglob("*.py"))


@pytest.fixture(scope="module")
def arrows() -> dict[str, set[str]]:
    """Every module with those it imports, late imports too."""
    graph = grimp.build_graph("footwork", exclude_type_checking_imports=True, cache_dir=None)
    return {module: graph.find_modules_directly_imported_by(module) for module in graph.modules}


def test_there_is_no_circle(arrows):
    left = {module: set(below) & arrows.keys() - {module} for module, below in arrows.items()}
    while ready := [module for module, below in left.items() if not below & left.keys()]:
        for module in ready:
            del left[module]
    assert not left, f"these wait for each other: {sorted(left)}"


def test_a_question_is_entered_by_its_door(arrows):
    for module, below in arrows.items():
        for other in below:
            parts = other.split(".")
            if parts[1:2] == ["questions"] and len(parts) > 3:
                assert module.startswith(".".join(parts[:3])), f"{module} reaches into {other}"


def test_no_two_files_share_a_name():
    names = Counter(path.name for path in SOURCES if path.name not in ("__init__.py",))
    assert not [name for name, count in names.items() if count > 1]


def test_no_file_holds_two_ideas():
    long = {
        str(p.relative_to(ROOT)): n for p in SOURCES if (n := len(p.read_text(encoding="utf-8").splitlines())) > 500
    }
    assert not long, long


def test_everything_starts_where_the_calls_of_one_system_are_missing():
    """As on Windows: no fcntl, no process priorities, no process groups."""
    hidden = """
import os, signal, sys
for name in ("fcntl", "grp", "pwd", "resource", "termios", "pty"):
    sys.modules[name] = None
for name in ("setpriority", "getpriority", "nice", "fork", "killpg", "getuid", "geteuid", "PRIO_PROCESS"):
    if hasattr(os, name):
        delattr(os, name)
for name in ("SIGKILL", "SIGHUP"):
    delattr(signal, name)
import importlib, pkgutil, footwork
for module in pkgutil.walk_packages(footwork.__path__, "footwork."):
    if not module.name.endswith("__main__") and ".migrations." not in module.name:
        importlib.import_module(module.name)
"""
    done = subprocess.run(
        [sys.executable, "-c", hidden], capture_output=True, text=True, env={**os.environ, "CI": "true"}
    )
    assert done.returncode == 0, done.stderr


def test_no_source_calls_what_only_one_system_has():
    for path in SOURCES:
        text = path.read_text(encoding="utf-8")
        for call in ("import fcntl", "os.fork", "os.getppid", "signal.SIGKILL", "os.nice"):
            assert call not in text, f"{path}: {call}"
