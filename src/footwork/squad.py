"""Several runners' libraries side by side: a coach's squad.

Each runner's line is kept beside the library and stands until it changes, so that a squad opens at once; what has to be
worked out is, in several processes. Nothing is written into a library but what is kept for its runner on purpose.
"""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import os
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from footwork.errors import FootworkError, UsageError
from footwork.maintenance import printed
from footwork.quantities import Day, as_day
from footwork.results.squad import Prescribed, SideBySide, SquadAnswer, SquadLine
from footwork.store import stamps
from footwork.wording.squad_words import squad_sentence

if TYPE_CHECKING:
    import polars as pl

    from footwork.api import Library

GROUPS_FILE = "groups.yaml"
PROCESSES_FROM = 3  # lines to be worked out; fewer are quicker without starting processes
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
        found = [place for folder in self.folders for place in _inside(folder)]
        self.athletes = {n: f for n, f in _named(found).items() if is_library(f)}
        self.strange = {n: f for n, f in _named(found).items() if not is_library(f)}

    @classmethod
    def open(cls, *folders: str | Path) -> Squad:
        """The squad of folders that hold libraries, or that are ones.

        Raises
        ------
        UsageError
            No such folder, or no library in any.
        """
        for folder in folders:
            if not Path(folder).is_dir():
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

    @property
    def addresses(self) -> dict[str, str]:
        """A word for each runner that can stand in an address; no two are alike."""
        out: dict[str, str] = {}
        for name in self.athletes:
            word = re.sub(r"[^a-z0-9-]+", "-", name.lower()).strip("-") or "runner"
            word = f"{word}-runner" if word in ("squad", "picture") else word
            taken = list(out.values())
            out[name] = next(w for k in range(len(out) + 1) if (w := f"{word}-{k + 1}" if k else word) not in taken)
        return out

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
        texts = dict(self._texts(wanted, today, workers, fresh, progress))
        lines = [replace(_line(json.loads(texts[n])), groups=[g for g, ns in groups.items() if n in ns]) for n in texts]
        if not group:
            lines += [_problem(n, f, today, "no library is in this folder") for n, f in self.strange.items()]
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

    def _texts(
        self,
        wanted: dict[str, Path],
        today: dt.date,
        workers: int | None,
        fresh: bool,
        progress: Callable[[int, int, str], None] | None,
    ) -> Iterator[tuple[str, str]]:
        """Each runner's line as JSON: as it was kept, or worked out and kept."""
        left = []
        for name, folder in wanted.items():
            kept = None if fresh else printed.recall(folder, _question(name, today))
            if kept is None:
                left.append((name, folder))
            else:
                yield name, kept
        count = min(workers or os.cpu_count() or 1, len(left))
        if count < 2 or len(left) < PROCESSES_FROM:
            for k, (name, folder) in enumerate(left):
                yield name, worked_out(str(folder), name, today.isoformat())
                if progress is not None:
                    progress(k + 1, len(left), name)
            return
        yield from _by_processes(left, today, count, progress)

    def groups(self) -> dict[str, list[str]]:
        """Groups and the names of their runners."""
        out: dict[str, list[str]] = {}
        for folder in self.folders:
            for group, names in _read_groups(folder).items():
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
        known = _read_groups(place)
        mine = [n for n in known.get(group, []) if n not in names] + ([] if remove else list(names))
        known = {**known, group: sorted(mine)}
        from footwork.maintenance import export

        text = yaml.safe_dump({g: ns for g, ns in known.items() if ns}, allow_unicode=True, sort_keys=True)
        export.write_whole(place / GROUPS_FILE, text.encode())
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
        LibraryError
            A library that cannot be read or, to keep it, written; nothing is kept then that was not kept before it.
        """
        from footwork.questions import squad

        now = as_day(today) or dt.date.today()
        asked = [_with_day(text, as_day(date) or now) for text in texts]
        if keep and (late := [on for on, _ in asked if on < now]):
            raise UsageError(f"{late[0]} is gone by: a session is kept for a day to come")
        places = {n: self.folder_of(n) for n in dict.fromkeys(names)} or self.athletes
        out: list[Prescribed] = []
        for name, folder in places.items():
            with _opened(folder) as library:
                for on, text in asked:
                    found = squad.prescribed(library, name, text, on, now)
                    if keep and found.text and not found.already and found.state != "too much":
                        library.plan_session(found.text, on)
                        found = replace(found, kept=True)
                    out.append(found)
        return out

    def workouts(self, asked: Sequence[Prescribed]) -> list[tuple[str, bytes]]:
        """Prescribed sessions as FIT workouts, one a runner and session: file names and contents. Raises UsageError for
        what no watch can hold."""
        from footwork.questions import sessions

        out: list[tuple[str, bytes]] = []
        for row in asked:
            if row.text:
                with self.library(row.athlete) as library:
                    made = sessions.session_workout(library, row.text, f"{row.athlete} {row.date}")
                name = re.sub(r"[^a-z0-9-]+", "-", f"{row.athlete}-{row.date}".lower()).strip("-")
                taken = sum(n.startswith(name) for n, _ in out)
                out.append((f"{name}{f'-{taken + 1}' if taken else ''}.fit", made))
        return out

    def folder_of(self, name: str) -> Path:
        """The library of a runner. Raises UsageError for a name that nobody has."""
        if name not in self.athletes:
            near = [n for n in self.athletes if n.lower().startswith(name.lower()[:3])]
            raise UsageError(f"no runner is called '{name}'" + (f": there is {', '.join(near[:3])}" if near else ""))
        return self.athletes[name]

    def library(self, name: str) -> Library:
        """A runner's library as a coach opens it. Raises LibraryError."""
        return _opened(self.folder_of(name))


def frame(lines: Sequence[SquadLine]) -> pl.DataFrame:
    """Lines as a polars table, one row a runner: estimates as value, low and high [CP-min, W], texts so that no
    spreadsheet takes one for a formula."""
    import polars as pl

    rows = [_flat(line) for line in lines]
    return pl.DataFrame(rows, infer_schema_length=None)


def _flat(line: SquadLine) -> dict[str, Any]:
    out: dict[str, Any] = {n: "; ".join(getattr(line, n)) for n in ("groups", "first", "changed")}
    names: tuple[str, ...] = (
        "athlete",
        "problem",
        "asked_on",
        "made_at",
        "days_since",
        "asked",
        "sessions",
        "against_usual",
        "scale",
    )
    out |= {n: getattr(line, n) for n in names}
    for name in ("run", "seven_days", "critical_power"):
        found = getattr(line, name)
        out |= {f"{name}_{end}": None if found is None else getattr(found, end) for end in ("value", "low", "high")}
    out |= {f"usual_{end}": line.usual and line.usual[end] for end in ("cp_minutes", "low", "high")}
    names = ("evidence", "evidence_days", "progress", "signs", "health", "consent", "shared")
    out |= {n: getattr(line, n) for n in names}
    out |= {"next_date": line.next and line.next["date"], "next_name": line.next and line.next["name"]}
    out |= {"race_date": line.race and line.race["date"], "race_name": line.race and line.race["name"]}
    out["waits"] = "; ".join(w["what"] for w in line.waits)
    return {k: f"'{v}" if isinstance(v, str) and v[:1] in ("=", "+", "-", "@") else v for k, v in out.items()}


def calendar_of(asked: Sequence[Prescribed]) -> bytes:
    """Prescribed sessions of all runners as one iCalendar."""
    from footwork.formats import ical
    from footwork.wording.cautions import before_hard_work

    events = [
        ical.Event(
            f"{re.sub(r'[^a-z0-9]+', '-', row.athlete.lower())}-{row.date}-{k}@footwork",
            dt.date.fromisoformat(row.date),
            f"{row.athlete}: {row.text}"[:120],
            f"{row.text}\n{before_hard_work('session')}",
        )
        for k, row in enumerate(asked)
        if row.text
    ]
    return ical.encode(events)


def _with_day(text: str, date: dt.date) -> tuple[dt.date, str]:
    """A session's day and words: ``2026-12-01 30 min easy``, ``tue 30 min easy`` in the week of a date, or on it."""
    from footwork.planning import session_words
    from footwork.quantities import parse_date

    first, _, rest = text.strip().partition(" ")
    on = date
    if first[:3].lower() in WEEKDAYS and first.isalpha():
        on = date + dt.timedelta(days=WEEKDAYS.index(first[:3].lower()) - date.weekday())
    elif first[:4].isdigit() and first.count("-") == 2:
        on = parse_date(first)
    else:
        rest = text
    return on, session_words.parse(rest).text()


def worked_out(folder: str, name: str, day: str) -> str:
    """A runner's line as JSON, worked out anew and kept beside the library; what goes wrong is the line's problem."""
    place, today = Path(folder), dt.date.fromisoformat(day)
    try:
        with _opened(place) as library:
            from footwork.questions.squad import line_of

            rests = printed.rests_on(place)
            line = line_of(library, name, today)
    except FootworkError as error:
        return json.dumps(_problem(name, place, today, str(error)).to_json())
    except Exception as error:  # one library that cannot be read must not cost the others
        said = f"it cannot be read ({type(error).__name__}): look with footwork --library {place} check-up"
        return json.dumps(_problem(name, place, today, said).to_json())
    text = json.dumps(line.to_json())
    printed.keep(place, _question(name, today), rests, text)
    return text


def _opened(folder: Path) -> Library:
    """A library as a coach looks at it; results are made anew only where they are old."""
    from footwork.api import Library

    library = Library.open(folder, create=False)
    library.for_coach = True
    return library


def _question(name: str, today: dt.date) -> dict[str, Any]:
    return {"squad line of": name, "on": today.isoformat()}


def _by_processes(
    left: list[tuple[str, Path]], today: dt.date, count: int, progress: Callable[[int, int, str], None] | None
) -> Iterator[tuple[str, str]]:
    """Lines by several processes; the line of one whose process died is worked out here."""
    done: set[str] = set()
    with ProcessPoolExecutor(count, mp_context=_context()) as pool:
        waiting = {pool.submit(worked_out, str(f), n, today.isoformat()): n for n, f in left}
        try:
            for future in as_completed(waiting):
                text = future.result()
                done.add(waiting[future])
                yield waiting[future], text
                if progress is not None:
                    progress(len(done), len(left), waiting[future])
        except BrokenProcessPool:
            pass
    for name, folder in left:
        if name not in done:
            said = "a process that worked it out was ended: try it alone"
            yield name, json.dumps(_problem(name, folder, today, said).to_json())


def _context() -> Any:
    """Where processes come from: on Linux forked from one that has only imported."""
    if sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["footwork.api", "footwork.questions.squad", "scipy.optimize", "scipy.sparse"])
    return context


def _problem(name: str, folder: Path, today: dt.date, said: str) -> SquadLine:
    unknown: dict[str, Any] = dict.fromkeys(
        ("consent", "days_since", "asked", "run", "seven_days", "usual", "critical_power", "evidence_days", "next")
    )
    return SquadLine(
        athlete=name,
        folder=str(folder),
        groups=[],
        asked_on=today.isoformat(),
        made_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        problem=said,
        shared=False,
        sessions="",
        against_usual="",
        scale="",
        evidence="",
        progress="",
        changed=[],
        signs="",
        health="",
        race=None,
        waits=[],
        first=["cannot be read"],
        urgency=100,
        **unknown,
    )


def _line(found: dict[str, Any]) -> SquadLine:
    from footwork.quantities import Estimate
    from footwork.results.loads import UsualWeek

    for key in ("run", "seven_days", "critical_power"):
        found[key] = None if found[key] is None else Estimate.from_json(found[key])
    found["usual"] = None if found["usual"] is None else UsualWeek(**found["usual"])
    return SquadLine(**found)


def is_library(folder: Path) -> bool:
    """Whether a folder holds a runner's library."""
    return (folder / stamps.FILE_NAME).is_file()


def _inside(folder: Path) -> list[Path]:
    """The libraries of a folder and what stands beside them; the folder itself where it is one."""
    if is_library(folder):
        return [folder]
    return sorted(p for p in folder.iterdir() if p.is_dir() and not p.name.startswith("."))


def _named(folders: Sequence[Path]) -> dict[str, Path]:
    """Each folder by its name; of two with one name each by its parent's too, and by its whole path if that is not
    enough."""
    out: dict[str, Path] = {}
    places = list(dict.fromkeys(f.resolve() for f in folders))
    names = [p.name for p in places]
    longer = [f"{p.name} ({p.parent.name})" for p in places]
    for k, place in enumerate(places):
        name = names[k] if names.count(names[k]) == 1 else longer[k]
        out[name if longer.count(longer[k]) == 1 or name == names[k] else str(place)] = place
    return out


def _read_groups(folder: Path) -> dict[str, list[str]]:
    """Groups as the folder keeps them. Raises UsageError for a file that holds none."""
    path = folder / GROUPS_FILE
    if is_library(folder) or not path.is_file():
        return {}
    try:
        found = yaml.safe_load(path.read_text(encoding="utf-8")) or {}
        return {str(group): [str(n) for n in names] for group, names in found.items()}
    except (yaml.YAMLError, UnicodeDecodeError, AttributeError, TypeError):
        raise UsageError(f"{path} holds no groups: write a line a group, as 'sprinters: [anna, ben]'") from None
