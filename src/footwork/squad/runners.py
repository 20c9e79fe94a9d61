"""Several runners' libraries side by side: a coach's squad.

Each runner's line is kept beside the library and stands until it changes, so that a squad opens at once; what has to be
worked out is, in several processes. Nothing is written into a library but what is kept for its runner on purpose.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from footwork.errors import LibraryError, UsageError
from footwork.quantities import Day, as_day
from footwork.results.squad import Prescribed, SideBySide, SquadAnswer, SquadLine
from footwork.squad import kept_lines
from footwork.squad.folders import inside, is_library, named, read_groups, write_groups
from footwork.wording.squad_words import squad_sentence

if TYPE_CHECKING:
    from footwork.api import Library

MOST_ATHLETES = 5000
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
# By what the lines can be put in order: how to read it off a line, and whether the largest come first.
ORDERS: dict[str, tuple[Callable[[SquadLine], Any], bool]] = {
    "first": (lambda line: line.urgency, True),
    "name": (lambda line: line.athlete.lower(), False),
    "days": (lambda line: -1 if line.days_since is None else line.days_since, True),
    "power": (lambda line: (line.critical_power and line.critical_power.value) or 0.0, True),
    "load": (lambda line: (line.seven_days and line.seven_days.value) or 0.0, True),
    "race": (lambda line: 10**6 if line.race is None else line.race["days"], False),
}


class Squad:
    """Runners' libraries in one or several folders. Open with `Squad.open`.

    ``athletes`` are the folders of their libraries by name; ``strange`` are folders beside them that hold none.
    """

    def __init__(self, folders: Sequence[Path]) -> None:
        self.folders = [Path(f) for f in folders]
        found = [place for folder in self.folders for place in inside(folder)]
        self.athletes = {n: f for n, f in named(found).items() if is_library(f)}
        self.strange = {n: f for n, f in named(found).items() if not is_library(f)}

    @classmethod
    def open(cls, *folders: str | Path) -> Squad:
        """The squad of folders that hold libraries, or that are ones.

        Raises
        ------
        UsageError
            No such folder, or no library in any.
        """
        for folder in folders:
            if not str(folder).strip() or not Path(folder).is_dir():
                raise UsageError(f"there is no folder {folder}")
        made = cls([Path(f) for f in folders])
        if not made.athletes:
            raise UsageError(
                f"there is no runner's library in {', '.join(map(str, folders))}: a squad is a folder that holds them"
            )
        if len(made.athletes) > MOST_ATHLETES:
            raise UsageError(f"{len(made.athletes)} libraries are too many to show: name some of their folders")
        return made

    @property
    def folder(self) -> Path:
        """The first of its folders."""
        return self.folders[0]

    @cached_property
    def addresses(self) -> dict[str, str]:
        """A word for each runner that can stand in an address; no two are alike."""
        out: dict[str, str] = {}
        taken = {"squad", "picture"}  # pages of their own
        for name in self.athletes:
            word = re.sub(r"[^a-z0-9-]+", "-", name.lower()).strip("-") or "runner"
            own, number = word, 1
            while own in taken:
                number += 1
                own = f"{word}-{number}"
            out[name] = own
            taken.add(own)
        return out

    def of_addresses(self, who: str) -> list[str]:
        """Runners by the words of their `addresses`, with commas between. Raises UsageError for one that nobody has."""
        of = {word: name for name, word in self.addresses.items()}
        words = [w for w in who.split(",") if w]
        if strange := [w for w in words if w not in of]:
            raise UsageError(f"no runner has the address '{strange[0]}'")
        return [of[w] for w in words]

    def lines(
        self,
        date: Day | None = None,
        group: str = "",
        sort: str = "first",
        find: str = "",
        workers: int | None = None,
        fresh: bool = False,
        progress: Callable[[int, int, str], None] | None = None,
    ) -> SquadAnswer:
        """A line for each runner, those who need the coach first.

        Parameters
        ----------
        date : date or str, optional
            As it was known on a day; today by default.
        group : str
            Only its runners.
        sort : str
            One of `ORDERS`.
        find : str
            Only lines that hold this text.
        workers : int, optional
            Processes; as many as this machine has cores by default.
        fresh : bool
            Whether to work every line out anew.

        Raises UsageError for an unknown group or order.
        """
        today = as_day(date) or dt.date.today()
        if sort not in ORDERS:
            raise UsageError(f"a squad is not sorted by '{sort}': by {', '.join(ORDERS)}")
        groups = self.groups()
        wanted = self._in_group(group)
        texts = dict(kept_lines.texts(wanted, today, workers, fresh, progress))
        lines = [replace(kept_lines.line(texts[n]), groups=[g for g, ns in groups.items() if n in ns]) for n in texts]
        if not group:
            lines += [kept_lines.problem(n, f, today, "no library is in this folder") for n, f in self.strange.items()]
        lines = [line for line in lines if find.lower() in json.dumps(line.to_json(), ensure_ascii=False).lower()]
        of, largest_first = ORDERS[sort]
        lines.sort(key=lambda line: line.athlete.lower())
        lines.sort(key=of, reverse=largest_first)
        return SquadAnswer(asked_on=today.isoformat(), sentence=squad_sentence(lines), athletes=lines, groups=groups)

    def chosen(self, group: str = "", names: Sequence[str] = ()) -> list[str]:
        """Names of a group and of those named beside, all by default. Raises UsageError for one that nobody has."""
        if not group and not names:
            return list(self.athletes)
        for name in names:
            self.folder_of(name)
        return list(dict.fromkeys([*(self._in_group(group) if group else ()), *names]))

    def _in_group(self, group: str) -> dict[str, Path]:
        groups = self.groups()
        if group and group not in groups:
            raise UsageError(f"there is no group '{group}': {', '.join(groups) or 'squad group makes one'}")
        return {n: f for n, f in self.athletes.items() if not group or n in groups[group]}

    def groups(self) -> dict[str, list[str]]:
        """Groups and the names of their runners."""
        out: dict[str, list[str]] = {}
        for folder in self.folders:
            for group, names in read_groups(folder).items():
                out.setdefault(group, []).extend(n for n in names if n in self.athletes)
        return out

    def put_in_group(self, group: str, names: Sequence[str], remove: bool = False) -> dict[str, list[str]]:
        """Put runners into a group, or take them out; returns the groups.

        Raises UsageError for a name that nobody has, and for a folder that is itself a library; LibraryError where
        the folder cannot be written.
        """
        group = " ".join(group.split())
        if not group or len(group) > 40:
            raise UsageError("a group has a name of 1 to 40 characters")
        for name in names:
            self.folder_of(name)
        place = next((f for f in self.folders if not is_library(f)), None)
        if place is None:
            raise UsageError("groups are kept in the folder that holds the libraries: name that one")
        known = read_groups(place)
        mine = [n for n in known.get(group, []) if n not in names] + ([] if remove else list(names))
        known = {**known, group: sorted(mine)}
        write_groups(place, known)
        return self.groups()

    def side_by_side(self, names: Sequence[str], date: Day | None = None) -> SideBySide:
        """Runners against each other, as known on a day (today by default).

        Raises
        ------
        UsageError
            Fewer than two names, or one that nobody has.
        LibraryError
            A library that cannot be read.
        """
        from footwork.questions import squad

        if len(dict.fromkeys(names)) < 2:
            raise UsageError("name at least two runners")
        today = as_day(date) or dt.date.today()
        found = []
        for name in dict.fromkeys(names):
            with self.library(name) as library:
                found.append(squad.figures_of(library, name, today))
        return squad.side_by_side(found)

    def prescribe(
        self,
        texts: Sequence[str],
        names: Sequence[str] = (),
        date: Day | None = None,
        keep: bool = False,
        today: Day | None = None,
    ) -> list[Prescribed]:
        """Sessions for many, each in their own watts; ``keep`` writes them into their libraries.

        Parameters
        ----------
        texts : sequence of str
            Sessions in words; each may begin with its day, as ``2026-12-01`` or ``tue``.
        names : sequence of str
            Runners, all by default.
        date : date or str, optional
            The day of sessions that name none, and whose week a weekday lies in; today by default.
        keep : bool
            Keep what each is asked, in its kinder version where that is what they can finish; one who keeps a session
            on that day already gets none.
        today : date or str, optional
            As it was known on a day.

        Raises
        ------
        UsageError
            Words that are no session, a day gone by, or a name that nobody has.
        """
        from footwork.questions import squad

        now = as_day(today) or dt.date.today()
        asked = [_with_day(text, as_day(date), now) for text in texts]
        if keep and (late := [on for on, _ in asked if on < now]):
            raise UsageError(f"{late[0]} is gone by: a session is kept for a day to come")
        places = {n: self.folder_of(n) for n in dict.fromkeys(names)} or self.athletes
        out: list[Prescribed] = []
        for name, folder in places.items():
            try:
                with kept_lines.opened(folder) as library:
                    for on, text in asked:
                        found = squad.prescribed(library, name, text, on, now)
                        if keep and found.text and not found.already:
                            library.plan_session(found.text, on)
                            found = replace(found, kept=True)
                        out.append(found)
            except LibraryError as error:  # one that cannot be read or written does not stop the others
                done = sum(r.athlete == name for r in out)
                out += [squad.nothing_known(name, on, text, str(error)) for on, text in asked[done:]]
        return out

    def workouts(self, asked: Sequence[Prescribed]) -> list[tuple[str, bytes]]:
        """Prescribed sessions as FIT workouts, one a runner and session: file names and contents. Raises UsageError for
        what no watch can hold."""
        from footwork.questions import sessions

        out: list[tuple[str, bytes]] = []
        for row in asked:
            if row.text:
                with self.library(row.athlete) as library:
                    made = sessions.workout_of(library, row.text, f"{row.athlete} {row.date}")
                name = re.sub(r"[^a-z0-9-]+", "-", f"{row.athlete}-{row.date}".lower()).strip("-")
                taken = sum(n.startswith(name) for n, _ in out)
                out.append((f"{name}{f'-{taken + 1}' if taken else ''}.fit", made))
        return out

    def erase(self, name: str) -> None:
        """Remove a runner's library with everything in it, what is kept of their line, and their place in groups.

        Raises
        ------
        UsageError
            A name that nobody has.
        LibraryError
            It cannot be removed; what is left of it is named.
        """
        place = self.folder_of(name)
        try:
            shutil.rmtree(place)
        except OSError as error:
            raise LibraryError(f"{error.filename or place} could not be removed: {error.strerror or error}") from None
        for folder in self.folders:
            known = read_groups(folder)
            if any(name in names for names in known.values()):
                write_groups(folder, {g: [n for n in names if n != name] for g, names in known.items()})
        del self.athletes[name]

    def folder_of(self, name: str) -> Path:
        """The library of a runner. Raises UsageError for a name that nobody has."""
        alike = [n for n in self.athletes if n.lower() == name.lower()]
        if name not in self.athletes and len(alike) == 1:
            return self.athletes[alike[0]]
        if name not in self.athletes:
            near = [n for n in self.athletes if n.lower().startswith(name.lower()[:3])]
            raise UsageError(f"no runner is called '{name}'" + (f": there is {', '.join(near[:3])}" if near else ""))
        return self.athletes[name]

    def library(self, name: str) -> Library:
        """A runner's library as a coach opens it. Raises LibraryError."""
        return kept_lines.opened(self.folder_of(name))


def calendar_of(asked: Sequence[Prescribed]) -> bytes:
    """Prescribed sessions of all runners as one iCalendar."""
    from footwork.formats import ical
    from footwork.wording.cautions import before_hard_work

    events: list[ical.Event] = []
    counted: dict[str, int] = {}  # sessions of a runner and a day
    for row in asked:
        if row.text:
            of = f"{hashlib.sha256(row.athlete.encode()).hexdigest()[:12]}-{row.date}"
            counted[of] = counted.get(of, 0) + 1
            events.append(
                ical.Event(
                    f"{of}-{counted[of]}@footwork",
                    dt.date.fromisoformat(row.date),
                    f"{row.athlete}: {row.text}"[:120],
                    f"{row.text}\n{before_hard_work('session')}",
                )
            )
    return ical.encode(events)


def _with_day(text: str, date: dt.date | None, now: dt.date) -> tuple[dt.date, str]:
    """A session's day and words: ``2026-12-01 30 min easy``, ``tue 30 min easy`` in the week of a date, else on the
    next such day; words alone on the date or today. Words may be a name of the shelf."""
    from footwork.planning import session_words, shelf
    from footwork.quantities import parse_date

    first, _, rest = text.strip().partition(" ")
    on = date or now
    if first[:3].lower() in WEEKDAYS and first.isalpha():
        weekday = WEEKDAYS.index(first[:3].lower())
        ahead = weekday - on.weekday()
        on += dt.timedelta(days=ahead if date is not None else ahead % 7)
    elif first[:4].isdigit() and first.count("-") == 2:
        on = parse_date(first)
    else:
        rest = text.strip()
    known = shelf.find(rest)
    return on, session_words.parse(known.text if known is not None else rest).text()
