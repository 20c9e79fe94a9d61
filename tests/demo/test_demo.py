"""The demo season: what is true of it must be what the tool says."""

import datetime as dt

import pytest

from footwork import demo
from footwork.api import Library


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    made = demo.make(tmp_path_factory.mktemp("demo") / "season")
    with Library.open(made["library"]) as opened:
        yield opened


def test_a_true_gain_is_told_at_the_end_and_not_in_the_heat(library):
    found = library.progress()
    assert found["verdict"] == "improved" and found["change"]["low"] < 3.05 < found["change"]["high"]
    # In the middle of the hot week raw heart rate at power is higher than before it: that is no loss.
    hot = library.progress(date=dt.date(2026, 7, 17))
    assert hot["verdict"] in ("cannot tell yet", "improved")
    week = library.compare_runs("2026-06-29..2026-07-12", "2026-07-13..2026-07-19")
    assert week["verdict"] == "cannot tell yet" and any(
        d.startswith("temperature: ") for d in week["differences_in_conditions"]
    )


def test_the_shoe_matters_and_the_posture_does_not(library):
    words = {t["name"]: library.analyse_trial(t["id"])["verdict"] for t in library.trials()}
    assert words == {"blue pair": "improved", "hands low": "no worthwhile change"}
