"""Whether two checkouts give the same answers, byte for byte: what a redesign must not change.

    python -m tests.tools.compare_answers BASE NEW --demo DEMO [--recording FILE]

``BASE`` and ``NEW`` are checkouts, ``DEMO`` a folder made by ``footwork demo``. Each checkout asks its own copy of the
demo's library every question below, as text and as JSON, then every page and its twin, and the copies are compared. A
different answer is printed as a diff and makes the exit code 1.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
import urllib.error
import urllib.request
from pathlib import Path

import json  # isort: skip

# Each line is a command as it is typed; with --json it is asked again. "!" before a line: as text only.
QUESTIONS = """
today
runs
runs --all
runs --find trail
runs --mark race
runs --by week
runs --by month
runs --distance 10km..
capacity
capacity --history
capacity --date 2026-06-01
capacity --effort 3:00=361 --effort 7:00=298 --effort 12:00=278
capacity --effort 5km=20:30 --effort 10km=42:50
capacity --effort 5km=20:30 --effort 10km=42:50 --mass 68
capacity --scale "CSV file A"
capacity --scale "device A with converted watts"
usual
usual --date 2026-06-01
devices
devices check
power-at-speed
power-at-speed --date 2026-06-01
progress
progress --cadence
progress --run 120
progress --run 30
compare-runs 2026-03-02..2026-03-29 2026-08-03..2026-08-30
compare-runs 24 139
compare 20
compare 2
compare recordings/2026-03-04-0845.fit recordings/2026-03-04-0845-wrist.fit
trial list
trial analyse 259
trial analyse 250
trial analyse 258
race --distance 10km
race --distance half --time 1:35:00
race --course recordings/cliff-half-marathon.gpx --wind 5@240 --temperature 18
race --course recordings/cliff-half-marathon.gpx --risk 0.2
race --course recordings/cliff-half-marathon.gpx --start 2026-10-04T09:00 --mark "3km-5km: sand, +15 %"
race --distance half --companion 5:00/km
race --distance half --own 10km=250 --own 21.1km=265
race --distance 10km --after-ride 1:10:00
race --distance half --what-if critical-power=1.03 --what-if warmer=8
race --distance half --effort 5km=20:30 --effort 10km=42:50 --mass 68
race --distance marathon --negative-split 0.02
race --course 80
race --review 115
race --log
session shelf
session list
session preview "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"
session preview "20 min easy, 10 x 400 m hard (1 min rest), 10 min easy"
session preview "10 min easy, 8 x 1 min at 500 W, 1 min easy"
session solve "5 x (4 min at ?, 2 min easy jog)" --leave 0.2
session match 139 --session "four minutes"
session match 139 --session "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"
session compare 24 139
athlete
places
diary
edit list
weather 17
check-up
methods
methods critical-power
efforts recordings/2026-03-12-1837.fit
show 1000000
race --distance 7parsec
"""
EACH_RUN = ("show {n}", "efforts {n}", "efforts {n} --balance", 'show {n} --scale "device A"')
PAGES = (
    "/",
    "/today",
    "/runs",
    "/capacity",
    "/usual",
    "/devices",
    "/power-at-speed",
    "/race",
    "/race/log",
    "/sessions",
    "/progress",
    "/compare-runs",
    "/trials",
    "/diary",
    "/library",
    "/settings",
    "/methods",
    "/race?distance=half",
    "/runs/17",
    "/runs/120",
    "/runs/115/review",
    "/runs/17/efforts",
    "/runs/139/session",
    "/runs/17/edit",
    "/runs/20/compare",
    "/runs/120/drift",
    "/trials/259",
    "/devices/check/17",
    "/capacity?date=2026-06-01",
    "/progress?date=2026-07-01",
)


def asked(count: int) -> list[str]:
    """Every question, in order: the lines above and the ones about each of some runs of the library."""
    lines = [line for line in QUESTIONS.splitlines() if line]
    runs = [n for n in range(1, count + 1) if n % 7 == 0 or n in (17, 115, 139)]
    return lines + [form.format(n=n) for n in runs for form in EACH_RUN]


def ask(question: str) -> str:
    """What the command line of the checkout on the path prints, to either stream, and its exit code."""
    import shlex

    from footwork.cli import main

    out, err = io.StringIO(), io.StringIO()
    sys.argv = ["footwork", "--library", "library", *shlex.split(question)]
    code: object = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main()
        except SystemExit as stop:
            code = stop.code
    return f"exit {code}\n{out.getvalue()}--\n{err.getvalue()}"


def drive(recordings: list[str], count: int) -> None:
    """Runs inside a checkout's process: print each question with its answer as JSON lines."""
    extra = [f'{form} "{name}"' for name in recordings for form in ("efforts", "compare")]
    for question in asked(count) + extra:
        for form in (question, f"{question} --json"):
            print(json.dumps([form, ask(form)]), file=sys.__stdout__, flush=True)


def _settled(page: str) -> str:
    """A page without what differs from one visit to the next."""
    return re.sub(
        r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}|/_nicegui/[0-9.]+/|__version=\S+", "", page
    )


def pages(work: Path, environment: dict[str, str]) -> dict[str, str]:
    """Every page and twin of the copy, served."""
    child = subprocess.Popen(
        [sys.executable, "-m", "footwork", "--library", "library", "serve", "--port", "0"],
        cwd=work,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert child.stdout is not None
    address = re.search(r"http://127\.0\.0\.1:\d+", child.stdout.readline())
    assert address
    found: dict[str, str] = {}
    try:
        for path in PAGES:
            name, _, query = path.partition("?")
            for form in (path, f"{name}.json{'?' + query if query else ''}"):
                try:
                    with urllib.request.urlopen(address.group() + form, timeout=60) as answer:
                        found[f"GET {form}"] = _settled(answer.read().decode())
                except urllib.error.HTTPError as error:
                    found[f"GET {form}"] = f"{error.code}\n{_settled(error.read().decode())}"
    finally:
        child.terminate()
        child.wait(10)
    return {k: re.sub(r'"port": ?\d+|127\.0\.0\.1:\d+', "", v) for k, v in found.items()}


def answers(checkout: Path, demo: Path, recordings: list[Path], count: int) -> dict[str, str]:
    """All answers of a checkout on a copy of the demo."""
    with tempfile.TemporaryDirectory() as scratch:
        work = Path(scratch) / "demo"
        shutil.copytree(demo, work)
        environment = {**os.environ, "PYTHONPATH": str(checkout / "src"), "CI": "true", "COLUMNS": "160"}
        with (work / "library" / "import.lock").open("w"):
            pass
        code = f"import sys; sys.path.append({str(Path(__file__).parents[2])!r})\n"
        code += f"from tests.tools.compare_answers import drive; drive({[str(r) for r in recordings]!r}, {count})"
        made = subprocess.run(
            [sys.executable, "-c", code], cwd=work, env=environment, stdout=subprocess.PIPE, text=True, check=True
        )
        told = {q: a.replace(str(work), "DEMO") for q, a in map(json.loads, made.stdout.splitlines())}
        for recording in recordings:
            added = subprocess.run(
                [sys.executable, "-m", "footwork", "--library", "alone", "add", str(recording), "--json"],
                cwd=work,
                env=environment,
                capture_output=True,
                text=True,
            )
            told[f"add {recording.name}"] = added.stdout + added.stderr
            shown = ("show 1 --json", "efforts 1 --json", "capacity --json")
            told |= {f"{recording.name}: {line}": _one(work, environment, line) for line in shown}
        told |= pages(work, environment)
    # How long the optimum took is the machine's, not the answer's.
    return {q: re.sub(r'"seconds": ?[0-9.e-]+', '"seconds": 0', a) for q, a in told.items()}


def _one(work: Path, environment: dict[str, str], line: str) -> str:
    made = subprocess.run(
        [sys.executable, "-m", "footwork", "--library", "alone", *line.split()],
        cwd=work,
        env=environment,
        capture_output=True,
        text=True,
    )
    return made.stdout + made.stderr


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("base", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--demo", type=Path, required=True)
    parser.add_argument("--recording", type=Path, action="append", default=[])
    parser.add_argument("--runs", type=int, default=150, help="how many runs the demo's library has")
    parser.add_argument(
        "--keep", type=Path, help="a file for the base's answers; read instead of asking where it exists"
    )
    told = parser.parse_args()
    files = [r.resolve() for r in told.recording]
    if told.keep and told.keep.exists():
        old = json.loads(told.keep.read_text())
    else:
        old = answers(told.base.resolve(), told.demo.resolve(), files, told.runs)
        if told.keep:
            told.keep.write_text(json.dumps(old))
    new = answers(told.new.resolve(), told.demo.resolve(), files, told.runs)
    differ = sorted(q for q in old.keys() | new.keys() if old.get(q) != new.get(q))
    for question in differ:
        print(f"DIFFERS: {question}")
        first, second = (re.sub(r'([,{\[] ?)"', '\\1\n"', a.get(question, "")).splitlines() for a in (old, new))
        print("\n".join(list(difflib.unified_diff(first, second, lineterm="", n=0))[:12]))
    print(f"{len(old)} answers compared, {len(differ)} differ")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
