"""A coach's squad: a line a runner, two or more side by side, and one session for several."""

from __future__ import annotations

import asyncio
import datetime as dt
import io
import zipfile
from collections.abc import Callable
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from nicegui import ui

from footwork.errors import FootworkError, UsageError
from footwork.maintenance import export
from footwork.physiology.population import LEAST
from footwork.quantities import Estimate
from footwork.reports import group_sheet
from footwork.results.squad import Prescribed, SideBySide, SquadAnswer, SquadLine
from footwork.squad import ORDERS, Squad, calendar_of, frame
from footwork.squad.federation import priors, refresh, use_priors
from footwork.web.declaration import Page
from footwork.web.forms import Field, downloads, inputs, sentence
from footwork.web.layout import heading, link, note, page, table, text
from footwork.wording.cautions import before_hard_work
from footwork.wording.season_words import day_name
from footwork.wording.squad_words import figure_words, prior_words, steps_words

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


def lines(squad: Squad, group: str = "", sort: str = "first", find: str = "") -> SquadAnswer:
    """What the page and its twin show."""
    return squad.lines(group=group, sort=sort, find=find)


async def show_squad(base: str, squad: Squad, group: str = "", sort: str = "first", find: str = "") -> None:
    try:
        found = await asyncio.to_thread(lines, squad, group, sort, find)
    except FootworkError as error:
        with page(base, "Squad", "Squad", sentence(str(error))):
            link("The whole squad", "/squad", "button")
        return
    chosen: set[str] = set()
    with page(base, "Squad", "Squad", found.sentence, wide=True):
        _filters(found, group, sort, find)
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
            status = text("span", "", "soft")
            status.props["aria-live"] = "polite"
        _grouping(squad, chosen)
        _of_all(squad)
        shown = (
            "A line stands until its runner's library changes; it says when it was made. Diary and health are shown "
        )
        text("p", f"{shown}only of runners who share them.", "soft")


def _filters(found: SquadAnswer, group: str, sort: str, find: str) -> None:
    if found.groups:
        with ui.element("div").classes("row-of"):
            text("span", "Group:", "soft")
            for name in ("", *found.groups):
                made = link(name or "all", f"/squad?group={quote(name)}&sort={sort}", "button")
                if name == group:
                    made.props["aria-current"] = "true"
    with ui.element("div").classes("row-of"):
        text("span", "In order of:", "soft")
        for key in ORDERS:
            made = link(SORTS[key], f"/squad?group={quote(group)}&sort={key}&find={quote(find)}", "button")
            if key == sort:
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
                box = ui.element("input").props("type=checkbox")
                box.props["aria-label"] = f"Choose {line.athlete}"
                box.on(
                    "change",
                    lambda e, n=line.athlete: chosen.add(n) if e.args["on"] else chosen.discard(n),
                    js_handler="(e) => emit({on: e.target.checked})",
                )
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


def _grouping(squad: Squad, chosen: set[str]) -> None:
    given: dict[str, str] = {}
    with ui.element("details"):
        text("summary", "Put those chosen into a group")
        inputs((Field("group", "Name of the group"),), given)
        with ui.element("div").classes("row-of"):
            for label, remove in (("Put them in", False), ("Take them out", True)):

                async def press(_: Any, remove: bool = remove) -> None:
                    if not chosen or not given.get("group", "").strip():
                        said.set_text("Choose runners by the boxes beside their names, and name a group.")
                        return
                    try:
                        await asyncio.to_thread(squad.put_in_group, given["group"], sorted(chosen), remove)
                    except FootworkError as error:
                        said.set_text(sentence(str(error)))
                        return
                    ui.navigate.to("/squad")

                text("button", label, "fw").on("click", press)
            said = text("span", "", "soft")
            said.props["aria-live"] = "polite"


def _of_all(squad: Squad) -> None:
    """Tables of everyone, what the squad tells of priors, and erasing a runner."""
    with ui.element("details"):
        text("summary", "Tables of everyone, priors, erasing a runner")
        downloads(
            [
                ("These lines as a table", "squad.csv", lambda: export.csv_of(frame(squad.lines().athletes))),
                ("Numbers of everyone", "numbers.parquet", lambda: _parquet(squad)),
            ]
        )
        shown = ui.element("div")

        async def learn(_: Any, use: bool | None = None) -> None:
            said.set_text("Working…")
            try:
                found = await asyncio.to_thread(priors, squad) if use is not False else {}
                if use is not None and (use is False or any(found.values())):
                    await asyncio.to_thread(use_priors, squad, found)
            except FootworkError as error:
                said.set_text(sentence(str(error)))
                return
            said.set_text("")
            shown.clear()
            with shown:
                for name, prior in found.items():
                    text("p", prior_words(name, prior, LEAST))
                if use is not None:
                    on = use and any(found.values())
                    text("p", "They are used in every library now." if on else "The literature's are used.")

        with ui.element("div").classes("row-of"):
            text("button", "What the squad tells of priors", "fw").on("click", learn)
            text("button", "Use them", "fw").on("click", lambda e: learn(e, True))
            text("button", "Use the literature's", "fw").on("click", lambda e: learn(e, False))
            said = text("span", "", "soft")
            said.props["aria-live"] = "polite"
        given: dict[str, str] = {}
        inputs((Field("erased", "Erase a runner for ever: write the name"),), given)

        async def erase(_: Any) -> None:
            try:
                await asyncio.to_thread(squad.erase, given.get("erased", "").strip())
            except FootworkError as error:
                gone.set_text(sentence(str(error)))
                return
            gone.set_text(
                "Erased. Backups, exports, hand-over files, tables and paper elsewhere may still hold it. Serve the "
                "squad anew."
            )

        with ui.element("div").classes("row-of"):
            text("button", "Erase", "fw").on("click", erase)
            gone = text("span", "", "soft")
            gone.props["aria-live"] = "polite"


def _parquet(squad: Squad) -> bytes:
    made = io.BytesIO()
    refresh(squad).frame().write_parquet(made)
    return made.getvalue()


def _names(squad: Squad, who: str) -> list[str]:
    """Runners by the words of their addresses, with commas between. Raises UsageError for one that nobody has."""
    of = {word: name for name, word in squad.addresses.items()}
    words = [w for w in who.split(",") if w]
    if strange := [w for w in words if w not in of]:
        raise UsageError(f"no runner has the address '{strange[0]}'")
    return [of[w] for w in words]


def _who(squad: Squad, names: Sequence[str]) -> str:
    return ",".join(squad.addresses[n] for n in names)


def side(squad: Squad, who: str = "") -> SideBySide:
    """Runners side by side, as the page and its twin show them."""
    return squad.side_by_side(_names(squad, who))


async def show_side(base: str, squad: Squad, who: str = "") -> None:
    try:
        names = _names(squad, who)
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


async def show_session(base: str, squad: Squad, who: str = "") -> None:
    try:
        names = _names(squad, who) or list(squad.athletes)
    except UsageError as error:
        with page(base, "A session for several", "A session for several", sentence(str(error))):
            link("The squad", "/squad", "button")
        return
    given: dict[str, str] = {}
    lede = f"For {', '.join(names)}. Each is asked in their own watts, with their own chance to finish it."
    with page(base, "A session for several", "A session for several", lede, wide=True):
        fields = (
            Field("words", "Session in words; several with a line | between, each with its day before it if wanted"),
            Field("date", "Day, today if empty", form="date"),
        )
        inputs(fields, given)
        state: dict[str, Any] = {"asked": [], "busy": False}

        def texts() -> list[str]:
            return [t.strip() for t in given.get("words", "").split("|") if t.strip()]

        def ask(keep: bool) -> Callable[[], list[Prescribed]]:
            return lambda: squad.prescribe(texts(), names, given.get("date") or None, keep)

        async def press(_: Any, keep: bool = False) -> None:
            if state["busy"]:
                return  # once is enough: nobody keeps it twice by pressing twice
            if not texts():
                status.set_text("Say a session first, as: 15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog).")
                return
            status.set_text("Working…")
            state["busy"] = True
            try:
                state["asked"] = await asyncio.to_thread(ask(keep))
            except FootworkError as error:
                status.set_text(sentence(str(error)))
                shown.clear()
                return
            finally:
                state["busy"] = False
            kept = sum(r.kept for r in state["asked"])
            status.set_text(f"Kept for {kept} of {len(state['asked'])}." if keep else "")
            shown.clear()
            with shown:
                _prescribed(state["asked"])
                downloads(_files(squad, state))

        with ui.element("div").classes("row-of"):
            text("button", "See what it asks of each", "fw").on("click", press)
            text("button", "Keep it for each", "fw").on("click", lambda e: press(e, True))
            status = text("span", "", "soft")
            status.props["aria-live"] = "polite"
        shown = ui.element("div")
        note(before_hard_work("session"))


def _prescribed(asked: Sequence[Prescribed]) -> None:
    heading("What it asks of each")
    table(
        ["runner", "day", "watts", "finished", "what to know"],
        [
            [
                row.athlete,
                day_name(row.date),
                steps_words(row),
                "" if row.finishes_kinder is None else f"{100 * row.finishes_kinder:.0f} %",
                _to_know(row),
            ]
            for row in asked
        ],
    )


def _to_know(row: Prescribed) -> str:
    said = [row.why] if row.why else []
    if row.state == "kinder":
        said.append(f"instead: {row.text}")
    if row.state == "too much":
        said.insert(0, "too much")
    if row.kept:
        said.append("kept")
    elif row.already:
        said.append(f"already keeps {', '.join(row.already)}")
    return "; ".join(said)


def _files(squad: Squad, state: dict[str, Any]) -> list[tuple[str, str, Callable[[], bytes]]]:
    def workouts() -> bytes:
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w") as archive:
            for name, content in squad.workouts(state["asked"]):
                archive.writestr(name, content)
        return made.getvalue()

    return [
        ("All on paper", "session.pdf", lambda: group_sheet(state["asked"])),
        ("One calendar", "sessions.ics", lambda: calendar_of(state["asked"])),
        ("Workouts for each", "workouts.zip", workouts),
    ]


SQUAD_PAGES = (
    Page("/squad", show_squad, lines, nav="Squad", place=1),
    Page("/squad/side", show_side, side, nav="Side by side", place=2),
    Page("/squad/session", show_session, None, nav="A session for several", place=3),
)
