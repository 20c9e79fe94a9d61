"""The command line. Each command asks the `Library`, prints a sentence first, or with ``--json`` the object alone."""

from __future__ import annotations

import json
import os
import re
import sys
from typing import Any

from typer import Abort, BadParameter

from footwork.cli.common import app, say, way_out
from footwork.errors import FootworkError, HeldBack, LeftOut

# The order of these is the order of the commands in the help.
from footwork.cli import recordings_commands  # isort: skip
from footwork.cli import answers_commands  # isort: skip
from footwork.cli import race_commands  # isort: skip
from footwork.cli import sessions_commands  # isort: skip
from footwork.cli import progress_commands  # isort: skip
from footwork.cli import season_commands  # isort: skip
from footwork.cli import devices_commands  # isort: skip
from footwork.cli import telling_commands  # isort: skip
from footwork.cli import keeping_commands  # isort: skip
from footwork.cli import running_commands  # isort: skip
from footwork.cli import squad_commands  # isort: skip

__all__ = [
    "answers_commands",
    "app",
    "devices_commands",
    "keeping_commands",
    "main",
    "progress_commands",
    "race_commands",
    "recordings_commands",
    "running_commands",
    "season_commands",
    "sessions_commands",
    "squad_commands",
    "telling_commands",
]


CommandLineError: Any = BadParameter.__base__  # what typer raises for any command line it cannot parse


# How the libraries below say that a word is no number.
_NO_NUMBER = re.compile(
    r"Input should be a valid \w+, unable to parse string as an? \w+|'[^']*' is not a valid (integer|float)\b"
)


def main() -> None:
    """Entry point: every error we know is one sentence on stderr and its documented exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        sys.exit(app(args=None if len(sys.argv) > 1 else ["--help"], standalone_mode=False))
    except CommandLineError as error:
        told = _NO_NUMBER.sub("a number is expected", error.format_message())
        if "--json" in sys.argv:
            print(json.dumps({"error": told}))
        say(f"footwork: {told} (footwork --help tells the commands and options)", err=True)
        sys.exit(2)
    except (Abort, KeyboardInterrupt):
        say("footwork: stopped; what was done before is kept", err=True)
        sys.exit(130)
    except FootworkError as error:
        if "--json" in sys.argv and not isinstance(error, LeftOut):  # which comes after its answer
            print(json.dumps({"error": str(error)}))
        say(f"footwork: {error}{way_out(str(error)) if isinstance(error, HeldBack) else ''}", err=True)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        say(f"footwork: {error.filename or 'the system'}: {error.strerror or error}", err=True)
        sys.exit(4)
