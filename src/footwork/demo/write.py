"""Write simulated recordings as FIT (whole columns at once), GPX and CSV files."""

from __future__ import annotations

import datetime as dt
import struct
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np

from footwork.demo.season import Samples
from footwork.formats.fit import EPOCH
from footwork.formats.watch import message, wrapped
from footwork.quantities import Floats

_SPORTS = {"running": 1, "cycling": 2, "swimming": 5}
# Column: (FIT field number, base type, NumPy type, scale, offset).
_RECORD = {
    "latitude": (0, 0x85, "<i4", 2**31 / 180, 0.0),
    "longitude": (1, 0x85, "<i4", 2**31 / 180, 0.0),
    "altitude": (2, 0x84, "<u2", 5.0, 500.0),
    "heart_rate": (3, 0x02, "u1", 1.0, 0.0),
    "cadence": (4, 0x02, "u1", 0.5, 0.0),
    "distance": (5, 0x86, "<u4", 100.0, 0.0),
    "speed": (6, 0x84, "<u2", 1000.0, 0.0),
    "power": (7, 0x84, "<u2", 1.0, 0.0),
    "temperature": (13, 0x01, "i1", 1.0, 0.0),
    "vertical_oscillation": (39, 0x84, "<u2", 10_000.0, 0.0),
    "stance_time": (41, 0x84, "<u2", 10_000.0, 0.0),
}
_INVALID = {"u1": 0xFF, "i1": 0x7F, "<u2": 0xFFFF, "<i4": 0x7FFFFFFF, "<u4": 0xFFFFFFFF}


def _records(time: Floats, columns: dict[str, Floats]) -> tuple[bytes, list[bytes]]:
    """The definition of record messages, and each record's bytes."""
    used = [(name, *_RECORD[name]) for name in _RECORD if name in columns]
    head = struct.pack("<BBBHB", 0x41, 0, 0, 20, len(used) + 1) + struct.pack("<BBB", 253, 4, 0x86)
    kinds: list[tuple[str, str]] = [("header", "u1"), ("timestamp", "<u4")]
    for name, number, base, kind, _, _ in used:
        head += struct.pack("<BBB", number, np.dtype(kind).itemsize, base)
        kinds.append((name, kind))
    table = np.zeros(len(time), dtype=np.dtype(kinds))
    table["header"] = 1
    table["timestamp"] = np.rint(time).astype(np.int64) - EPOCH
    for name, _, _, kind, scale, offset in used:
        raw = np.rint((columns[name] + offset) * scale)
        table[name] = np.where(np.isfinite(raw), raw, _INVALID[kind]).astype(np.int64).astype(kind)
    data, size = table.tobytes(), table.dtype.itemsize
    return head, [data[i : i + size] for i in range(0, len(data), size)]


def _timer(when: float, kind: int) -> bytes:
    return message(3, 21, [(253, "I", 0x86, int(when) - EPOCH), (0, "B", 0x00, 0), (1, "B", 0x00, kind)])


def fit_bytes(
    legs: list[tuple[str, Samples]], serial: int, sensor_serial: int = 0, power: str = "power", offset_minutes: int = 0
) -> bytes:
    """One FIT activity with a session a leg; ``power`` names the column written as power, by a sensor with a serial."""
    first = legs[0][1]
    body = message(
        0,
        0,
        [
            (0, "B", 0x00, 4),
            (1, "H", 0x84, 255),
            (2, "H", 0x84, 1),
            (3, "I", 0x8C, serial),
            (4, "I", 0x86, int(first.time[0]) - EPOCH),
        ],
    )
    if sensor_serial:
        body += message(
            2,
            23,
            [
                (253, "I", 0x86, int(first.time[0]) - EPOCH),
                (0, "B", 0x02, 1),
                (1, "B", 0x02, 124),
                (2, "H", 0x84, 255),
                (3, "I", 0x8C, sensor_serial),
            ],
        )
    sessions = b""
    for index, (sport, samples) in enumerate(legs):
        columns = {n: v for n, v in samples.columns.items() if n in _RECORD and n != "power"}
        if power in samples.columns:
            columns["power"] = samples.columns[power]
        head, records = _records(samples.time, columns)
        body += _timer(samples.time[0], 0) + head
        at = 0
        for stop, start in samples.pauses:
            upto = int(np.searchsorted(samples.time, stop, side="right"))
            body += b"".join(records[at:upto]) + _timer(stop, 4) + _timer(start, 0)
            at = upto
        body += b"".join(records[at:]) + _timer(samples.time[-1], 4)
        elapsed = float(samples.time[-1] - samples.time[0]) + 1
        for lap, (a, b) in enumerate(samples.laps):
            body += message(
                4,
                19,
                [
                    (254, "H", 0x84, lap),
                    (253, "I", 0x86, int(samples.time[b - 1]) - EPOCH),
                    (2, "I", 0x86, int(samples.time[a]) - EPOCH),
                    (7, "I", 0x86, int(1000 * (samples.time[b - 1] - samples.time[a] + 1))),
                ],
            )
        sessions += message(
            5,
            18,
            [
                (254, "H", 0x84, index),
                (253, "I", 0x86, int(samples.time[-1]) - EPOCH),
                (2, "I", 0x86, int(samples.time[0]) - EPOCH),
                (5, "B", 0x00, _SPORTS[sport]),
                (6, "B", 0x00, 0),
                (7, "I", 0x86, int(1000 * elapsed)),
                (8, "I", 0x86, int(1000 * len(samples.time))),
                (9, "I", 0x86, int(100 * samples.columns["distance"][-1])),
            ],
        )
    end = int(legs[-1][1].time[-1]) - EPOCH
    body += sessions + message(
        6,
        34,
        [
            (253, "I", 0x86, end),
            (5, "I", 0x86, end + 60 * offset_minutes),
            (1, "H", 0x84, len(legs)),
            (2, "B", 0x00, 0),
            (3, "B", 0x00, 26),
            (4, "B", 0x00, 1),
        ],
    )
    return wrapped(body)


def gpx_text(samples: Samples) -> str:
    """GPX 1.1 with heart rate, cadence and power under a namespace of our own."""
    rows = []
    c = samples.columns
    power = c.get("power")
    for i, when in enumerate(samples.time.tolist()):
        stamp = dt.datetime.fromtimestamp(when, dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        watts = f"<fw:power>{power[i]:.0f}</fw:power>" if power is not None else ""
        rows.append(
            f'<trkpt lat="{c["latitude"][i]:.7f}" '
            f'lon="{c["longitude"][i]:.7f}"><ele>{c["altitude"][i]:.1f}</ele><time>{stamp}</time>'
            f"<extensions><fw:hr>{c['heart_rate'][i]:.0f}</fw:hr>"
            f"<fw:cad>{c['cadence'][i] / 2:.0f}</fw:cad>{watts}</extensions></trkpt>"
        )
    return _gpx(samples.planned.title, "<trk><type>running</type><trkseg>\n" + "\n".join(rows) + "\n</trkseg></trk>")


def _gpx(name: str, body: str) -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="Footwork demo" '
        'xmlns="http://www.topografix.com/GPX/1/1" xmlns:fw="urn:footwork:demo">'
        f"<metadata><name>{escape(name)}</name></metadata>{body}</gpx>\n"
    )


def course_text(name: str, latitude: Floats, longitude: Floats, altitude: Floats) -> str:
    """A GPX course: positions and altitude, no times."""
    rows = [
        f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{z:.1f}</ele></trkpt>'
        for a, b, z in zip(latitude, longitude, altitude, strict=True)
    ]
    return _gpx(name, f"<trk><name>{escape(name)}</name><trkseg>\n" + "\n".join(rows) + "\n</trkseg></trk>")


def csv_text(samples: Samples) -> str:
    """CSV by the documented names: semicolons, decimal commas, speed in km/h, as a European spreadsheet saves it."""
    c = samples.columns
    power = c.get("power", np.full(len(samples.time), np.nan))
    lines = ["time;distance [m];speed [km/h];heart_rate;cadence;power;altitude"]
    for i, when in enumerate(samples.time.tolist()):
        stamp = dt.datetime.fromtimestamp(when, dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        watts = f"{power[i]:.0f}" if np.isfinite(power[i]) else ""
        moved = f"{c['distance'][i]:.1f};{3.6 * c['speed'][i]:.2f};{c['heart_rate'][i]:.0f};{c['cadence'][i]:.0f}"
        line = f"{stamp};{moved};{watts};{c['altitude'][i]:.1f}"
        lines.append(line.replace(".", ","))
    return "\n".join(lines) + "\n"


def save(folder: Path, samples: Samples, index: int) -> list[Path]:
    """Write one run in its format, and the second device's own file where there was one."""
    name = f"{samples.planned.start:%Y-%m-%d-%H%M}"
    if samples.planned.file_format == "gpx":
        paths = [folder / f"{name}.gpx"]
        paths[0].write_text(gpx_text(samples), encoding="utf-8")
    elif samples.planned.file_format == "csv":
        paths = [folder / f"{name}.csv"]
        paths[0].write_text(csv_text(samples), encoding="utf-8")
    else:
        paths = [folder / f"{name}.fit"]
        paths[0].write_bytes(fit_bytes([("running", samples)], 1001, 77001 if "power" in samples.columns else 0))
    if "second_power" in samples.columns:
        second = folder / f"{name}-wrist.fit"
        second.write_bytes(fit_bytes([("running", _second(samples, index))], 2002, 0, "second_power"))
        paths.append(second)
    return paths


def _second(samples: Samples, index: int) -> Samples:
    """The same run as the wrist device saw it: its clock off by a few seconds, optical heart rate, its own distance."""
    rng = np.random.default_rng(9000 + index)
    columns = dict(samples.columns)
    columns["heart_rate"] = samples.columns["heart_rate"] + rng.normal(0, 2.5, len(samples.time))
    columns["speed"] = np.maximum(samples.columns["speed"] * 1.01 + rng.normal(0, 0.08, len(samples.time)), 0)
    columns["distance"] = samples.columns["distance"] * 1.01
    shift = float(3 + index % 4)
    return Samples(
        samples.planned,
        samples.time + shift,
        columns,
        [(a + shift, b + shift) for a, b in samples.pauses],
        samples.laps,
    )
