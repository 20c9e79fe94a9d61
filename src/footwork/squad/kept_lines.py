"""A squad's lines: kept beside each library, worked out by several processes where it has changed."""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import TYPE_CHECKING, Any

from footwork.errors import FootworkError, LibraryError
from footwork.maintenance import printed
from footwork.results.squad import SquadLine
from footwork.store import stamps

if TYPE_CHECKING:
    import polars as pl

    from footwork.api import Library

# What a process of lines or rows imports before it is forked.
PRELOADED = ["footwork.api", "footwork.questions.squad", "scipy.optimize", "scipy.sparse"]
PROCESSES_FROM = 3  # lines to be worked out; fewer are quicker without starting processes


def texts(
    wanted: Mapping[str, Path],
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


def worked_out(folder: str, name: str, day: str) -> str:
    """A runner's line as JSON, worked out anew and kept beside the library; what goes wrong is the line's problem."""
    from footwork.questions.squad import line_of

    place, today = Path(folder), dt.date.fromisoformat(day)
    text, wrong = kept_anew(place, _question(name, today), lambda library: line_of(library, name, today).to_json())
    return text or json.dumps(problem(name, place, today, wrong).to_json())


def kept_anew(place: Path, question: Mapping[str, Any], ask: Callable[[Library], Any]) -> tuple[str, str]:
    """What one library answers, as JSON and kept beside it; empty where it cannot, with what went wrong in a
    sentence: one library must not cost the others."""
    try:
        with opened(place) as library:
            rests = printed.rests_on(place)
            made = ask(library)
    except FootworkError as error:
        return "", str(error)
    except Exception as error:
        said = f"it cannot be read ({type(error).__name__}): look with footwork --library {place} check-up"
        return "", said
    text = json.dumps(made)
    printed.keep(place, question, rests, text)
    return text, ""


def opened(folder: Path) -> Library:
    """A library as a coach looks at it; results are made anew only where they are old."""
    from footwork.api import Library

    if not (folder / stamps.FILE_NAME).stat().st_size:
        raise LibraryError(f"the library database in {folder} is empty: restore it from a backup")
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
    with ProcessPoolExecutor(count, mp_context=context()) as pool:
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
            yield name, json.dumps(problem(name, folder, today, said).to_json())


def context() -> Any:
    """Where processes come from: on Linux forked from one that has only imported."""
    if sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    return context


def problem(name: str, folder: Path, today: dt.date, said: str) -> SquadLine:
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
        days=[],
        lately=[],
        said=[],
        first=["cannot be read"],
        urgency=100,
        **unknown,
    )


def line(text: str) -> SquadLine:
    """A line from its kept text."""
    from footwork.quantities import Estimate
    from footwork.results.loads import UsualWeek

    found = json.loads(text)
    for key in ("run", "seven_days", "critical_power"):
        found[key] = None if found[key] is None else Estimate.from_json(found[key])
    found["usual"] = None if found["usual"] is None else UsualWeek(**found["usual"])
    return SquadLine(**found)


def frame(lines: Sequence[SquadLine]) -> pl.DataFrame:
    """Lines as a polars table, one row a runner: estimates as value, low and high [CP-min, W]."""
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
    return out
