"""Write docs/commands.md from the command line's own help, or with --check fail where it is out of date."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
COMMANDS = (
    "add", "today", "runs", "show", "mark", "enter", "edit", "diary", "weather", "capacity", "usual", "compare", "devices", "power-at-speed", "efforts", "session", "progress", "compare-runs", "trial", "race", "athlete", "export",
    "places", "backup", "restore", "doctor", "serve", "demo", "methods",
)  # fmt: skip
EDITS = ("list", "undo", "distance", "trim", "exclude", "split", "merge", "pair", "lap", "delete")
SESSION = ("new", "list", "preview", "solve", "export", "match", "compare", "shelf")
TRIAL = ("new", "list", "join", "analyse", "export")
DEVICES = ("rename", "join", "break", "check")


def help_of(*command: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "footwork", *command, "--help"], capture_output=True, text=True, check=True,
        env={**os.environ, "COLUMNS": "100", "TERMINAL_WIDTH": "100", "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    lines = done.stdout.replace("python -m footwork", "footwork").splitlines()
    return "\n".join(line.rstrip() for line in lines).strip()


def text() -> str:
    parts = ["# Commands", "", "Made from the program's own help by `make docs`.", "", "```", help_of(), "```"]
    for command in COMMANDS:
        parts += ["", f"## {command}", "", "```", help_of(command), "```"]
        for word in {"edit": EDITS, "devices": DEVICES, "session": SESSION, "trial": TRIAL}.get(command, ()):
            parts += ["", f"### {command} {word}", "", "```", help_of(command, word), "```"]
    parts += [
        "", "## Exit codes", "", "| code | meaning |", "|---|---|", "| 0 | done; for `add`, also when files were skipped, known or recovered |",
        "| 2 | the question cannot be understood |", "| 3 | a file failed |", "| 4 | the library or disk cannot be used |",
        "| 5 | the data carry no answer at all (a withheld number inside an answer is no failure) |", "| 130 | stopped by Ctrl-C; what was done before is kept |", "",
        "With `--json` stdout holds one JSON value and nothing else; an error is `{\"error\": sentence}`.", "",
    ]  # fmt: skip
    return "\n".join(parts)


if __name__ == "__main__":
    target = HERE / "commands.md"
    if "--check" in sys.argv:
        if not target.exists() or target.read_text(encoding="utf-8") != text():
            sys.exit("docs/commands.md is out of date: run make docs")
    else:
        target.write_text(text(), encoding="utf-8")
