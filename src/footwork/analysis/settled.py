"""Minutes in which the heart has come to the power: what of a run tells how heart rate goes with it, as cross
products."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from footwork.analysis.summary import AT, BLOCK_S
from footwork.analysis.usual_watts import Sky
from footwork.errors import NotEnoughData
from footwork.physics import climate
from footwork.physics.power import slope_factor
from footwork.quantities import Floats

LEAST_RUNS, LEAST_MINUTES, LEAST_DAYS = 8, 120, 21
# A minute counts from this long after a start or a gap on, when the heart has come up.
SETTLED_S = 240
TAUS = (20.0, 40.0, 65.0, 100.0)  # seconds; 38 to 132 published for running ramps (Gielen 2024), less for steps
TAU_RUNS = 60  # the newest runs tell the time constants
COOL_C, DRIFT_FROM_H, REFERENCE_H, ENOUGH_SLEEP_H = 12.0, 10 / 60, 30 / 60, 7.0
NO_PLACE = 3.0  # how much less the season is known where neither weather nor place is
FLAT, LEAST_FLAT = 0.03, 0.2  # a slope that is flat, and the least share of minutes on it
COLUMNS = (
    "level",
    "power",
    "curve",
    "up",
    "down",
    "drift",
    "heat",
    "heat_drift",
    "illness",
    "sleep",
    "season",
    "converted",
    "trend",
    "first",
    "second",
)
C = {name: index for index, name in enumerate(COLUMNS)}
# Most that errors of the watts may take of the slope, and least of power's spread that must last to tell; ours.
MOST_BLUR, LEAST_LASTING = (0.6, 0.05)
LAG = 3  # minutes apart in which such errors are no longer shared; our convention
UNKNOWN_ERROR = 0.004  # of power, where power does not last long enough to tell; our convention
MOST_ERROR = 0.012  # of power, the most that is taken for error; our convention
EVEN = 0.05  # spread of power within a run, after a straight drift, that is even; our convention


class TooFewRuns(NotEnoughData):
    """Fewer runs, minutes or days than the season's model needs."""


@dataclass(frozen=True)
class RunRows:
    """One run as the model takes it: its day (ordinal), minutes (`summary.BLOCK_COLUMNS`), weather, whether the diary
    tells of illness, hours of sleep, the relative error of a conversion of its watts (0 where they are the scale's
    own), and the latitude [deg] where it was run."""

    day: int
    blocks: Floats
    sky: Sky = field(default_factory=Sky)
    ill: bool = False
    sleep: float | None = None
    converted: float = 0.0
    latitude: float | None = None
    side: int = 0  # 1 or 2 where it is held against others, with its minutes at the powers of ``band`` [W] only
    band: tuple[float, float] | None = None


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


def warmth_of(run: RunRows) -> tuple[float, float]:
    """Degrees over 12 °C [°C] of a run, and how much of the season they may be off by: the weather told, else the
    climate, else nothing."""
    temperature = run.sky.temperature
    if temperature is not None:
        return max(temperature - COOL_C, 0.0), 0.0
    if run.latitude is not None:
        return climate.expected_over(COOL_C, climate.usual_temperature(run.day, run.latitude)), 1.0
    return 0.0, NO_PLACE


def design(run: RunRows, x: Floats, kept: np.ndarray, power: float, origin: float) -> Floats:
    """Design rows of the kept minutes of a run, shape (n, 15), columns `COLUMNS`.

    ``x`` has shape (m, 13), ``power`` [W]; beats per unit of each column.
    """
    block = run.blocks[kept]
    hours = block[:, AT["elapsed"]] / 3600
    grade = np.nan_to_num(block[:, AT["grade"]])
    drift = np.maximum(hours - DRIFT_FROM_H, 0.0) - (REFERENCE_H - DRIFT_FROM_H)
    heat, unknown = warmth_of(run)
    one = np.ones(len(block))
    return np.column_stack(
        [
            one,
            x[kept] - power,
            ((x[kept] - power) / power) ** 2,
            100 * np.maximum(grade, 0),
            100 * np.minimum(grade, 0),
            drift,
            heat * one,
            heat * drift,
            run.ill * one,
            min(max(ENOUGH_SLEEP_H - run.sleep, 0.0), 4.0) * one if run.sleep is not None else 0 * one,
            unknown * climate.season(run.day) * one,
            (power * 0.35 * run.converted) * one,
            (run.day - origin) / 365.25 * one,
            (run.side == 1) * one,
            (run.side == 2) * one,
        ]
    )


def usable(run: RunRows, x: Floats, since: Floats, border: float) -> np.ndarray:
    """Which minutes tell: settled, with sound heart rate, at a known running speed, neither near standing nor above
    what the heart can follow, and in the run's band.

    ``border`` is the power [W] under which minutes count; returns a mask of shape (m,).
    """
    block = run.blocks
    low, high = run.band or (0.0, np.inf)
    v = block[:, AT["speed"]]
    return np.asarray(
        (since >= SETTLED_S)
        & np.isfinite(block[:, AT["heart_rate"]])
        & np.isfinite(x)
        & (v > 1.2)
        & (v < 8.0)
        & (x > max(0.3 * border, low))
        & (x < min(1.15 * border, high))
        & (np.abs(np.nan_to_num(block[:, AT["grade"]])) < 0.15),
        dtype=bool,
    )


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
            f"{len(told)} run{'s' if len(told) != 1 else ''} with sound heart rate and power, {minutes} "
            f"minutes over {max(days) - min(days) if days else 0} days: "
            f"progress needs {LEAST_RUNS} runs, {LEAST_MINUTES} minutes and {LEAST_DAYS} days"
        )
    every = np.concatenate([x[k] for _, x, k in told])
    grades = np.concatenate([np.abs(np.nan_to_num(r.blocks[k][:, AT["grade"]])) for r, _, k in told])
    flat = float((grades < FLAT).mean())
    if flat < LEAST_FLAT and not few:
        raise NotEnoughData(
            f"only {100 * flat:.0f} % of the minutes are near the flat: on one hill the sensor's reading of "
            "the slope and the runner cannot be told apart"
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
    # What a run's own level and straight drift, slopes and the bend leave of power's spread: more than a part of it
    # cannot be error.
    left = (xx - np.einsum("ipz,izw,iqw->ipq", xz, np.linalg.pinv(zz), xz)).sum(axis=0)
    others = [C["curve"], C["up"], C["down"]]
    spread = left[k, k] - left[k, others] @ np.linalg.pinv(left[np.ix_(others, others)]) @ left[others, k]
    spread = max(float(spread) / float(n.sum()), 1e-9)
    blur = min(error / spread, MOST_BLUR)
    blur_sd = min((error_sd if error / spread <= MOST_BLUR else error) / spread, 1.0)
    xx[:, k, k] -= n * blur * spread
    return Prepared(
        [r for r, _, _ in told],
        [(x, k) for _, x, k in told],
        power,
        border,
        tau,
        np.array(days, dtype=float),
        xx,
        xz,
        zz,
        xy,
        zy,
        yy,
        n,
        max(within, 0.5),
        (1 + rho) / (1 - rho),
        float(low),
        float(high),
        blur,
        blur_sd,
    )


def _watts_error(minutes: Sequence[tuple[Floats, Floats]], power: float) -> tuple[float, float]:
    """Variance [W²] of what a minute's watts err by and the heart does not answer, and its standard error, from evenly
    run minutes.

    Such errors do not last: power three minutes away shares what lasts and not the error, so that the slope by it (an
    instrument) is not flattened as the plain one is.
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


def shown(runs: Sequence[RunRows], power: float) -> tuple[float, float] | None:
    """Change of the watts that the device shows at the same flat speed, from the first day to the last [%], and its
    standard error; None where under six runs tell it. The device, the ground or the way of running: it cannot be told
    which."""
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
    """Why a gain of later runs may be the device's: it shows surely more watts (or fewer, for a loss) at the same
    speed, by a third of the gain or more."""
    told = shown(runs, power)
    if told is None or told[0] * gained <= 0 or abs(told[0]) < max(2.6 * told[1], abs(gained) / 3):
        return ""
    return (
        f"the device shows {abs(told[0]):.1f} % {'more' if told[0] > 0 else 'fewer'} watts at the same speed than "
        "at the beginning, which looks the same: footwork devices tells more"
    )
