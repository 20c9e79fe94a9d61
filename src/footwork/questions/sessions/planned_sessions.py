"""Sessions in the library: what one asks of this runner today, kept for a day, taken along, and held against what was
run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis.response import Response
from footwork.errors import FootworkError, HeldBack, NotEnoughData, UsageError
from footwork.formats import watch
from footwork.history.log import entries, parts
from footwork.physiology import domains
from footwork.planning import preview, session_steps, session_words, shelf
from footwork.planning.families import LONG_MIN
from footwork.planning.session_steps import Session, Step
from footwork.quantities import Estimate, parse_date, plain
from footwork.questions import capacity, progress
from footwork.questions.capacity import DRAWS
from footwork.results.session import SessionPreview
from footwork.wording.cautions import NOT_NOW, before_hard_work, held_back

if TYPE_CHECKING:
    from footwork.history.book import History

MOST_WEEKS = 52
EASY_WORDS = ("easy", "easy jog", "jog", "walk", "rest", "steady")


@dataclass(frozen=True)
class SessionBasis:
    """The runner as a session is asked of: model, scale, CP that shares are of [W] and whether it was accepted, and
    warnings."""

    runner: preview.Runner
    scale: str
    critical_power: float
    accepted: bool
    borders: tuple[float, float, float]
    heart: tuple[float, float] | None
    response: Response | None
    warnings: list[str]


def session_basis(
    library: History,
    date: dt.date | None = None,
    scale: str | None = None,
    efforts: tuple[str, ...] = (),
    mass: float | None = None,
    with_heart_rate: bool = True,
) -> SessionBasis:
    """The runner of a day; heart rates of steps take the season's response, which takes time.

    Raises
    ------
    NotEnoughData
        No critical power.

    ``mass`` [kg].
    """
    made = capacity.estimate_capacity(library, efforts, date, scale, mass)
    if made.posterior is None:
        raise NotEnoughData(f"a session needs critical power: {made.critical_power.reason or 'none is known'}")
    cp, wp, tail = made.posterior.draws(DRAWS)
    accepted = made.accepted["critical_power_w"] if made.accepted else float(made.critical_power.value or np.median(cp))
    relation, hidden = made.power_at_speed, library.context().physician_decides(date or dt.date.today())
    low, middle, high = (float(np.median(b)) for b in domains.border_draws(cp, wp))
    heart = None
    if made.rates is not None:
        one, two = made.rates
        slope = (two - one) / (middle - low)
        heart = (two - slope * middle, slope)
    return SessionBasis(
        preview.Runner(
            cp,
            wp,
            tail,
            accepted,
            None if relation is None else relation.speed,
            None if relation is None else lambda v: float(relation.power(v)),
            None if heart is None or heart[1] <= 0 else lambda bpm: (bpm - heart[0]) / heart[1],
        ),
        made.scale,
        accepted,
        made.accepted is not None,
        (low, middle, high),
        None if hidden else heart,
        _response(library, date, made.scale) if with_heart_rate and not efforts and not hidden else None,
        list(made.warnings),
    )


def _response(library: History, date: dt.date | None, scale: str) -> Response | None:
    """How heart rate follows power, where enough runs tell it."""
    try:
        return progress.season(library, date=date, scale=scale).model
    except FootworkError:
        return None


def session_asked(
    library: History, text: str, date: dt.date | None = None, scale: str | None = None, **stated: Any
) -> SessionPreview:
    """What a session asks.

    Returns
    -------
    dict
        ``text`` (canonical), ``duration_s``, ``cp_minutes``, ``w_prime_minimum_j``, ``run_dry_probability``, ``steps``
        (each with ``text``, ``repeat``, ``start_s``, ``duration_s``, ``power_w`` and band, ``speed_mps``,
        ``distance_m``, ``heart_rate_bpm`` (at its end, cool and on the flat, where it can be told), ``domain``,
        ``w_prime_j`` and its interval, ``dry_by`` and ``dry_in``), ``seconds_in_domains``, ``hardest`` (index),
        ``kinder`` (text and change, or None), ``scale``, ``critical_power_w``.

    Raises UsageError for words that are no session, or one with a ``?``.
    """
    session = session_words.parse(text)
    if session.unknowns:
        raise UsageError("this session holds a ?: solve for it first")
    who = session_basis(library, date, scale, **stated)
    health = library.health()
    waits = health is not None and health.waits(is_hard(text, who), dt.date.today())
    return SessionPreview(**_shown(session, who, held_back(health) if waits else None))


def _shown(session: Session, who: SessionBasis, held: str | None = None) -> dict[str, Any]:
    rows = preview.preview(session, who.runner)
    at, steps = 0.0, list[dict[str, Any]]()
    rates = _rates(rows, who)
    spent = dict.fromkeys(domains.NAMES, 0.0)
    for row in rows:
        domain = domains.NAMES[int(np.searchsorted(who.borders, row.power, side="right"))]
        spent[domain] += row.seconds
        heart = float(rates[len(steps)])
        known = bool(np.isfinite(row.speed))
        steps.append(
            {
                "text": row.step.text(),
                "repeat": list(row.at),
                "start_s": at,
                "duration_s": row.seconds,
                "power_w": row.power,
                "low_w": row.low,
                "high_w": row.high,
                "speed_mps": row.speed if known else None,
                "distance_m": row.step.metres or (row.speed * row.seconds if known else None),
                "heart_rate_bpm": heart if np.isfinite(heart) else None,
                "domain": domain,
                "w_prime_j": row.w_prime[1],
                "w_prime_low_j": row.w_prime[0],
                "w_prime_high_j": row.w_prime[2],
                "dry_by": row.dry_by,
                "dry_in": row.dry_in,
            }
        )
        at += row.seconds
    kinder = None if held else preview.eased(session, who.runner)
    hardest = max(range(len(rows)), key=lambda i: (round(rows[i].dry_in, 2), -round(rows[i].w_prime[1]), rows[i].power))
    out: dict[str, Any] = plain(
        {
            "text": session.text(),
            "duration_s": at,
            "w_prime_j": float(np.median(who.runner.w_prime)),
            "cp_minutes": preview.cp_minutes(rows, who.critical_power),
            "w_prime_minimum_j": min(r.w_prime[1] for r in rows),
            "run_dry_probability": rows[-1].dry_by,
            "steps": steps,
            "seconds_in_domains": spent,
            "hardest": hardest,
            "kinder": None if kinder is None else {"text": kinder[0].text(), "change": kinder[1]},
            "scale": who.scale,
            "critical_power_w": who.critical_power,
            "accepted": who.accepted,
            "held_back": held,
            "warnings": [*restless(session.items), *([before_hard_work("session")] if at > spent["moderate"] else [])],
            "of_capacity": who.warnings,
        }
    )
    return out


def _rates(rows: list[preview.Row], who: SessionBasis) -> np.ndarray:
    """Heart rate at the end of each step [bpm]: by the season's response, else the steady one of steps of three minutes
    and more; NaN where it cannot be told."""
    if who.response is not None:
        return who.response.after([r.power for r in rows], [r.seconds for r in rows])
    if who.heart is None:
        return np.full(len(rows), np.nan)
    low, slope = who.heart
    told = [r.seconds >= 180 and 0.5 * who.critical_power <= r.power <= who.borders[2] for r in rows]
    return np.array([low + slope * r.power if t else np.nan for r, t in zip(rows, told, strict=True)])


def restless(items: tuple[session_steps.Item, ...]) -> list[str]:
    """Hard repeats without a rest between, which is hardly ever meant."""
    out = []
    for item in items:
        if isinstance(item, session_steps.Repeat):
            out += restless(item.items)
            step = item.items[0]
            hard = isinstance(step, Step) and step.target is not None and step.target.word not in EASY_WORDS
            if hard and len(item.items) == 1 and (item.count or 2) > 1:
                out.append(
                    f"There is no rest between the repeats of {item.text()}: write {item.count or '?'} x "
                    f"({step.text()}, 2 min easy jog) if there is one."
                )
    return out


def solve_session(
    library: History, text: str, leave: float, date: dt.date | None = None, scale: str | None = None, **stated: Any
) -> SessionPreview:
    """Fill the ``?`` of a session so that a share of W′ is left where it is lowest; as `session_asked`, with ``solved``
    beside.

    ``leave`` [1]. Raises HeldBack while the diary tells of illness, injury or a return.
    """
    allowed(library)
    who = session_basis(library, date, scale, **stated)
    filled, value = preview.solve(session_words.parse(text), who.runner, leave)
    return SessionPreview(**_shown(filled, who), solved=value, leave=leave)


def allowed(library: History) -> None:
    """Raises HeldBack where hard running is not to be proposed today."""
    if held := held_back(library.health()):
        raise HeldBack(held)


def plan_session(library: History, text: str, date: dt.date | None = None, name: str = "") -> int:
    """Keep a session for a day, in its canonical wording; returns its number, by which it can be undone.

    Raises UsageError for words that are no session, HeldBack where a coach keeps a hard one for who is held back.
    """
    kept = _kept(text, name)
    if library.for_coach:
        _allowed_by_coach(library, kept["text"])
    return entries.write(library, "session", None, kept, date or library.current_day())


def _allowed_by_coach(library: History, text: str) -> None:
    """Nothing for who is ill or injured, nothing hard for who returns or is under a physician's word."""
    today = dt.date.today()
    health = library.health(today)
    held = health is not None or library.context().physician_decides(today)
    if held and (health is None or health.state == "returning"):
        try:
            held = is_hard(text, session_basis(library, today, with_heart_rate=False))
        except FootworkError:
            held = True
    if held:
        raise HeldBack(held_back(health) or NOT_NOW)


def is_hard(text: str, who: SessionBasis) -> bool:
    """Whether any step of a session lies above the moderate domain, is all out, or the whole is long."""
    session = session_words.parse(text)
    rows = preview.preview(session, who.runner)
    empties = any(s.target is not None and s.target.word == preview.ALL_OUT for s, _ in session.steps())
    long = sum(r.seconds for r in rows) >= 60.0 * LONG_MIN
    return empties or long or any(r.power >= who.borders[0] for r in rows)


def _kept(text: str, name: str) -> dict[str, Any]:
    session = session_words.parse(text)
    if session.unknowns:
        raise UsageError("a session that is kept holds no ?")
    return {"text": session.text(), "name": " ".join(name.split())[:60]}


def change_session(
    library: History, number: int, date: dt.date | None = None, text: str | None = None, name: str | None = None
) -> int:
    """Move a kept session to another day, or say it otherwise; returns its new number. In a calendar it stays the one
    event, and taking the change back (`entries.undo`) keeps it again as it was.

    Raises UsageError where there is none, or for words that are no session.
    """
    row = kept_session(library, number)
    payload = {
        **_kept(row["text"] if text is None else text, row["name"] if name is None else name),
        **({"of_plan": {**row["of_plan"], "by_hand": True}} if "of_plan" in row else {}),
        "first": row["first"],
        "was": number,
    }
    on = date or dt.date.fromisoformat(str(row["date"]))
    with library.writing() as connection:
        entries.take_back(connection, number)
        return entries.keep(connection, "session", None, payload, on)


def drop_session(library: History, number: int) -> None:
    """Keep a session no longer, however often it was changed. Raises UsageError where there is none."""
    kept_session(library, number)
    with library.writing() as connection:
        entries.take_back(connection, number)


def copy_session(library: History, number: int, dates: Sequence[dt.date]) -> list[int]:
    """Keep a session again for other days; returns the new numbers.

    Raises UsageError where there is none, or where the same stands on such a day already; nothing is kept then.
    """
    row = kept_session(library, number)
    days = {day.isoformat() for day in dates}
    for other in listed_sessions(library):
        if other["date"] in days and (other["text"], other["name"]) == (row["text"], row["name"]):
            raise UsageError(f"{other['date']} has the same session already, number {other['id']}: choose another day")
    with library.writing() as connection:
        return [entries.keep(connection, "session", None, _kept(row["text"], row["name"]), day) for day in dates]


def repeat_session(library: History, number: int, weeks: int) -> list[int]:
    """Keep a session on its weekday in each of so many weeks after it; returns the new numbers.

    Raises UsageError where there is none, or for more than a year of weeks.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise UsageError(f"a session can be repeated for 1 to {MOST_WEEKS} weeks, not {weeks}")
    day = dt.date.fromisoformat(str(kept_session(library, number)["date"]))
    return copy_session(library, number, [day + dt.timedelta(weeks=k + 1) for k in range(weeks)])


def listed_sessions(library: History) -> list[dict[str, Any]]:
    """Kept sessions, the newest day first: ``id``, ``date``, ``name``, ``text``, the runs of that day, its ``first``
    number, which stays when it is moved, and for one of a season which and what for (``of_plan``)."""
    on: dict[str, list[int]] = {}
    for row in library.runs():
        on.setdefault(row.date[:10], []).append(row.id)
    with library.reading() as connection:
        found = parts.read_entries(connection, "session")
    rows = [
        {
            "id": e.id,
            "date": e.date,
            "name": e.payload["name"],
            "text": e.payload["text"],
            "runs": sorted(on.get(str(e.date), [])),
            "first": e.payload.get("first", e.id),
            **({"of_plan": e.payload["of_plan"]} if e.payload.get("of_plan") else {}),
        }
        for e in found
    ]
    return sorted(rows, key=lambda r: (str(r["date"]), r["id"]), reverse=True)


def kept_session(library: History, number: int) -> dict[str, Any]:
    """One kept session. Raises UsageError where there is none."""
    rows = listed_sessions(library)
    row = next((r for r in rows if r["id"] == number), None)
    if row is None:
        with library.reading() as connection:
            told = {e.id: e.payload.get("first", e.id) for e in parts.read_entries(connection, "session", undone=True)}
        if number in told and (now := next((r["id"] for r in rows if r["first"] == told[number]), None)):
            raise UsageError(f"there is no session {number} any more: it was changed, and is session {now}")
        raise UsageError(f"there is no session {number}: 'footwork session list' shows them")
    return row


def worded(library: History, what: str) -> tuple[str, str]:
    """Wording and name of what was asked: a kept session's number, a name of the shelf, or the words themselves."""
    if what.strip().isascii() and what.strip().isdigit():
        row = kept_session(library, int(what))
        return row["text"], row["name"]
    entry = shelf.find(what)
    return (entry.text, entry.name) if entry else (what, "")


def session_workout(library: History, text: str, name: str = "", **asked: Any) -> bytes:
    """A session as a FIT workout, its repeats unrolled: a heart rate and a pace as the protocol has them, everything
    else as watts.

    Raises UsageError for what no watch can hold, HeldBack while the diary tells of illness, injury or a return.
    """
    allowed(library)
    return workout_of(library, text, name, **asked)


def workout_of(library: History, text: str, name: str = "", **asked: Any) -> bytes:
    """The same of a session that was allowed before, as an easy one of a return.

    Raises UsageError for what no watch can hold.
    """
    session = session_words.parse(text)
    who = session_basis(library, **asked)
    rows = preview.preview(session, who.runner)
    if len(rows) > watch.MOST_STEPS:
        raise UsageError(f"{len(rows)} steps are too many for a watch: at most {watch.MOST_STEPS}")
    return watch.workout(name or session.text()[:40], [_watch_step(r) for r in rows], before_hard_work("session"))


def _watch_step(row: preview.Row) -> watch.Step:
    target, step = row.step.target, row.step
    rest = row.power < 1
    easy = target is not None and target.word in ("rest", "walk", "jog", "easy jog")
    if target is None or rest or target.word == preview.ALL_OUT:
        return watch.Step(step.text(), step.metres, step.seconds, rest=rest)
    of: Any = target.quantity if target.quantity == "heart_rate" else "speed" if target.quantity == "pace" else "power"
    low, high = (target.low, target.high) if of != "power" else (row.low, row.high)
    low, high = preview.banded(low, high)
    name = f"{row.power:.0f} W" if of == "power" else target.text().removeprefix("at ")
    return watch.Step(f"{target.word or ''} {name}".strip(), step.metres, step.seconds, low, high, of, easy)


def from_workout(data: bytes) -> tuple[str, str]:
    """Name and canonical wording of a FIT workout; steps in watts, heart rate or pace, as the file has them."""
    name, steps = watch.read_workout(data)
    items = []
    for s in steps:
        target = None
        if s.low is not None and s.high is not None:
            if s.of == "power":
                target = session_steps.Target("watts", float(round(s.low)), float(round(s.high)))
            elif s.of == "heart_rate":
                target = session_steps.Target("heart_rate", float(round(s.low)), float(round(s.high)))
            else:
                low, high = (1000 / max(round(1000 / max(v, 0.1)), 1) for v in (s.low, s.high))
                target = session_steps.Target("pace", low, high)
        elif s.rest:
            target = session_steps.Target("cp", 0.0, 0.0, "rest")
        elif preview.ALL_OUT in s.name:  # as our own workouts say it
            target = session_steps.Target("cp", *session_steps.WORDS[preview.ALL_OUT], preview.ALL_OUT)
        if target is not None and not session_steps.possible(target):
            target = None  # a band that nobody runs, as a zone that only the watch knows: as felt
        items.append(
            Step(
                target,
                None if s.seconds is None else round(s.seconds, 1),
                None if s.metres is None else round(s.metres, 1),
            )
        )
    text = Session(session_steps.folded(items)).text()
    return name, session_words.parse(text).text()


def yaml_of(row: dict[str, Any]) -> str:
    """A kept session as YAML."""
    import yaml

    return str(
        yaml.safe_dump({k: row[k] for k in ("name", "date", "text") if row.get(k)}, sort_keys=False, allow_unicode=True)
    )


def from_file(path: Path) -> tuple[str, str, dt.date | None]:
    """Name, wording and day of a session in a YAML or FIT workout file.

    Raises
    ------
    UsageError
        No session in it.
    """
    import yaml

    if not path.is_file():
        raise UsageError(f"there is no file {path}")
    if path.suffix.lower() == ".fit":
        return (*from_workout(path.read_bytes()), None)
    try:
        found = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (yaml.YAMLError, UnicodeDecodeError, ValueError):  # also a date that is none
        raise UsageError(f"{path.name} is no YAML") from None
    if not isinstance(found, dict) or not isinstance(found.get("text"), str):
        raise UsageError(
            f"{path.name} holds no session: write text: 15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog)"
        )
    day = found.get("date")
    if isinstance(day, str):
        day = parse_date(day)
    date = day.date() if isinstance(day, dt.datetime) else day if isinstance(day, dt.date) else None
    return str(found.get("name") or ""), session_words.parse(found["text"]).text(), date


def run_dry_probability(library: History, text: str) -> float | None:
    """Chance of running dry before the end of a session, by what is known now; None where it is not known."""
    try:
        return float(session_asked(library, text)["run_dry_probability"])
    except FootworkError:
        return None


def minimum(found: SessionPreview) -> Estimate:
    """Least W′ of a preview as an estimate."""
    least = min(found["steps"], key=lambda s: float(s["w_prime_j"]))
    return Estimate(
        least["w_prime_j"],
        least["w_prime_low_j"],
        least["w_prime_high_j"],
        "J",
        len(found["steps"]),
        "w-prime-balance",
        "steps",
    )
