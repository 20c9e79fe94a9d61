"""Two devices on one run: offset, agreement and verdict, from files and from a library."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from footwork.api import Library
from footwork.errors import NotEnoughData, UsageError
from footwork.questions import devices
from tests.conftest import fit_of, simulate
from tests.program import footwork, of_json

DAY = dt.date(2026, 4, 6)
PIECES = [(600, 0.7), (900, 0.85), (300, 0.6), (600, 1.0), (600, 0.65)]


def pair(tmp_path, late=7, factor=1.0, constant=0.0, noise=4.0, seed=1):
    rng = np.random.default_rng(seed)
    first = simulate(DAY, PIECES, seed=seed)
    power = np.clip(factor * first.columns["power"] + constant + rng.normal(0, noise, len(first.time)), 0, None)
    second = replace(first, time=first.time + late, columns={**first.columns, "power": np.rint(power)})
    (tmp_path / "a.fit").write_bytes(fit_of(first, 1001))
    (tmp_path / "b.fit").write_bytes(fit_of(second, 2002))
    return [tmp_path / "a.fit", tmp_path / "b.fit"]


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({}, "The same within error"),
        ({"factor": 1.06}, "differ by a factor"),
        ({"constant": 25.0}, "differ by a constant"),
        ({"factor": 0.3, "constant": 150.0, "noise": 60.0}, "Do not mix|do not mix"),
    ],
)
def test_the_verdict_says_what_differs(tmp_path, how, words):
    import re

    found = devices.compare_files(pair(tmp_path, **how))
    assert found["lag_s"] == pytest.approx(7, abs=0.5)
    assert found["lag"]["low"] <= 7 <= found["lag"]["high"]
    assert re.search(words, found["verdict"]), found["verdict"]


def test_two_alike_devices_on_a_steady_run_are_not_kept_apart(tmp_path):
    rng = np.random.default_rng(2)
    files = []
    for serial in (1001, 2002):
        steady = simulate(DAY, [(3600, 0.75)], seed=1)
        columns = {**steady.columns, "power": np.rint(250 + rng.normal(0, 3, len(steady.time)))}
        files.append(tmp_path / f"{serial}.fit")
        files[-1].write_bytes(fit_of(replace(steady, columns=columns), serial))
    assert "Do not mix" not in devices.compare_files(files)["verdict"]


def test_the_documented_numbers_are_there(tmp_path):
    found = devices.compare_files(pair(tmp_path, late=-4, factor=1.06))
    assert found["lag_s"] == pytest.approx(-4, abs=0.5)
    for name in ("power", "heart_rate", "speed", "distance"):
        for key in (
            "bias",
            "limits_of_agreement",
            "concordance",
            "deming",
            "typical_error",
            "correlation",
            "n_effective",
        ):
            assert key in found[name], (name, key)
    power = found["power"]
    assert power["deming"]["slope"]["low"] - 0.02 <= 1.06 <= power["deming"]["slope"]["high"] + 0.02
    assert power["bias"]["value"] == pytest.approx(0.06 * power["first_mean"], rel=0.1)
    assert power["n_effective"] < 0.5 * power["n"]  # neighbouring seconds are alike
    assert set(found["levels"]) == {"30 s"} and {"intensity", "phase"} <= set(found["splits"])
    assert [r["error_ratio"] for r in power["deming_slopes"]] == [0.25, 0.5, 1.0, 2.0, 4.0]


def test_a_run_in_the_library_with_two_devices(tmp_path):
    files = pair(tmp_path, late=0, factor=1.06)
    with Library.open(tmp_path / "lib") as library:
        library.add(files)
        run = library.runs()[0].id
        found = devices.compare_recordings(library, run)
        back = devices.compare_recordings(library, run, 2, 1)
        assert found["power"]["bias"]["value"] == pytest.approx(-back["power"]["bias"]["value"], rel=1e-6)
        with pytest.raises(UsageError, match="1 to 2"):
            devices.compare_recordings(library, run, 1, 3)


def test_bad_pairs_are_told(tmp_path):
    a, _ = pair(tmp_path)
    other = simulate(DAY + dt.timedelta(days=1), [(900, 0.7)], seed=3)
    (tmp_path / "c.fit").write_bytes(fit_of(other, 3003))
    with pytest.raises(NotEnoughData, match="share 0 minutes"):
        devices.compare_files([a, tmp_path / "c.fit"])
    rows = "\n".join(f"{s},200,{140 + s % 7}" for s in range(1200))
    (tmp_path / "flat.csv").write_text("time,power,heart_rate\n" + rows)
    with pytest.raises(UsageError, match="no dates"):
        devices.compare_files([a, tmp_path / "flat.csv"])
    found = devices.compare_files([tmp_path / "flat.csv", tmp_path / "flat.csv"])
    assert "power" not in found and "vary" in found["reasons"]["power"] and "cannot be compared" in found["verdict"]
    short = simulate(DAY, [(400, 0.7)], seed=3)
    (tmp_path / "short.fit").write_bytes(fit_of(short, 3003))
    with pytest.raises(NotEnoughData, match="share 7 minutes"):
        devices.compare_files([a, tmp_path / "short.fit"])


def test_the_command_answers_without_a_library(tmp_path):
    files = pair(tmp_path, factor=1.06)
    found = of_json("compare", *files, library=tmp_path / "nowhere")
    assert "factor" in found["verdict"] and not (tmp_path / "nowhere").exists()
    done = footwork("compare", files[0], library=tmp_path / "nowhere")
    assert done.returncode == 2 and "two files" in done.stderr
