"""What a notebook imports: a runner's library with every question that can be asked of it."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from footwork.history.book import History, Path_
from footwork.history.catalogue import RunRow
from footwork.history.recordings.reading import read
from footwork.quantities import Day, Effort, Span, as_date, as_day, as_seconds

if TYPE_CHECKING:
    import polars as pl

    from footwork.questions.capacity import Capacity
    from footwork.questions.race import RacePlan
    from footwork.questions.runs import Run
    from footwork.results.effort import BalanceAlong
    from footwork.results.loads import LoadBySpan, LoadResponse, RunLoad, SpanLoad
    from footwork.results.planned_season import SeasonChanges, SeasonPlan, WeekAnswer
    from footwork.results.progress import PeriodComparison, RunDrift, SeasonProgress
    from footwork.results.race import PastPredictions, RaceReview
    from footwork.results.report import Report
    from footwork.results.session import RecognisedEffort, SessionMatch, SessionPreview, SessionsApart
    from footwork.results.sign_patterns import SignsAnswer
    from footwork.results.today import Due
    from footwork.results.trial import TrialDesign, TrialResult
    from footwork.results.usual import UsualRunning
    from footwork.results.whose_watts import DeviceCheck, DeviceComparison, Devices, PowerOfScale

__all__ = ["Library", "read"]


class Library(History):
    """One runner's recordings and what follows from them. Open with `Library.open`, close or use ``with``."""

    @classmethod
    def from_nothing(cls) -> Library:
        """An empty throw-away library, for questions that carry their own data."""
        scratch = tempfile.TemporaryDirectory(prefix="footwork-")
        library = cls.open(Path(scratch.name) / "library")
        library._scratch = scratch
        return library

    @classmethod
    def from_files(cls, paths: Sequence[Path_], start: dt.datetime | None = None) -> Library:
        """A throw-away library with just these recordings, for questions that need no library."""
        library = cls.from_nothing()
        library.add(paths, start=start)
        return library

    def find(self, **wanted: Any) -> list[RunRow]:
        """Runs that have all that is wanted, the newest first; see `runs.Wanted` for what can be. Raises
        UsageError."""
        from footwork.questions import runs
        from footwork.questions.runs import Wanted

        return runs.find_runs(self.runs(), Wanted.of(**wanted))

    def runs_frame(self) -> pl.DataFrame:
        """All runs as a polars table, the newest first: one row a run, columns as in a run's JSON (SI units)."""
        import polars as pl

        rows = [r.to_json() for r in self.runs()]
        flat = [{k: json.dumps(v) if isinstance(v, dict | list) else v for k, v in row.items()} for row in rows]
        return pl.DataFrame(flat, infer_schema_length=None)

    def signals_frame(self, run_id: int) -> pl.DataFrame:
        """A run's 1 Hz signals as a polars table: columns `signals.COLUMNS` in SI units and ``timer``; null is missing.
        Raises UsageError for a run without a recording."""
        import polars as pl

        found = self.signals(run_id)
        return pl.DataFrame({**found.columns, "timer": found.timer}).fill_nan(None)

    def comment(
        self,
        text: str,
        run: int | None = None,
        session: int | None = None,
        week: Day | None = None,
        race: Day | None = None,
        by: str = "",
    ) -> int:
        """Comment on a run, a session, a week or the race of a day; returns the edit's number. See
        `comments.comment`."""
        from footwork.history.log import comments

        return comments.comment(self, text, by, run=run, session=session, week=as_day(week), race=as_day(race))

    def comments(
        self, run: int | None = None, session: int | None = None, week: Day | None = None, race: Day | None = None
    ) -> list[dict[str, Any]]:
        """Comments, the earliest first, all or on one thing; see `comments.comments`."""
        from footwork.history.log import comments

        return comments.comments(self, run=run, session=session, week=as_day(week), race=as_day(race))

    def report(self, kind: str = "week", date: Day | None = None) -> Report:
        """A report to the runner on a week, a block or a season up to a day; see `results.report.Report`. Raises
        UsageError."""
        from footwork.questions import report

        return report.report_of(self, kind, as_day(date))

    def totals(self, by: str, rows: list[RunRow] | None = None) -> list[dict[str, Any]]:
        """Runs (all by default) added up by ``week`` or ``month``; see `runs.totals_of`."""
        from footwork.questions import runs

        return runs.totals_of(self, self.runs() if rows is None else rows, by)

    def run(self, run_id: int) -> Run:
        """One run with all that is known of it. Raises UsageError where there is none."""
        from footwork.questions import runs

        return runs.run_in_full(self, run_id)

    def compare(self, run_id: int, first: int = 1, second: int = 2) -> DeviceComparison:
        """Agreement of two recordings of a run; see `results.whose_watts.DeviceComparison`."""
        from footwork.questions import devices

        return devices.compare_recordings(self, run_id, first, second)

    def devices(self) -> Devices:
        """Every scale with its use, drift and checks, and conversions to the main one; see
        `results.whose_watts.Devices`."""
        from footwork.questions import devices

        return devices.all_devices(self)

    def device_check(self, run_id: int, start: Span | None = None) -> DeviceCheck:
        """What the device check in a run says; ``start`` [s] where it is known better than it can be found."""
        from footwork.questions import devices

        return devices.device_check(self, run_id, as_seconds(start))

    def power_at_speed(self, date: Day | None = None, scale: str | None = None) -> PowerOfScale:
        """Power at speed of a scale with its band and data; see `results.whose_watts.PowerOfScale`."""
        from footwork.questions import devices

        return devices.power_at_speed(self, as_day(date), scale)

    def capacity(
        self,
        efforts: Sequence[str | Effort] = (),
        date: Day | None = None,
        scale: str | None = None,
        mass: float | None = None,
    ) -> Capacity:
        """Critical power, W′, tail, domains and their evidence; see `capacity.Capacity`.

        ``mass`` [kg] for this question only; efforts as text like ``3:00=361``. Raises UsageError.
        """
        from footwork.questions import capacity

        return capacity.estimate_capacity(self, efforts, as_day(date), scale, mass)

    def history(self, date: Day | None = None, scale: str | None = None) -> dict[str, Any]:
        """Capacity as plain JSON with its ``history`` of every day, what ``moved`` it, and which ``tests`` tell
        most."""
        from footwork.questions import capacity

        return capacity.history_told(self, self.capacity(date=date, scale=scale))

    def usual(self, date: Day | None = None, scale: str | None = None) -> UsualRunning:
        """Usual watts for easy, steady and hard running and at pace, and how the last runs compare."""
        from footwork.questions import usual

        return usual.usual_watts(self, as_day(date), scale)

    def run_against_usual(self, run_id: int) -> dict[str, Any]:
        """A run against what was usual before it, with what the conditions asked for [W]."""
        from footwork.questions import usual

        return usual.run_against_usual(self, run_id)

    def race(self, **question: Any) -> RacePlan:
        """Power, pace, time and splits for a race; the arguments are the fields of `race.RaceQuestion`."""
        from footwork.questions import race

        # A file may change under its name.
        if any(question.get(name) is not None for name in ("course", "heights", "reports", "weather_file")):
            return race.plan_race(self, **question)
        key = ("race", *sorted((k, tuple(v) if isinstance(v, list) else v) for k, v in question.items()))
        made: RacePlan = self.cached(key, lambda: race.plan_race(self, **question))
        return made

    def review(self, run_id: int, **question: Any) -> RaceReview:
        """A race as it was run against the plan of the day before; see `results.race.RaceReview`."""
        from footwork.questions import race

        return race.review_race(self, run_id, **question)

    def predictions(self) -> PastPredictions:
        """Predictions of past races against their results; see `results.race.PastPredictions`."""
        from footwork.questions import race

        return race.past_predictions(self)

    def efforts(self, run_id: int, signal: str | None = None) -> list[dict[str, Any]]:
        """Warm-up, work, recovery and cool-down of a run, found without laps; see `runs.efforts_of_run`."""
        from footwork.questions import runs

        return runs.efforts_of_run(self, run_id, signal)

    def efforts_otherwise(self, run_id: int, signal: str | None = None) -> list[dict[str, Any]]:
        """Efforts of the other division of a run that fits nearly as well; empty where the first one is plain."""
        from footwork.questions import runs

        return [dict(e) for e in runs.reading_of_run(self, run_id, signal).otherwise]

    def balance(self, run_id: int) -> BalanceAlong:
        """W′ balance along a run with its interval; see `results.effort.BalanceAlong`."""
        from footwork.questions import runs

        return runs.balance_along(self, run_id)

    def today(self, date: Day | None = None) -> Due:
        """What to do next and why, six weeks day by day, the newest run's verdict and what is due; as of today or of
        another day."""
        from footwork.questions import today

        day = as_day(date)
        found: Due = self.cached(("today", day), lambda: today.what_is_due(self, day))
        return found

    def load_by(self, by: str = "week", since: Day | None = None, until: Day | None = None) -> LoadBySpan:
        """Load of every activity by day, week or month, running and all sports apart, with its interval and how it is
        known; see `results.loads.LoadBySpan`."""
        from footwork.questions import load

        return load.load_by(self, by, as_day(since), as_day(until))

    def load(self, since: Day | None = None, until: Day | None = None) -> SpanLoad:
        """Time in domains and CP-minutes of a span of dates."""
        from footwork.questions import load

        return load.load_of_span(self, as_day(since), as_day(until))

    def run_load(self, run_id: int) -> RunLoad | None:
        """Time in domains and CP-minutes of a run; None where its scale has no CP."""
        from footwork.history import catalogue
        from footwork.questions import load

        return load.load_of_run(self, catalogue.find(self, run_id))

    def best_curve(
        self, since: Day | None = None, until: Day | None = None, scale: str | None = None
    ) -> list[dict[str, Any]]:
        """Mean maximal power of a span of dates, with the run that set each point."""
        from footwork.questions import capacity

        return capacity.best_curve(self, as_day(since), as_day(until), scale)

    def export(self, run_id: int, out: Path_, with_location: bool = False) -> dict[str, Any]:
        """Write a run's signals as CSV or Parquet by the ending of ``out``; see `export.one`."""
        from footwork.maintenance import export

        return export.one(self, run_id, Path(out), with_location)

    def export_all(self, folder: Path_, **how: Any) -> dict[str, Any]:
        """Write everything as plain files into a new folder; see `export.everything`."""
        from footwork.maintenance import export

        return export.everything(self, Path(folder), **how)

    def backup(self, path: Path_, passphrase: str | None = None) -> dict[str, Any]:
        """Write all that cannot be rebuilt into one verified file, encrypted where a passphrase is given; see
        `maintenance.backup`."""
        from footwork.maintenance import backup

        return backup.backup(self, Path(path), passphrase=passphrase)

    @classmethod
    def restore(cls, path: Path_, folder: Path_, passphrase: str | None = None) -> Library:
        """Make a library folder from a backup, whole or not at all, and open it; see `maintenance.backup.restore`."""
        from footwork.maintenance import backup

        target = Path(folder).resolve()
        backup.restore(Path(path), target, passphrase)
        return cls.open(target, create=False)

    def correct_efforts(self, run_id: int, text: str) -> int:
        """Keep the runner's own division of a run, as ``0:00 warm-up, 15:00 work``; returns the edit's number."""
        from footwork.questions import runs

        return runs.correct_efforts(self, run_id, text)

    def session(self, text: str, date: Day | None = None, scale: str | None = None, **stated: Any) -> SessionPreview:
        """What a session in plain words asks of the runner; see `results.session.SessionPreview`."""
        from footwork.questions import sessions

        return sessions.session_asked(self, text, as_day(date), scale, **stated)

    def solve_session(self, text: str, leave: float, date: Day | None = None, **asked: Any) -> SessionPreview:
        """Fill the ``?`` of a session so that a share of W′ is left; see `results.session.SessionPreview`."""
        from footwork.questions import sessions

        return sessions.solve_session(self, text, leave, as_day(date), **asked)

    def plan_session(self, text: str, date: Day | None = None, name: str = "") -> int:
        """Keep a session for a day; returns its number, by which it can be undone."""
        from footwork.questions import sessions

        return sessions.plan_session(self, text, as_day(date), name)

    def change_session(
        self, number: int, date: Day | None = None, text: str | None = None, name: str | None = None
    ) -> int:
        """Move a kept session to another day, or say it otherwise; returns its new number."""
        from footwork.questions import sessions

        return sessions.change_session(self, number, as_day(date), text, name)

    def drop_session(self, number: int) -> None:
        """Keep a session no longer."""
        from footwork.questions import sessions

        sessions.drop_session(self, number)

    def copy_session(self, number: int, date: Day) -> int:
        """Keep a session for another day too; returns the new number."""
        from footwork.questions import sessions

        return sessions.copy_session(self, number, [as_date(date)])[0]

    def repeat_session(self, number: int, weeks: int) -> list[int]:
        """Keep a session on its weekday in each of so many weeks after it; returns the new numbers."""
        from footwork.questions import sessions

        return sessions.repeat_session(self, number, weeks)

    def sessions(self) -> list[dict[str, Any]]:
        """Kept sessions, the newest day first, with the runs of their days."""
        from footwork.questions import sessions

        return sessions.listed_sessions(self)

    def new_season(self, date: Day | None = None, **wishes: Any) -> SeasonPlan:
        """Lay out a season backwards from a race (``race``, the day, and what else is wished: the fields of
        `questions.season.wishes.SeasonWishes`) and keep it as a proposal; see `results.planned_season.SeasonPlan`."""
        from footwork.questions import season

        return season.new_season(self, as_day(date), **wishes)

    def season_from(self, path: str | Path, date: Day | None = None, **wishes: Any) -> SeasonPlan:
        """A new season from a template that `season_template` wrote; wishes told beside win."""
        from footwork.questions import season

        return season.season_from(self, Path(path), as_day(date), **wishes)

    def season_template(self) -> str:
        """Wishes of the newest season as YAML, without its dates."""
        from footwork.questions import season

        return season.season_template(self)

    def season(self, date: Day | None = None) -> SeasonPlan:
        """The newest season, as it was accepted and run, or as it is proposed."""
        from footwork.questions import season

        return season.show_season(self, as_day(date))

    def accept_season(self, date: Day | None = None) -> SeasonPlan:
        """Keep every session of the proposed season on its day."""
        from footwork.questions import season

        return season.accept_season(self, as_day(date))

    def season_changes(self, date: Day | None = None) -> SeasonChanges:
        """What solving the accepted season again would change, each with its reason."""
        from footwork.questions import season

        return season.season_changes(self, as_day(date))

    def accept_changes(self, ids: Sequence[int] = (), date: Day | None = None) -> SeasonChanges:
        """Accept proposed changes by their ids, all by default; returns what is still proposed."""
        from footwork.questions import season

        return season.accept_changes(self, ids, as_day(date))

    def week(self, date: Day | None = None) -> WeekAnswer:
        """A week as it was asked and run; see `results.planned_season.WeekAnswer`."""
        from footwork.questions import season

        found: WeekAnswer = self.cached(("week", date), lambda: season.week_of(self, as_day(date)))
        return found

    def response(self, date: Day | None = None) -> LoadResponse:
        """Whether tests tell how critical power follows load; see `results.loads.LoadResponse`."""
        from footwork.questions import load

        return load.response_to_load(self, as_day(date))

    def signs(self, date: Day | None = None) -> SignsAnswer:
        """Whether the last days ask for a check, and very long runs; see `results.sign_patterns.SignsAnswer`."""
        from footwork.questions import signs

        found: SignsAnswer = self.cached(("signs", date), lambda: signs.signs_of(self, as_day(date)))
        return found

    def recognised(self, run_id: int) -> RecognisedEffort | None:
        """Whether an unmarked run looks like a test or race; see `results.session.RecognisedEffort`."""
        from footwork.questions import sessions

        return sessions.recognised(self, run_id)

    def compare_sessions(self, first: int, second: int) -> SessionsApart:
        """The same session on two days; see `results.session.SessionsApart`."""
        from footwork.questions import sessions

        return sessions.compare_sessions(self, first, second)

    def design_trial(self, change: str, usual: str = "as usual", **asked: Any) -> TrialDesign:
        """A fair trial of a change, not kept; see `results.trial.TrialDesign`."""
        from footwork.questions import trials

        return trials.design_trial(self, change, usual, **asked)

    def new_trial(self, designed: Mapping[str, Any] | TrialDesign, date: Day | None = None) -> int:
        """Keep a design; returns the trial's number."""
        from footwork.questions import trials

        return trials.keep_trial(self, designed, as_day(date))

    def trials(self) -> list[dict[str, Any]]:
        """Kept trials, the newest first, with the runs joined to them."""
        from footwork.questions import trials

        return trials.listed_trials(self)

    def join_trial(self, number: int, run_id: int, order: int | None = None, **told: Any) -> int:
        """Say that a run was run for a trial; see `trials.join_trial`."""
        from footwork.questions import trials

        return trials.join_trial(self, number, run_id, order, **told)

    def analyse_trial(self, number: int, date: Day | None = None) -> TrialResult:
        """A trial's result so far; see `results.trial.TrialResult`."""
        from footwork.questions import trials

        return trials.analyse_trial(self, number, as_day(date))

    def progress(
        self, since: Day | None = None, until: Day | None = None, date: Day | None = None, **asked: Any
    ) -> SeasonProgress:
        """Whether more power goes with the same heart rate; see `results.progress.SeasonProgress`."""
        from footwork.questions import progress

        return progress.progress_of_season(self, as_day(since), as_day(until), as_day(date), **asked)

    def worth_of_weather(self, date: Day | None = None, scale: str | None = None) -> dict[str, Any]:
        """How much narrower the season's change would be were every run's weather told."""
        from footwork.questions import progress

        return progress.worth_of_weather(self, as_day(date), scale)

    def within(self, run_id: int) -> RunDrift:
        """Heart rate against power along one run; see `results.progress.RunDrift`."""
        from footwork.questions import progress

        return progress.drift_within(self, run_id)

    def compare_runs(self, first: str, second: str, date: Day | None = None, **asked: Any) -> PeriodComparison:
        """Two runs, or two blocks of days, against each other; see `results.progress.PeriodComparison`."""
        from footwork.questions import progress

        return progress.compare_periods(self, first, second, date=as_day(date), **asked)

    def match_session(self, run_id: int, text: str) -> SessionMatch:
        """A run against a session; see `results.session.SessionMatch`."""
        from footwork.questions import sessions

        return sessions.match_session(self, run_id, text)
