"""What is new and what is due."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from footwork.errors import NotEnoughData
from footwork.history import catalogue
from footwork.history.catalogue import RunRow
from footwork.history.log import accepted
from footwork.history.scales import conversions, scale_keys
from footwork.history.scales.scale_keys import MODEL
from footwork.planning import session_words, shelf
from footwork.quantities import Estimate, plain
from footwork.questions import capacity, devices, runs, season, sessions
from footwork.questions import load as load_question
from footwork.questions.today import weeks
from footwork.results.today import Due
from footwork.wording.cautions import before_hard_work, held_back, physician_words
from footwork.wording.due_words import after_pause, what_next

if TYPE_CHECKING:
    from footwork.history.book import History

TEST_DAYS = 42


def what_is_due(library: History, date: dt.date | None = None) -> Due:
    """The newest run, the weeks up to it, capacity, what to do next, and what the runner should do about the data.

    As of today, or as another day knew it.
    """
    today = date or library.current_day()
    rows: list[RunRow] = [r for r in library.runs() if date is None or r.local.date() <= date]
    listed = [{**s, "date": str(s["date"])} for s in sessions.listed_sessions(library)]
    ahead = weeks.next_sessions(library, listed, rows, today)
    newest_day = rows[0].local.date() if rows else None
    health = library.health(date)  # also in an archive of today, for whoever is ill now tells it now
    held = held_back(health) is not None
    hard = weeks.was_hard(library, rows, today)
    headline, reason = what_next(today, newest_day, health, ahead, hard)
    archive = date is None and today < dt.date.today()
    if archive:
        headline += f", as of {today.day} {today:%B %Y}"
        reason = f"{library.pause()} {reason}".strip()
    paused = after_pause(newest_day, today) != ""
    now = dt.date.today().isoformat() if archive else "9999"  # sessions from then on come after a pause
    for s in ahead:
        ill = health is not None and health.waits(s["hard"], dt.date.fromisoformat(s["date"]))
        s["not_now"] = ill or (s["hard"] and (paused or s["date"] >= now))
    common = {
        "asked_on": today,
        "headline": headline,
        "reason": reason,
        "caution": _caution(library, date or dt.date.today(), any(s["hard"] for s in ahead))
        if ahead and not held
        else "",
        "held": held,
        "days_since": (today - newest_day).days if newest_day else None,
        **weeks.weeks_until(library, rows, listed, today),
        "next": ahead,
        "planned": [s for s in listed if s["date"] == today.isoformat()],
    }
    if not rows:
        nothing = Estimate.withheld("W", "critical-power", "no runs yet")
        return _told(
            **common, scale="", runs=0, newest=None, week=None, critical_power=nothing, evidence=None, kind="", due=[]
        )
    newest = rows[0]
    day = newest.local.date()
    week = [r for r in rows if 0 <= (day - r.local.date()).days < 7]
    load = load_question.load_of_span(library, day - dt.timedelta(days=6), day)
    made, critical_power = capacity_of(library, date)
    due = what_waits(library, rows, made, today)
    evidence = made.evidence if made is not None else None
    totals = {
        "runs": len(week),
        "duration_s": sum(r.duration_s for r in week),
        "distance_m": sum(r.distance_m or 0.0 for r in week),
        "cp_minutes": load["cp_minutes"],
        "load": load["load"],
        "seconds_in_domains": load["seconds_in_domains"],
    }
    against, asked = weeks.run_verdicts(library, newest)
    title = runs.run_titles(library, [newest])[newest.id] or ""
    return _told(
        **common,
        scale=made.scale if made is not None else "",
        runs=len(rows),
        newest={**newest.to_json(), "title": title, "against_usual": against, "against_session": asked},
        week=totals,
        critical_power=critical_power,
        due=due,
        evidence=evidence["sentence"] if evidence else None,
        kind=evidence["kind"] if evidence else "",
    )


def capacity_of(library: History, date: dt.date | None) -> tuple[capacity.Capacity | None, Estimate]:
    """What is known of capacity, and critical power with the reason where it is not known."""
    try:
        made = capacity.estimate_capacity(library, date=date)
    except NotEnoughData as error:
        return None, Estimate.withheld("W", "critical-power", str(error))
    return made, made.critical_power


def what_waits(
    library: History, rows: list[RunRow], made: capacity.Capacity | None, today: dt.date
) -> list[dict[str, str]]:
    """What the runner should do about the data, and what waits for a word: each ``what``, ``why`` and ``page``.

    ``rows`` are runs, the newest first; ``made`` their capacity, None where it is not known.
    """
    newest = rows[0]
    day = newest.local.date()
    due: list[dict[str, str]] = []
    if library.athlete.value("mass", day) is None:
        due.append(
            {
                "what": "Tell Footwork your mass",
                "why": "power of runs without a meter, wind and altitude need it",
                "page": "settings",
            }
        )
    if made is not None:
        critical_power = made.critical_power
        chosen = made.accepted["critical_power_w"] if made.accepted else None
        low, value, high = critical_power.low, critical_power.value, critical_power.high
        if chosen and value and low is not None and high is not None and not low <= chosen <= high:
            why = f"you accepted {chosen:.0f} W, the evidence now says {value:.0f} W, {low:.0f} to {high:.0f}"
            due.append({"what": "Look at your accepted critical power", "why": why, "page": "capacity"})
        due += _devices(library, made, day)
        planned = [{**s, "date": str(s["date"])} for s in sessions.listed_sessions(library)]
        weeks_off = capacity.lay_offs(library, today)
        back = any(o.until is not None and o.back is None and o.again is None for o in weeks_off)
        no_test = (
            back
            or after_pause(day, today)
            or _test_planned(planned, today)
            or any(library.context().physician_decides(d) for d in (today, dt.date.today()))
        )
        tests = [] if no_test else _test_due(made, day)
        due += _held(library, today) or [*tests, *_looks_like(library, newest.id)]
    if waits := season.waiting(library, today):
        due.append({"what": "Look at the season's changes", "why": waits.rstrip("."), "page": "season"})
    return due


def _caution(library: History, day: dt.date, hard: bool) -> str:
    """What stands beside sessions that are asked, of which one is harder than easy running or none is."""
    return f"{physician_words(library.context(), day)} {before_hard_work('session') if hard else ''}".strip()


def _devices(library: History, made: Any, day: dt.date) -> list[dict[str, str]]:
    """What a change of device asks for: a CP accepted on another scale, a jump of this one in the last weeks."""
    out = []
    others = {k: n for k, n in scale_keys.names(library).items() if k not in (made.scale_key, MODEL)}
    if made.accepted is None and made.scale_key:
        for key, name in others.items():
            entry = accepted.in_force(accepted.entries(library, key), day)
            change = conversions.between(library, key, made.scale_key, day) if entry else None
            if entry is not None and change is not None:
                watts = float(change.apply(entry[1]))
                half = 1.96 * watts * change.error(entry[1])
                why = (
                    f"{entry[1]:.0f} W were accepted on {name}; on {made.scale}, which you use now, that is "
                    f"{watts:.0f} W, "
                    f"{watts - half:.0f} to {watts + half:.0f}, and nothing is accepted there yet"
                )
                out.append({"what": "Accept a critical power on this scale too", "why": why, "page": "capacity"})
                break
    jump = devices.recent_jump(library, made.scale_key, made.scale, day)
    if jump is not None:
        out.append({"what": "Look at your device", "why": jump["sentence"].rstrip("."), "page": "devices"})
    return out


def _looks_like(library: History, run_id: int) -> list[dict[str, str]]:
    """A test or race that nobody marked."""
    looks = sessions.recognised(library, run_id)
    row = catalogue.find(library, run_id)
    if looks is None or (row.scale_key and capacity.clipped(library, row.scale_key, run_id, row.local.date())):
        return []
    return [
        {"what": f"Was run {run_id} a {looks['kind']}?", "why": looks["sentence"].rstrip("."), "page": f"runs/{run_id}"}
    ]


def _held(library: History, day: dt.date) -> list[dict[str, str]]:
    """A caution in place of any test while the diary tells of illness, injury or a return from it."""
    health = library.health(day)
    if (why := held_back(health)) is None or health is None:
        return []
    if not health.told:
        return [{"what": why.rstrip("."), "why": "nothing hard is asked; the runner knows why", "page": ""}]
    what = "After being ill or injured" if health.state == "returning" else "Get well first"
    return [{"what": what, "why": why.rstrip("."), "page": "diary"}]


def _test_due(made: Any, day: dt.date) -> list[dict[str, str]]:
    """A test, where capacity rests on anything else or the last maximal effort is long ago."""
    evidence = made.evidence
    if evidence["kind"] != "tested":
        on = f" on {made.scale}" if made.scale else ""
        why = f"critical power{on} rests on {evidence['sentence']}{_best_test(made)}"
        return [_test("Run a test or mark a race", why)]
    last = max(dt.date.fromisoformat(e["label"]) for e in evidence["efforts"] if e["kind"] == "maximal")
    if (day - last).days <= TEST_DAYS:
        return []
    why = (
        f"the last maximal effort on {made.scale} was {(day - last).days} days before your newest run{_best_test(made)}"
    )
    return [_test("A test is due", why)]


def _test_planned(listed: list[dict[str, Any]], today: dt.date) -> bool:
    """Whether a test is among the sessions to come."""
    tests = {session_words.parse(e.text).text() for e in shelf.SHELF if e.name.startswith("test:")}
    ahead = [s for s in listed if s["date"] >= today.isoformat()]
    return any((s.get("of_plan") or {}).get("purpose") == "test" or s["text"] in tests for s in ahead)


def _test(what: str, why: str) -> dict[str, str]:
    return {"what": what, "why": why, "page": "capacity", "caution": before_hard_work("test")}


def _best_test(made: Any) -> str:
    """What the most telling test would do to the interval, in words; nothing where CP is withheld."""
    best = next(iter(capacity.worthwhile_tests(made)), None)
    if best is None:
        return ""
    return (
        f"; a test of {best['test']} would narrow it from ±{best['half_width_now_w']:.0f} to about "
        f"±{best['half_width_after_w']:.0f} W"
    )


def _told(**found: Any) -> Due:
    out: dict[str, Any] = plain(found)
    return Due(**out)
