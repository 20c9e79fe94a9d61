"""Load of every activity, runs and other sports alike, by the best way that is there and by every other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import heart_shares, load_sums, speed
from footwork.analysis.load_sums import Calibration, Part
from footwork.analysis.summary import AT
from footwork.history import catalogue
from footwork.history.catalogue import RunRow
from footwork.history.log import diary, entries
from footwork.history.scales.scale_rows import StreamRows
from footwork.physics.power import slope_factor
from footwork.physiology import load_ways as loads
from footwork.physiology.load_ways import Way
from footwork.quantities import Estimate, Floats
from footwork.questions.load.borders import borders_of, rows_by_run
from footwork.results.loads import ActivityLoad

if TYPE_CHECKING:
    from footwork.history.book import History

# The better way first; what feeds a calibration is the best of those before it.
ORDER: tuple[Way, ...] = (
    "running power",
    "modelled power",
    "cycling power",
    "heart rate",
    "swimming speed",
    "exertion",
    "assumed",
)
ASSUMED_EXERTION = 4.0  # of an activity of which only the time is known; our convention
CAPPED_SHARE = 0.1  # of a run's time: with more of it beyond what anybody could hold, its modelled watts tell nothing
USUAL_RESTING = 60.0  # bpm, where nobody told it; our convention
HIGHEST_OF_MEANS, LEAST_MEANS = 1.08, 5  # highest heart rate over the highest mean of some runs; our convention
GUESSED = "by a heart rate reserve that nobody told: give the highest and the resting heart rate"
GUESSED_ERROR = 0.2  # SD of ln load that this adds
EFFORT_ENDS = (0.6, 1.6)  # what a slope may do to what a device shows
CAPACITY, SPORT = "critical power of ", "sport "


@dataclass
class Activity:
    """One activity as it was recorded or told: what each way says of its load before any calibration. [CP-min]"""

    run: int | None
    recording: int | None
    date: dt.date
    start: str
    sport: str
    duration_s: float
    distance_m: float | None
    climb_m: float | None
    descent_m: float | None
    ways: dict[Way, float] = field(default_factory=dict)
    scale: str = ""
    notes: list[str] = field(default_factory=list)

    @property
    def minutes(self) -> float:
        """How long it lasted [min]."""
        return self.duration_s / 60.0

    @property
    def best(self) -> Way | None:
        """The best way that is there; None where nothing is known of its load."""
        return next((way for way in ORDER if way in self.ways), None)


@dataclass(frozen=True)
class Loads:
    """Every activity's load, with what their errors share."""

    found: list[ActivityLoad]
    parts: dict[int, Part]  # by place in the list
    covariances: dict[str, Floats]
    calibrations: dict[str, Calibration]

    def places(self, runs: set[int]) -> list[int]:
        """Where in the list some runs are, by their numbers."""
        return [k for k, a in enumerate(self.found) if a.run in runs]

    def summed(self, places: Iterable[int], running: bool = False) -> Estimate:
        """Sum of the loads at some places of the list, of runs alone with ``running``; withheld where there are some
        and none tells a load."""
        asked = [k for k in places if not running or self.found[k].sport == "running"]
        kept = [k for k in asked if k in self.parts]
        of = "runs" if running else "activities"
        if asked and not kept:
            return Estimate.withheld("CP-min", "load", f"nothing tells the load of {len(asked)} {of}", len(asked), of)
        return load_sums.summed([self.parts[k] for k in kept], self.covariances, of)


def loads_of(library: History) -> Loads:
    """Load of everything that was recorded or entered, the oldest first."""
    found: Loads = library.cached("loads", lambda: _loads_of(library))
    return found


def _loads_of(library: History) -> Loads:
    gathered, errors = _runs(library)
    gathered += _other_sports(library)
    gathered.sort(key=lambda a: a.start)
    made = _calibrated(gathered)
    covariances = {name: of.covariance for name, of in made.items()} | errors
    out, parts = [], {}
    for place, activity in enumerate(gathered):
        part = _part(activity, made)
        if part is not None:
            parts[place] = part
            for name, _ in part.shared:
                # Another sport against running: told by nothing until its calibration is.
                covariances.setdefault(name, np.diag([load_sums.SPORT_SD**2, 0.0]))
        out.append(_told(activity, part, made, covariances, library.diary_withheld))
    return Loads(out, parts, covariances, made)


def _runs(library: History) -> tuple[list[Activity], dict[str, Floats]]:
    """Runs, and the covariance of the error of critical power that runs of one scale share."""
    rows, said = library.runs(), entries.told(library)
    stored = {key: rows_by_run(library, key) for key in {r.scale_key for r in rows if r.scale_key}}
    borders = {key: borders_of(library, key) for key in stored}
    relations = {key: _relation(library, key, stored[key]) for key in stored if borders[key] is not None}
    errors = {}
    for key, there in borders.items():
        if there is not None:
            held = there.proposed[1]
            sd = ((held.high or 0.0) - (held.low or 0.0)) / 3.92 / (held.value or 1.0)
            errors[CAPACITY + key] = np.diag([sd**2, 0.0])
    out = []
    context = library.context()
    settled: list[tuple[int, Floats]] = []
    # Without watts of its own a run is on the measure of those that have them: it shares their error.
    most = max((k for k, there in borders.items() if there is not None), key=lambda k: len(stored[k]), default="")
    for row in reversed(rows):
        key = row.scale_key or ""
        mine, there = stored.get(key, {}).get(row.id), borders.get(key)
        activity = Activity(
            row.id,
            None,
            row.local.date(),
            row.date,
            "running",
            row.duration_s,
            row.distance_m,
            row.climb_m,
            _descent(mine, row),
            scale=key if CAPACITY + key in errors else most,
        )
        if mine is not None and there is not None:
            cp = float(there.at(there.factor(mine.date))[1].value or 0.0)
            _by_power(activity, mine, cp, relations[key])
            if mine.measured and not context.physician_decides(mine.date):
                settled.append((mine.date.toordinal(), heart_shares.settled(mine.blocks, cp)))
        felt = said[row.id].diary.get("exertion") if row.id in said else None
        if felt is not None:
            activity.ways["exertion"] = loads.of_exertion(activity.minutes, float(felt))
        out.append(activity)
    _by_heart_rate(library, out, rows, stored, settled)
    return out, errors


def _relation(library: History, key: str, rows: dict[int, StreamRows]) -> speed.PowerAtSpeed | None:
    """What a device shows of slopes; None where that is not known, or true by definition."""
    if key == "model":
        return None
    outside = [r for r in rows.values() if not r.indoor]
    mass = library.athlete.value("mass", library.current_day())
    return speed.fit([r.blocks for r in outside], mass, [r.sky for r in outside]) if outside else None


def _descent(row: StreamRows | None, told: RunRow) -> float | None:
    """Metres down, by the minutes' heights as far as their metres up agree with the run's climb [m]."""
    if row is None or told.climb_m is None:
        return told.climb_m  # a way that comes back has both alike
    heights = row.blocks[:, AT["altitude"]]
    steps = np.diff(heights[np.isfinite(heights)])
    up, down = float(steps[steps > 0].sum()), float(-steps[steps < 0].sum())
    return told.climb_m if up <= 0 else told.climb_m * min(down / up, 5.0)


def _by_power(activity: Activity, row: StreamRows, cp: float, known: speed.PowerAtSpeed | None) -> None:
    """By watts: those of the device with its slopes undone, or modelled ones drawn in to what anybody could hold."""
    histogram = row.histogram
    if not row.measured:
        histogram, drawn_in = loads.capped(histogram, cp)
        if drawn_in > CAPPED_SHARE * max(float(histogram.sum()), 1.0):
            activity.notes.append(
                f"{drawn_in / 60:.0f} minutes of its modelled watts are more than anybody could hold: they do not count"
            )
            return
        if drawn_in >= 1:
            activity.notes.append(f"{drawn_in:.0f} seconds of modelled watts were drawn in to what anybody could hold")
    load = loads.of_power(histogram, cp) * _effort(row.blocks, cp, known)
    hills = loads.terrain(
        activity.climb_m or 0.0, activity.descent_m or 0.0, activity.distance_m or 0.0, activity.minutes
    )
    if hills >= 1.02:
        activity.notes.append(f"hills and length add {100 * (hills - 1):.0f} %")
    activity.ways["running power" if row.measured else "modelled power"] = load * hills


def _effort(block: Floats, cp: float, known: speed.PowerAtSpeed | None) -> float:
    """By how much the load changes when what the device shows of slopes is undone and what they cost put in."""
    power, grade = block[:, AT["power"]], np.clip(np.nan_to_num(block[:, AT["grade"]]), -0.45, 0.45)
    if known is None or not np.isfinite(power).any() or not grade.any():
        return 1.0
    extra = slope_factor(grade) - 1.0
    shown = np.maximum(1.0 + known.slope_response(grade)[0] * extra, 0.3)
    factor = np.clip((1.0 + extra) / shown, *EFFORT_ENDS)
    share = np.maximum(np.nan_to_num(power), 0.0) / cp
    plain = float(loads.weight(share).sum())
    return float(loads.weight(share * factor).sum()) / plain if plain > 0 else 1.0


def _by_heart_rate(
    library: History,
    runs: list[Activity],
    rows: list[RunRow],
    stored: dict[str, dict[int, StreamRows]],
    settled: list[tuple[int, Floats]],
) -> None:
    of_run = {row.id: row for row in rows}
    shares, context = Shares.of(library, settled), library.context()
    for activity in runs:
        row = of_run[activity.run or 0]
        if context.physician_decides(activity.date):
            if context.told:
                activity.notes.append("heart rate is left out, by what the diary tells")
            continue
        mine = stored.get(row.scale_key or "", {}).get(row.id)
        if mine is not None and np.isfinite(mine.blocks[:, AT["heart_rate"]]).sum() > 0.5 * activity.minutes:
            rate = mine.blocks[:, AT["heart_rate"]]
            known = np.isfinite(rate)
            share = shares.at(activity.date, rate[known], mine.blocks[known, AT["elapsed"]])
            lasts = np.full(int(known.sum()), activity.minutes / max(int(known.sum()), 1))
        elif row.heart_rate_bpm:
            share = shares.at(activity.date, np.array([row.heart_rate_bpm]), np.array([activity.duration_s / 2]))
            lasts = np.array([activity.minutes])
        else:
            continue
        if share is not None:
            activity.ways["heart rate"] = loads.of_heart_rate(lasts, share)
            if shares.guessed and not shares.lines[activity.date.toordinal()]:
                activity.notes.append(GUESSED)


@dataclass(frozen=True)
class Shares:
    """What heart rates tell: the runner's own line of recent weeks, else the reserve."""

    days: np.ndarray[Any, np.dtype[np.int64]]
    minutes: list[Floats]
    resting: float | None
    highest: float | None
    guessed: bool = False
    lines: dict[int, tuple[float, float] | None] = field(default_factory=dict)

    @classmethod
    def of(cls, library: History, settled: list[tuple[int, Floats]]) -> Shares:
        """From settled minutes by day."""
        order = sorted(settled, key=lambda s: s[0])
        today = library.current_day()
        resting, highest = (library.athlete.value(n, today) for n in ("resting_heart_rate", "max_heart_rate"))
        guessed = resting is None or highest is None
        if resting is None:
            told = [day["resting_heart_rate"] for day in diary.days(library) if "resting_heart_rate" in day]
            resting = float(np.median(told)) if told else USUAL_RESTING
        if highest is None:
            # Of runs' means: somebody who runs hard now and then comes within some beats of what is highest.
            means = [r.heart_rate_bpm for r in library.runs() if r.heart_rate_bpm]
            highest = max(means) * HIGHEST_OF_MEANS if len(means) >= LEAST_MEANS else None
        days = np.array([d for d, _ in order], dtype=np.int64)
        return cls(days, [m for _, m in order], resting, highest, guessed)

    def at(self, day: dt.date, rate: Floats, elapsed: Floats) -> Floats | None:
        """Shares of capacity of heart rates [bpm] at so many seconds from the start [s]; None where nothing tells."""
        of = day.toordinal()
        if of not in self.lines:
            first, last = np.searchsorted(self.days, [of - heart_shares.RECENT_DAYS, of + 1])
            self.lines[of] = heart_shares.line(self.minutes[first:last])
        line = self.lines[of]
        if line is not None:
            return np.asarray(line[0] + line[1] * heart_shares.without_drift(rate, elapsed), dtype=float)
        if self.resting is None or self.highest is None or self.highest <= self.resting:
            return None
        return loads.share_of_reserve(rate, self.resting, self.highest)


def _other_sports(library: History) -> list[Activity]:
    ridden = catalogue.ridden_watts(library)
    shares, context = Shares.of(library, []), library.context()
    felt = {day["date"]: day["exertion"] for day in diary.days(library) if day["run"] is None and "exertion" in day}
    found = library.activities()
    on_day = [a["date"][:10] for a in found]
    out = []
    for told in found:
        day = dt.date.fromisoformat(told["date"][:10])
        made = Activity(
            None,
            int(told["id"]),
            day,
            told["date"],
            str(told["sport"]),
            float(told["duration_s"] or 0.0),
            told["distance_m"],
            told["climb_m"],
            None,
        )
        cp = library.athlete.value("cycling_critical_power", day)
        if made.recording in ridden and made.sport == "cycling" and cp:
            made.ways["cycling power"] = loads.of_power(ridden[made.recording], cp, on_foot=False)
        rate = None if context.physician_decides(day) else told["heart_rate_bpm"]
        share = None if not rate else shares.at(day, np.array([rate]), np.array([0.0]))
        if share is not None:
            made.ways["heart rate"] = loads.of_heart_rate([made.minutes], share)
            if shares.guessed:
                made.notes.append(GUESSED)
        critical = library.athlete.value("critical_swim_speed", day)
        if made.sport == "swimming" and critical and made.distance_m and made.duration_s:
            made.ways["swimming speed"] = loads.of_swimming(made.minutes, made.distance_m / made.duration_s, critical)
        if told["date"][:10] in felt and on_day.count(told["date"][:10]) == 1:
            made.ways["exertion"] = loads.of_exertion(made.minutes, float(felt[told["date"][:10]]))
        if not made.ways and made.duration_s > 0:
            made.ways["assumed"] = loads.of_exertion(made.minutes, ASSUMED_EXERTION)
            made.notes.append("only its time is known: taken as easy to moderate")
        out.append(made)
    return out


def _calibrated(gathered: list[Activity]) -> dict[str, Calibration]:
    """Each way against the better one: on runs, and then each other sport's own way against those."""
    made: dict[str, Calibration] = {}
    power: tuple[Way, ...] = ("running power", "modelled power")
    felt: tuple[Way, ...] = ("heart rate", "exertion")
    plans: tuple[tuple[str, Way, tuple[Way, ...], float], ...] = (
        ("running", "heart rate", power, load_sums.LEVEL_SD),
        ("running", "exertion", (*power, "heart rate"), load_sums.LEVEL_SD),
        ("cycling", "cycling power", felt, load_sums.SPORT_SD),
        ("swimming", "swimming speed", felt, load_sums.SPORT_SD),
    )
    for sport, way, references, level_sd in plans:
        pairs, against = [], [loads.SD["running power"]]
        for activity in gathered:
            reference = next((r for r in references if r in activity.ways), None)
            if activity.sport == sport and reference is not None and activity.ways.get(way, 0.0) > 0:
                better = activity.ways[reference]
                pairs.append((made[reference].applied(better) if reference in made else better, activity.ways[way]))
                against.append(loads.SD[reference])
        told = np.array(pairs, dtype=float).reshape(-1, 2)
        error = float(np.hypot(loads.SD[way], np.median(against)))
        made[way] = load_sums.calibrate(told[:, 0], told[:, 1], error, level_sd)
    return made


def _part(activity: Activity, made: dict[str, Calibration]) -> Part | None:
    way = activity.best
    if way is None or activity.duration_s <= 0:
        return None
    given = activity.ways[way]
    load = made[way].applied(given) if way in made else given
    share = loads.share_of(load / max(activity.minutes, 1e-6))
    shared: list[tuple[str, Floats]] = []
    if way in made and given > 0:
        shared.append((way, made[way].design(given)))
    if activity.sport == "running" and activity.scale:
        shared.append((CAPACITY + activity.scale, load_sums.of_capacity(share)))
    elif activity.sport != "running" and way in ("heart rate", "exertion", "assumed"):
        shared.append((SPORT + activity.sport, np.array([1.0, 0.0])))
    error = loads.SD[way]
    if way == "heart rate" and GUESSED in activity.notes:
        error = float(np.hypot(error, GUESSED_ERROR))
    return Part(load, error, tuple(shared))


def _told(
    activity: Activity, part: Part | None, made: dict[str, Calibration], covariances: dict[str, Floats], withheld: bool
) -> ActivityLoad:
    load = (
        Estimate.withheld("CP-min", "load", "nothing tells its load")
        if part is None
        else load_sums.summed([part], covariances)
    )
    return ActivityLoad(
        run=activity.run,
        recording=activity.recording,
        date=activity.date.isoformat(),
        sport=activity.sport,
        duration_s=activity.duration_s,
        distance_m=activity.distance_m,
        climb_m=activity.climb_m,
        descent_m=activity.descent_m,
        load=load,
        way=activity.best or "",
        ways={
            w: made[w].applied(v) if w in made else v
            for w, v in activity.ways.items()
            if not (w == "exertion" and withheld)  # it is a line of the diary
        },
        notes=activity.notes,
    )
