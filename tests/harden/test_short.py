"""A short version of each attack of `make harden`; mutants and bombs are with the readers' tests."""

import pytest

from tests.harden import crowd, flips, hostile, kills, machine, scene


@pytest.fixture(scope="module")
def attacked(tmp_path_factory):
    """Folder, library and files."""
    work = tmp_path_factory.mktemp("attacked")
    work.chmod(0o755)
    return work, *scene.made(work)


def test_every_changed_bit_is_found(attacked):
    work, library, _ = attacked
    for kind, (tried, wrong) in flips.attack(library, work, 60, seed=5, rebuilt=2).items():
        assert tried >= 20 and wrong == [], kind


@pytest.mark.parametrize("name", ["add", "backup", "check-up --repair"])
def test_a_kill_loses_nothing_and_leaves_nothing(attacked, name):
    work, library, files = attacked
    found = kills.attack(name, 2, library, files, work, seed=7)
    assert found.faults == [] and found.killed + found.ended == 2


def test_a_crowd_finds_everything_once(attacked):
    work, _, files = attacked
    found = crowd.attack(files, work, seconds=6)
    assert found.faults == [] and found.took and found.imports >= 1


def test_faults_of_the_machine_are_one_sentence_each(attacked):
    work, library, files = attacked
    found = machine.attack(library, files, work)
    assert {fault: wrong for fault, wrong in found.items() if wrong} == {}
    assert found["newer schema"] == []


def test_hostile_input_is_refused_or_text(attacked):
    work, _, _ = attacked
    assert hostile.archives(work) == (9, []) and hostile.names(work)[1] == []
