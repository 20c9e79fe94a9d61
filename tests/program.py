"""The program as a command line meets it, in this process: starting Python for each of its calls takes minutes."""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import sys
from typing import Any
from unittest import mock

from footwork.cli import main


def footwork(*args: object, library: object = None, env: dict[str, str] | None = None) -> Any:
    """What the program prints to either stream and its exit code, as a finished process tells them."""
    words = ["footwork", *(["--library", str(library)] if library else []), *map(str, args)]
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    code: Any = 0
    with (
        mock.patch.object(sys, "argv", words),
        mock.patch.object(sys, "stdin", io.StringIO()),
        mock.patch.dict("os.environ", env or {}),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stop:
            code = stop.code or 0
    told = [stream.buffer.getvalue().decode() for stream in (out, err)]
    return subprocess.CompletedProcess(words, code, *told)


def ok(*args: object, **how: Any) -> Any:
    """The same of a command that must succeed."""
    done = footwork(*args, **how)
    assert done.returncode == 0, done.stderr
    return done


def of_json(*args: object, **how: Any) -> Any:
    """What it answers with --json."""
    return json.loads(ok(*args, "--json", **how).stdout)
