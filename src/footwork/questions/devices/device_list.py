"""The runner's devices: their scales, conversions to the main one, drift with its jumps, and device checks."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import check, drift
from footwork.analysis.conversion import Conversion
from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.errors import FootworkError, NotEnoughData
from footwork.history import catalogue
from footwork.history.catalogue import RECENT_DAYS, RunRow
from footwork.history.log import accepted
from footwork.history.recordings import run_signals
from footwork.history.scales import conversions, scale_keys
from footwork.history.scales.scale_keys import MODEL
from footwork.history.scales.scale_rows import StreamRows
from footwork.quantities import Estimate, Floats, format_duration, plain
from footwork.results.whose_watts import DeviceCheck, Devices
from footwork.signals import Signals
from footwork.wording import device_words

if TYPE_CHECKING:
    from footwork.history.book import History

WATCHED_DAYS = 182


RATIO_SD = 0.7  # how the error variances of two devices differ, as the SD of the ratio's logarithm; our convention


_SPEED, _ELAPSED = BLOCK_COLUMNS.index("speed"), BLOCK_COLUMNS.index("elapsed")


PROTOCOL = (
    "What it tells: how well the device repeats itself, how fast it follows, and whether it rises evenly "
    "with speed. It is easy "
    "to brisk running, nothing near your limit; leave it out when you are ill, injured or told not to run.",
    "Where: a treadmill, or a track or flat path of known length in still air. Same shoes, device placed as "
    "always, mass set as always.",
    "Choose three speeds, easy, steady and brisk, each 8 to 15 % faster than the one before, for example "
    "6:00, 5:30 and 5:00 /km.",
    "Warm up for ten minutes. Then, by the clock, without a stop: 3 min easy, 3 min steady, 3 min brisk; and "
    "at once the same three again.",
    "Change speed exactly at each full three minutes; on a treadmill press the key then, on a track set a "
    "watch to beep.",
    "Hold each speed as evenly as you can: within 3 %. Run slightly shorter steps rather than a wrong speed.",
    "For the hill part, another day: the same on a steady slope of 4 to 8 %, or with that incline set, and "
    "marked with it.",
    "Repeat it after an update, a new pair of shoes or another placement, and compare the two.",
)


def all_devices(library: History) -> Devices:
    """Every scale with its use, drift and checks, and the conversions to the main one.

    Raises
    ------
    NotEnoughData
        No run has power.
    """
    found: Devices = library.cached("devices", lambda: Devices(**plain(_answer(library))))
    return found


def _answer(library: History) -> dict[str, Any]:
    rows: list[RunRow] = library.runs()
    newest = rows[0].local.date() if rows else library.current_day()
    main, main_name = catalogue.choose_scale(library, rows, newest, None)
    if not main:
        raise NotEnoughData("no run has power yet: add runs with power, or a mass so that it can be modelled")
    names = scale_keys.names(library)
    told: list[dict[str, Any]] = []
    converted: list[dict[str, Any]] = []
    for key, name in names.items():
        mine = conversions.rows_on_scale(library, key)
        if not mine:
            continue
        entry = accepted.in_force(accepted.entries(library, key), newest)
        told.append(
            {
                "name": name,
                "measured": key != MODEL,
                "main": key == main,
                "runs": len(mine),
                "first": mine[0].date,
                "last": mine[-1].date,
                "duration_s": sum(r.duration_s for r in mine),
                "accepted": None if entry is None else {"date": entry[0], "critical_power_w": entry[1]},
                "drift": _drift(library, name, mine) if key != MODEL else None,
                "checks": _known_checks(library, name, mine) if key != MODEL else [],
            }
        )
        if key not in (main, MODEL):
            converted.append(_conversion(name, main_name, conversions.between(library, key, main)))
    told.sort(key=lambda s: (not s["main"], not s["measured"], -s["duration_s"]))
    out = {"main": main_name, "scales": told, "conversions": converted}
    return {**out, "sentence": device_words.devices_sentence(out)}


def _conversion(name: str, main: str, made: Conversion | None) -> dict[str, Any]:
    out: dict[str, Any] = {"from": name, "to": main}
    if made is None:
        reason = "no twenty steady minutes together, and none that modelled power could stand between"
        nothing = {
            k: Estimate.withheld(u, "conversion", reason) for k, u in (("factor", ""), ("slope", ""), ("offset", "W"))
        }
        return {
            **out,
            **nothing,
            "through": None,
            "runs": 0,
            "minutes": 0,
            "run_spread": None,
            "from_w": None,
            "to_w": None,
            "sentence": f"Watts of {name} cannot be converted: {reason}.",
        }

    def estimate(pair: tuple[float, float], unit: str) -> Estimate:
        return Estimate(
            pair[0], pair[0] - 1.96 * pair[1], pair[0] + 1.96 * pair[1], unit, made.runs, "conversion", "runs"
        )

    factor = float(made.apply(made.centre)) / made.centre
    level = estimate((factor, factor * made.error(made.centre)), "")
    learned = (
        f"{made.runs} common run{'s' if made.runs != 1 else ''}"
        if made.through == "common runs"
        else "modelled power, since they hardly ran together"
    )
    return {
        **out,
        "factor": level,
        "slope": estimate(made.slope, ""),
        "offset": estimate(made.offset, "W"),
        "through": made.through,
        "runs": made.runs,
        "minutes": made.minutes,
        "run_spread": made.run_sd,
        "from_w": made.low,
        "to_w": made.high,
        "sentence": f"{made.centre:.0f} W of {name} are {made.apply(made.centre):.0f} W of {main}: times {factor:.3f} "
        f"({level.low:.3f} to {level.high:.3f}), "
        f"a single run within {196 * made.run_sd:.1f} % of it; from {learned}.",
    }


def _drift(library: History, name: str, rows: list[StreamRows]) -> dict[str, Any]:
    """Watts at easy speed from run to run, and jumps with what heart rate says of them."""
    outside = [r for r in rows if not r.indoor]
    mass = library.athlete.value("mass", rows[-1].date)
    index, share = drift.series([r.blocks for r in outside], mass)
    kept = [outside[int(i)] for i in index]
    points = [{"run": r.run, "date": r.date, "share": float(y)} for r, y in zip(kept, share, strict=True)]
    if len(kept) < 2 * drift.LEAST_RUNS:
        runs = f"{len(kept)} run{'s' if len(kept) != 1 else ''}"
        reason = f"only {runs} with steady, flat, easy minutes: ten or more show a drift"
        return {"reason": reason, "jumps": [], "points": points}
    return {"reason": "", "jumps": [_jump(name, j, kept) for j in drift.jumps(share)], "points": points}


def recent_jump(library: History, key: str, name: str, day: dt.date) -> dict[str, Any] | None:
    """The newest jump of a scale in the six weeks before a date, looked for in the half year before it."""
    if not key or key == MODEL:
        return None
    rows = [
        r for r in conversions.rows_on_scale(library, key, day) if not r.indoor and (day - r.date).days <= WATCHED_DAYS
    ]
    found = _drift(library, name, rows)["jumps"] if len(rows) >= 2 * drift.LEAST_RUNS else []
    recent = [j for j in found if (day - j["date"]).days <= RECENT_DAYS]
    return recent[-1] if recent else None


def _jump(name: str, jump: drift.Jump, rows: list[StreamRows]) -> dict[str, Any]:
    before, after = (
        rows[max(jump.index - drift.NEAR_RUNS, 0) : jump.index],
        rows[jump.index : jump.index + drift.NEAR_RUNS],
    )
    ends = [100 * (float(np.exp(jump.share + z * jump.error)) - 1) for z in (-1.96, 0.0, 1.96)]
    change = Estimate(ends[1], ends[0], ends[2], "%", len(before) + len(after), "drift", "runs")
    beats = drift.heart_rate_change([r.blocks for r in before], [r.blocks for r in after], jump.share)
    day, first, last = (
        rows[jump.index].date,
        rows[max(jump.earliest - 1, 0)].date,
        rows[min(jump.latest, len(rows) - 1)].date,
    )
    text = (
        f"From {day} (between {first} and {last}) {name} shows {abs(ends[1]):.1f} % "
        f"{'more' if ends[1] > 0 else 'less'} at the same easy speed ({ends[0]:+.1f} to {ends[2]:+.1f})."
    )
    if beats is None:
        rate = Estimate.withheld("bpm", "drift", "too little sound heart rate on both sides")
        expected, says = None, "not known"
        text += " Heart rate cannot tell whether it is the device or the runner: too little of it on both sides."
    else:
        value, error, expected = beats
        rate = Estimate(
            value, value - 1.96 * error, value + 1.96 * error, "bpm", len(before) + len(after), "drift", "runs"
        )
        says, more = _by_heart(value, error, expected)
        text += (
            f" Heart rate at that speed changed by {value:+.1f} bpm ({rate.low:+.1f} to {rate.high:+.1f}); so "
            f"many real watts would bring {expected:+.1f}: {more}"
        )
    return {
        "date": day,
        "earliest": first,
        "latest": last,
        "change": change,
        "heart_rate": rate,
        "heart_rate_if_real_bpm": expected,
        "says": says,
        "sentence": text,
    }


def _by_heart(value: float, error: float, expected: float) -> tuple[str, str]:
    nothing, real = abs(value) <= 1.96 * error, abs(value - expected) <= 1.96 * error
    if nothing and not real:
        return "device", "the device, not the runner (placement, software, shoe or mass setting)."
    if real and not nothing:
        return "runner", "the runner or the ground really needed other watts."
    return "not known", "heart rate cannot tell the device from the runner here."


def _known_checks(library: History, name: str, mine: list[StreamRows]) -> list[dict[str, Any]]:
    """`_checks`, once for each state of the library."""
    found: list[dict[str, Any]] = library.cached(("checks", name), lambda: _checks(library, name, mine))
    return found


def _checks(library: History, name: str, rows: list[StreamRows]) -> list[dict[str, Any]]:
    """Device checks among the runs of a scale, the newest first."""
    out = []
    for row in reversed(rows):
        if looks_like_check(row.blocks):
            try:
                found = device_check(library, row.run)
            except FootworkError:
                continue
            out.append({**found, "devices": [d for d in found["devices"] if d["scale"] == name]})
    return out


def looks_like_check(blocks: Floats) -> bool:
    """Whether the minutes of a run may hold the six steps; a quick look before its seconds are read."""
    span = 3 * check.LEVELS * check.ROUNDS
    if len(blocks) < span:
        return False
    v, at = (np.lib.stride_tricks.sliding_window_view(blocks[:, c], span) for c in (_SPEED, _ELAPSED))
    # Wherever the steps begin within a minute, the second and third minute of three lie in one step for the most part.
    level = v.reshape(-1, check.ROUNDS, check.LEVELS, 3)[..., 1:].mean(axis=3)
    with np.errstate(invalid="ignore", divide="ignore"):
        rises = (level[:, :, 1:] / level[:, :, :-1]).min(axis=(1, 2)) >= 1 + check.RISE - 0.02
        alike = np.abs(level[:, 1] / level[:, 0] - 1).max(axis=1) <= check.REPEAT + 0.02
    whole = at[:, -1] - at[:, 0] == 60 * (span - 1)
    return bool((rises & alike & whole & (level.min(axis=(1, 2)) > 1.0)).any())


def error_ratio(library: History, first: str, second: str) -> float | None:
    """Error variance of the second scale over the first (names) from their device checks; None unless both have one."""
    errors = []
    for name in (first, second):
        key = next((k for k, n in scale_keys.names(library).items() if n == name), None)
        mine = _known_checks(library, name, conversions.rows_on_scale(library, key)) if key else []
        found = [d["typical_error"]["value"] for c in mine for d in c["devices"] if d["typical_error"]["value"]]
        if not found:
            return None
        errors.append(float(np.mean(np.square(found))))
    # Few repeats tell a ratio of variances badly: it is drawn towards one by what they do not tell.
    told = RATIO_SD**2 / (RATIO_SD**2 + 4 / check.LEVELS)
    return float((errors[1] / errors[0]) ** told)


def device_check(library: History, run_id: int, start: float | None = None) -> DeviceCheck:
    """What the device check in a run says of each device that recorded it; see `check.measure`. ``start`` counts on the
    primary recording's clock [s].

    Raises
    ------
    NotEnoughData
        No check in the run.
    """
    row = catalogue.find(library, run_id)
    sources = [(scale, signals) for scale, _, signals in run_signals.sources(library, run_id) if scale]
    primary = run_signals.signals(library, run_id).get("time")
    if not sources:
        raise NotEnoughData(f"run {run_id} has no measured power: there is no device to check")
    out: dict[str, Any] = plain(
        {
            "run": run_id,
            "date": row.local.date(),
            "devices": [_of_device(scale, signals, _second(signals, primary, start)) for scale, signals in sources],
        }
    )
    return DeviceCheck(**out)


def _second(signals: Signals, primary: Floats, start: float | None) -> int | None:
    """Second of one recording that is ``start`` seconds into the primary one."""
    return None if start is None else round(float(primary[0]) + start - float(signals.get("time")[0]))


def _of_device(scale: str, signals: Signals, begin: int | None) -> dict[str, Any]:
    made = check.measure(signals, start=begin)
    grade = signals.get("grade")[made.start : made.start + check.TOTAL_S]
    steep = float(np.nanmean(grade)) if np.isfinite(grade).any() else None
    error, share = made.typical_error, made.coefficient_of_variation
    text = (
        f"At {format_duration(made.start)} of the run: repeats within a typical error of {error.value:.1f} W, "
        f"{share.value:.1f} % ({share.low:.1f} to {share.high:.1f})."
    )
    if made.response.value is not None:
        text += (
            f" It follows a step in {made.response.value:.0f} s ({made.response.low:.0f} to "
            f"{made.response.high:.0f}), the legs' own time included."
        )
    if made.bend.value is not None and made.bend.low is not None and made.bend.high is not None:
        straight = made.bend.low <= 0 <= made.bend.high
        text += (
            " Watts rise evenly with speed as far as three speeds can tell."
            if straight
            else f" The middle speed lies {made.bend.value:+.1f} % off the line through the others."
        )
    return {
        "scale": scale,
        "start_s": made.start,
        "grade": steep,
        "steps": [
            {
                "round": r + 1,
                "step": k + 1,
                "speed_mps": float(made.speed[r, k]) if np.isfinite(made.speed[r, k]) else None,
                "power_w": float(made.power[r, k]),
            }
            for r in range(check.ROUNDS)
            for k in range(check.LEVELS)
        ],
        "typical_error": error,
        "coefficient_of_variation": share,
        "repeatability": made.repeatability,
        "response": made.response,
        "slope": made.slope,
        "intercept": made.intercept,
        "linearity": made.bend,
        "sentence": text,
    }
