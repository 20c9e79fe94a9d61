"""`python -m tests.harden` attacks for about half an hour and writes the table of docs/hardening.md; ``--minutes`` are
the crowd's. With names of attacks only these are made, and their rows written anew."""

from __future__ import annotations

import argparse
import datetime as dt
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.conftest import REAL_RUN
from tests.harden import bombs, crowd, flips, hostile, kills, machine, mutants, scene

OUT = Path(__file__).parents[2] / "docs" / "hardening.md"
SEED = 20261127
ADDS, OTHERS, PLACES, MUTANTS = 100, 10, 1000, 10_000
ROWS = Iterator[tuple[str, str, str]]  # what was done, how often, what came of it
FOUND = "## Found\n"  # what stands before it in the page is written by hand
LEDE = f"Seed {SEED}, two cores, as root on Linux."
COLUMNS = ("| attack | what | how often | what came of it | on |", "|---|---|---|---|---|")


def of_mutants(work: Path, minutes: float) -> ROWS:
    """Mutated files through the readers."""
    _, files = scene.made(work / "m")
    seeds = [(p.read_bytes(), "a.fit") for p in sorted(files.iterdir())[:6]]
    whose = "the simulated runner's recordings"
    if REAL_RUN.exists():
        seeds.append((REAL_RUN.read_bytes(), "a.fit"))
        whose = "the simulated runner's and the real recording"
    seeds += [text for data, _ in (seeds[0], seeds[-1]) for text in mutants.texts_of(data)]
    found = mutants.attack(seeds, MUTANTS, SEED)
    yield (
        f"Mutated FIT, GPX and CSV files of {whose} through the readers and the cleaning",
        f"{found.files}",
        f"{found.read} read, {found.refused} refused with a reason, {_wrong(found.faults)}; "
        f"slowest {found.slowest_s:.1f} s, at most {found.most_mb:.0f} MB",
    )


def of_bombs(work: Path, minutes: float) -> ROWS:
    """Files that claim to be much."""
    for name in bombs.BOMBS:
        took, most, said = bombs.measured(name, work)
        yield f"A file of {name}", "1", f"{said.partition(':')[0]} after {took:.1f} s, {most:.0f} MB"


def of_kills(work: Path, minutes: float) -> ROWS:
    """SIGKILL in the middle of commands."""
    library, files = scene.made(work / "k")
    for name in kills.COMMANDS:
        found = kills.attack(name, ADDS if name == "add" else OTHERS, library, files, work, SEED)
        what = f"SIGKILL at a random moment of `{name}`; then the next command, a check-up, every run read"
        yield what, f"{found.killed + found.ended}", f"{found.killed} killed, {_wrong(found.faults)}"


def of_flips(work: Path, minutes: float) -> ROWS:
    """Single bits."""
    library, _ = scene.made(work / "f")
    for kind, (tried, wrong) in flips.attack(library, work, PLACES, SEED).items():
        yield f"One bit changed in {kind}: found, unless no answer changes", f"{tried}", _wrong(wrong)


def of_crowds(work: Path, minutes: float) -> ROWS:
    """Two importers, a server, three readers."""
    _, files = scene.made(work / "c")
    found = crowd.attack(files, work, 60 * minutes)
    took = np.quantile(found.took, [0.5, 0.99])
    yield (
        f"Two importers, a server and three readers, a page every half second each, for {minutes:g} minutes",
        f"{len(found.took)} answers, {found.imports + found.busy} imports",
        f"{_wrong(found.faults)}; half of the answers within {took[0]:.2f} s, 99 % within {took[1]:.2f} s, the slowest "
        f"{max(found.took):.1f} s, {found.slow()} over {crowd.LONGEST_S:g} s",
    )


def of_machines(work: Path, minutes: float) -> ROWS:
    """Faults of the machine."""
    library, files = scene.made(work / "d")
    for fault, wrong in machine.attack(library, files, work).items():
        said = "could not be made here" if wrong is None else _wrong(wrong)
        yield f"{fault.capitalize()}: each command one sentence, the library whole", "1", said


def of_the_hostile(work: Path, minutes: float) -> ROWS:
    """Hostile input."""
    library, _ = scene.made(work / "h")
    for what, (tried, wrong) in {
        "Hostile archives: paths that lead elsewhere, links, archives in archives": hostile.archives(work),
        "Hostile names of files, shoes, notes and places, on pages and in tables": hostile.names(work),
        "Hostile requests to the pages": hostile.requests(library),
    }.items():
        yield what, f"{tried}", _wrong(wrong)


ATTACKS: dict[str, Callable[[Path, float], ROWS]] = {
    "mutants": of_mutants,
    "bombs": of_bombs,
    "kills": of_kills,
    "flips": of_flips,
    "crowd": of_crowds,
    "machine": of_machines,
    "hostile": of_the_hostile,
}


def _wrong(faults: list[str]) -> str:
    for fault in faults[:20]:
        print("FAULT", fault)
    return f"**{len(faults)} faults**, as {faults[0][:120]}" if faults else "0 faults"


def main() -> None:
    """Attack, and write the table where all of it was done."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("names", nargs="*", choices=[[], *ATTACKS])
    asked.add_argument("--minutes", type=float, default=10.0)
    given = asked.parse_args()
    head, _, table = OUT.read_text(encoding="utf-8").partition(FOUND)
    rows = {name: [r for r in table.splitlines() if r.startswith(f"| {name} |")] for name in ATTACKS}
    for name in given.names or ATTACKS:
        made = []
        with tempfile.TemporaryDirectory() as place:
            os.chmod(place, 0o755)  # another user comes this far
            for row in ATTACKS[name](Path(place), given.minutes):
                made.append("| " + " | ".join((name, *row, dt.date.today().isoformat())) + " |")
                print(made[-1], flush=True)
        rows[name] = made
        lines = [LEDE, "", *COLUMNS, *(row for name in ATTACKS for row in rows[name])]
        OUT.write_text("\n".join([head + FOUND.rstrip("\n"), *lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
