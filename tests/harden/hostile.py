"""Hostile names, archives and requests: refused, or shown as the text that they are."""

from __future__ import annotations

import io
import re
import shutil
import stat
import urllib.error
import urllib.parse
import urllib.request
import zipfile
from pathlib import Path

from benchmarks.drawn import served

from footwork.api import Library
from tests import fitfile as f

SCRIPT = "<img src=x onerror=alert(1)>"
NAMES = (
    f"{SCRIPT}.fit",
    "=cmd|' C calc'!A0.fit",
    "a\nb.fit",
    "\u202etif.fit",
    "-rf.fit",
    "{{7*7}}.fit",
    "'; DROP TABLE run; --.fit",
    "%2e%2e%2fescape.fit",
)
MEMBERS = (
    "../../escape.fit",
    "/escape.fit",
    "..\\escape.fit",
    "C:\\escape.fit",
    "a/../../escape.fit",
    "x" * 300 + ".fit",
)
REQUESTS = (
    "/..%2f..%2fetc/passwd",
    "/runs/%3Cscript%3E",
    "/runs/1%00",
    "/runs?find=%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E",
    "/capacity?date=9999-99-99",
    "/capacity.json?date='%20OR%201=1",
    "/race?distance=1e999",
    "/race.json?distance=-1",
    "/runs.json?nonsense=" + "x" * 5000,
    "/methods/..%2f..",
    "/" + "a" * 8000,
)


def archives(work: Path) -> tuple[int, list[str]]:
    """Archives whose members would be written elsewhere, are links, or are archives without end."""
    place, wrong, tried = work / "archives", [], 0
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    for number, member in enumerate(MEMBERS):
        with zipfile.ZipFile(place / f"{number}.zip", "w") as archive:
            archive.writestr(member, f.wrap(f.run(60, f.START + 86400 * number)))
    with zipfile.ZipFile(place / "link.zip", "w") as archive:
        info = zipfile.ZipInfo("link.fit")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(info, "/etc/passwd")
    nested = f.wrap(f.run(60, f.START + 86400 * 50))
    for _ in range(6):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("inner.zip", nested)
        nested = out.getvalue()
    (place / "nested.zip").write_bytes(nested)
    (place / "cut.zip").write_bytes(nested[: len(nested) // 2])
    with Library.open(place / "library") as library:
        for path in sorted(place.glob("*.zip")):
            tried += 1
            report = library.add([path])
            if path.stem in ("link", "nested", "cut") and report["added"]:
                wrong.append(f"{path.name} was added")
    escaped = [p for p in (*work.rglob("*escape*"), Path("/escape.fit")) if p.exists()]
    wrong += [f"{p} was written" for p in escaped]
    return tried, wrong


def names(work: Path) -> tuple[int, list[str]]:
    """Files, shoes and notes with such names, on every page that may show them, and in tables."""
    place = work / "names"
    shutil.rmtree(place, ignore_errors=True)
    (place / "in").mkdir(parents=True)
    for number, name in enumerate(NAMES):
        (place / "in" / name).write_bytes(f.wrap(f.run(600, f.START + 86400 * number)))
    with Library.open(place / "library") as library:
        library.add([place / "in"])
        count = len(library.runs())
        for row in library.runs():
            library.describe_run(row.id, shoe=SCRIPT[:60])
            library.tell(run=row.id, note=f"{SCRIPT} =1+1")
        library.add_place(SCRIPT, 1.0, 1.0, 300)
        told = library.export_all(place / "out")
    wrong = [] if count == len(NAMES) else [f"{count} runs of {len(NAMES)} names"]
    if told["runs"] != count or [p for p in (place / "out" / "originals").iterdir() if p.is_dir()]:
        wrong.append("the export is not what was there")
    if re.search(r"(^|,)[=+@]", (place / "out" / "runs.csv").read_text("utf-8"), re.MULTILINE):
        wrong.append("a cell of runs.csv would be computed")
    pages = ["/", "/runs", "/library", "/diary", "/devices", "/today", *(f"/runs/{n}" for n in range(1, count + 1))]
    tried, more = _asked(place / "library", pages)
    return tried + len(NAMES), wrong + more


def requests(library: Path) -> tuple[int, list[str]]:
    """Requests that ask for what is not there, or for much."""
    return _asked(library, list(REQUESTS))


def _asked(library: Path, paths: list[str]) -> tuple[int, list[str]]:
    wrong = []
    with served(library) as address:
        for path in paths:
            try:
                with urllib.request.urlopen(address + path, timeout=30) as answer:
                    code, text = answer.status, answer.read().decode("utf-8", "replace")
            except urllib.error.HTTPError as error:
                code, text = error.code, error.read().decode("utf-8", "replace")
            except OSError as error:
                code, text = 0, str(error)
            if code == 0 or code >= 500:
                wrong.append(f"{path[:60]}: {code}")
            if SCRIPT in text or "root:x:" in text or "Traceback" in text:
                wrong.append(f"{path[:60]}: shown as it is")
    return len(paths), wrong
