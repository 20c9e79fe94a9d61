"""GPX 1.1: timed tracks become recordings, anything without times is a course."""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from functools import lru_cache
from typing import Any

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import XMLParser

from footwork.errors import NotARecording, UnreadableFile
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
_RUNNING = re.compile(r"run|jog|treadmill|track and field|orienteering", re.IGNORECASE)


def is_format(data: bytes, name: str) -> bool:
    """Whether a file is GPX, by its first bytes."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf \r\n\t")
    return b"<gpx" in head or (name.lower().endswith(".gpx") and head.startswith(b"<"))


def read(data: bytes) -> list[Recording] | Course:
    """Timed tracks as recordings (one a track), else the first untimed track or route as a course.

    Raises NotARecording or UnreadableFile.
    """
    tracks, lost, named = _points(data)
    timed = [t for t in tracks if sum(p["time"] is not None for p in t["points"]) >= 2]
    if timed:
        return [_recording(track, leg, lost) for leg, track in enumerate(timed)]
    course = next((t for t in tracks if len(t["points"]) >= 2), None)
    if course is None:
        raise UnreadableFile(lost[0]) if lost else NotARecording("a GPX file without track points")
    if lost:
        raise UnreadableFile(f"the course is damaged: {lost[0]}")
    return _course(course, named)


class _Tracks:
    """Tracks, routes and named points, gathered as the parser meets the elements."""

    def __init__(self) -> None:
        self.tracks: list[dict[str, Any]] = []
        self.named: list[dict[str, Any]] = []
        self._point: dict[str, Any] | None = None
        self._mark: dict[str, Any] | None = None
        self._text: list[str] = []

    def start(self, tag: str, given: dict[str, str]) -> None:
        """A track, a point on it or a named point begins."""
        tag = _bare(tag)
        self._text = []
        if tag in ("trk", "rte"):
            self.tracks.append({"type": "", "name": "", "points": []})
        elif tag in ("trkpt", "rtept") and self.tracks:
            self._point = {"time": None, "latitude": given.get("lat"), "longitude": given.get("lon")}
        elif tag == "wpt":
            self._mark = {"name": "", "latitude": given.get("lat"), "longitude": given.get("lon")}

    def data(self, text: str) -> None:
        """Text of the element that began last."""
        self._text.append(text)

    def end(self, tag: str) -> None:
        """An element is whole."""
        tag = _bare(tag)
        text, self._text = "".join(self._text).strip(), []
        if self._point is not None:
            if tag in ("trkpt", "rtept"):
                self.tracks[-1]["points"].append(self._point)
                self._point = None
            elif tag == "time":
                self._point["time"] = _time(text)
            elif tag == "ele":
                self._point["altitude"] = text
            elif tag in _EXTENSIONS:
                self._point.setdefault(_EXTENSIONS[tag], text)
        elif self._mark is not None:
            if tag == "wpt":
                self.named.append(self._mark)
                self._mark = None
            elif tag in ("name", "type", "sym"):
                self._mark["name"] = self._mark["name"] or text
        elif self.tracks and tag in ("type", "name"):
            self.tracks[-1][tag] = self.tracks[-1][tag] or text


@lru_cache(maxsize=256)
def _bare(tag: str) -> str:
    return tag.rpartition("}")[2].lower()


def _points(data: bytes) -> tuple[list[dict[str, Any]], list[str], list[dict[str, Any]]]:
    """Tracks and routes, what is lost, and the named points beside them."""
    found, lost = _Tracks(), list[str]()
    parser = XMLParser(target=found, forbid_dtd=True)
    try:
        parser.feed(data)
        parser.close()
    except DefusedXmlException:
        raise UnreadableFile("the GPX file declares a document type or entities, which is not allowed") from None
    except (ET.ParseError, UnicodeDecodeError, ValueError, LookupError) as error:
        lost.append(f"the GPX text breaks off or is malformed ({error})")
    return found.tracks, lost, found.named


def _time(text: str) -> float | None:
    try:
        stamp = dt.datetime.fromisoformat(text.replace("z", "Z"))
        return (stamp if stamp.tzinfo else stamp.replace(tzinfo=dt.UTC)).timestamp()
    except (ValueError, OverflowError):
        return None


def _number(text: str | None) -> float:
    try:
        return float(text) if text else float("nan")
    except ValueError:
        return float("nan")


def _recording(track: dict[str, Any], leg: int, lost: list[str]) -> Recording:
    points = [p for p in track["points"] if p["time"] is not None]
    columns = {"time": np.array([p["time"] for p in points], dtype=float)}
    for name in ("latitude", "longitude", "altitude", *dict.fromkeys(_EXTENSIONS.values())):
        values = np.array([_number(p.get(name)) for p in points])
        if np.isfinite(values).any():
            columns[name] = values
    if "cadence" in columns and np.nanmedian(columns["cadence"]) < 120:
        columns["cadence"] = columns["cadence"] * 2  # strides of one foot to steps
    sport = "running" if not track["type"] or _RUNNING.search(track["type"]) else track["type"].lower()
    notes = [f"{len(track['points']) - len(points)} points without a time were left out"]
    return Recording(
        sport=sport,
        columns=columns,
        streams=[PowerStream("power", "gpx", "GPX file")] if "power" in columns else [],
        leg=leg,
        lost=list(lost),
        notes=notes if len(points) < len(track["points"]) else [],
    )


def _course(track: dict[str, Any], named: list[dict[str, Any]]) -> Course:
    lat, lon, ele = (
        np.array([_number(p.get(n)) for p in track["points"]]) for n in ("latitude", "longitude", "altitude")
    )
    known = np.isfinite(lat) & np.isfinite(lon) & (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    lat, lon, ele = lat[known], lon[known], ele[known]
    if len(lat) < 2:
        raise NotARecording("a GPX course with fewer than two positions")
    points = [(_number(p["latitude"]), _number(p["longitude"]), str(p["name"])) for p in named if p["name"]]
    return Course(
        lat,
        lon,
        distance_along(lat, lon),
        ele,
        track["name"],
        tuple(p for p in points if np.isfinite(p[0]) and np.isfinite(p[1])),
    )
