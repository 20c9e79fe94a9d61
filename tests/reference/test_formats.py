"""Protocol check values, and our readers against independent ones, field by field."""

import datetime as dt

import fitdecode
import gpxpy
import numpy as np
import pytest

from footwork import formats
from footwork.demo import write
from footwork.formats import fit
from footwork.formats.fit_structure import crc
from tests.conftest import fit_of, simulate


# "123456789" -> 0xBB3D is the catalogued check value of CRC-16/ARC; the header's value computed by the protocol's
# table.
def test_crc():
    assert crc(b"123456789") == 0xBB3D
    header = bytes.fromhex("0E208B08000000002E464954")
    assert crc(header) == 0x488D
    assert crc(header + (0x488D).to_bytes(2, "little")) == 0


# The FIT epoch is 1989-12-31T00:00Z (protocol); 2024-01-01T00:00Z is FIT second 1073001600 (computed).
def test_epoch():
    assert dt.datetime(1989, 12, 31, tzinfo=dt.UTC).timestamp() == fit.EPOCH
    assert dt.datetime(2024, 1, 1, tzinfo=dt.UTC).timestamp() - fit.EPOCH == 1073001600


def columns_by_fitdecode(data: bytes) -> dict[str, np.ndarray]:
    rows = []
    with fitdecode.FitReader(data) as reader:
        for frame in reader:
            if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                rows.append({f.name: f.value for f in frame.fields if isinstance(f.value, (int, float, dt.datetime))})
    names = {n for row in rows for n in row}
    return {
        n: np.array(
            [np.nan if row.get(n) is None else row[n].timestamp() if n == "timestamp" else row[n] for row in rows],
            float,
        )
        for n in names
    }


# Degrees = semicircles · 180 / 2^31 (protocol); altitude = raw / 5 - 500 m (profile).
SCALES = {
    "heart_rate": ("heart_rate", 1),
    "power": ("power", 1),
    "distance": ("distance", 1),
    "altitude": ("altitude", 1),
    "latitude": ("position_lat", 180 / 2**31),
    "longitude": ("position_long", 180 / 2**31),
    "temperature": ("temperature", 1),
    "stance_time": ("stance_time", 1e-3),
    "vertical_oscillation": ("vertical_oscillation", 1e-3),
    "cadence": ("cadence", 2),
    "time": ("timestamp", 1),
}


def compare(data: bytes, skip: tuple[str, ...] = ()) -> None:
    ours = formats.read(data)[0].columns
    theirs = columns_by_fitdecode(data)
    compared = 0
    for name, (field, factor) in SCALES.items():
        if name in ours and name not in skip:
            np.testing.assert_allclose(ours[name], theirs[field] * factor, rtol=1e-9, atol=1e-7, err_msg=name)
            compared += 1
    assert compared >= 8


def test_our_own_files_decode_alike():
    compare(fit_of(simulate(dt.date(2026, 4, 1), [(400, 0.8)])))


def test_the_real_run_decodes_alike(real_run):
    compare(real_run.read_bytes())


def test_the_real_runs_known_totals(real_run, tmp_path):
    from footwork.api import Library

    recording = formats.read(real_run.read_bytes())[0]
    assert len(recording.columns["time"]) == 3424
    assert len(recording.streams) == 1  # its partial-power field is never taken for power
    with Library.open(tmp_path / "library") as library:
        library.add([real_run])
        (row,) = library.runs()
    assert row.power_w == pytest.approx(218.7, abs=0.05)
    assert row.measured
    assert row.duration_s == 3424


def test_gpx_reads_like_gpxpy():
    text = write.gpx_text(simulate(dt.date(2026, 4, 1), [(300, 0.8)], file_format="gpx"))
    ours = formats.read(text.encode(), "run.gpx")[0].columns
    points = [p for t in gpxpy.parse(text).tracks for s in t.segments for p in s.points]
    np.testing.assert_allclose(ours["latitude"], [p.latitude for p in points])
    np.testing.assert_allclose(ours["longitude"], [p.longitude for p in points])
    np.testing.assert_allclose(ours["altitude"], [p.elevation for p in points])
    np.testing.assert_allclose(ours["time"], [p.time.timestamp() for p in points])
    rates = [float(next(e.text for e in p.extensions if e.tag.endswith("hr"))) for p in points]
    np.testing.assert_allclose(ours["heart_rate"], rates)
