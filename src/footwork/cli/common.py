"""What all commands share: the app, its option types, the library they open, and how they speak."""

from __future__ import annotations

import datetime as dt
import json
import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated, Any, TypeVar, cast

import typer

from footwork.errors import LeftOut, UsageError

if TYPE_CHECKING:
    from footwork.api import Library

_Command = TypeVar("_Command", bound=Callable[..., None])

app = typer.Typer(
    help="Running power on your own machine: recordings in; critical power, domains and race plans out.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
_ASCII = str.maketrans(
    {
        "′": "'",
        "–": "-",
        "−": "-",
        "°": " deg",
        "·": " ",
        "γ": "gamma",
        "†": "*",
        "≈": "~",
        "₀": "0",
        "±": "+/-",
        "½": "1/2",
        "ρ": "rho",
        "²": "2",
        "³": "3",
        "Σ": "sum",
        "…": "..",
        "\u0304": "",
    }
)
Json = Annotated[bool, typer.Option("--json", help="Print the result as one JSON object, SI units.")]
Date = Annotated[
    str | None, typer.Option(help="As of this date, YYYY-MM-DD; by default today, or the newest run's in an archive.")
]
Scale = Annotated[
    str | None,
    typer.Option(
        help="The scale of the watts: its name, also followed by 'with converted watts'; by default the one most used "
        "in the six weeks before."
    ),
]
Efforts = Annotated[
    list[str] | None,
    typer.Option(
        "--effort",
        help="A stated best: 3:00=361 (watts), 5km=20:30 (race), all-out=305. Repeatable; then these alone count.",
    ),
]
Mass = Annotated[float | None, typer.Option(help="Body mass in kg for this question only.")]
_folder = Path()


def _version(asked: bool) -> None:
    if asked:
        from footwork import __version__

        say(f"footwork {__version__}")
        raise typer.Exit


@app.callback()
def main_options(
    library: Annotated[
        Path | None, typer.Option("--library", help="Library folder; by default $FOOTWORK_LIBRARY or ~/Footwork.")
    ] = None,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    global _folder
    _folder = library or Path(os.environ.get("FOOTWORK_LIBRARY") or Path.home() / "Footwork")


def say(text: str = "", err: bool = False) -> None:
    """Print a line that also survives a terminal that knows only ASCII."""
    stream = sys.stderr if err else sys.stdout
    try:
        text.encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        text = text.translate(_ASCII).encode("ascii", "replace").decode()
    print(text, file=stream)


def out(result: Any) -> None:
    """Print the JSON object; stdout holds nothing else."""
    from footwork.quantities import plain

    print(json.dumps(plain(result), ensure_ascii=True, allow_nan=False))


def without_damaged(names: list[str]) -> None:
    """Name what is not in an answer that is made all the same. Raises LeftOut."""
    if names:
        more = f" and {len(names) - 10} more" if len(names) > 10 else ""
        raise LeftOut(
            f"all that is whole was written; not in it, because what was kept is damaged or gone: "
            f"{', '.join(names[:10])}{more}. Add those files again, or let check-up --repair FOLDER look for copies"
        )


def folder() -> Path:
    """The library folder that was asked for."""
    return _folder


def opened(create: bool = False) -> Any:
    from footwork.api import Library

    return _noted(Library.open(_folder, create=create, progress=progress("rebuilding")))


def not_withheld(library: Library, what: str) -> None:
    """Refuse to make a copy of everything for a coach who is not shown the diary. Raises UsageError."""
    if library.diary_withheld:
        raise UsageError(f"this runner does not share the diary, so a squad's pages make no {what} of everything")


def _noted(library: Library) -> Any:
    library.for_coach = bool(os.environ.get("FOOTWORK_FOR_COACH"))  # as the pages of a squad say it
    for problem in library.problems:
        say(f"footwork: not rebuilt: {problem}", err=True)
    return library


def asked(efforts: list[str] | None) -> Any:
    """The library, or an empty one where the question carries its own efforts and there is no library yet."""
    from footwork.api import Library

    if efforts and not (_folder / "library.sqlite").exists():
        return Library.from_nothing()
    return _noted(Library.open(_folder, create=False, progress=progress("rebuilding")))


class _Both:
    """A stream that also keeps what it passes on."""

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream
        self.text = ""

    def write(self, text: str) -> int:
        self.text += text
        return self._stream.write(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def remembered(command: _Command) -> _Command:
    """A command that only asks: asked again of an unchanged library, it prints what it printed before. Not so where it
    reads or writes a file of its own, or had something to say beside its answer."""

    @wraps(command)
    def asked_again(**given: Any) -> None:
        from footwork.maintenance import printed

        flat = [v for value in given.values() for v in (value if isinstance(value, list) else [value])]
        if any(isinstance(v, Path) or (isinstance(v, str) and v and os.path.exists(v)) for v in flat):
            return command(**given)
        terminal = sys.stdout.isatty()
        question = {
            "command": f"{command.__module__}.{command.__name__}",
            "given": given,
            "to": [sys.stdout.encoding, terminal, os.get_terminal_size().columns if terminal else 0],
            "zone": os.environ.get("TZ", ""),
            "coach": os.environ.get("FOOTWORK_FOR_COACH", ""),
        }
        known = printed.recall(_folder, question)
        if known is not None:
            sys.stdout.write(known)
            return None
        rests = printed.rests_on(_folder)
        stdout, stderr = sys.stdout, sys.stderr
        out_, err = _Both(stdout), _Both(stderr)
        sys.stdout, sys.stderr = cast("Any", out_), cast("Any", err)
        try:
            command(**given)
        finally:
            sys.stdout, sys.stderr = stdout, stderr
        if not err.text:
            printed.keep(_folder, question, rests, out_.text)
        return None

    return cast("_Command", asked_again)


def way_out(caution: str) -> str:
    """The command that ends a caution about illness or injury, where there is one."""
    return " When you are: footwork diary --well." if "well again" in caution else ""


def progress(verb: str) -> Callable[[int, int, str], None]:
    """Lines a parent process can follow, or one line redrawn on a terminal; silent for a handful of files."""
    lines = bool(os.environ.get("FOOTWORK_PROGRESS_LINES"))
    tty = sys.stderr.isatty()

    def report(done: int, total: int, name: str) -> None:
        if lines:
            print(json.dumps({"done": done, "total": total, "file": name}), file=sys.stderr, flush=True)
        elif tty and total > 3:
            width = 24 * done // max(total, 1)
            print(
                f"\r{verb} [{'#' * width}{'.' * (24 - width)}] {done}/{total}",
                end="\n" if done == total else "",
                file=sys.stderr,
                flush=True,
            )

    return report


def day(text: str | None) -> dt.date | None:
    from footwork.quantities import parse_date

    return None if text is None else parse_date(text)


def plural(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
