"""Small or large files that would take much memory or time if they were believed."""

from __future__ import annotations

import gzip
import io
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

from footwork.formats.fit_structure import crc
from tests import fitfile as f

MUCH_MB, SOON_S = 400.0, 5.0


def _fit(body: bytes) -> bytes:
    """A FIT file without its checksums, which take long to compute over much."""
    head = b"\x0e\x20\x93\x08" + len(body).to_bytes(4, "little") + b".FIT"
    return head + crc(head).to_bytes(2, "little") + body + b"\x00\x00"


def _gpx(inside: str) -> bytes:
    return f'<gpx version="1.1"><trk><trkseg>{inside}</trkseg></trk></gpx>'.encode()


def _zipped(name: str, data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, data)
    return out.getvalue()


def _record_only(count: int) -> bytes:
    whole = f.record(f.START)
    data = whole[6 + 3 * whole[5] :]
    return f.file_id() + whole + data * count


def _events(count: int) -> bytes:
    whole = f.timer(f.START, 0)
    return f.file_id() + f.record(f.START) + whole + whole[6 + 3 * whole[5] :] * count


BOMBS: dict[str, tuple[str, Callable[[], bytes]]] = {
    "four million rows": ("a.csv", lambda: b"time,power\n" + b"1,200\n" * 4_000_000),
    "four million rows, gzipped to 25 KB": ("a.csv.gz", lambda: gzip.compress(b"time,power\n" + b"1,2\n" * 4_000_000)),
    "all rows that may be, of twelve columns": (
        "a.csv",
        lambda: (
            b"time,power,heart_rate,speed,distance,altitude,cadence,latitude,longitude,temperature,grade,pace\n"
            + b"1790000000,200,150,3.1,100,20,180,47.1,8.1,15,0.01,5:00\n" * 999_000
        ),
    ),
    "a line of 100 MB": ("a.csv", lambda: b"time,power\n" + b"1," * 50_000_000),
    "a header of a million columns": ("a.csv", lambda: b"time," + b"power," * 1_000_000 + b"\n1,2\n"),
    "text without lines": ("a.txt", lambda: b"x" * 120_000_000),
    "quotes that never end": ("a.csv", lambda: b'time,power\n1,"' + b"a,b\n" * 10_000_000),
    "five million points": ("a.gpx", lambda: _gpx('<trkpt lat="1" lon="1"/>' * 5_000_000)),
    "all points that may be": ("a.gpx", lambda: _gpx('<trkpt lat="47.1" lon="8.1"><ele>4</ele></trkpt>' * 699_000)),
    "a name of 100 MB": ("a.gpx", lambda: _gpx("<name>" + "n" * 100_000_000 + "</name>")),
    "two million tracks": ("a.gpx", lambda: b"<gpx>" + b"<trk></trk>" * 2_000_000 + b"</gpx>"),
    "elements a hundred thousand deep": ("a.gpx", lambda: b"<gpx>" + b"<a>" * 100_000),
    "four million messages": ("a.fit", lambda: _fit(_record_only(4_000_000))),
    "a million events": ("a.fit", lambda: _fit(_events(1_000_000))),
    "a damaged file of a million records": ("a.fit", lambda: _fit(_record_only(1_000_000) + b"\x0f\x0f")),
    "zeros in a zip in a zip": ("a.zip", lambda: _zipped("b.zip", _zipped("c.csv", b"\x00" * 400_000_000))),
}


def child(path: str) -> None:
    """Read one file as an import does; says how long and how much it took."""
    from footwork.formats import archive
    from tests.harden.mutants import tried

    begun = time.perf_counter()
    try:
        done = ",".join(tried(data, name) for name, data in archive.unpack(Path(path)))
    except Exception as error:
        done = f"{type(error).__name__}: {error}"
    print(f"{time.perf_counter() - begun:.2f}|{most_mb():.0f}|{done}")


def most_mb() -> float:
    """The most memory that this process has held [MB]; its parent's, which `resource` counts in, is left out."""
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def measured(name: str, folder: Path) -> tuple[float, float, str]:
    """Seconds, megabytes of the whole process, and what became of it."""
    file, make = BOMBS[name]
    path = folder / file
    path.write_bytes(make())
    code = f"from tests.harden import bombs; bombs.child({str(path)!r})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=600, check=False)
    path.unlink()
    if done.returncode:
        return 0.0, 0.0, f"ended with {done.returncode}: {done.stderr.strip()[-200:]}"
    took, most, said = done.stdout.strip().split("|", 2)
    return float(took), float(most), said
