"""Promises about the project itself: no makers' names, no paths of a machine, docs that run, links that lead
somewhere."""

import json
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest

from footwork.methods import METHODS

ROOT = Path(__file__).parents[1]
SOURCES = sorted((ROOT / "src").rglob("*.py"))


def test_every_method_a_number_names_is_explained():
    text = "\n".join(p.read_text(encoding="utf-8") for p in SOURCES if p.parent.name != "methods")
    used = set(
        re.findall(
            r'(?:Estimate(?:\.withheld|\.from_draws)?|withheld|from_draws)\([^)]*?"(?:W|J|m/s|bpm|s|m|s/km|)",\s*(?:[\w.]+,\s*)?"([a-z-]+)"',
            text,
            re.DOTALL,
        )
    )
    used |= set(re.findall(r'method_link\(base, "([a-z-]+)"', text)) | set(re.findall(r'base, "([a-z-]+)"\)', text))
    assert used and used <= set(METHODS), used - set(METHODS)


# Makers' names are held as digests, so that this file names nobody.
def test_no_maker_is_named():
    import hashlib

    makers = {"c25825a1", "0e4b37a6", "ec8dd484", "2969b70a", "aa4e96e5", "344c96b1"}
    words = re.compile(r"[a-z]{4,}")
    for path in [*SOURCES, *(ROOT / "docs").glob("*.md"), ROOT / "README.md"]:
        for word in set(words.findall(path.read_text(encoding="utf-8").lower())):
            assert hashlib.sha256(word.encode()).hexdigest()[:8] not in makers, f"{path}: {word}"


def test_the_example_in_the_docs_runs(season_files, tmp_path, monkeypatch):
    text = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    code = "\n".join(re.findall(r"```python\n(.*?)```", text, re.DOTALL))
    assert "Library.open" in code
    monkeypatch.chdir(tmp_path)
    code = code.replace("recordings", str(season_files)).replace('"my-library"', repr(str(tmp_path / "library")))
    exec(compile(code, "docs/python.md", "exec"), {})


def test_the_documented_csv_columns_are_the_readers():
    from footwork.formats.delimited import COLUMNS

    text = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
    for name in COLUMNS:
        assert f"`{name}`" in text, name


@pytest.mark.parametrize("script", ["build", "constants", "answers"])
def test_what_is_made_from_the_code_is_up_to_date(script):
    import sys

    path = str(ROOT / "docs" / f"{script}.py")
    done = subprocess.run([sys.executable, path, "--check"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


GOLDEN = Path(__file__).with_name("golden.json")


def golden() -> dict[str, dict[str, float | int]]:
    """Outputs of every stored method on one fixed signal, with the version of each."""
    from footwork.analysis import capacity_days, cleaning, efforts, summary
    from footwork.physics import power
    from footwork.physiology import critical, curve, domains, tracking
    from footwork.physiology.load_ways import of_power
    from footwork.signals import PowerStream, Recording

    t = np.arange(1800.0)
    keep = (t < 700) | (t > 706)
    watts = 230 + 40 * np.sin(t / 90) + 25 * np.sin(t / 7)
    made = Recording(
        "running",
        {
            "time": 1_770_000_000 + t[keep],
            "power": np.rint(watts)[keep],
            "speed": (watts / 70)[keep],
            "heart_rate": (140 + 0.1 * (watts - 230))[keep],
            "distance": np.cumsum(watts / 70)[keep],
            "altitude": (20 + 10 * np.sin(t / 300))[keep],
        },
        [PowerStream("power", "x")],
    )
    signals, changes = cleaning.clean(made)
    totals = summary.summarise(signals)
    (stream,) = totals.streams
    best = efforts.Best(
        1, 1000, "", True, curve.stored_durations(1800), stream.best.astype(float), stream.start.astype(np.int64)
    )
    held = capacity_days.CapacityDays([best]).on(1000).posterior
    return {
        "cleaning": {
            "version": cleaning.METHOD_VERSION,
            "sum": float(np.nansum(signals["power"])),
            "grade": float(np.nansum(np.abs(signals["grade"]))),
            "changes": len(changes),
        },
        "summary": {
            "version": summary.METHOD_VERSION,
            "blocks": float(np.nansum(stream.blocks)),
            "climb": float(totals.climb_m or 0),
        },
        "curve": {"version": curve.METHOD_VERSION, "best": float(np.nansum(stream.best))},
        "domains": {"version": domains.METHOD_VERSION, "cp_minutes": of_power(stream.histogram, 250.0, on_foot=False)},
        "power": {"version": power.METHOD_VERSION, "modelled": float(power.running_power(3.5, 70.0, 0.05, 2.0))},
        "critical": {
            "version": 10_000 * critical.METHOD_VERSION + 100 * efforts.METHOD_VERSION + tracking.METHOD_VERSION,
            "cp": held.estimates()[0].value,
        },
    }


@pytest.mark.parametrize("name", ["cleaning", "summary", "curve", "domains", "power", "critical"])
def test_a_changed_output_needs_a_new_method_version(name):
    """Stored results are rebuilt only when a version changes: change golden.json together with the version."""
    stored, found = json.loads(GOLDEN.read_text())[name], golden()[name]
    if stored["version"] == found["version"]:
        assert found == pytest.approx(stored, rel=1e-6), (
            f"the output of {name} changed: raise its METHOD_VERSION and renew golden.json"
        )
    else:
        pytest.fail(f"{name} has a new version: renew golden.json by running this file")


if __name__ == "__main__":
    GOLDEN.write_text(json.dumps(golden(), indent=1) + "\n")
