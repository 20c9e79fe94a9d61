"""What the runner says and plans, as methods of `Library`: marks, corrections, diary, weather, decisions about scales,
sessions."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any


class Said:
    """Everything that is kept as an entry and can be taken back, and the sessions that are among it."""

    def mark(
        self,
        run_id: int,
        name: str,
        remove: bool = False,
        incline: float | None = None,
        surface: str | None = None,
        shoe: str | None = None,
    ) -> list[str]:
        """Mark a run as race, test or another kind (`entries.MARKS`), or take the mark off; returns its marks. A
        surface and shoe to be said with it are looked at first, so that nothing is kept where one cannot be."""
        from footwork.library import entries

        entries.check_description(self, run_id, surface, shoe, "" if remove else name)
        return entries.mark(self, run_id, name, remove, incline)

    def describe_run(self, run_id: int, surface: str | None = None, shoe: str | None = None) -> None:
        """Say the surface (`entries.SURFACES`) or the shoe of a run; an empty text takes it back."""
        from footwork.library import entries

        entries.describe(self, run_id, surface, shoe)

    def enter_run(self, start: dt.datetime, duration: float, **more: Any) -> int:
        """Enter a run that was not recorded, or a past race result; returns its number. See `entries.enter_run`."""
        from footwork.library import entries

        return entries.enter_run(self, start, duration, **more)

    def correct_distance(self, run_id: int, metres: float) -> int:
        """Correct the distance of a run [m]; returns the number of the edit, by which it can be undone."""
        from footwork.library import entries

        return entries.distance(self, run_id, metres)

    def trim(self, run_id: int, begin: float | None = None, end: float | None = None) -> int:
        """Keep only the elapsed seconds from ``begin`` to ``end``; returns the number of the edit."""
        from footwork.library import entries

        return entries.trim(self, run_id, begin, end)

    def leave_out(
        self, run_id: int, begin: float | None = None, end: float | None = None, only: str | None = None
    ) -> int:
        """Leave elapsed seconds, or the whole run, out of analysis (``only`` one signal); returns the edit's number."""
        from footwork.library import entries

        return entries.leave_out(self, run_id, begin, end, only)

    def split(self, run_id: int, at: float) -> tuple[int, int]:
        """Make two runs of one at an elapsed second; returns the number of the edit and the new, later run."""
        from footwork.library import entries

        return entries.split(self, run_id, at)

    def merge(self, run_id: int, other: int) -> int:
        """Make one run of two that follow each other; returns the number of the edit."""
        from footwork.library import entries

        return entries.merge(self, run_id, other)

    def pair(self, run_id: int, other: int) -> int:
        """Say that another run is this one by a second device; returns the edit's number. See `entries.pair`."""
        from footwork.library import entries

        return entries.pair(self, run_id, other)

    def add_lap(self, run_id: int, begin: float, end: float) -> int:
        """Add a lap by hand between two elapsed seconds; returns the number of the edit."""
        from footwork.library import entries

        return entries.lap(self, run_id, begin, end)

    def correct_efforts(self, run_id: int, text: str) -> int:
        """Keep the runner's own division of a run, as ``0:00 warm-up, 15:00 work``; returns the edit's number."""
        from footwork.library import intervals

        return intervals.correct(self, run_id, text)

    def delete(self, run_id: int, forever: bool = False) -> list[int]:
        """Hide a run, which can be undone, or remove it for ever with its originals; returns the runs that went."""
        from footwork.library import entries, erasing

        if forever:
            return erasing.delete_forever(self, run_id)
        entries.hide(self, run_id)
        return [run_id]

    def bound_to(self, run_id: int) -> list[int]:
        """Runs of the same files, which go with this one when it is deleted for ever."""
        from footwork.library import erasing

        return erasing.bound_to(self, run_id)

    def edits(self, run_id: int | None = None, undone: bool = False) -> list[dict[str, Any]]:
        """What was said about a run (all by default), the newest first; each ``id`` can be undone."""
        from footwork.library import entries

        return entries.listed(self, run_id, undone)

    def undo(self, edit: int) -> str:
        """Take one edit back; returns what it was."""
        from footwork.library import entries

        return entries.undo(self, edit)

    def tell(self, run: int | None = None, date: dt.date | None = None, **values: Any) -> list[int]:
        """Write into the diary of a run or a day; see `diary.tell`."""
        from footwork.library import diary

        return diary.tell(self, run, date, **values)

    def diary(self, since: dt.date | None = None, until: dt.date | None = None) -> list[dict[str, Any]]:
        """What the diary holds, the newest day first."""
        from footwork.library import diary

        return diary.days(self, since, until)

    def set_weather(self, run_id: int, metar: str | None = None, **values: Any) -> dict[str, Any]:
        """Keep the weather of a run, from a METAR line or values; see `weather.tell`."""
        from footwork.library import weather

        return weather.from_metar(self, run_id, metar) if metar else weather.tell(self, run_id, **values)

    def weather_from(self, path: str | Path) -> dict[str, Any]:
        """Weather for many runs from a table or dated METAR lines; see `weather.from_file`."""
        from footwork.library import weather

        return weather.from_file(self, Path(path))

    def rename_scale(self, name: str, new: str) -> str:
        """Give a scale another name; returns it."""
        from footwork.library import scales

        return scales.rename(self, name, new)

    def join_scales(self, name: str, into: str) -> int:
        """Count two scales as one; returns the edit's number. See `scales.join`."""
        from footwork.library import scales

        return scales.join(self, name, into)

    def break_scale(self, name: str, date: dt.date) -> tuple[int, str]:
        """Let a device count as a new scale from a date on; returns the edit's number and the new scale's name."""
        from footwork.library import scales

        return scales.accept_break(self, name, date)

    def session(
        self, text: str, date: dt.date | None = None, scale: str | None = None, **stated: Any
    ) -> dict[str, Any]:
        """What a session in plain words asks of the runner; see `sessions.show`."""
        from footwork.library import sessions

        return sessions.show(self, text, date, scale, **stated)

    def solve_session(self, text: str, leave: float, **asked: Any) -> dict[str, Any]:
        """Fill the ``?`` of a session so that a share of W′ is left; see `sessions.solve`."""
        from footwork.library import sessions

        return sessions.solve(self, text, leave, **asked)

    def plan_session(self, text: str, date: dt.date | None = None, name: str = "") -> int:
        """Keep a session for a day; returns its number, by which it can be undone."""
        from footwork.library import sessions

        return sessions.add(self, text, date, name)

    def sessions(self) -> list[dict[str, Any]]:
        """Kept sessions, the newest day first, with the runs of their days."""
        from footwork.library import sessions

        return sessions.listed(self)

    def recognised(self, run_id: int) -> dict[str, Any] | None:
        """Whether an unmarked run looks like a test or race; see `recognising.recognised`."""
        from footwork.library import recognising

        found: dict[str, Any] | None = self.cached(  # type: ignore[attr-defined]
            ("recognised", run_id), lambda: recognising.recognised(self, run_id)
        )
        return found

    def compare_sessions(self, first: int, second: int) -> dict[str, Any]:
        """The same session on two days; see `recognising.compare`."""
        from footwork.library import recognising

        return recognising.compare(self, first, second)

    def design_trial(self, change: str, usual: str = "as usual", **asked: Any) -> dict[str, Any]:
        """A fair trial of a change, not kept; see `trials.design`."""
        from footwork.library import trials

        return trials.design(self, change, usual, **asked)

    def new_trial(self, designed: dict[str, Any], date: dt.date | None = None) -> int:
        """Keep a design; returns the trial's number."""
        from footwork.library import trials

        return trials.new(self, designed, date)

    def trials(self) -> list[dict[str, Any]]:
        """Kept trials, the newest first, with the runs joined to them."""
        from footwork.library import trials

        return trials.listed(self)

    def join_trial(self, number: int, run_id: int, order: int | None = None, **told: Any) -> int:
        """Say that a run was run for a trial; see `trials.join`."""
        from footwork.library import trials

        return trials.join(self, number, run_id, order, **told)

    def analyse_trial(self, number: int, date: dt.date | None = None) -> dict[str, Any]:
        """A trial's result so far; see `verdicts.analyse`."""
        from footwork.library import verdicts

        return verdicts.analyse(self, number, date)

    def progress(
        self, since: dt.date | None = None, until: dt.date | None = None, date: dt.date | None = None, **asked: Any
    ) -> dict[str, Any]:
        """Whether more power goes with the same heart rate; see `progress.answer`."""
        from footwork.library import progress

        return progress.answer(self, since, until, date, **asked)

    def within(self, run_id: int) -> dict[str, Any]:
        """Heart rate against power along one run; see `progress.within`."""
        from footwork.library import progress

        return progress.within(self, run_id)

    def compare_runs(self, first: str, second: str, **asked: Any) -> dict[str, Any]:
        """Two runs, or two blocks of days, against each other; see `comparing.answer`."""
        from footwork.library import comparing

        return comparing.answer(self, first, second, **asked)

    def match_session(self, run_id: int, text: str) -> dict[str, Any]:
        """A run against a session; see `matching.match`."""
        from footwork.library import matching

        return matching.match(self, run_id, text)
