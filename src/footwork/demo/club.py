"""Twelve invented runners of a club by the sea, up to the day it is made: one ill, one racing, one with a drifting
device, one new, one back after weeks off. Their libraries are a squad to try."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.demo import season, write
from footwork.demo.simulate import Runner, draw_runner

if TYPE_CHECKING:
    from footwork.api import Library

SEED = 20261101
WEEKS = 8
DAY = dt.timedelta(days=1)
DRIFTED, DRIFTED_DAYS = 0.93, 14  # what one device has shown for two weeks, against before
NEW_DAYS = 9
OFF_DAYS = 24  # without running, until four days ago
GROUPS = {"road": ["Ada", "Bruno", "Dario", "Hugo", "Kaia"], "trail": ["Carla", "Elin", "Ida", "Levin"]}
MARKER = "made-by-footwork-demo.txt"


@dataclass(frozen=True)
class Member:
    """A runner of the club, and what is special about the weeks they have behind them."""

    name: str
    story: str = ""
    consents: bool = True
    shares: bool = False


MEMBERS = (
    Member("Ada", shares=True),
    Member("Bruno", "ill"),
    Member("Carla", "asked", shares=True),
    Member("Dario", "racing", shares=True),
    Member("Elin", "drift", shares=True),
    Member("Fynn", "new", consents=False),
    Member("Greta", "away", shares=True),
    Member("Hugo"),
    Member("Ida", "injured", shares=True),
    Member("Jonas", "little"),
    Member("Kaia", shares=True),
    Member("Levin", consents=False),
)


def make_club(folder: Path, progress: Any = None, today: dt.date | None = None, workers: int = 2) -> dict[str, Any]:
    """Make the twelve libraries in ``runners`` of a folder, and their groups.

    An existing club in the folder is replaced; any other folder that is not empty is refused.
    """
    from footwork.errors import UsageError
    from footwork.squad import Squad

    ours = folder / MARKER
    if folder.exists() and (not folder.is_dir() or (any(folder.iterdir()) and not ours.exists())):
        raise UsageError(f"{folder} is not empty and no demo: name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    ours.write_text("Footwork's demo replaces this folder's runners when it runs again.\n", encoding="utf-8")
    runners = folder / "runners"
    shutil.rmtree(runners, ignore_errors=True)
    now = today or dt.date.today()
    files = 0
    for number, member in enumerate(MEMBERS):
        files += _library(runners / member.name, member, number, now, workers)
        if progress is not None:
            progress(number + 1, len(MEMBERS), member.name)
    squad = Squad.open(runners)
    for group, names in GROUPS.items():
        squad.put_in_group(group, names)
    return {"runners": str(runners), "athletes": [m.name for m in MEMBERS], "files": files}


def _library(folder: Path, member: Member, number: int, today: dt.date, workers: int) -> int:
    from footwork.api import Library

    rng = np.random.default_rng(SEED + number)
    runner = draw_runner(rng)
    with tempfile.TemporaryDirectory() as place:
        planned = [p for p in _weeks(member, runner, today, rng) if _ran(member, p.start.date(), today)]
        for item in planned:
            samples = season.run(item, runner, np.random.default_rng(SEED + 100 * number + item.start.toordinal()))
            if member.story == "drift" and (today - item.start.date()).days < DRIFTED_DAYS:
                samples.columns["power"] = np.rint(DRIFTED * samples.columns["power"])
            content = write.fit_bytes([("running", samples)], 1001 + number, 77001 + number)
            (Path(place) / f"{item.start:%Y-%m-%d-%H%M}.fit").write_bytes(content)
        with Library.open(folder) as library:
            first = today - 7 * WEEKS * DAY
            library.athlete.set(first, mass=round(runner.mass), max_heart_rate=round(runner.max_rate))
            library.add([Path(place)], workers=workers)
            marks = {p.start.date(): p.marks for p in planned}
            for row in library.runs():
                for mark in marks.get(row.local.date(), ()):
                    library.mark(row.id, mark)
            _tell(library, member, today)
    return len(planned)


def _weeks(member: Member, runner: Runner, today: dt.date, rng: np.random.Generator) -> list[season.Planned]:
    """Four runs a week up to yesterday: two easy ones, a session, a long one; a test in the second and sixth week."""
    out = []
    hour = int(rng.integers(6, 19))
    for week in range(WEEKS):
        monday = today - today.weekday() * DAY - 7 * (WEEKS - 1 - week) * DAY
        tested = week in (1, 5) and member.story != "little"
        repeats, length = [(5, 240), (6, 180), (4, 360), (5, 240)][week % 4]
        hard = season.test_pieces(runner, (180, 720)) if tested else season.intervals(repeats, length, rng)
        days = [
            (1, "Session", hard, 0.05, ("test",) if tested else ()),
            (2, "Easy", season.steady(2400, 0.70, rng), 0.3, ()),
            (4, "Easy", season.steady(2700, 0.71, rng), 0.2, ()),
            (6, "Long", season.steady(4500 + 300 * (week % 3), 0.70, rng), 0.3, ()),
        ]
        for day, title, pieces, hilly, marks in days:
            on = monday + day * DAY
            if on < today:
                start = dt.datetime.combine(on, dt.time(hour, 5), season.ZONE)
                out.append(season.Planned(start, title, pieces, hilly, marks))
    return out


def _ran(member: Member, day: dt.date, today: dt.date) -> bool:
    gone = (today - day).days
    if member.story == "new":
        return gone <= NEW_DAYS
    if member.story == "away":
        return not 4 < gone <= 4 + OFF_DAYS
    if member.story in ("ill", "injured"):
        return gone > 3
    if member.story == "little":
        return day.weekday() in (2, 6)
    return True


def _tell(library: Library, member: Member, today: dt.date) -> None:
    """What each wrote down, kept for days to come, and lets the coach see."""
    if member.consents:
        library.consent("on paper", today - 40 * DAY)
    if member.shares:
        library.share_diary(True)
    if member.story == "ill":
        library.tell(date=today - 2 * DAY, illness="sore throat and fever")
    if member.story == "injured":
        library.tell(date=today - 3 * DAY, injury="left calf")
    if member.story == "racing":
        then = today - 21 * DAY
        library.new_season(then, race=(today + 6 * DAY).isoformat(), distance="10km", name="Harbour 10 km")
        library.accept_season(then)
    if member.story == "asked":
        for k, text in ((1, "40 min easy"), (3, "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy")):
            library.plan_session(text, today + k * DAY)
        library.comment("Is Thursday too close to Sunday's long run?", run=library.runs()[0].id)
