"""Paper: documents typeset from result objects. Text reaches the typesetter as data, never as source."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from footwork.charts.season_picture import week_mark
from footwork.errors import FootworkError, NotEnoughData, UsageError
from footwork.planning.preview import banded
from footwork.quantities import format_distance, format_duration, format_pace
from footwork.results.planned_season import SeasonPlan
from footwork.results.session import SessionPreview
from footwork.results.squad import Prescribed
from footwork.results.usual import UsualRunning
from footwork.wording.cautions import before_hard_work, held_back
from footwork.wording.season_words import NOTHING_SAFE, PHASES, day_name
from footwork.wording.squad_words import steps_words

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.questions.capacity import Capacity

_HERE = Path(__file__).parent
HOLDS_DAYS, HOLDS_LEAST_DAYS = 42, 14  # after the newest test, and at least after the day of the card; convention


def session_sheet(found: SessionPreview, name: str = "", imperial: bool = False) -> bytes:
    """A previewed session as one page of PDF: steps with watts and pace, black on white.

    Parameters
    ----------
    found : dict
        From `questions.sessions.session_asked`.
    """
    import typst

    told = {
        "title": name or "Session",
        "text": found["text"],
        "length": format_duration(found["duration_s"]),
        "load": f"{found['cp_minutes']:.0f}",
        "scale": found["scale"],
        "cp": f"{found['critical_power_w']:.0f}",
        "dry": f"{100 * found['run_dry_probability']:.0f}",
        "rows": [
            {
                "at": format_duration(s["start_s"]) if s["start_s"] else "0:00",
                "repeat": ".".join(map(str, s["repeat"])),
                "text": s["text"],
                "watts": f"{s['power_w']:.0f}" if s["power_w"] >= 1 else "",
                "band": "–".join(f"{w:.0f}" for w in banded(s["low_w"], s["high_w"])) if s["power_w"] >= 1 else "",
                "way": format_distance(s["distance_m"], imperial) if s["distance_m"] else "",
                "rate": f"{s['heart_rate_bpm']:.0f}" if s["heart_rate_bpm"] else "",
                "pace": format_pace(s["speed_mps"], imperial) if s["speed_mps"] else "",
                "domain": s["domain"],
            }
            for s in found["steps"]
        ],
        "notes": [*([found["held_back"]] if found["held_back"] else []), *found["warnings"]],
    }
    made: bytes = typst.compile(
        str(_HERE / "session.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


def group_sheet(asked: Sequence[Prescribed]) -> bytes:
    """Sessions prescribed for many, one table a session: each runner's own watts, and how often it is finished."""
    import typst

    parts: dict[tuple[str, str], list[Prescribed]] = {}
    for row in asked:
        parts.setdefault((row.date, row.asked_text), []).append(row)
    told = {
        "parts": [
            {
                "day": f"{day_name(on)} {on[:4]}",
                "text": text,
                "rows": [
                    {
                        "athlete": r.athlete,
                        "steps": steps_words(r),
                        "note": (f"Instead: {r.text}; {r.why}." if r.state == "kinder" else r.why) if r.why else "",
                        "finishes": "" if r.finishes_kinder is None else f"{100 * r.finishes_kinder:.0f} %",
                    }
                    for r in rows
                ],
            }
            for (on, text), rows in parts.items()
        ],
        "notes": [
            before_hard_work("session"),
            "Finished: how often, of a hundred such days, by each one's own CP and W′.",
        ],
    }
    made: bytes = typst.compile(
        str(_HERE / "group.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


def season_sheet(plan: SeasonPlan, weeks: int | None = None) -> bytes:
    """A season as PDF, its picture and sessions week by week, or of so many weeks from the day it was asked on."""
    import typst

    shown = [w for w in plan.weeks if weeks is None or _week_ends(w.monday) > plan.asked_on][:weeks]
    most = max([1.0, *(w.asked for w in plan.weeks), *((w.run.value or 0.0) if w.run else 0.0 for w in plan.weeks)])
    told = {
        "title": f"{plan.race.name[:1].upper()}{plan.race.name[1:]}, {day_name(plan.race.date)} {plan.race.date[:4]}",
        "sentence": plan.sentence,
        "most": f"{most:.0f}",
        "bars": [
            {
                "asked": w.asked / most,
                "run": ((w.run.value or 0.0) if w.run else 0.0) / most,
                "day": day_name(w.monday)[4:],
                "mark": week_mark(w.to_json()),
            }
            for w in plan.weeks
        ],
        "weeks": [
            {
                "name": f"{day_name(w.monday)}: {PHASES[w.phase]}",
                "asked": f"{w.asked:.0f} CP-minutes",
                "reason": w.reason,
                "rows": [
                    {
                        "day": day_name(s.date),
                        "words": s.name if s.name == s.text else f"{s.name}: {s.text}",
                        "time": format_duration(s.duration_s),
                        "load": f"{s.cp_minutes:.0f}",
                    }
                    for s in w.sessions
                ],
            }
            for w in shown
        ],
        "notes": [*plan.said, *plan.cautions, NOTHING_SAFE],
    }
    made: bytes = typst.compile(
        str(_HERE / "season.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


def _week_ends(monday: str) -> str:
    return (dt.date.fromisoformat(monday) + dt.timedelta(days=7)).isoformat()


def trial_sheet(trial: dict[str, Any], imperial: bool = False) -> bytes:
    """A kept trial as PDF: each run's blocks in their order, with room to write.

    Parameters
    ----------
    trial : dict
        From `questions.trials.kept_trial`.
    """
    import typst

    from footwork.questions import trials

    starts = [trial["warm_s"] + a for a, _ in trials.schedule(trial)]
    told = {
        "title": f"Trial {trial['id']}: {trial['conditions'][0]} against {', '.join(trial['conditions'][1:])}",
        "told": trials.trial_told(trial, imperial),
        "course": trial["course"],
        "warm": format_duration(trial["warm_s"]) if trial["warm_s"] else "0:00",
        "notes": trial["cautions"],
        "runs": [
            {
                "number": k + 1,
                "blocks": [
                    {
                        "number": i + 1,
                        "name": trial["conditions"][c],
                        "at": format_duration(starts[i]) if starts[i] else "0:00",
                    }
                    for i, c in enumerate(order)
                ],
            }
            for k, order in enumerate(trial["orders"])
        ],
    }
    made: bytes = typst.compile(
        str(_HERE / "trial.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


def race_card(plan: Any, name: str = "", imperial: bool = False, form: Literal["pdf", "svg"] = "pdf") -> bytes:
    """A wrist band and a pocket sheet of a race plan, as PDF: black on white, large numerals, to be cut out.

    Parameters
    ----------
    plan : RacePlan
    name : str
        What to call the race; its distance by default.
    form : {'pdf', 'svg'}
        For paper, or to look at on a page.
    """
    import typst

    found = plan.strategies
    clock = found["strategies"][found["chosen"]]["time_s"]
    race = plan.question["distance_m"]
    days = found["finish_time"]
    told = {
        "title": name or format_distance(race, imperial),
        "rows": [
            {
                "to": format_distance(i["end_m"], imperial).replace(" ", "\u00a0"),
                "watts": "walk" if i["walked"] else f"{i['power_w']:.0f}",
                "band": "as felt" if i["walked"] else f"{i['low_w']:.0f}–{i['high_w']:.0f}",
                "clock": format_duration(i["clock_s"]),
                "where": i["where"] + (f", until {i['until']}" if i["until"] not in ("", "finish") else ""),
                "feels": i["feels"],
                "watch": "" if i["walked"] else f", {i['watch']} mean",
            }
            for i in found["instructions"]
        ],
        "splits": [
            {
                "at": format_distance(s["distance_m"], imperial).replace(" ", "\u00a0"),
                "clock": format_duration(s["time_s"]),
            }
            for s in plan.splits[:: max(1, -(-len(plan.splits) // 14))]
        ]
        + ([{"at": "finish", "clock": format_duration(clock)}] if len(plan.splits) > 14 and not _ends(plan) else []),
        "scale": plan.scale,
        "time": format_duration(clock),
        "p10": format_duration(days["p10"]),
        "p90": format_duration(days["p90"]),
        "plan": plan.sentence,
        "marks": ", ".join(f"{m['name']} {format_distance(m['start_m'], imperial)}" for m in plan.course["marks"]),
        "ride": _ride_told(plan.conditions["after_ride"]),
        "notes": found["cautions"],
    }
    made: bytes = typst.compile(
        str(_HERE / "card.typ"), format=form, sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


def _ends(plan: Any) -> bool:
    """Whether the splits that a card shows, every so many-th, hold the finish."""
    step = max(1, -(-len(plan.splits) // 14))
    return bool((len(plan.splits) - 1) % step == 0)


def _ride_told(ride: dict[str, Any] | None) -> str:
    """The clock of a triathlon from the end of the swim, in words; nothing for a run alone."""
    if ride is None:
        return ""
    stops = [format_duration(t) for t in ride["transitions_s"]]
    parts = [
        *([f"transition {stops[0]}"] if len(stops) > 1 else []),
        f"ride {format_duration(ride['ride_s'])}",
        *([f"transition {stops[-1]}"] if stops else []),
        f"home at {format_duration(ride['with_run']['value'])}",
    ]
    return f"From the end of the swim: {', '.join(parts)}."


# Why usual paces and paces of domains at the same watts are not one.
DIFFER = (
    "What you usually run holds hills, wind and the rests of hard sessions, so its pace is not that of the same watts "
    "on the flat; the flat pace of the same watts stands beside it."
)


def _domain_rows(held: Capacity, forms: Mapping[str, Callable[[float], str]]) -> list[dict[str, str]]:
    """Each domain, and the band of watts that critical power lies in, from border to border. That band's pace and heart
    rate are those of its watts: what else is uncertain of them belongs to no domain."""
    borders = [held.domains[name] for name in ("moderate_heavy", "heavy_severe", "severe_extreme")]
    low, middle = (b["power"].value for b in borders[:2])
    one, two = (b["heart_rate"].value for b in borders[:2])
    band = borders[1]["power"]
    assert low is not None and middle is not None and band.low is not None and band.high is not None

    def told(watts: float) -> dict[str, float | None]:
        pace = held.power_at_speed.speed(watts) if held.power_at_speed else None
        rate = None if one is None or two is None else one + (two - one) * (watts - low) / (middle - low)
        return {"power": watts, "speed": None if pace is None else float(pace), "heart_rate": rate}

    first, last = ({k: e.value for k, e in b.items()} for b in (borders[0], borders[2]))
    edges = [first, told(band.low), told(band.high), last]
    rows = []
    for name, begins, ends in zip(
        ("moderate", "heavy", "around critical power", "severe"), [None, *edges[:-1]], edges, strict=True
    ):
        row = {"name": name}
        for key, quantity in (("watts", "power"), ("pace", "speed"), ("rate", "heart_rate")):
            values = [edge[quantity] for edge in (begins, ends) if edge]
            row[key] = "" if None in values else "–".join(forms[quantity](v) for v in values if v is not None)
            if begins is None and row[key]:
                row[key] = f"to {row[key]}"
        rows.append(row)
    return rows


def _other_borders(held: Capacity) -> str:
    """How well the two other borders are known, in a sentence; nothing without critical power."""
    if held.critical_power.value is None:
        return ""
    low, high = (held.domains[name] for name in ("moderate_heavy", "severe_extreme"))
    rate = low["heart_rate"]
    beats = "" if rate.value is None else f" (heart rate {rate.low:.0f} to {rate.high:.0f} bpm)"
    return (
        f"Moderate ends somewhere between {low['power'].low:.0f} and {low['power'].high:.0f} W{beats}, severe between "
        f"{high['power'].low:.0f} and {high['power'].high:.0f} W."
    )


def numbers_told(held: Capacity, usual: UsualRunning | None, imperial: bool = False) -> dict[str, Any]:
    """A runner's numbers in words: domains, the band around critical power, usual running, flat watts at round paces.
    Without critical power ``withheld`` says why, and the domains are empty.

    Raises
    ------
    NotEnoughData
        No runs with power.
    """
    cp = held.critical_power
    if held.evidence["kind"] == "stated":
        raise UsageError("a card holds what the runs of a library tell: leave out --effort")
    if held.date is None:
        raise NotEnoughData(f"there are no numbers yet: {cp.reason}")
    forms: dict[str, Callable[[float], str]] = {
        "power": lambda v: f"{v:.0f}",
        "speed": lambda v: format_pace(v, imperial).split(" ")[0],
        "heart_rate": lambda v: f"{v:.0f}",
    }

    tests = [dt.date.fromisoformat(e["label"]) for e in held.evidence["efforts"] if e["kind"] == "maximal"]
    until = max([held.date + dt.timedelta(days=HOLDS_LEAST_DAYS), *(t + dt.timedelta(days=HOLDS_DAYS) for t in tests)])
    over = until < dt.date.today()
    told = f"{cp.value:.0f} W, {cp.low:.0f} to {cp.high:.0f}" if cp.value is not None else "withheld"
    chosen = held.accepted
    if chosen is not None:
        told = f"{chosen['critical_power_w']:.0f} W, accepted on {chosen['date']} (the evidence says {told})"
    return {
        "date": held.date.isoformat(),
        "scale": held.scale,
        "cp": told,
        "evidence": f"{held.evidence['kind']}, {held.evidence['sentence']}",
        "until": until.isoformat(),
        "holds": f"They held until about {until} and are not known for now: a test or race tells them anew."
        if over
        else f"They hold until about {until}, or the next race or test, illness or pause before.",
        "withheld": "" if cp.value is not None else cp.reason,
        "domains": _domain_rows(held, forms) if cp.value is not None else [],
        "usual": [
            {
                "name": group["name"],
                "watts": f"{group['power']['value']:.0f}",
                "pace": format_pace(group["speed"]["value"], imperial).split(" ")[0] if group["speed"]["value"] else "",
                "rate": f"{group['heart_rate']['value']:.0f}" if group["heart_rate"]["value"] else "",
                "flat": forms["speed"](float(held.power_at_speed.speed(group["power"]["value"])))
                if held.power_at_speed
                else "",
            }
            for group in (usual["groups"] if usual else ())
            if group["power"]["value"]
        ],
        "differ": DIFFER if usual and usual["groups"] else "",
        "paces": [
            {
                "pace": forms["speed"](row["speed_mps"]),
                "watts": f"{row['power']['value']:.0f}",
                "days": f"{row['one_day_w']:.0f}",
            }
            for row in (usual["at_pace"] if usual else ())
        ],
        "notes": [
            *filter(None, [_other_borders(held), held.extrapolated]),
            *held.warnings,
            before_hard_work("session"),
        ],
    }


def numbers_card(told: Mapping[str, Any]) -> bytes:
    """A runner's numbers on a sheet of A5, as PDF; ``told`` from `numbers_told`. Raises NotEnoughData without critical
    power."""
    import typst

    if told["withheld"]:
        raise NotEnoughData(f"a card needs critical power: {told['withheld']}")

    made: bytes = typst.compile(
        str(_HERE / "numbers.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


def picture_sheet(svg: str) -> bytes:
    """One picture as a PDF page of its size. Raises UsageError for text that is no SVG, or that wants other files."""
    import typst

    source = '#set page(width: auto, height: auto, margin: 6mm)\n#image(bytes(sys.inputs.svg), format: "svg")'
    if "<filter" in svg:
        raise UsageError("this picture cannot be put on a sheet: it has filters, as none of ours")
    with tempfile.TemporaryDirectory() as alone:  # whatever else the picture asks for is not there
        sheet = Path(alone, "sheet.typ")
        sheet.write_text(source, encoding="ascii")
        try:
            made: bytes = typst.compile(sheet, format="pdf", sys_inputs={"svg": svg}, root=Path(alone))
        except typst.TypstError:
            raise UsageError("this picture cannot be put on a sheet: it is damaged or wants other files") from None
    return made


def numbers_of(library: Library, held: Capacity, imperial: bool = False) -> dict[str, Any]:
    """`numbers_told` with the usual running of a library on the same scale, where it is known."""
    try:
        usual = library.usual(held.date, held.scale) if held.scale_key else None
    except FootworkError:
        usual = None
    told = numbers_told(held, usual, imperial)
    if pause := library.pause():
        if held.date == dt.date.today():  # neither another day's numbers nor an archive's
            told["holds"] = (
                "After weeks without running they are a guess: once easy running feels usual, a test or race tells "
                "them anew."
            )
        told["notes"] = [pause, *told["notes"]]
    if caution := held_back(library.health()):
        told["notes"] = [caution, *told["notes"]]
    return told
