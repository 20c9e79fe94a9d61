"""The demo's season, made once for all that ask it."""

import os
import shutil
from pathlib import Path

import pytest
from filelock import FileLock

from footwork.api import Library
from footwork.demo import make


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory) -> Path:
    """A folder as ``footwork demo`` makes it. FOOTWORK_TEST_DEMO names one that is there already."""
    made = os.environ.get("FOOTWORK_TEST_DEMO")
    if not made:  # one of the processes that run the tests makes it, the others take a copy
        made = tmp_path_factory.getbasetemp().parent / "demo-of-all"
        with FileLock(f"{made}.lock"):
            if not made.exists():
                make(made.with_suffix(".part"))
                made.with_suffix(".part").rename(made)
    return shutil.copytree(made, tmp_path_factory.mktemp("demo") / "season")


@pytest.fixture(scope="session")
def demo_library(demo_folder):
    with Library.open(demo_folder / "library") as library:
        yield library
