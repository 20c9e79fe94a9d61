"""What the program says of its commands, in the words of the pages: nobody who reads a page has a command line."""

from __future__ import annotations

import re
from collections.abc import Mapping

_BEGAN = "say when it began under “A file that holds no date”, and drop it here again"
_BLOCKS = r"--begin 10:00,18:00,…,?"
_MEND = "“Check and mend what can be” on the Library page"
_JOINED = "“A run was run for it”"

# Commands and options with the words about them; the first that fits wins, so longer ones stand first.
_SAID: tuple[tuple[str, str], ...] = (
    (r"footwork athlete --mass KG", "say it under Settings"),
    (r"footwork devices tells", "the Devices page tells"),
    (r"'footwork session list' shows", "the Sessions page shows"),
    (r"footwork session new keeps", "the Sessions page keeps"),
    (r"'footwork trial list' shows", "the list of trials shows"),
    (r"'footwork edit list' lists", "the Library page lists"),
    (r"footwork diary --date (\S+) --clear period takes that one back", r"undo that of \1 on the Library page"),
    (r"footwork privacy consent writes it down first", "write it down under Settings first"),
    (r"use it with 'footwork race --course'", "drop it on the Race page"),
    (r"add it with --start(?:, for example --start \S+)?", _BEGAN),
    (r"footwork edit distance \S+ METRES corrects it", "“Correct and describe” puts it right"),
    (r" \(footwork edit pair\)", " under “Correct and describe”"),
    (r"'footwork season save' writes", "saving the season writes"),
    (r"footwork report --text writes one to change", "save the letter and change that"),
    (r" \(footwork trial join \S+ RUN\)", f", with {_JOINED}"),
    (r"after each, footwork trial join \S+ RUN", f"after each fill in {_JOINED}"),
    (r"footwork trial join(?: \S+ \S+ --order)? says", f"{_JOINED} says"),
    (r"look with footwork --library \S+ check-up", "the check-up of its library tells more"),
    (r"begin anew there with 'footwork --library NEW add ([^']*)'", r"begin anew with the files in \1"),
    (r": make one with 'footwork --library .* add PATH'", ""),
    (r"take it as it is with 'footwork --library .* check-up --repair'", f"take it as it is with {_MEND}"),
    (r"bring it in with 'footwork add .*'", "drop it on the first page"),
    (r"either with `footwork mark 17 --heart-rate sound` or `doubtful`, or the", "either with the"),
    (r"the next command makes them anew, or check-up --repair", f"they are made anew by {_MEND}"),
    (r"check-up --repair FOLDER look", f"{_MEND} look"),
    (r"(run|close it with) check-up --repair", rf"\1 {_MEND}"),
    (r"without --encrypt, onto", "without a passphrase, onto"),
    (r" with --into DIR", ""),
    (r" \(--with-location\)", ""),
    (r"--scale 'NAME, with converted watts' converts", "“with converted watts” converts"),
    (r"--heights with a run or file that has them, or --flat if", "“Heights from run number”, or say so if"),
    (r"race results with --mass, give", "race results and your mass, give"),
    (r": --wind 5@240 is 5 m/s from 240°", ": choose it under “Wind from”"),
    (r"--distance 10km, --time 1:30:00 or --course FILE.gpx", "a distance, a time or a course"),
    (r"belong to a ride: give --after-ride", "belong to a ride: fill in “The ride before”"),
    (r"needs the start: give --start \d{4}-\d\d-\d\dT\d\d:\d\d", "needs the start: fill it in"),
    (r"(^|added: )--start (\S+) lies in the future", r"\1the beginning you gave, \2, lies in the future"),
    (r"(^|: )--start was used for", r"\1the beginning you gave was used for"),
    (r"(belong to a course|needs positions): give --course(?: FILE.gpx)?", r"\1: give a course"),
    (r"--log has its prediction", "“All races” has its prediction"),
    (r"--own 5km=250 says up to where which", "say up to where which, as 5km=250"),
    (r"needs the day of its race: --race \d{4}-\d\d-\d\d", "needs the day of its race"),
    (rf"laps, or {_BLOCKS} say where", "laps, or when each block began, say where"),
    (rf"{_BLOCKS} says when each began", "say when each block began"),
    (r"--exertion tells it", "fill in the exertion of its blocks"),
    (r"--oxygen tells it", "fill in the oxygen uptake of its blocks"),
    (r"leave out --effort", "leave out the results you gave"),
)
_RULES = tuple((re.compile(pattern), words) for pattern, words in _SAID)
_OPTION = re.compile(r"(?<![\w-])--([a-z][a-z-]*)(?![\w.])")  # no part of a file's name


def on_page(said: str) -> str:
    """A text of the program without what it says of commands; what the runner wrote stays as it was written."""
    if "--" in said or "footwork " in said:
        for pattern, words in _RULES:
            said = pattern.sub(words, said)
    return said


def sentence(said: str, labels: Mapping[str, str] | None = None) -> str:
    """Why a command was refused, as a sentence of a page; ``labels`` are those of the fields that give its options."""
    for option, label in (labels or {}).items():
        said = re.sub(rf"(?<![\w-])'?{re.escape(option)}'?(?![\w-])", f"“{label}”", said)
    said = _OPTION.sub(lambda found: f"“{found[1].replace('-', ' ')}”", on_page(said))
    return f"{said[0].upper()}{said[1:]}{'' if said.endswith(('.', '?', '!')) else '.'}" if said else ""
