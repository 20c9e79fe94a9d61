"""A pytest plugin: coverage knows each line by the test that ran it, parameters too."""

import coverage


def pytest_runtest_setup(item):
    running = coverage.Coverage.current()
    if running is not None:
        running.switch_context(item.nodeid)
