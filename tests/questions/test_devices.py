"""Devices of a library: conversion, converted views, drift and breaks, joins, names, checks, runs paired by hand."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from footwork.analysis import speed
from footwork.api import Library
from footwork.demo import season, write
from footwork.errors import NotEnoughData, UsageError
from footwork.history.scales import conversions, scale_keys
from footwork.history.scales.scale_keys import Placing
from footwork.quantities import plain
from footwork.questions import devices
from tests.conftest import fit_of, simulate
from tests.program import of_json, ok

DAY = dt.date(2026, 4, 6)
EASY = [(300, 0.68), (600, 0.72), (600, 0.76), (600, 0.7)]
TEST = [(900, 0.68), (180, 1.22), (900, 0.55), (420, 1.09), (900, 0.55), (720, 1.06), (300, 0.6)]
CHECK = [(600, 0.66), *[(180.0, 0.66), (180.0, 0.75), (180.0, 0.85)] * 2, (300, 0.62)]


def second_of(samples, factor, late=5, serial=2002):
    """The file of a second device: another formula, its clock late."""
    noise = np.random.default_rng(late + 1).normal(0, 3, len(samples.time))
    power = np.rint(np.clip(factor * samples.columns["power"] + noise, 0, None))
    return write.fit_bytes(
        [("running", replace(samples, time=samples.time + late, columns={**samples.columns, "power": power}))], serial
    )


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Six runs on both devices, a test on the first alone, twenty easy runs on the second alone that jump by -6 %."""
    folder = tmp_path_factory.mktemp("devices")
    for k in range(6):
        run = simulate(DAY + dt.timedelta(days=2 * k), EASY, seed=10 + k)
        (folder / f"both-{k}-a.fit").write_bytes(fit_of(run))
        (folder / f"both-{k}-b.fit").write_bytes(second_of(run, 1.15))
    for k, pieces in enumerate((TEST, CHECK)):
        (folder / f"first-{k}.fit").write_bytes(
            fit_of(simulate(DAY + dt.timedelta(days=14 + 3 * k), pieces, seed=30 + k))
        )
    for k in range(20):
        run = simulate(DAY + dt.timedelta(days=20 + 2 * k), EASY, seed=50 + k)
        (folder / f"second-{k}.fit").write_bytes(second_of(run, 1.15 if k < 10 else 1.08, 0))
    return folder


@pytest.fixture
def library(files, tmp_path):
    with Library.open(tmp_path / "library") as made:
        made.athlete.set(DAY, mass=68)
        made.add([files])
        made.mark(next(r.id for r in made.runs() if r.date.startswith("2026-04-20")), "test")
        yield made


def key_of(library, name):
    return scale_keys.known(library, name)


def test_a_conversion_holds_the_factor_and_goes_into_critical_power(library):
    found = library.devices()
    (conversion,) = [c for c in found["conversions"] if c["through"] == "common runs"]
    assert (conversion["from"], conversion["to"]) == ("foot sensor A", "device A")  # most recent time is the second's
    assert conversion["factor"]["low"] <= 1.15 <= conversion["factor"]["high"]
    assert conversion["runs"] == 6
    own, first = library.capacity(scale="device A"), library.capacity(scale="foot sensor A")
    assert own.evidence["kind"] != "tested" and first.evidence["kind"] == "tested"
    converted = library.capacity(scale="device A with converted watts")
    assert converted.evidence["kind"] == "tested" and converted.scale == "device A with converted watts"
    ratio = converted.critical_power.value / first.critical_power.value
    assert ratio == pytest.approx(1.15, rel=0.02)
    # Its error is in it: the spread of runs about it in each piece of evidence, its own in the whole.
    (test,) = [r for r in library.runs() if "test" in r.marks]
    row = next(r for r in conversions.rows_on_scale(library, converted.scale_key) if r.run == test.id)
    assert 0 < row.converted < 0.05 and 0 < row.scale_error < 0.05
    assert converted.posterior.scale_sd == pytest.approx(row.scale_error) and first.posterior.scale_sd == 0
    sure = replace(converted.posterior, scale_sd=0.0).estimates()[0]
    assert converted.critical_power.high - converted.critical_power.low > sure.high - sure.low
    assert library.history(scale="device A with converted watts")["history"][-1]["evidence"] == "tested"
    assert library.race(distance=10_000.0, scale="device A with converted watts").power.value > 0
    assert library.usual(scale="device A with converted watts")["scale"] == "device A with converted watts"


def test_what_was_known_on_a_date_is_not_converted_by_later_runs(library, tmp_path):
    day, scale = DAY + dt.timedelta(days=30), "device A with converted watts"
    second, first = key_of(library, "device A"), key_of(library, "foot sensor A")
    key = second + scale_keys.CONVERTED
    unmeasured = simulate(DAY + dt.timedelta(days=29), EASY, seed=77)
    del unmeasured.columns["power"]  # without a meter: its watts are modelled as the second device shows them
    (tmp_path / "unmeasured.fit").write_bytes(fit_of(unmeasured))
    library.add([tmp_path])

    def known():
        answers = (library.capacity(date=day, scale=scale), library.usual(date=day, scale=scale))
        rows = [(r.run, r.mean_power, r.scale_error) for r in conversions.rows_on_scale(library, key, day)]
        return [plain(a) for a in answers], rows, conversions.between(library, first, second, day).apply(300.0)

    def now():
        return conversions.between(library, first, second).apply(300.0)

    before, factor = known(), now()
    for k in range(6):  # the second device now shows less than it did
        run = simulate(DAY + dt.timedelta(days=80 + 2 * k), EASY, seed=200 + k)
        (tmp_path / f"{k}-a.fit").write_bytes(fit_of(run))
        (tmp_path / f"{k}-b.fit").write_bytes(second_of(run, 1.0))
    library.add([tmp_path])
    assert known() == before
    assert all(date <= day for date in (r.date for r in conversions.rows_on_scale(library, key, day)))
    assert now() < 0.97 * factor  # while today's does learn from them


def test_two_that_never_ran_together_convert_through_modelled_power_with_a_wider_error(library, tmp_path):
    third = simulate(DAY + dt.timedelta(days=70), EASY, seed=99)
    (tmp_path / "c.fit").write_bytes(second_of(third, 1.3, 0, serial=3003))
    library.add([tmp_path / "c.fit"])
    first, third_key = key_of(library, "foot sensor A"), key_of(library, "device B")
    made, direct = (
        conversions.between(library, third_key, first),
        conversions.between(library, key_of(library, "device A"), first),
    )
    assert made.through == "modelled power" and direct.through == "common runs"
    assert made.error(made.centre) > direct.error(direct.centre)
    assert made.apply(made.centre) / made.centre == pytest.approx(1 / 1.3, abs=3 * made.error(made.centre) + 0.02)


def test_an_accepted_cp_stays_on_its_scale(library):
    library.accept(280, DAY + dt.timedelta(days=30), "foot sensor A")
    assert library.capacity(scale="device A").accepted is None
    assert library.capacity(scale="foot sensor A").accepted["critical_power_w"] == 280
    library.break_scale("device A", DAY + dt.timedelta(days=40))
    assert library.capacity(scale="foot sensor A").accepted["critical_power_w"] == 280


def test_a_jump_is_found_dated_sized_and_accepted_as_a_new_scale(library):
    (told,) = [s for s in library.devices()["scales"] if s["name"] == "device A"]
    (jump,) = told["drift"]["jumps"]
    true = DAY + dt.timedelta(days=40)
    assert jump["earliest"] <= true.isoformat() <= jump["latest"]
    assert jump["change"]["low"] <= 100 * (1.08 / 1.15 - 1) <= jump["change"]["high"]
    assert jump["says"] == "device", jump["sentence"]
    edit, name = library.break_scale("device A", true)
    shown = {r.power_scale for r in library.runs()}
    assert name in shown and "device A" in shown
    assert not any(s["drift"]["jumps"] for s in library.devices()["scales"] if s["drift"])
    library.undo(edit)
    assert name not in {r.power_scale for r in library.runs()} and name not in library.scales().values()


def test_scales_are_renamed_and_joined_and_that_is_undone(library, tmp_path):
    assert library.rename_scale("device A", " left  wrist ") == "left wrist"
    assert "left wrist" in {r.power_scale for r in library.runs()}
    third = simulate(DAY + dt.timedelta(days=70), EASY, seed=99)
    (tmp_path / "c.fit").write_bytes(second_of(third, 1.08, 0, serial=3003))
    library.add([tmp_path / "c.fit"])
    before = len(library.runs())
    newest = library.runs()[0].local.date()
    library.accept(270, newest - dt.timedelta(days=2), "device A")
    library.accept(280, newest, "left wrist")
    edit = library.join_scales("device A", "left wrist")
    assert "device A" not in library.scales().values() and len(library.runs()) == before
    assert library.runs()[0].power_scale == "left wrist"
    # What was accepted on either keeps its force, and each can still be taken back.
    held = [library.capacity(date=newest - dt.timedelta(days=d), scale="left wrist").accepted for d in (0, 1)]
    assert [h["critical_power_w"] for h in held] == [280, 270]
    library.undo(edit)
    assert library.runs()[0].power_scale == "device A"
    assert library.capacity(date=newest, scale="device A").accepted["critical_power_w"] == 270
    edit = library.join_scales("device A", "left wrist")
    assert library.withdraw(newest - dt.timedelta(days=2), "left wrist") == 1
    library.undo(edit)
    assert library.capacity(date=newest, scale="device A").accepted is None


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda li: li.rename_scale("nothing", "x"), "no scale 'nothing'"),
        (lambda li: li.rename_scale("device A", "foot sensor A"), "taken"),
        (lambda li: li.rename_scale("device A", ""), "1 to 40"),
        (lambda li: li.rename_scale("model", "mine"), "keeps its name"),
        (lambda li: li.join_scales("device A", "foot sensor A"), "two devices"),
        (lambda li: li.join_scales("device A", "device A"), "two different"),
        (lambda li: li.join_scales("device A", "model"), "no device"),
        (lambda li: li.break_scale("device A", dt.date(2020, 1, 1)), "both sides"),
        (lambda li: li.capacity(scale="nothing with converted watts"), "no scale"),
    ],
)
def test_what_cannot_be_done_to_a_scale_is_said(library, ask, words):
    with pytest.raises(UsageError, match=words):
        ask(library)


def test_a_run_on_another_scale(library):
    run = next(r for r in library.runs() if r.date.startswith("2026-04-20"))
    there = library.mean_on(run.id, "device A")
    assert there["converted"] and there["power"].low <= 1.15 * run.power_w <= there["power"].high
    here = library.mean_on(run.id, "foot sensor A")
    assert not here["converted"] and here["power"].value == pytest.approx(run.power_w, abs=0.5)


def test_the_check_is_found_and_says_what_it_can(library):
    (told,) = [s for s in library.devices()["scales"] if s["name"] == "foot sensor A"]
    (check,) = told["checks"]
    (device,) = check["devices"]
    assert device["start_s"] == pytest.approx(600, abs=6)
    assert 0 < device["typical_error"]["low"] < device["typical_error"]["value"] < device["typical_error"]["high"]
    assert device["response"]["low"] <= 8 and device["coefficient_of_variation"]["value"] < 4
    assert device["linearity"]["low"] <= 0 <= device["linearity"]["high"]
    assert library.device_check(check["run"], 600)["devices"][0]["start_s"] == 600
    with pytest.raises(NotEnoughData, match="no device check"):
        library.device_check(library.runs()[0].id)


def test_power_at_speed_tells_the_formula_and_its_held_out_error(library):
    found = library.power_at_speed(scale="foot sensor A")
    assert found["source"] == "steady minutes" and found["points"] and "not how economically" in found["sentence"]
    for row in found["at"]:
        assert row["one_day"]["low"] <= row["power"]["low"] < row["power"]["value"] < row["power"]["high"]
    middle = found["at"][4]
    # The simulated foot sensor shows 1.02 J/kg/m on the flat.
    assert middle["power"]["value"] / 68 / middle["speed_mps"] == pytest.approx(season.FOOT.flat, rel=0.03)
    assert 0 < found["held_out"]["run_error"]["value"] < 6
    assert {e["name"] for e in found["effects"]} == set(speed.EFFECTS)


def test_runs_hours_apart_are_paired_by_hand(tmp_path):
    run = simulate(DAY, [(600, 0.7), (600, 0.85), (300, 0.6), (600, 1.0)], seed=7)
    (tmp_path / "a.fit").write_bytes(fit_of(run))
    (tmp_path / "b.fit").write_bytes(second_of(run, 1.1, late=7200 + 4))
    other = simulate(DAY + dt.timedelta(days=1), EASY, seed=8)
    (tmp_path / "c.fit").write_bytes(second_of(other, 1.1, 0))
    with Library.open(tmp_path / "library") as library:
        library.add([tmp_path / n for n in ("a.fit", "b.fit", "c.fit")])
        a, b, c = sorted(r.id for r in library.runs())
        edit = library.pair(a, b)
        assert sorted(r.id for r in library.runs()) == [a, c]
        found = library.compare(a)
        assert abs(found["lag_s"]) <= 5 and found["common_s"] > 1800
        assert found["power"]["deming"]["slope"]["value"] == pytest.approx(
            1 / 1.1, abs=0.05
        )  # the wrist device recorded more
        library.trim(a, 60, 1200)
        assert library.compare(a)["common_s"] == pytest.approx(1140, abs=15)
        for e in library.edits():
            library.undo(e["id"])
        assert edit and sorted(r.id for r in library.runs()) == [a, b, c]
        for ask in (lambda: library.pair(a, a), lambda: library.pair(b, c)):
            with pytest.raises(UsageError):
                ask()


def test_too_little_together_gives_no_number(tmp_path):
    run = simulate(DAY, [(400, 0.7)], seed=7)
    (tmp_path / "a.fit").write_bytes(fit_of(run))
    (tmp_path / "b.fit").write_bytes(second_of(run, 1.1))
    with Library.open(tmp_path / "library") as library:
        library.add([tmp_path])
        (conversion,) = library.devices()["conversions"]
        assert conversion["factor"]["value"] is None and "cannot be converted" in conversion["sentence"]
        with pytest.raises(NotEnoughData, match="7 minutes"):
            devices.compare_recordings(library, 1)


def test_the_commands_say_what_the_library_says(files, tmp_path):
    folder = tmp_path / "library"
    with Library.open(folder) as library:
        library.athlete.set(DAY, mass=68)
        library.add([files])
        told = library.devices()
    assert of_json("devices", library=folder) == told.to_json()
    text = ok("devices", library=folder).stdout
    assert told["sentence"] in text and 'footwork devices break "device A"' in text
    assert of_json("devices", "rename", "device A", "wrist", library=folder) == {"name": "wrist"}
    assert of_json("power-at-speed", "--scale", "wrist", library=folder)["scale"] == "wrist"
    assert "flat at" in ok("power-at-speed", "--scale", "wrist", library=folder).stdout
    assert "three minutes" in ok("devices", "check", library=folder).stdout.replace("3 min", "three minutes")
    assert "On wrist" in ok("show", 1, "--scale", "wrist", library=folder).stdout
    assert of_json("devices", "break", "wrist", "2026-05-16", library=folder)["scale"] == "wrist from 2026-05-16"


def test_today_says_what_a_change_of_device_asks_for(library):
    library.accept(280, DAY + dt.timedelta(days=30), "foot sensor A")
    due = {item["what"]: item["why"] for item in library.today()["due"]}
    why = due["Accept a critical power on this scale too"]
    assert "280 W were accepted on foot sensor A; on device A" in why and (
        "322 W" in why or "321 W" in why or "323 W" in why
    )
    assert "device A shows" in due["Look at your device"]
    library.accept(320, DAY + dt.timedelta(days=30), "device A")
    assert "Accept a critical power on this scale too" not in {item["what"] for item in library.today()["due"]}


def test_breaks_and_joins_in_either_order():
    of = Placing({"a": "b"}, {"a": ("2026-05-01",)}).key
    assert of("a", "2026-04-01") == "b" and of("a", "2026-06-01") == "a@2026-05-01"  # the part broken off stays apart
    of = Placing({"a": "b"}, {"b": ("2026-05-01", "2026-06-01")}).key
    assert [of("a", d) for d in ("2026-04-30", "2026-05-01", "2026-06-02")] == ["b", "b@2026-05-01", "b@2026-06-01"]
    assert Placing({"a": "b", "b@2026-05-01": "c"}, {"b": ("2026-05-01",)}).raws("c") >= {"a", "b", "c"}
    assert Placing({"a": "b", "b": "a"}, {}).key("a", "2026-01-01") in ("a", "b")  # no endless turn
