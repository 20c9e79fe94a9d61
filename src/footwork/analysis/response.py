"""How a runner's heart answers power, through a season: first order in power, drift, heat, illness and sleep, a level that moves from week to week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from footwork.analysis.summary import AT, BLOCK_S
from footwork.analysis.usual import Sky
from footwork.errors import NotEnoughData
from footwork.physics.power import slope_factor
from footwork.quantities import Floats

METHOD_VERSION = 1
LEAST_RUNS, LEAST_MINUTES, LEAST_DAYS = 8, 120, 21
# A minute counts from this long after a start or a gap on, when the heart has come up.
SETTLED_S = 240
TAUS = (20.0, 40.0, 65.0, 100.0)  # seconds; 38 to 132 published for running ramps (Gielen 2024), less for steps
TAU_RUNS = 60  # the newest runs tell the time constants
COOL_C, DRIFT_FROM_H, REFERENCE_H, ENOUGH_SLEEP_H = 12.0, 10 / 60, 30 / 60, 7.0
FLAT, LEAST_FLAT = 0.03, 0.2  # a slope that is flat, and the least share of minutes on it
COLUMNS = (
    "level", "power", "curve", "up", "down", "drift", "heat", "heat_drift", "illness", "sleep", "season_sin", "season_cos", "converted", "trend", "first", "second",
)  # fmt: skip
C = {name: index for index, name in enumerate(COLUMNS)}
# Prior means and SDs, in bpm for each unit of its column: W, share of the reference squared, % of slope, hours, °C over 12 °C, °C hours, days
# of illness, hours of sleep short, a year's swing where the weather is not known, a year, and two sides that are held against each other. Heat: about 1/2 bpm a degree in the open
# air, more the longer it lasts, from memory; the rest are our conventions.
_MEAN = (150.0, 0.35, 0.0, 0.0, 0.0, 4.0, 0.5, 0.2, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
_SD = (60.0, 0.3, 15.0, 0.5, 0.5, 8.0, 0.4, 0.4, 6.0, 1.5, 3.0, 3.0, 1.0, 20.0, 60.0, 60.0)
WALK_SD = 0.4  # bpm a week: how far a level moves by chance, the prior's scale of its SD
WEEK = 7.0
FEW = (
    3.0,
    5.0,
    0.1,
)  # spreads from run to run [bpm], of drift [bpm/h] and of a week's step [bpm] where too few runs tell them; our conventions
DRIFT_FLOOR = 0.05  # bpm/h: drift is no straight line; our convention
MOST_BLUR, LEAST_LASTING = (
    0.6,
    0.05,
)  # most that errors of the watts may take of the slope, and least of power's spread that must last to tell; our conventions
LAG = 3  # minutes apart in which such errors are no longer shared; our convention
UNKNOWN_ERROR = 0.004  # of power, where power does not last long enough to tell; our convention
MOST_ERROR = 0.012  # of power, the most that is taken for error; our convention
EVEN = 0.05  # spread of power within a run, after a straight drift, that is even; our convention
SPREADS_UNKNOWN = 6.0  # as Student's t widens; our convention
SURE_SLOPE = 3.0  # standard errors that the slope must be away from nothing
ONE_POWER = "heart rate at hardly more than one power tells no slope, so a change cannot be told in power: vary the effort within runs"
MOST_TANGLED = 0.8  # posterior correlation above which a change is withheld
TANGLED = {
    "heat": "heat came with the change and cannot be told from it",
    "converted": "the device changed meanwhile, and the conversion cannot be told from a change of the runner",
    "season_sin": "the season changed and the weather of many runs is not known, so heat cannot be told from a change of the runner: enter the weather",
    "season_cos": "the season changed and the weather of many runs is not known, so heat cannot be told from a change of the runner: enter the weather",
}
_BOUNDS = (-5.0, 3.5)  # of the logarithms of the spreads
_FAR = 2.5  # runs further out than this many SDs lose weight


class TooFewRuns(NotEnoughData):
    """Fewer runs, minutes or days than the season's model needs."""


@dataclass(frozen=True)
class RunRows:
    """One run as the model takes it: its day (ordinal), minutes (`summary.BLOCK_COLUMNS`), weather, whether the diary tells of illness, hours of
    sleep, and the relative error of a conversion of its watts (0 where they are the scale's own)."""

    day: int
    blocks: Floats
    sky: Sky = field(default_factory=Sky)
    ill: bool = False
    sleep: float | None = None
    converted: float = 0.0
    side: int = 0  # 1 or 2 where it is held against others, with its minutes at the powers of ``band`` [W] only
    band: tuple[float, float] | None = None


@dataclass(frozen=True)
class Response:
    """A fitted model. ``mean`` and ``covariance`` are of the coefficients (`COLUMNS` without the level) and then of the weekly levels [bpm] at
    ``knots`` (days); ``power`` [W] is the reference; ``run_sd`` the spread from run to run [bpm], ``drift_sd`` that of drift [bpm/h], ``walk`` the SD of a week's
    step [bpm], ``within`` that of a minute [bpm]; ``tau`` time constants [s] below and above ``border`` [W]; ``effects`` each run's own deviation [bpm] with its SD."""

    mean: Floats
    covariance: Floats
    knots: Floats
    power: float
    run_sd: float
    drift_sd: float
    walk: float
    within: float
    tau: tuple[float, float]
    border: float
    days: Floats
    effects: Floats
    effect_sds: Floats
    runs: int
    minutes: int
    lowest: float
    highest: float
    weather: float  # share of runs with a known temperature
    warmth: float  # mean degrees over 12 °C of those

    def row(self, day: float, power: float | None = None) -> Floats:
        """Weights of the coefficients and levels in heart rate at a power on a day, at reference conditions."""
        out = np.zeros(len(self.mean))
        if power is not None:
            x = power - self.power
            out[C["power"] - 1], out[C["curve"] - 1] = x, (x / self.power) ** 2
        out[C["trend"] - 1] = (day - self.knots[0]) / 365.25
        first, share = _between(self.knots, day)
        at = len(COLUMNS) - 1 + first
        out[at] += 1 - share
        if share:
            out[at + 1] += share
        return out

    def rate(self, day: float, power: float | None = None) -> tuple[float, float]:
        """Heart rate [bpm] at a power [W] (the reference by default) on a day, at reference conditions, and its SD."""
        row = self.row(day, power)
        return float(row @ self.mean), float(np.sqrt(row @ self.covariance @ row))

    def drift(self, heat: float | None = None) -> tuple[float, float]:
        """Drift [bpm/h] so many degrees over 12 °C (by default at the warmth of the runs, known or not), and its SD."""
        row = np.zeros(len(self.mean))
        row[C["drift"] - 1], row[C["heat_drift"] - 1] = 1.0, self.warmth * self.weather if heat is None else heat
        variance = float(row @ self.covariance @ row) + self.drift_sd**2 / self.runs + DRIFT_FLOOR**2
        return float(row @ self.mean), float(np.sqrt(variance))

    def after(self, powers: Sequence[float], seconds: Sequence[float]) -> Floats:
        """Heart rate [bpm] at the end of steps that follow each other from a start at rest, on the last day, cool and flat; NaN at powers [W] far from
        what was run."""
        level = self.rate(self.days[-1])[0]
        drift, _ = self.drift(0.0)
        state, at, out = 0.5 * self.power, 0.0, []
        for p, t in zip(powers, seconds, strict=True):
            state = p + (state - p) * float(np.exp(-t / self.tau[int(p > self.border)]))
            at += t / 3600
            x = state - self.power
            rate = level + self.mean[C["power"] - 1] * x + self.mean[C["curve"] - 1] * (x / self.power) ** 2
            near = 0.6 * self.lowest <= state <= 1.1 * self.highest
            out.append(
                rate + drift * (max(at - DRIFT_FROM_H, 0.0) - (REFERENCE_H - DRIFT_FROM_H)) if near else float("nan")
            )
        return np.array(out)

    def draws(self, days: Sequence[float], rate: float, count: int = 4000, seed: int = 17) -> Floats:
        """Draws of power [W] at a heart rate [bpm] on some days, shape (count, len(days)), joint over the days."""
        rng = np.random.default_rng(seed)
        keep = [C["power"] - 1, C["curve"] - 1]
        rows = np.array([*(self.row(d) for d in days), *np.eye(len(self.mean))[keep]])
        middle, spread = rows @ self.mean, rows @ self.covariance @ rows.T
        made = rng.multivariate_normal(middle, spread + 1e-9 * np.eye(len(rows)), size=count, method="cholesky")
        level, slope, curve = made[:, :-2], np.maximum(made[:, -2:-1], 0.02) * self.power, made[:, -1:]
        # Heart rate is a quadratic of the share above the reference: its root near nothing.
        share = 2 * (rate - level) / (slope + np.sqrt(np.maximum(slope**2 + 4 * curve * (rate - level), 0.0)))
        return np.asarray(self.power * (1 + np.clip(share, -0.8, 2.0)), dtype=float)

    def correlation(self, row: Floats, column: str) -> float:
        """Posterior correlation of a combination of levels with a coefficient."""
        k = C[column] - 1
        sd = float(np.sqrt(row @ self.covariance @ row * self.covariance[k, k]))
        return float(row @ self.covariance[:, k] / sd) if sd > 0 else 0.0


def answered(power: Floats, elapsed: Floats, tau: tuple[float, float], border: float) -> tuple[Floats, Floats]:
    """Power as the heart has come to it in each minute, and seconds since the last start or gap, both shape (n,).

    First order, exact for power that is constant within a minute; ``tau`` [s] below and above a border [W].
    """
    out, since = np.empty(len(power)), np.empty(len(power))
    decay = [float(np.exp(-BLOCK_S / t)) for t in tau]
    state, last, begun = 0.0, -1e9, 0.0
    for i, (p, at) in enumerate(zip(power.tolist(), elapsed.tolist(), strict=True)):
        if at - last > 1.5 * BLOCK_S or not np.isfinite(state):
            begun = at
            state = 0.5 * p
        k = int(p > border)
        gap = state - p
        out[i] = p + gap * tau[k] / BLOCK_S * (1 - decay[k])
        state = p + gap * decay[k]
        last, since[i] = at, at - begun
    return out, since


def _between(knots: Floats, day: float) -> tuple[int, float]:
    """Index of the knot before a day and how far the day is to the next; days outside take the nearest."""
    at = float(np.clip((day - knots[0]) / WEEK, 0, len(knots) - 1))
    first = min(int(at), len(knots) - 1)
    return first, at - first if first < len(knots) - 1 else 0.0


def design(run: RunRows, x: Floats, kept: np.ndarray, power: float, origin: float) -> Floats:
    """Design rows of the kept minutes of a run, shape (n, 16), columns `COLUMNS`."""
    block = run.blocks[kept]
    hours = block[:, AT["elapsed"]] / 3600
    grade = np.nan_to_num(block[:, AT["grade"]])
    drift = np.maximum(hours - DRIFT_FROM_H, 0.0) - (REFERENCE_H - DRIFT_FROM_H)
    temperature = run.sky.temperature
    heat = max(temperature - COOL_C, 0.0) if temperature is not None else 0.0
    angle = 2 * np.pi * run.day / 365.25
    unknown = temperature is None
    one = np.ones(len(block))
    return np.column_stack([
        one, x[kept] - power, ((x[kept] - power) / power) ** 2, 100 * np.maximum(grade, 0), 100 * np.minimum(grade, 0), drift, heat * one,
        heat * drift, run.ill * one, min(max(ENOUGH_SLEEP_H - run.sleep, 0.0), 4.0) * one if run.sleep is not None else 0 * one,
        unknown * np.sin(angle) * one, unknown * np.cos(angle) * one, (power * 0.35 * run.converted) * one, (run.day - origin) / 365.25 * one, (run.side == 1) * one, (run.side == 2) * one,
    ])  # fmt: skip


def usable(run: RunRows, x: Floats, since: Floats, border: float) -> np.ndarray:
    """Which minutes tell: settled, with sound heart rate, at a known running speed, neither near standing nor above what the heart can follow, and in the run's band."""
    block = run.blocks
    low, high = run.band or (0.0, np.inf)
    v = block[:, AT["speed"]]
    return np.asarray(
        (since >= SETTLED_S) & np.isfinite(block[:, AT["heart_rate"]]) & np.isfinite(x) & (v > 1.2) & (v < 8.0)
        & (x > max(0.3 * border, low)) & (x < min(1.15 * border, high)) & (np.abs(np.nan_to_num(block[:, AT["grade"]])) < 0.15),
        dtype=bool,
    )  # fmt: skip


@dataclass(frozen=True)
class Prepared:
    """Runs as cross products, from which any variances are fitted quickly."""

    rows: list[RunRows]
    minutes: list[tuple[Floats, np.ndarray]]  # of each run, power as the heart has come to it, and which minutes tell
    power: float
    border: float
    tau: tuple[float, float]
    days: Floats
    xx: Floats
    xz: Floats
    zz: Floats
    xy: Floats
    zy: Floats
    yy: Floats
    n: Floats
    within: float
    inflation: float
    lowest: float
    highest: float
    blur: float  # share by which errors of the watts flatten the slope, which is taken out, and its standard error
    blur_sd: float


def prepare(runs: Sequence[RunRows], border: float, few: bool = False) -> Prepared:
    """Cross products of runs with sound heart rate, under the time constants that explain the newest best.

    Parameters
    ----------
    runs : sequence of RunRows
        The oldest first, one scale.
    border : float
        About critical power: the time constants part below and above 85 % of it. [W]
    few : bool
        Whether two runs are enough: the prior then tells most, and `fit` needs its variances held at `FEW`.

    Raises
    ------
    NotEnoughData
        No heart rate, too few runs, minutes or days, or hardly a flat minute.
    """
    edge = 0.85 * border
    if not any(np.isfinite(r.blocks[:, AT["heart_rate"]]).any() for r in runs if len(r.blocks)):
        raise NotEnoughData("no run has sound heart rate: progress is told by heart rate at power")
    tau = _time_constants(runs[-TAU_RUNS:], border, edge)
    told = []
    for run in runs:
        x, since = answered(run.blocks[:, AT["power"]], run.blocks[:, AT["elapsed"]], tau, edge)
        kept = usable(run, x, since, border)
        if kept.sum() >= 5:
            told.append((run, x, kept))
    minutes = sum(int(k.sum()) for _, _, k in told)
    days = [r.day for r, _, _ in told]
    enough = (
        len(told) >= 2
        if few
        else len(told) >= LEAST_RUNS and minutes >= LEAST_MINUTES and max(days) - min(days) >= LEAST_DAYS
    )
    if not enough:
        raise TooFewRuns(
            f"{len(told)} run{'s' if len(told) != 1 else ''} with sound heart rate and power, {minutes} minutes over {max(days) - min(days) if days else 0} days: "
            f"progress needs {LEAST_RUNS} runs, {LEAST_MINUTES} minutes and {LEAST_DAYS} days"
        )
    every = np.concatenate([x[k] for _, x, k in told])
    grades = np.concatenate([np.abs(np.nan_to_num(r.blocks[k][:, AT["grade"]])) for r, _, k in told])
    flat = float((grades < FLAT).mean())
    if flat < LEAST_FLAT and not few:
        raise NotEnoughData(
            f"only {100 * flat:.0f} % of the minutes are near the flat: on one hill the sensor's reading of the slope and the runner cannot be told apart"
        )
    power = float(np.median(every))
    origin = float(min(days))
    p = len(COLUMNS)
    size = len(told)
    xx, xz, zz = np.empty((size, p, p)), np.empty((size, p, 2)), np.empty((size, 2, 2))
    xy, zy, yy, n = np.empty((size, p)), np.empty((size, 2)), np.empty(size), np.empty(size)
    misses, alike = [], []
    for i, (run, x, kept) in enumerate(told):
        X, y = design(run, x, kept, power, origin), run.blocks[kept][:, AT["heart_rate"]]
        Z = X[:, [C["level"], C["drift"]]]
        xx[i], xz[i], zz[i], xy[i], zy[i], yy[i], n[i] = X.T @ X, X.T @ Z, Z.T @ Z, X.T @ y, Z.T @ y, y @ y, len(y)
        if len(y) >= 12:
            own = np.column_stack([Z, X[:, C["power"]], X[:, C["up"]]])
            rest = y - own @ np.linalg.lstsq(own, y, rcond=None)[0]
            misses.append(rest @ rest / max(len(y) - 4, 1))
            alike.append(rest[1:] @ rest[:-1] / max(rest @ rest, 1e-9))
    within = float(np.sqrt(np.median(misses))) if misses else 2.0
    # Neighbouring minutes are alike: they count for fewer.
    rho = float(np.clip(np.median(alike) + 0.1 if alike else 0.5, 0.0, 0.7))
    low, high = np.percentile(every, [5, 95])
    error, error_sd = _watts_error([(r.blocks[k], x[k]) for r, x, k in told], power)
    k = C["power"]
    # What a run's own level and straight drift, slopes and the bend leave of power's spread: more than a part of it cannot be error.
    left = (xx - np.einsum("ipz,izw,iqw->ipq", xz, np.linalg.pinv(zz), xz)).sum(axis=0)
    others = [C["curve"], C["up"], C["down"]]
    spread = left[k, k] - left[k, others] @ np.linalg.pinv(left[np.ix_(others, others)]) @ left[others, k]
    spread = max(float(spread) / float(n.sum()), 1e-9)
    blur = min(error / spread, MOST_BLUR)
    blur_sd = min((error_sd if error / spread <= MOST_BLUR else error) / spread, 1.0)
    xx[:, k, k] -= n * blur * spread
    return Prepared(
        [r for r, _, _ in told], [(x, k) for _, x, k in told], power, border, tau, np.array(days, dtype=float), xx, xz, zz, xy, zy, yy, n, max(within, 0.5), (1 + rho) / (1 - rho), float(low),
        float(high), blur, blur_sd,
    )  # fmt: skip


def _watts_error(minutes: Sequence[tuple[Floats, Floats]], power: float) -> tuple[float, float]:
    """Variance [W²] of what a minute's watts err by and the heart does not answer, and its standard error, from evenly run minutes.

    Such errors do not last: power three minutes away shares what lasts and not the error, so that the slope by it (an instrument) is not
    flattened as the plain one is.
    """
    sums = []
    for block, x in minutes:
        if len(x) < 20:
            continue
        at, grade = block[:, AT["elapsed"]], np.nan_to_num(block[:, AT["grade"]])
        own = np.column_stack([np.ones(len(x)), at / 3600, np.maximum(grade, 0), np.minimum(grade, 0)])
        both = np.column_stack([x, block[:, AT["heart_rate"]]])
        px, py = (both - own @ np.linalg.lstsq(own, both, rcond=None)[0]).T
        if px.std() > EVEN * power:  # what goes up and down by plan hides the error
            continue
        i = np.flatnonzero(at[LAG:] - at[:-LAG] == LAG * BLOCK_S)
        j = i + LAG
        sums.append((px @ py, px @ px, 0.5 * (px[j] @ py[i] + px[i] @ py[j]), px[j] @ px[i], len(x)))
    unknown = (UNKNOWN_ERROR * power) ** 2
    if len(sums) < 5:
        return unknown, unknown
    told = np.array(sums)
    total = told.sum(axis=0)
    if total[3] < LEAST_LASTING * total[1] or total[2] <= 0 or total[0] <= 0:
        return unknown, unknown

    def error(s: Floats) -> Floats:
        return np.asarray((1 - (s[..., 0] / s[..., 1]) / (s[..., 2] / s[..., 3])) * s[..., 1] / s[..., 4])

    without = error(total - told)
    m = len(told)
    sd = float(np.sqrt((m - 1) / m * np.sum((without - without.mean()) ** 2)))
    return float(np.clip(error(total), 0.0, (MOST_ERROR * power) ** 2)), min(sd, (MOST_ERROR * power) ** 2)


def _time_constants(runs: Sequence[RunRows], border: float, edge: float) -> tuple[float, float]:
    """The pair that explains heart rate within runs best."""
    best, chosen = np.inf, (TAUS[1], TAUS[1])
    for low in TAUS:
        for high in TAUS:
            total, count = 0.0, 0
            for run in runs:
                power = run.blocks[:, AT["power"]]
                if len(power) < 15:
                    continue
                x, since = answered(power, run.blocks[:, AT["elapsed"]], (low, high), edge)
                kept = usable(run, x, since, border)
                if kept.sum() < 12:
                    continue
                y = run.blocks[kept][:, AT["heart_rate"]]
                own = np.column_stack([np.ones(len(y)), x[kept], run.blocks[kept][:, 0]])
                rest = y - own @ np.linalg.lstsq(own, y, rcond=None)[0]
                total, count = total + float(rest @ rest), count + len(y)
            if count and total / count < best:
                best, chosen = total / count, (low, high)
    return chosen


def gain(model: Response, since: float, until: float, rate: float | None = None) -> tuple[Floats, str]:
    """Draws of how much more power goes with a heart rate (the middle one by default) on one day than on another, in per cent; and why it is
    withheld, where what else changed meanwhile explains it as well."""
    level = model.rate(0.5 * (since + until))[0] if rate is None else rate
    drawn = model.draws([since, until], level)
    gained = 100 * (drawn[:, 1] / drawn[:, 0] - 1)
    k = C["power"] - 1
    if model.mean[k] < SURE_SLOPE * np.sqrt(model.covariance[k, k]):
        return gained, ONE_POWER
    return gained, tangled(model, model.row(until) - model.row(since))


def tangled(model: Response, moved: Floats) -> str:
    """What else changed with a combination of levels and explains it as well; empty where nothing does."""
    return next(
        (words for column, words in TANGLED.items() if abs(model.correlation(moved, column)) > MOST_TANGLED), ""
    )


def shown(runs: Sequence[RunRows], power: float) -> tuple[float, float] | None:
    """Change of the watts that the device shows at the same flat speed, from the first day to the last [%], and its standard error; None
    where under six runs tell it. The device, the ground or the way of running: it cannot be told which."""
    day, cost = [], []
    for run in runs:
        b = run.blocks
        p, v, g = b[:, AT["power"]], b[:, AT["speed"]], np.nan_to_num(b[:, AT["grade"]])
        near = (v > 1.5) & (v < 7.5) & (np.abs(g) < FLAT) & (np.abs(p / power - 1) < 0.25)
        if near.sum() >= 5:
            day.append(float(run.day))
            cost.append(float(np.median(np.log(p[near] / v[near] / slope_factor(g[near])))))
    if len(day) < 6 or np.ptp(day) < 7:
        return None
    x = (np.array(day) - np.mean(day)) / np.ptp(day)
    y = np.array(cost)
    slope = float(x @ (y - y.mean()) / (x @ x))
    rest = y - y.mean() - slope * x
    return 100 * slope, 100 * float(np.sqrt(rest @ rest / (len(y) - 2) / (x @ x)))


def device_moved(runs: Sequence[RunRows], power: float, gained: float) -> str:
    """Why a gain of later runs may be the device's: it shows surely more watts (or fewer, for a loss) at the same speed, by a third of the gain or more."""
    told = shown(runs, power)
    if told is None or told[0] * gained <= 0 or abs(told[0]) < max(2.6 * told[1], abs(gained) / 3):
        return ""
    return f"the device shows {abs(told[0]):.1f} % {'more' if told[0] > 0 else 'fewer'} watts at the same speed than at the beginning, which looks the same: footwork devices tells more"


def fit(prepared: Prepared, upto: int | None = None, held: tuple[float, float, float] | None = None) -> Response:
    """Variances by marginal likelihood and the posterior of coefficients and weekly levels.

    Parameters
    ----------
    prepared : Prepared
    upto : int, optional
        Take only the first runs.
    held : (float, float, float), optional
        Spread from run to run [bpm], of drift [bpm/h] and of a week's step [bpm] from an earlier fit, which are then not sought again.
    """
    from scipy.optimize import minimize

    count = len(prepared.n) if upto is None else upto
    system = _System(prepared, count)
    weights = np.ones(count)
    found = np.log(held) if held is not None else np.log([2.0, 3.0, 0.1])
    for turn in range(2):
        if held is None:
            simplex = found + np.array([[0.0, 0.0, 0.0], [0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.0, 0.8]])
            options: dict[str, Any] = {
                "xatol": 0.05,
                "fatol": 0.05,
                "maxfev": 80 - 40 * turn,
                "initial_simplex": simplex,
            }
            least = minimize(system.badness, found, args=(weights,), method="Nelder-Mead", options=options)  # type: ignore[call-overload]
            found = np.clip(np.asarray(least.x, dtype=float), *_BOUNDS)
        mean, covariance, effects, sds = system.posterior(found, weights)
        # A run far out, as after a bad night that nobody noted, loses weight: its spread grows to where it lies within reach.
        weights = np.minimum(1.0, _FAR * float(np.exp(found[0])) / np.maximum(np.abs(effects), 1e-9)) ** 2
    mean, covariance, effects, sds = system.posterior(found, weights)
    rows = prepared.rows[:count]
    warm = [max(r.sky.temperature - COOL_C, 0.0) for r in rows if r.sky.temperature is not None]
    run_sd, drift_sd, walk = (float(v) for v in np.exp(found))
    return Response(
        mean, _widened(mean, covariance, prepared.blur_sd, count), system.knots, prepared.power, run_sd, drift_sd, walk, prepared.within, prepared.tau, 0.85 * prepared.border, prepared.days[:count],
        effects, sds, count, int(prepared.n[:count].sum()), prepared.lowest, prepared.highest, float(np.mean([r.sky.temperature is not None for r in rows])),
        float(np.mean(warm)) if warm else 0.0,
    )  # fmt: skip


def _widened(mean: Floats, covariance: Floats, blur: float, runs: int) -> Floats:
    """Covariance with what is not known of the spreads, which few runs tell badly, and of the watts' error."""
    out = covariance * (1 + SPREADS_UNKNOWN / runs)
    k = C["power"] - 1
    out[k, k] += (mean[k] * blur) ** 2
    return out


class _System:
    """Normal equations of the coefficients and weekly levels, with each run's own level and drift taken out in closed form."""

    def __init__(self, prepared: Prepared, count: int) -> None:
        self.within2 = prepared.within**2 * prepared.inflation
        self.xz, self.zz, self.xy, self.zy, self.n = (
            getattr(prepared, k)[:count] for k in ("xz", "zz", "xy", "zy", "n")
        )
        self.cross, self.total, self.yy = (
            prepared.xx[:count, 1:, 0],
            prepared.xx[:count].sum(axis=0),
            prepared.yy[:count].sum(),
        )
        days = prepared.days[:count]
        self.knots = np.arange(days.min(), days.max() + WEEK, WEEK)
        self.k, self.p = len(self.knots), len(COLUMNS) - 1
        at = np.clip((days - self.knots[0]) / WEEK, 0, self.k - 1)
        self.first = np.minimum(at.astype(int), max(self.k - 2, 0))
        self.share = at - self.first

    def _hat(self, values: Floats) -> Floats:
        """Sums of values of runs, shape (count, m), at the knots that each lies between."""
        out = np.zeros((self.k, values.shape[1]))
        np.add.at(out, self.first, values * (1 - self.share)[:, None])
        if self.k > 1:
            np.add.at(out, self.first + 1, values * self.share[:, None])
        return out

    def _equations(self, logs: Floats, weights: Floats) -> tuple[Floats, Floats, Floats, Floats, float]:
        """Matrix and right side of the posterior, the runs' own covariance, its products, and what does not hang on the coefficients."""
        run_sd, drift_sd, walk = np.exp(np.clip(logs, *_BOUNDS))
        s2, p, k = self.within2, self.p, self.k
        inner = self.zz.copy()
        inner[:, 0, 0] += s2 * weights / run_sd**2
        inner[:, 1, 1] += s2 / drift_sd**2
        det = inner[:, 0, 0] * inner[:, 1, 1] - inner[:, 0, 1] ** 2
        middle = np.empty_like(inner)
        middle[:, 0, 0], middle[:, 1, 1] = inner[:, 1, 1] / det, inner[:, 0, 0] / det
        middle[:, 0, 1] = middle[:, 1, 0] = -inner[:, 0, 1] / det
        xm = np.einsum("ipz,izw->ipw", self.xz, middle)
        flat, plain = xm.transpose(1, 0, 2).reshape(p + 1, -1), self.xz.transpose(1, 0, 2).reshape(p + 1, -1)
        a = (self.total - flat @ plain.T) / s2
        cross = (self.cross - np.einsum("ipz,iz->ip", xm[:, 1:], self.xz[:, 0])) / s2
        own = (self.n - np.einsum("iz,iz->i", xm[:, 0], self.xz[:, 0])) / s2
        b = (self.xy - np.einsum("ipz,iz->ip", xm, self.zy)) / s2
        c = float(self.yy - np.einsum("iz,izw,iw->", self.zy, middle, self.zy)) / s2
        left, right = np.zeros((p + k, p + k)), np.zeros(p + k)
        left[:p, :p] = a[1:, 1:] + np.diag(1 / np.square(_SD[1:]))
        left[p:, :p] = self._hat(cross)
        left[:p, p:] = left[p:, :p].T
        near, far = own * (1 - self.share), own * self.share
        np.add.at(left, (p + self.first, p + self.first), near * (1 - self.share))
        if k > 1:
            np.add.at(left, (p + self.first + 1, p + self.first + 1), far * self.share)
            for one, two in ((0, 1), (1, 0)):
                np.add.at(left, (p + self.first + one, p + self.first + two), near * self.share)
            i = np.arange(p, p + k - 1)
            step = 1 / walk**2
            left[i, i] += step
            left[i + 1, i + 1] += step
            left[i, i + 1] -= step
            left[i + 1, i] -= step
        left[p, p] += 1 / _SD[0] ** 2
        right[:p] = b[:, 1:].sum(axis=0) + np.divide(_MEAN[1:], np.square(_SD[1:]))
        right[p:] = self._hat(b[:, :1])[:, 0]
        right[p] += _MEAN[0] / _SD[0] ** 2
        determinant = float(self.n.sum() * np.log(s2) + np.log(det / s2**2 * run_sd**2 * drift_sd**2 / weights).sum())
        walks = 2 * (k - 1) * float(np.log(walk)) + (walk / WALK_SD) ** 2
        # Half-normal scales keep the spreads where runners are: some 6 bpm from run to run, 12 bpm/h of drift; our conventions.
        return left, right, middle, b, c + determinant + walks + (run_sd / 6.0) ** 2 + (drift_sd / 12.0) ** 2

    def badness(self, logs: Floats, weights: Floats) -> float:
        """Minus twice the log of the variances' posterior density, but for a constant."""
        from scipy.linalg import cho_factor, cho_solve

        left, right, _, _, rest = self._equations(logs, weights)
        factor = cho_factor(left, lower=True, check_finite=False, overwrite_a=True)
        return (
            rest
            - float(right @ cho_solve(factor, right, check_finite=False))
            + 2 * float(np.log(np.diag(factor[0])).sum())
        )

    def posterior(self, logs: Floats, weights: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Mean and covariance of the coefficients and levels; each run's own deviation and its SD [bpm]."""
        left, right, middle, _, _ = self._equations(logs, weights)
        covariance = np.linalg.inv(left)
        covariance = 0.5 * (covariance + covariance.T)
        mean = covariance @ right
        level = mean[self.p + self.first] * (1 - self.share)
        if self.k > 1:
            level = level + mean[self.p + self.first + 1] * self.share
        rest = self.zy - np.einsum("ipz,p->iz", self.xz[:, 1:], mean[: self.p]) - self.xz[:, 0] * level[:, None]
        deviation = np.einsum("izw,iw->iz", middle, rest)
        return mean, covariance, deviation[:, 0], np.sqrt(self.within2 * middle[:, 0, 0])


def alike(y: Floats, design: Floats, precision: Floats, pull: Floats) -> tuple[Floats, Floats, float]:
    """Least squares of minutes that follow each other and are alike: first-order autocorrelation by restricted likelihood over a grid.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
    design : numpy.ndarray, shape (n, p)
    precision, pull : numpy.ndarray, shapes (p, p) and (p,)
        A normal prior of the coefficients: its precision, and that times its mean.

    Returns
    -------
    coefficients, covariance, freedom
    """
    n, p = design.shape
    best: tuple[float, Floats, Floats, float] | None = None
    for rho in np.arange(0.0, 0.99, 0.03):
        head = np.sqrt(1 - rho**2)
        u, x = (
            np.concatenate([[head * y[0]], y[1:] - rho * y[:-1]]),
            np.vstack([head * design[:1], design[1:] - rho * design[:-1]]),
        )
        info = x.T @ x
        rest = u - x @ np.linalg.lstsq(x, u, rcond=None)[0]
        s2 = max(float(rest @ rest) / (n - p), 1e-6)
        badness = (n - p) * np.log(s2) - np.log(1 - rho**2) + np.linalg.slogdet(info + 1e-9 * np.eye(p))[1]
        if best is None or badness < best[0]:
            covariance = np.linalg.inv(info / s2 + precision)
            best = (
                float(badness),
                covariance @ (x.T @ u / s2 + pull),
                covariance,
                max(n * (1 - rho) / (1 + rho) - 2, 2.0),
            )
    assert best is not None
    return best[1], best[2], best[3]
