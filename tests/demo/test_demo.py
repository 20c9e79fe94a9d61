"""The demo season: what is true of it must be what the tool says."""

import datetime as dt


def test_a_true_gain_is_told_at_the_end_and_not_in_the_heat(demo_library):
    found = demo_library.progress()
    assert found["verdict"] == "improved" and found["change"]["low"] < 3.05 < found["change"]["high"]
    # In the middle of the hot week raw heart rate at power is higher than before it: that is no loss.
    hot = demo_library.progress(date=dt.date(2026, 7, 17))
    assert hot["verdict"] in ("cannot tell yet", "improved")
    week = demo_library.compare_runs("2026-06-29..2026-07-12", "2026-07-13..2026-07-19")
    assert week["verdict"] == "cannot tell yet" and any(
        d.startswith("temperature: ") for d in week["differences_in_conditions"]
    )


def test_the_shoe_matters_and_the_posture_does_not(demo_library):
    words = {t["name"]: demo_library.analyse_trial(t["id"])["verdict"] for t in demo_library.trials()}
    assert words == {"blue pair": "improved", "hands low": "no worthwhile change"}
