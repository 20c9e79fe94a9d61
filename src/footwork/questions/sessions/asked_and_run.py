"""A run held against a session: each step beside what was run, and one verdict."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import repeats, session_match
from footwork.analysis.summary import mean_known
from footwork.errors import NotEnoughData, UsageError
from footwork.history.log import entries
from footwork.planning import preview, session_steps, session_words
from footwork.quantities import format_pace, plain
from footwork.questions import runs
from footwork.questions.sessions import planned_sessions
from footwork.questions.sessions.planned_sessions import EASY_WORDS, SessionBasis
from footwork.results.session import SessionMatch
from footwork.wording import session_verdicts
from footwork.wording.cautions import held_back

if TYPE_CHECKING:
    from footwork.history.book import History


def match_session(library: History, run_id: int, text: str) -> SessionMatch:
    """A run against a session: each step beside what was run.

    Returns
    -------
    dict
        ``steps``: for each step its ``text``, ``found`` (False for one that was skipped), ``start_s``, ``end_s``,
        ``power_w`` with ``low_w`` and ``high_w``; ``of`` (power, speed or heart_rate: what was asked in), ``held``
        against ``low`` and ``high`` in it, ``in_band`` (share of its seconds), ``spread_w``, ``fade_share`` (second
        half against the first), ``start_share`` (first quarter over the rest), ``heart_rate_bpm``,
        ``heart_rate_end_bpm``, ``heart_rate_drop_bpm`` (in the minute after), ``speed_mps``, ``w_prime_start_j`` and
        ``w_prime_end_j``; ``extra`` pieces of work; ``done`` of ``asked`` pieces of work; ``verdict`` and ``next``.

    Raises UsageError for a session that cannot be read, NotEnoughData for a run without the signal it asks in.
    """
    from footwork.history.recordings import run_signals

    row = entries.library_row(library, run_id)
    if session_words.parse(text).unknowns:
        raise UsageError("this session holds a ?: solve for it first")
    session = session_words.parse(text)
    who = _basis(library, row, session)
    rows = preview.preview(session, who.runner) if who else [_by_target(step, at) for step, at in session.steps()]
    found = runs.efforts_of_run(library, run_id)
    signals = run_signals.signals(library, run_id)
    held = {
        "power": np.where(signals.timer, signals.get(row.column), np.nan),
        "speed": np.where(signals.timer, signals.get("speed"), np.nan),
        "heart_rate": signals.sound_heart_rate,
    }
    if who:
        wanted = [r.power >= preview.RECOVERY_CP * who.critical_power for r in rows]
    else:
        wanted = [r.step.target is not None and r.step.target.word not in EASY_WORDS for r in rows]
    if len({*wanted}) == 1:  # all alike: everything is work
        wanted = [True] * len(rows)
    asked = [(i, r) for i, r in enumerate(rows) if wanted[i]]
    works = [e for e in found if e["kind"] == "work"]
    if len(rows) == 1 and (rows[0].step.target is None or rows[0].step.target.word in EASY_WORDS):
        works = [_whole(rows[0], len(signals.timer))]  # easy running is the run itself, however it is divided
    pairs = repeats.align(
        [(r.seconds, r.power) for _, r in asked], [(e["end_s"] - e["start_s"], e["power"]) for e in works]
    )
    taken = {asked[a][0]: works[b] for a, b in pairs}
    balance = _balance(library, run_id)
    steps = []
    for index, r in enumerate(rows):
        part = taken.get(index) or (None if wanted[index] else _between(index, rows, taken, found))
        steps.append(_step_told(index, r, part, wanted[index], held, balance))
    done = [s for s in steps if s["work"] and s["found"]]
    extra = [e for k, e in enumerate(works) if k not in {b for _, b in pairs}]
    rests = _rests(rows, taken, wanted)
    store = float(np.median(who.runner.w_prime)) if who else None
    verdict, advice = session_verdicts.match_sentences(session_match.judge(done, len(asked), len(extra), store, rests))
    out: dict[str, Any] = plain(
        {
            "run": run_id,
            "text": session.text(),
            "steps": steps,
            "extra": extra,
            "done": len(done),
            "asked": len(asked),
            "scale": who.scale if who else "",
            "critical_power_w": who.critical_power if who else None,
            "rests": rests,
            "verdict": verdict,
            "next": held_back(library.health()) or advice,
        }
    )
    return SessionMatch(**out)


def _basis(library: History, row: Any, session: session_steps.Session) -> SessionBasis | None:
    """The runner on the run's day, or as known since; None where no critical power is known and none is needed to tell
    what was asked."""
    for day in (row.local.date(), None):
        try:
            return planned_sessions.session_basis(library, day, row.power_scale)
        except NotEnoughData as error:
            missing = error
    told = [s.target for s, _ in session.steps() if s.target is not None and s.target.word not in EASY_WORDS]
    if told and all(t.quantity in ("watts", "pace", "heart_rate") for t in told):
        return None
    raise missing


def _by_target(step: session_steps.Step, at: tuple[int, ...]) -> preview.Row:
    """A step of an unknown runner: only what its target says."""
    target = step.target
    low, high = (target.low, target.high) if target is not None and target.quantity == "watts" else (0.0, 0.0)
    speed = target.middle if target is not None and target.quantity == "pace" else 3.0
    seconds = step.seconds or (step.metres / speed if step.metres else preview.OPEN_S)
    none = (float("nan"),) * 3
    return preview.Row(step, at, 0.5 * (low + high), low, high, seconds, float("nan"), none, 0.0, 0.0)


def _whole(row: preview.Row, seconds: int) -> dict[str, Any]:
    """A run as the one piece of work of a session of one easy step."""
    unknown = {"speed": None, "heart_rate": None, "shared": True}
    return {"kind": "work", "start_s": 0.0, "end_s": float(seconds), "power": row.power, **unknown}


def _rests(rows: list[preview.Row], taken: dict[int, dict[str, Any]], wanted: list[bool]) -> dict[str, float] | None:
    """Mean rest between pieces of work that follow each other, as asked and as run [s]."""
    asked, run = [], []
    for one, two in pairwise(sorted(taken)):
        between = [rows[k] for k in range(one + 1, two)]
        if between and not any(wanted[one + 1 : two]) and all(r.step.seconds is not None for r in between):
            asked.append(sum(r.seconds for r in between))
            run.append(taken[two]["start_s"] - taken[one]["end_s"])
    return {"asked_s": float(np.mean(asked)), "run_s": float(np.mean(run))} if asked else None


def _balance(library: History, run_id: int) -> np.ndarray | None:
    try:
        return np.repeat(np.array(runs.balance_along(library, run_id)["middle_j"]), 5)
    except NotEnoughData:
        return None


def _between(
    index: int, rows: list[preview.Row], taken: dict[int, dict[str, Any]], found: list[dict[str, Any]]
) -> dict[str, Any] | None:
    """The easy part of the run between the pieces of work about an easy step; several easy steps share it by what each
    asks for, the last has what is left."""
    before = max((k for k in taken if k < index), default=None)
    after = min((k for k in taken if k > index), default=None)
    low = taken[before]["end_s"] if before is not None else 0.0
    high = taken[after]["start_s"] if after is not None else float("inf")
    inside = [e for e in found if e["kind"] != "work" and e["start_s"] >= low - 1 and e["end_s"] <= high + 1]
    if len(inside) != 1:
        return None
    part = inside[0]
    shared = range(-1 if before is None else before, len(rows) if after is None else after)[1:]
    if len(shared) == 1:
        return part
    start = part["start_s"] + sum(rows[k].seconds for k in shared if k < index)
    end = part["end_s"] if index == shared[-1] else start + rows[index].seconds
    if end - start < 10 or end > part["end_s"]:
        return None
    return {**part, "start_s": start, "end_s": end, "shared": True}


def _step_told(
    index: int,
    r: preview.Row,
    part: dict[str, Any] | None,
    work: bool,
    held: dict[str, np.ndarray],
    balance: np.ndarray | None,
) -> dict[str, Any]:
    target, of, ends = r.step.target, "power", (r.low, r.high)
    low_w, high_w = preview.banded(r.low, r.high)
    if target is not None and target.quantity in ("pace", "heart_rate"):
        of, ends = "speed" if target.quantity == "pace" else "heart_rate", (target.low, target.high)
    low, high = preview.banded(*ends)
    all_out = target is not None and target.word == preview.ALL_OUT
    banded = not all_out and high > 0
    told: dict[str, Any] = {
        "index": index,
        "text": r.step.text(),
        "work": work,
        "found": part is not None,
        "asked_s": r.seconds,
        "asked_m": r.step.metres,
        "open": r.step.seconds is None and r.step.metres is None,
        "all_out": all_out,
        "banded": banded,
        "ends": ends,
        "low_w": low_w,
        "high_w": high_w,
        "of": of,
        "low": low,
        "high": high,
    }
    if part is None:
        return told
    a, b = round(part["start_s"]), round(part["end_s"])
    heart = held["heart_rate"]
    p, h = held[of][a:b], heart[a:b]
    # The first seconds are the device's and the legs' way up; a heart takes a minute.
    rising = of == "heart_rate"
    settled = p[min(60 if rising else 10, len(p) // 4) :]
    known = settled[np.isfinite(settled)]
    half = len(known) // 2
    smooth = np.convolve(known, np.ones(10) / 10, mode="valid") if len(known) >= 20 else known
    means = {"power_w": part["power"], "speed_mps": part["speed"], "heart_rate_bpm": part["heart_rate"]}
    if part.get("shared"):
        means = {name: mean_known(held[name.rsplit("_", 1)[0]][a:b]) for name in means}
    return {
        **told,
        "start_s": a,
        "end_s": b,
        **means,
        "held": float(known.mean()) if len(known) else None,
        "in_band": float(((smooth >= low) & (smooth <= high)).mean()) if len(smooth) and banded else None,
        "spread_w": float(smooth.std()) if len(smooth) and of == "power" else None,
        "fade_share": float(1 - known[half:].mean() / known[:half].mean()) if half >= 10 and not rising else None,
        "start_share": float(known[: len(known) // 4].mean() / known[len(known) // 4 :].mean() - 1)
        if len(known) >= 40 and not rising
        else None,
        "heart_rate_drop_bpm": _drop(heart, b),
        "heart_rate_end_bpm": float(np.nanmean(h[-15:])) if np.isfinite(h[-15:]).any() else None,
        "w_prime_start_j": float(balance[max(a - 1, 0)]) if balance is not None and a < len(balance) else None,
        "w_prime_end_j": float(balance[min(b, len(balance)) - 1]) if balance is not None else None,
    }


def against(step: dict[str, Any], imperial: bool = False) -> tuple[str, str]:
    """What was held in a step that was run, and the band it was asked in, in words."""
    value, low, high = step["held"], step["low"], step["high"]
    if not step["banded"]:
        return f"{value:.0f} W" if value is not None else "", "all out" if step["all_out"] else "rest"
    if step["of"] == "speed":
        return format_pace(
            value, imperial
        ) if value else "", f"{format_pace(low, imperial)} to {format_pace(high, imperial)}"
    unit = "W" if step["of"] == "power" else "bpm"
    return f"{value:.0f} {unit}" if value is not None else "", f"{low:.0f}–{high:.0f} {unit}"


def _drop(heart: np.ndarray, end: int) -> float | None:
    """How far heart rate falls in the minute after a step."""
    top, after = heart[max(end - 10, 0) : end], heart[end + 50 : end + 70]
    return float(np.nanmean(top) - np.nanmean(after)) if np.isfinite(top).any() and np.isfinite(after).any() else None
