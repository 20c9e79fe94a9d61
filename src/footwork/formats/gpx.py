"""GPX 1.1: timed tracks become recordings, anything without times is a course."""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from array import array
from functools import lru_cache

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import XMLParser

from footwork.errors import NotARecording, UnreadableFile
from footwork.quantities import Floats
from footwork.signals import Course, PowerStream, Recording, distance_along

_EXTENSIONS = {
    "hr": "heart_rate",
    "heartrate": "heart_rate",
    "cad": "cadence",
    "cadence": "cadence",
    "runcadence": "cadence",
    "power": "power",
    "powerinwatts": "power",
    "watts": "power",
    "atemp": "temperature",
    "temp": "temperature",
    "temperature": "temperature",
    "speed": "speed",
}
_COLUMNS = ("altitude", *dict.fromkeys(_EXTENSIONS.values()))
_NAN = float("nan")
# More than any run has: seven days at 1 Hz are 600,000 points.
MOST_POINTS, MOST_BYTES, MOST_TRACKS, MOST_NAMED, LONGEST_TEXT = 700_000, 128 * 2**20, 1000, 10_000, 1000
_AT_ONCE = 2**18
_RUNNING = re.compile(r"run|jog|treadmill|track and field|orienteering", re.IGNORECASE)


def is_format(data: bytes, name: str) -> bool:
    """Whether a file is GPX, by its first bytes."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf \r\n\t")
    return b"<gpx" in head or (name.lower().endswith(".gpx") and head.startswith(b"<"))


def read(data: bytes) -> list[Recording] | Course:
    """Timed tracks as recordings (one a track), else the first untimed track or route as a course.

    Raises NotARecording or UnreadableFile.
    """
    found, lost = _points(data)
    timed = [t for t in found.tracks if np.isfinite(t.column("time")).sum() >= 2]
    if timed:
        return [_recording(track, leg, lost) for leg, track in enumerate(timed)]
    course = next((t for t in found.tracks if len(t) >= 2), None)
    if course is None:
        raise UnreadableFile(lost[0]) if lost else NotARecording("a GPX file without track points")
    if lost:
        raise UnreadableFile(f"the course is damaged: {lost[0]}")
    return _course(course, found.named)


class _Track:
    """A track or route as the parser meets it: numbers at once, since a text a point would take twenty times the
    memory."""

    def __init__(self) -> None:
        self.type = self.name = ""
        self.columns = {name: array("d") for name in ("time", "latitude", "longitude", *_COLUMNS)}

    def add(self, point: dict[str, float]) -> None:
        for name, values in self.columns.items():
            values.append(point.get(name, _NAN))

    def column(self, name: str) -> Floats:
        return np.frombuffer(self.columns[name]).copy() if len(self) else np.zeros(0)

    def __len__(self) -> int:
        return len(self.columns["time"])


class _Tracks:
    """Tracks, routes and named points, gathered as the parser meets the elements."""

    def __init__(self) -> None:
        self.tracks: list[_Track] = []
        self.named: list[tuple[float, float, str]] = []
        self._point: dict[str, float] | None = None
        self._mark: tuple[float, float, str] | None = None
        self._text: list[str] = []
        self._left = 0

    def start(self, tag: str, given: dict[str, str]) -> None:
        """A track, a point on it or a named point begins."""
        tag = _bare(tag)
        self._text, self._left = [], LONGEST_TEXT
        if tag in ("trk", "rte"):
            if len(self.tracks) == MOST_TRACKS:
                raise NotARecording(f"a GPX file of more than {MOST_TRACKS} tracks")
            self.tracks.append(_Track())
        elif tag in ("trkpt", "rtept") and self.tracks:
            self._point = {"latitude": _number(given.get("lat")), "longitude": _number(given.get("lon"))}
        elif tag == "wpt" and len(self.named) < MOST_NAMED:
            self._mark = (_number(given.get("lat")), _number(given.get("lon")), "")

    def data(self, text: str) -> None:
        """Text of the element that began last."""
        if self._left > 0:
            self._text.append(text[: self._left])
            self._left -= len(text)

    def end(self, tag: str) -> None:
        """An element is whole."""
        tag = _bare(tag)
        text, self._text = "".join(self._text).strip(), []
        if self._point is not None:
            if tag in ("trkpt", "rtept"):
                self.tracks[-1].add(self._point)
                self._point = None
            elif tag == "time":
                self._point["time"] = _time(text)
            elif tag == "ele":
                self._point["altitude"] = _number(text)
            elif tag in _EXTENSIONS:
                self._point.setdefault(_EXTENSIONS[tag], _number(text))
        elif self._mark is not None:
            if tag == "wpt":
                self.named.append(self._mark)
                self._mark = None
            elif tag in ("name", "type", "sym"):
                self._mark = (*self._mark[:2], self._mark[2] or text)
        elif self.tracks and tag == "type":
            self.tracks[-1].type = self.tracks[-1].type or text
        elif self.tracks and tag == "name":
            self.tracks[-1].name = self.tracks[-1].name or text


@lru_cache(maxsize=256)
def _bare(tag: str) -> str:
    return tag.rpartition("}")[2].lower()


def _points(data: bytes) -> tuple[_Tracks, list[str]]:
    """Tracks, routes and named points, and what is lost. Raises NotARecording for more than any run has."""
    if len(data) > MOST_BYTES or data.count(b"<trkpt") + data.count(b"<rtept") > MOST_POINTS:
        raise NotARecording(f"a GPX file of over {MOST_POINTS} points or {MOST_BYTES // 2**20} MiB, which no run has")
    found, lost = _Tracks(), list[str]()
    parser = XMLParser(target=found, forbid_dtd=True)
    try:
        for at in range(0, len(data), _AT_ONCE):
            parser.feed(data[at : at + _AT_ONCE])
        parser.close()
    except DefusedXmlException:
        raise UnreadableFile("the GPX file declares a document type or entities, which is not allowed") from None
    except (ET.ParseError, UnicodeDecodeError, ValueError, LookupError) as error:
        lost.append(f"the GPX text breaks off or is malformed ({error})")
    return found, lost


def _time(text: str) -> float:
    try:
        stamp = dt.datetime.fromisoformat(text.replace("z", "Z"))
        return (stamp if stamp.tzinfo else stamp.replace(tzinfo=dt.UTC)).timestamp()
    except (ValueError, OverflowError):
        return _NAN


def _number(text: str | None) -> float:
    try:
        return float(text) if text else _NAN
    except ValueError:
        return _NAN


def _recording(track: _Track, leg: int, lost: list[str]) -> Recording:
    time = track.column("time")
    known = np.isfinite(time)
    columns = {"time": time[known]}
    for name in ("latitude", "longitude", *_COLUMNS):
        values = track.column(name)[known]
        if np.isfinite(values).any():
            columns[name] = values
    if "cadence" in columns and np.nanmedian(columns["cadence"]) < 120:
        columns["cadence"] = columns["cadence"] * 2  # strides of one foot to steps
    sport = "running" if not track.type or _RUNNING.search(track.type) else track.type.lower()
    notes = [f"{len(track) - len(columns['time'])} points without a time were left out"]
    return Recording(
        sport=sport,
        columns=columns,
        streams=[PowerStream("power", "gpx", "GPX file")] if "power" in columns else [],
        leg=leg,
        lost=list(lost),
        notes=notes if len(columns["time"]) < len(track) else [],
    )


def _course(track: _Track, named: list[tuple[float, float, str]]) -> Course:
    lat, lon, ele = (track.column(n) for n in ("latitude", "longitude", "altitude"))
    known = np.isfinite(lat) & np.isfinite(lon) & (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    lat, lon, ele = lat[known], lon[known], ele[known]
    if len(lat) < 2:
        raise NotARecording("a GPX course with fewer than two positions")
    return Course(
        lat,
        lon,
        distance_along(lat, lon),
        ele,
        track.name,
        tuple(p for p in named if p[2] and np.isfinite(p[0]) and np.isfinite(p[1])),
    )
