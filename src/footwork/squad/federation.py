"""Many libraries asked at once: on this machine's cores, or on a cluster over shared storage. One task a library; what
a task says goes into one table, whoever worked it out."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from footwork.errors import UsageError
from footwork.maintenance import export, printed
from footwork.quantities import Day, as_day
from footwork.squad.kept_lines import context, kept_anew, opened
from footwork.squad.runners import Squad

if TYPE_CHECKING:
    import polars as pl

    from footwork.physiology.population import Learned

Told = Callable[[int, int, str], None]
RETRIES = 2  # of a library whose worker died; then it is named


@dataclass
class Refreshed:
    """What a refresh came to: a row a library, by name what went wrong, and the workers that were lost on the way."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    failed: dict[str, str] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    read: int = 0  # rows that stood as they were kept

    def frame(self) -> pl.DataFrame:
        """The rows as a polars table, by name; columns as `population_row` gives them."""
        import polars as pl

        return pl.DataFrame(sorted(self.rows, key=lambda r: str(r["athlete"])), infer_schema_length=None)

    def write(self, path: Path) -> None:
        """Write the rows as .parquet or .csv. Raises UsageError for another ending or no folder, LibraryError."""
        export.check_out(path, *export.ENDINGS)
        made = self.frame()
        export.write_whole(path, export.csv_of(made) if path.suffix.lower() == ".csv" else made.write_parquet)


def refresh(
    squad: Squad,
    names: Sequence[str] = (),
    date: Day | None = None,
    workers: int | None = None,
    scheduler: str = "",
    fresh: bool = False,
    progress: Told | None = None,
) -> Refreshed:
    """A row of numbers for each library, worked out where its library changed.

    Parameters
    ----------
    squad : Squad
    names : sequence of str
        Only these runners; all by default.
    date : date or str, optional
        As known on a day; today by default.
    workers : int, optional
        Processes of this machine; as many as it has cores by default.
    scheduler : str
        Address of a Dask scheduler, as ``tcp://host:8786``, whose workers reach the same folders.
    fresh : bool
        Whether to work every row out anew.
    progress : callable, optional
        Called with rows done, rows in all, and the name.

    Raises
    ------
    UsageError
        A name that nobody has, no such scheduler, or the extra for clusters is not installed.
    """
    today = (as_day(date) or dt.date.today()).isoformat()
    places = {n: str(squad.folder_of(n).resolve()) for n in names} or {
        n: str(f.resolve()) for n, f in squad.athletes.items()
    }
    out = Refreshed()
    left = {}
    for name, folder in places.items():
        kept = None if fresh else printed.recall(Path(folder), _question(name, today))
        if kept is None:
            left[name] = folder
        else:
            out.rows.append(json.loads(kept))
            out.read += 1
    done = out.read
    told = _on_cluster(left, today, scheduler, out) if scheduler else _here(left, today, workers, out)
    for name, text in told:
        found = json.loads(text)
        if "failed" in found:
            out.failed[name] = found["failed"]
        else:
            out.rows.append(found)
        done += 1
        if progress is not None:
            progress(done, len(places), name)
    return out


def worked_row(folder: str, name: str, day: str) -> str:
    """A library's row as JSON, worked out anew and kept beside it; ``failed`` alone where it cannot be."""
    from footwork.questions.squad import population_row

    on = dt.date.fromisoformat(day)
    text, wrong = kept_anew(Path(folder), _question(name, day), lambda library: population_row(library, name, on))
    return text or json.dumps({"failed": wrong})


def _question(name: str, day: str) -> dict[str, Any]:
    return {"population row of": name, "on": day}


def _here(left: Mapping[str, str], today: str, workers: int | None, out: Refreshed) -> Iterator[tuple[str, str]]:
    """By this machine's processes; a library at which one died is tried alone once more, then named."""
    count = min(workers or os.cpu_count() or 1, len(left))
    if count < 2:
        for name, folder in left.items():
            yield name, worked_row(folder, name, today)
        return
    done: set[str] = set()
    try:
        with ProcessPoolExecutor(count, mp_context=context()) as pool:
            waiting = {pool.submit(worked_row, folder, name, today): name for name, folder in left.items()}
            for future in as_completed(waiting):
                text = future.result()
                done.add(waiting[future])
                yield waiting[future], text
    except BrokenProcessPool:
        out.lost.append("a process of this machine")
    for name in [n for n in left if n not in done]:
        try:
            with ProcessPoolExecutor(1, mp_context=context()) as pool:
                yield name, pool.submit(worked_row, left[name], name, today).result()
        except BrokenProcessPool:
            yield name, json.dumps({"failed": "the process that worked it out died twice"})


def _on_cluster(left: Mapping[str, str], today: str, scheduler: str, out: Refreshed) -> Iterator[tuple[str, str]]:
    """By the workers of a Dask scheduler: one task a library, given to another worker where one dies."""
    try:
        cluster: Any = import_module("distributed")  # only where the extra is installed
    except ImportError:
        raise UsageError("a cluster needs more: pip install 'footwork[cluster]'") from None
    try:
        client = cluster.Client(scheduler, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TimeoutError):
        raise UsageError(f"no scheduler answers at {scheduler}: start one with 'dask scheduler'") from None
    with client:
        known = _workers(client)
        if not known:
            raise UsageError(f"the scheduler at {scheduler} has no workers: start some with 'dask worker {scheduler}'")
        tasks = {
            client.submit(worked_row, folder, name, today, key=f"row-{uuid4().hex}", retries=RETRIES, pure=False): name
            for name, folder in left.items()
        }
        for future in cluster.as_completed(list(tasks), loop=client.loop):
            seen = _workers(client)
            out.lost += sorted(known - seen - set(out.lost))
            known |= seen
            if future.status == "finished":
                yield tasks[future], str(future.result())
            else:
                said = f"the worker that worked it out died {RETRIES + 1} times, or could not run it"
                yield tasks[future], json.dumps({"failed": said})
            future.release()  # nothing is held of what is written down


def _workers(client: Any) -> set[str]:
    return set(client.scheduler_info(n_workers=-1)["workers"])


def priors(squad: Squad, date: Day | None = None, workers: int | None = None) -> dict[str, Learned | None]:
    """Priors of W′/CP (``reserve``) and of the tail as the squad's tested runners tell them; None of each where fewer
    than `population.LEAST` do. Rows are found under the literature's priors, also where others are switched on."""
    from footwork.physiology import population

    rows = refresh(squad, date=date, workers=workers).rows
    out: dict[str, Learned | None] = {}
    for name, literature in population.LITERATURE.items():
        told = [(r[f"log_{name}"], r[f"log_{name}_sd"]) for r in rows if r.get(f"log_{name}_sd")]
        out[name] = population.learn([v for v, _ in told], [s for _, s in told], literature)
    return out


def use_priors(squad: Squad, found: Mapping[str, Learned | None]) -> int:
    """Switch learned priors on in every library, or off where nothing is given; returns how many libraries that were.

    Raises LibraryError for a library that cannot be written; those before it have changed.
    """
    told = {name: [round(p.mean, 4), round(p.sd, 4)] for name, p in found.items() if p is not None}
    for folder in squad.athletes.values():
        with opened(folder) as library:
            library.store_setting("priors", json.dumps(told) if told else "")
    return len(squad.athletes)
