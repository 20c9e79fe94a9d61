"""The demo's season, made once for all that ask it."""

import os
import shutil
from pathlib import Path

import pytest

from footwork.api import Library
from footwork.demo import make


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory) -> Path:
    """A folder as ``footwork demo`` makes it. FOOTWORK_TEST_DEMO names one that is there already."""
    made = os.environ.get("FOOTWORK_TEST_DEMO")
    folder = tmp_path_factory.mktemp("demo") / "season"
    if made:
        shutil.copytree(made, folder)
    else:
        make(folder)
    return folder


@pytest.fixture(scope="session")
def demo_library(demo_folder):
    with Library.open(demo_folder / "library") as library:
        yield library
