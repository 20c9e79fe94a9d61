"""Write docs/commands.md from the command line's own help, or with --check fail where it is out of date."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from typing import Any

os.environ |= {"COLUMNS": "100", "TERMINAL_WIDTH": "100", "NO_COLOR": "1"}  # read when typer is imported

import typer
from made import write_or_check

from footwork.cli import app

EXIT_CODES = """
## Exit codes

| code | meaning |
|---|---|
| 0 | done; for `add`, also when files were skipped, known or recovered |
| 2 | the question cannot be understood |
| 3 | a file failed |
| 4 | the library or disk cannot be used; or a check-up left something wrong |
| 5 | the data carry no answer at all (a withheld number inside an answer is no failure) |
| 6 | hard running is held back while the diary tells of illness, injury or a return |
| 7 | written, but without what is damaged here, which is named |
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


if __name__ == "__main__":
    sys.exit(write_or_check("commands.md", text()))
