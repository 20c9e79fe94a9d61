"""A coach's squad: a line a runner, two or more side by side, and one session for several."""

from __future__ import annotations

import asyncio
import datetime as dt
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from nicegui import ui

from footwork.errors import FootworkError, UsageError
from footwork.quantities import Estimate, format_duration
from footwork.results.squad import SideBySide, SquadAnswer, SquadLine
from footwork.squad import ORDERS, Squad
from footwork.web.declaration import Page
from footwork.web.layout import link, page, table, text
from footwork.web.page_words import sentence
from footwork.web.pages.group_session_page import show_session
from footwork.web.pages.whole_squad_part import whole_squad_part
from footwork.wording.season_words import day_name
from footwork.wording.squad_words import figure_words, short_words, week_words, who_words

if TYPE_CHECKING:
    from collections.abc import Sequence

SORTS = {
    "first": "who needs you first",
    "name": "name",
    "days": "days since a run",
    "power": "critical power",
    "load": "load",
    "race": "next race",
}


def address(squad: Squad, name: str) -> str:
    """Where a runner's own pages begin."""
    return f"/{squad.addresses[name]}"


def lines(squad: Squad, group: str = "", sort: str = "first", find: str = "", short: str = "") -> SquadAnswer:
    """What the page and its twin show."""
    return squad.lines(group=group, sort=sort, find=find)


async def show_squad(
    base: str, squad: Squad, group: str = "", sort: str = "first", find: str = "", short: str = ""
) -> None:
    try:
        found = await asyncio.to_thread(lines, squad, group, sort, find)
    except FootworkError as error:
        with page(base, "Squad", "Squad", sentence(str(error))):
            link("The whole squad", "/squad", "button")
        return
    chosen: set[str] = set()
    with page(base, "Squad", "Squad", found.sentence, wide=True):
        _filters(found, group, sort, find, short)
        if short:
            _columns(squad, found, chosen)
        else:
            for line in found.athletes:
                _line(squad, line, chosen)
        with ui.element("div").classes("row-of asking"):
            for label, place in (("Put side by side", "side"), ("A session for those chosen", "session")):

                def go(_: Any, place: str = place) -> None:
                    if place == "side" and len(chosen) < 2:
                        status.set_text("Choose two runners or more first, by the boxes beside their names.")
                        return
                    ui.navigate.to(f"/squad/{place}?who={_who(squad, [n for n in squad.athletes if n in chosen])}")

                text("button", label, "fw").on("click", go)
            if group:
                link(f"A session for {group}", f"/squad/session?group={quote(group)}", "button")
            status = text("span", "", "soft")
            status.props["aria-live"] = "polite"
        whole_squad_part(squad, chosen)
        shown = (
            "A line stands until its runner's library changes; it says when it was made. Diary and health are shown "
        )
        text("p", f"{shown}only of runners who share them.", "soft")


def _columns(squad: Squad, found: SquadAnswer, chosen: set[str]) -> None:
    """One line a runner."""
    with ui.element("table").classes("t words"):
        with ui.element("thead"), ui.element("tr"):
            for head in ("", "", "look first because of", "last run", "CP-minutes this week; seven days", "CP, W"):
                text("th", head)
        with ui.element("tbody"):
            for line in found.athletes:
                with ui.element("tr"):
                    with ui.element("td"):
                        if not line.problem:
                            _box(line.athlete, chosen)
                    told = short_words(line)
                    with ui.element("td"):
                        link(told[0], f"{address(squad, line.athlete)}/") if not line.problem else text("span", told[0])
                    for cell in told[1:]:
                        text("td", cell)


def _box(name: str, chosen: set[str]) -> None:
    box = ui.element("input").props("type=checkbox")
    box.props["aria-label"] = f"Choose {name}"
    box.on(
        "change",
        lambda e: chosen.add(name) if e.args["on"] else chosen.discard(name),
        js_handler="(e) => emit({on: e.target.checked})",
    )


def week(squad: Squad, group: str = "") -> SquadAnswer:
    """The week of all, as the page and its twin show it."""
    return squad.lines(group=group, sort="name")


async def show_week(base: str, squad: Squad, group: str = "") -> None:
    try:
        found = await asyncio.to_thread(week, squad, group)
    except FootworkError as error:
        with page(base, "The week of all", "The week of all", sentence(str(error))):
            link("The squad", "/squad", "button")
        return
    on = dt.date.fromisoformat(found.asked_on)
    monday = on - dt.timedelta(days=on.weekday())
    lede = f"What each was asked from {day_name(monday.isoformat())} on, and what became of it."
    with page(base, "The week of all", "The week of all", lede, wide=True):
        _groups(found, group, "/squad/week?")
        days = [monday + dt.timedelta(days=k) for k in range(7)]
        rows = [[who_words(line), *week_words(line, monday)] for line in found.athletes if not line.problem]
        table(["", *(f"{d:%a} {d.day}{', today' if d == on else ''}" for d in days)], rows, labelled=True, words=True)
        text("p", "A session to come is only named; 'run otherwise' had none of its work in it.", "soft small")


def _groups(found: SquadAnswer, group: str, base: str) -> None:
    """Links to the same page of each group; ``base`` ends where the group is named."""
    if found.groups:
        with ui.element("div").classes("row-of"):
            text("span", "Group:", "soft")
            for name in ("", *found.groups):
                made = link(name or "all", f"{base}group={quote(name)}", "button")
                if name == group:
                    made.props["aria-current"] = "true"


def _filters(found: SquadAnswer, group: str, sort: str, find: str, short: str) -> None:
    _groups(found, group, f"/squad?sort={sort}&short={short}&")
    with ui.element("div").classes("row-of"):
        text("span", "In order of:", "soft")
        for key in ORDERS:
            made = link(
                SORTS[key], f"/squad?group={quote(group)}&sort={key}&find={quote(find)}&short={short}", "button"
            )
            if key == sort:
                made.props["aria-current"] = "true"
    with ui.element("div").classes("row-of"):
        text("span", "Shown:", "soft")
        for value, label in (("", "all that is known"), ("1", "a line each")):
            asked = f"/squad?group={quote(group)}&sort={sort}&find={quote(find)}&short={value}"
            made = link(label, asked, "button")
            if value == short:
                made.props["aria-current"] = "true"
    with ui.element("form").classes("find").props('method="get" action="/squad"'):
        text("label", "Find a name, a device, a word")
        ui.element("input").props('type="text" name="find" aria-label="Find a name, a device, a word"').props[
            "value"
        ] = find


def _line(squad: Squad, line: SquadLine, chosen: set[str]) -> None:
    """A runner: the name and why one looks there first, then what is known, then what waits."""
    with ui.element("div").classes("athlete"):
        with ui.element("div").classes("who"):
            if not line.problem:
                _box(line.athlete, chosen)
                link(line.athlete, f"{address(squad, line.athlete)}/")
            else:
                text("span", line.athlete)
            text("div", "; ".join(line.first), "why")
            if not line.problem:
                link("Report", f"{address(squad, line.athlete)}/report", "small")
            made = dt.datetime.fromisoformat(line.made_at).astimezone()
            text("div", f"as of {made:%H:%M} on {made.day} {made:%b}", "soft small")
        if line.problem:
            text("div", f"{sentence(line.problem)}")
            return
        with ui.element("div").classes("facts"):
            _facts(line)
        with ui.element("div").classes("waits"):
            _waits(squad, line)


def _facts(line: SquadLine) -> None:
    days = "no run yet" if line.days_since is None else {0: "today", 1: "yesterday"}.get(line.days_since, "")
    text("div", f"Last run {days or f'{line.days_since} days ago'}")
    asked = f" of {line.asked:.0f} asked" if line.asked else ""
    done = f" ({line.sessions})" if line.sessions else ""
    text("div", f"This week {_of(line.run)}{asked} CP-minutes{done}")
    usual = f"; half of weeks {line.usual.low:.0f} to {line.usual.high:.0f}" if line.usual else ""
    text("div", f"Seven days {_of(line.seven_days)}, {line.against_usual}{usual}")
    power = line.critical_power
    if power is None or power.value is None:
        text("div", f"Critical power not known: {power.reason if power is not None else 'no runs'}")
    else:
        old = f", last {line.evidence_days} days ago" if line.evidence_days is not None else ""
        text("div", f"CP {power.value:.0f} W, {power.low:.0f} to {power.high:.0f}, {line.scale}")
        text("div", f"{line.evidence}{old}", "soft small")
    text("div", line.progress, "soft small")


def _of(found: Estimate | None) -> str:
    if found is None or found.value is None:
        return "not known"
    return f"{found.value:.0f} ({found.low:.0f} to {found.high:.0f})" if found.value else "0"


def _waits(squad: Squad, line: SquadLine) -> None:
    for said in (line.health if line.shared else "", line.signs, *line.changed):
        if said:
            text("div", said)
    for run in line.lately:
        watts = f", {run['power_w']:.0f} W" if run["power_w"] is not None else ""
        with ui.element("div"):
            link(run["title"], f"{address(squad, line.athlete)}/runs/{run['run']}")
            text("span", f" on {day_name(run['date'])}, {format_duration(run['duration_s'])}{watts}", "soft small")
    for words in line.said:
        text("div", f"Says on {words['about']} {words['of']}: {words['text']}")
    if line.next is not None:
        text("div", f"Next key session: {day_name(line.next['date'])}, {line.next['name']}")
    if line.race is not None:
        text("div", f"{line.race['name'][:1].upper()}{line.race['name'][1:]} in {line.race['days']} days")
    for item in line.waits:
        with ui.element("div"):
            link(item["what"], f"{address(squad, line.athlete)}/{item['page']}")
            text("span", f": {item['why']}", "soft small")
    if not line.shared:
        text("div", "The diary is not shared.", "soft small")


def _who(squad: Squad, names: Sequence[str]) -> str:
    return ",".join(squad.addresses[n] for n in names)


def side(squad: Squad, who: str = "") -> SideBySide:
    """Runners side by side, as the page and its twin show them."""
    return squad.side_by_side(squad.of_addresses(who))


async def show_side(base: str, squad: Squad, who: str = "") -> None:
    try:
        names = squad.of_addresses(who)
    except UsageError as error:
        names = []
        ui.notify(sentence(str(error)))
    lede = "Shares of each one's own critical power, speeds, times and changes, each with its interval."
    with page(base, "Side by side", "Side by side", lede, wide=True):
        with ui.element("div").classes("row-of"):
            for name in squad.athletes:
                others = [n for n in names if n != name] if name in names else [*names, name]
                made = link(name, f"/squad/side?who={_who(squad, others)}", "button")
                if name in names:
                    made.props["aria-current"] = "true"
        if len(names) < 2:
            text("p", "Choose two runners or more.")
            return
        try:
            found = await asyncio.to_thread(side, squad, who)
        except FootworkError as error:
            text("p", sentence(str(error)))
            return
        rows = []
        for row in found.rows:
            told = [figure_words(e) for e in row.estimates] or [f"refused: {row.refused}"] + [""] * (len(names) - 1)
            rows.append([f"{row.name}, {row.unit}", *told])
        table(["", *found.athletes], rows, labelled=True)
        scales = [f"{a}: {s or 'no watts'}" for a, s in zip(found.athletes, found.scales, strict=True)]
        text("p", f"Watts of {', '.join(scales)}.", "soft")
        for row in found.rows:
            for name, estimate in zip(found.athletes, row.estimates, strict=False):
                if estimate.value is None:
                    text("p", sentence(f"{name}, {row.name}: {estimate.reason}"), "soft small")
        text(
            "p",
            "A difference counts only where the intervals leave it room. Watts of devices of one kind hold what such "
            "devices differ by; of unlike ones they are refused.",
            "soft",
        )


SQUAD_PAGES = (
    Page("/squad", show_squad, lines, nav="Squad", place=1),
    Page("/squad/side", show_side, side, nav="Side by side", place=2),
    Page("/squad/session", show_session, None, nav="A session for several", place=3),
    Page("/squad/week", show_week, week, nav="The week of all", place=4),
)
