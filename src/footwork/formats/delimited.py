"""CSV with named columns: comma, semicolon (also with decimal comma), tab or bar; ISO, Unix or elapsed time.

`COLUMNS` is the documented set of names; a unit may follow in brackets, as in ``speed [km/h]``.
"""

from __future__ import annotations

import codecs
import csv
import datetime as dt
import io
import re
from collections.abc import Iterable, Iterator
from itertools import chain

import numpy as np

from footwork.errors import NotARecording, UnreadableFile
from footwork.quantities import Floats
from footwork.signals import FORM, PowerStream, Recording

# Accepted header -> (column, unit taken when the header names none).
COLUMNS = {
    "time": ("time", "s"),
    "timestamp": ("time", "s"),
    "elapsed": ("time", "s"),
    "seconds": ("time", "s"),
    "power": ("power", "w"),
    "watts": ("power", "w"),
    "heart_rate": ("heart_rate", "bpm"),
    "heartrate": ("heart_rate", "bpm"),
    "hr": ("heart_rate", "bpm"),
    "speed": ("speed", "m/s"),
    "pace": ("pace", "min/km"),
    "distance": ("distance", "m"),
    "altitude": ("altitude", "m"),
    "elevation": ("altitude", "m"),
    "grade": ("grade", ""),
    "cadence": ("cadence", "steps/min"),
    "latitude": ("latitude", "deg"),
    "lat": ("latitude", "deg"),
    "longitude": ("longitude", "deg"),
    "lon": ("longitude", "deg"),
    "temperature": ("temperature", "c"),
    **{name: (name, measure.unit) for name, measure in FORM.items()},
}
_FACTORS = {
    "s": 1.0,
    "ms": 1e-3,
    "w": 1.0,
    "bpm": 1.0,
    "m/s": 1.0,
    "km/h": 1 / 3.6,
    "kph": 1 / 3.6,
    "mph": 0.44704,
    "m": 1.0,
    "km": 1000.0,
    "mi": 1609.344,
    "ft": 0.3048,
    "mm": 1e-3,
    "cm": 1e-2,
    "min": 60.0,
    "": 1.0,
    "%": 0.01,
    "steps/min": 1.0,
    "spm": 1.0,
    "rpm": 2.0,
    "strides/min": 2.0,
    "deg": 1.0,
    "°": 1.0,
    "c": 1.0,
    "°c": 1.0,
    "min/km": 1.0,
    "min/mi": 1 / 1.609344,
    "n/m": 1.0,
    "kn/m": 1000.0,
}


# More than any run has: seven days at 1 Hz are 600,000 rows.
MOST_ROWS, MOST_COLUMNS, MOST_BYTES, LONGEST_LINE = 700_000, 200, 128 * 2**20, 2**16
MOST_TABLE_BYTES = 16 * 2**20  # of a table of days or weather
ROWS_AT_ONCE, _AT_ONCE = 20_000, 2**20
_WIDE = (b"\xff\xfe", b"\xfe\xff")  # how spreadsheets mark UTF-16


def is_format(data: bytes, name: str) -> bool:
    """Whether a file is text in columns, by its name and its first bytes."""
    ending = re.sub(r"\.gz$", "", name.lower()).rpartition(".")[2]
    ours = re.fullmatch(r"[0-9a-f]{64}", ending) is not None  # an original, which is called by its hash alone
    return (ours or ending in ("csv", "tsv", "txt")) and (b"\x00" not in data[:4096] or data[:2] in _WIDE)


def read(data: bytes) -> list[Recording]:
    """One recording. Times that are neither ISO nor later than 1990 in Unix seconds are elapsed: the file is
    undated. Rows are read in pieces, and no more of them than any run has.

    Raises NotARecording or UnreadableFile.
    """
    lines = _lines(data)
    first = next(lines, "")
    delimiter = _delimiter(first)
    reader = csv.reader(chain([first], lines), delimiter=delimiter)
    try:
        header = next(reader, [])
    except csv.Error as error:
        raise UnreadableFile(f"the CSV text is malformed ({error})") from None
    if len(header) > MOST_COLUMNS:
        raise NotARecording(f"a text file of {len(header)} columns, which no recording has")
    columns = _header(header)
    if "time" not in columns or len(columns) < 2:
        found = ", ".join(_short(cell.strip()) for cell in header[:6] if cell.strip())
        raise NotARecording(
            f"a CSV file of {found or 'no named columns'}: a recording has the column time and one of power, "
            "heart_rate, speed, pace, distance or another that docs/formats.md names"
        )
    pieces: list[dict[str, Floats]] = []
    offset: int | None = None
    comma: bool | None = None
    count = 0
    for rows in _pieces(reader):
        count += len(rows)
        if count > MOST_ROWS:
            raise NotARecording(f"a text file of more than {MOST_ROWS} rows, which no run has")
        if comma is None:
            comma = delimiter != "," and not any(
                "." in cell for row in rows[:50] for cell in row if "T" not in cell and ":" not in cell
            )
        piece, stated = _piece(rows, columns, comma)
        pieces.append(piece)
        offset = stated if offset is None else offset
    whole = {name: np.concatenate([piece[name] for piece in pieces]) for name in columns} if pieces else {}
    return [_recording(whole, columns["time"][1], offset)]


def _recording(whole: dict[str, Floats], unit: float, offset: int | None) -> Recording:
    """The recording of all rows; ``unit`` of elapsed times [s]."""
    time = whole.pop("time", np.zeros(0))
    keep = np.isfinite(time)
    if keep.sum() < 2:
        raise UnreadableFile("the CSV file has fewer than two rows with a readable time")
    dated = bool(np.median(time[keep]) > 631065600)
    out: dict[str, Floats] = {"time": time[keep] if dated else time[keep] * unit}
    for name, column in whole.items():
        values = column[keep]
        if not np.isfinite(values).any():
            continue
        if name == "pace":
            name, values = "speed", np.divide(1000 / 60, values, out=np.full(len(values), np.nan), where=values > 0)
        out.setdefault(name, values)
    if len(out) < 2:
        raise UnreadableFile("the CSV file has no readable values beside time")
    bad = int((~keep).sum())
    return Recording(
        sport="running",
        columns=out,
        streams=[PowerStream("power", "csv", "CSV file")] if "power" in out else [],
        dated=dated,
        utc_offset_minutes=offset,
        lost=[f"{bad} rows without a readable time"] if bad else [],
    )


def _piece(
    rows: list[list[str]], columns: dict[str, tuple[int, float]], comma: bool
) -> tuple[dict[str, Floats], int | None]:
    """Columns of some rows as numbers, times in the unit they came in; and the first UTC offset [min] they state."""
    out: dict[str, Floats] = {}
    offset = None
    for name, (index, factor) in columns.items():
        cells = [row[index] if index < len(row) else "" for row in rows]
        if name == "time":
            out[name], offset = _stamps(cells, comma)
        else:
            with np.errstate(over="ignore", invalid="ignore"):
                out[name] = _numbers(cells, comma) * factor
    return out, offset


def _pieces(reader: Iterable[list[str]]) -> Iterator[list[list[str]]]:
    """Rows that are not blank, some at a time. Raises UnreadableFile for malformed text."""
    rows: list[list[str]] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append(row)
            if len(rows) == ROWS_AT_ONCE:
                yield rows
                rows = []
    except csv.Error as error:
        raise UnreadableFile(f"the CSV text is malformed ({error})") from None
    if rows:
        yield rows


def _lines(data: bytes) -> Iterator[str]:
    """Lines of a text, decoded as they are asked for. Raises UnreadableFile, NotARecording for a line that no table
    has."""
    if len(data) > MOST_BYTES:
        raise NotARecording(f"a text file of more than {MOST_BYTES // 2**20} MiB, which no run has")
    stream = io.TextIOWrapper(io.BytesIO(data), encoding=_encoding(data))
    begun = False
    while line := stream.readline(LONGEST_LINE + 1):
        if len(line) > LONGEST_LINE:
            raise NotARecording("a text file with lines that no table of a recording has")
        begun = begun or bool(line.strip("\n"))
        if begun:
            yield line


def _encoding(data: bytes) -> str:
    """Of a text: UTF-8, UTF-16 with a mark, or the usual Western code page. Raises UnreadableFile."""
    for encoding in ("utf-16",) if data[:2] in _WIDE else ("utf-8-sig", "cp1252"):
        decoder = codecs.getincrementaldecoder(encoding)()
        try:
            for at in range(0, len(data), _AT_ONCE):
                decoder.decode(data[at : at + _AT_ONCE], final=at + _AT_ONCE >= len(data))
            return encoding
        except UnicodeDecodeError:
            continue
    raise UnreadableFile("the text is in no encoding we know; save it as UTF-8")


def _delimiter(first: str) -> str:
    """The one that a line has most of. Raises NotARecording for a single column."""
    delimiter = max(",;\t|", key=first.count)
    if first.count(delimiter) == 0:
        raise NotARecording("a text file without columns")
    return delimiter


def split(text: str) -> tuple[list[str], list[list[str]], str]:
    """Header cells, rows that are not blank, and the delimiter, which is the one the first line has most of.

    Raises
    ------
    NotARecording
        A single column.
    UnreadableFile
        Malformed text.
    """
    delimiter = _delimiter(text.split("\n", 1)[0])
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        return next(reader), [row for row in reader if any(cell.strip() for cell in row)], delimiter
    except (csv.Error, StopIteration) as error:
        raise UnreadableFile(f"the CSV text is malformed ({error})") from None


def decode(data: bytes) -> str:
    """Text of a file in UTF-8, UTF-16 with a mark, or the usual Western code page. Raises UnreadableFile."""
    if len(data) > MOST_TABLE_BYTES:
        raise UnreadableFile(f"the table has more than {MOST_TABLE_BYTES // 2**20} MiB: split it")
    return data.decode(_encoding(data)).replace("\r\n", "\n").replace("\r", "\n").lstrip("\n")


def _short(name: str) -> str:
    return name if len(name) <= 30 else f"{name[:29]}…"


def _header(cells: list[str]) -> dict[str, tuple[int, float]]:
    found: dict[str, tuple[int, float]] = {}
    for index, cell in enumerate(cells):
        words, bracket, rest = cell.strip().lower().replace("(", "[").replace(")", "]").partition("[")
        name = "_".join(words.split())
        if name not in COLUMNS:
            continue
        column, unit = COLUMNS[name]
        given = rest.partition("]")[0].strip() if bracket else None
        if given is not None and given not in _FACTORS and column != "time":
            raise UnreadableFile(f"column '{cell.strip()}' has a unit we do not know: docs/formats.md lists them")
        found.setdefault(column, (index, _FACTORS.get(given if given is not None else unit, 1.0)))
    return found


def _numbers(cells: list[str], comma: bool) -> Floats:
    try:
        return np.array(list(map(float, cells)))  # a whole column of plain numbers, as most are
    except ValueError:
        return np.array([number(cell, comma) for cell in cells], dtype=float)


def _stamps(cells: list[str], comma: bool) -> tuple[Floats, int | None]:
    """Times of a column, and the first UTC offset [min] that one states."""
    try:
        return np.array(list(map(float, cells))), None
    except ValueError:
        read = [_stamp(cell, comma) for cell in cells]
        return np.array([time for time, _ in read], dtype=float), next((o for _, o in read if o), None)


def number(text: str, comma: bool) -> float:
    """A cell as a number, nan where it is none; 4:10 is 4 1/6, with ``comma`` a comma is a decimal point."""
    text = text.strip()
    if not text:
        return float("nan")
    try:
        if ":" in text:  # a pace of 4:10 is 4 1/6 minutes
            minutes, _, seconds = text.partition(":")
            return float(minutes) + float(seconds) / 60
        return float(text.replace(",", ".") if comma else text)
    except ValueError:
        return float("nan")


def _stamp(text: str, comma: bool) -> tuple[float, int | None]:
    """Seconds (Unix or elapsed) and the UTC offset in minutes where the text states one."""
    text = text.strip()
    if re.match(r"\d{4}-\d\d-\d\d", text):
        try:
            stamp = dt.datetime.fromisoformat(text.replace("z", "Z").replace(",", "."))
        except ValueError:
            return float("nan"), None
        offset = None if text.upper().endswith("Z") else stamp.utcoffset()
        return (
            (stamp if stamp.tzinfo else stamp.replace(tzinfo=dt.UTC)).timestamp(),
            None if offset is None else int(offset.total_seconds() // 60),
        )
    if re.fullmatch(r"\d+(:\d\d){1,2}([.,]\d+)?", text):
        seconds = 0.0
        for part in text.replace(",", ".").split(":"):
            seconds = seconds * 60 + float(part)
        return seconds, None
    return number(text, comma), None
