"""Write docs/commands.md from the command line's own help, or with --check fail where it is out of date."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

os.environ |= {"COLUMNS": "100", "TERMINAL_WIDTH": "100", "NO_COLOR": "1"}  # read when typer is imported

import typer

from footwork.cli import app

HERE = Path(__file__).parent
EXIT_CODES = """
## Exit codes

| code | meaning |
|---|---|
| 0 | done; for `add`, also when files were skipped, known or recovered |
| 2 | the question cannot be understood |
| 3 | a file failed |
| 4 | the library or disk cannot be used |
| 5 | the data carry no answer at all (a withheld number inside an answer is no failure) |
| 130 | stopped by Ctrl-C; what was done before is kept |

With `--json` stdout holds one JSON value and nothing else; an error is `{"error": sentence}`.
"""


def help_of(*command: str) -> str:
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown):
        app(args=[*command, "--help"], prog_name="footwork", standalone_mode=False)
    return "\n".join(line.rstrip() for line in shown.getvalue().splitlines()).strip()


def commands(group: Any, above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every command and subcommand that the program has, in its own order."""
    for name, command in group.commands.items():
        if command.hidden:
            continue
        yield (*above, name)
        if hasattr(command, "commands"):
            yield from commands(command, (*above, name))


def text() -> str:
    parts = ["# Commands", "", "Made from the program's own help by `make docs`.", "", "```", help_of(), "```"]
    for command in commands(typer.main.get_command(app)):
        parts += ["", f"{'#' * (1 + len(command))} {' '.join(command)}", "", "```", help_of(*command), "```"]
    return "\n".join(parts) + "\n" + EXIT_CODES


def main() -> int:
    path, made = HERE / "commands.md", text()
    if "--check" in sys.argv:
        if path.read_text(encoding="utf-8") != made:
            print("docs/commands.md is out of date: run 'make docs'")
            return 1
        return 0
    path.write_text(made, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
