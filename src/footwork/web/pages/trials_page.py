"""Trials of a change, from design to verdict."""

from __future__ import annotations

import asyncio
import random
from typing import TYPE_CHECKING, Any

import numpy as np
from nicegui import ui

from footwork.charts import Chart, Mark, Pane
from footwork.errors import FootworkError, UsageError
from footwork.quantities import Estimate, signed
from footwork.questions import trials
from footwork.questions.trials import CAUTION, WATTS_WARNING
from footwork.reports import trial_sheet
from footwork.web.declaration import Page
from footwork.web.drawing import show_chart
from footwork.web.forms import Field, command_form, downloads
from footwork.web.layout import heading, link, method_link, note, page, table, text, unbroken, whisker
from footwork.web.page_words import sentence
from footwork.wording.cautions import held_back

if TYPE_CHECKING:
    from footwork.api import Library


def data(library: Library) -> dict[str, Any]:
    """Shown by the list and its twin."""
    return {"trials": library.trials()}


def one_data(library: Library, number: str) -> dict[str, Any]:
    """A trial with its result, or why there is none yet; shown by its page and twin."""
    if not (number.isascii() and number.isdigit() and len(number) < 12):
        raise UsageError(f"there is no trial {number}")
    trial = trials.kept_trial(library, int(number))
    try:
        return {"trial": trial, "result": library.analyse_trial(int(number)), "reason": ""}
    except FootworkError as error:
        return {"trial": trial, "result": None, "reason": str(error)}


def chart(found: dict[str, Any], letters: list[str]) -> Chart:
    """The outcome of each block in the order of running; conditions by letters until they are asked for."""
    name = found["primary"]["outcome"]
    blocks = [b for b in found["blocks"] if b[name] is not None]
    marks = []
    for c, letter in enumerate(letters):
        mine = [(k, b[name]) for k, b in enumerate(blocks) if b["condition"] == c]
        if mine:
            x, y = (np.array(v, dtype=float) for v in zip(*mine, strict=True))
            # A short line for each block, so that its letter can stand beside it.
            for at, value in zip(x, y, strict=True):
                marks.append(
                    Mark(
                        "line",
                        np.array([at, at + 0.8]),
                        np.full(2, value),
                        label=letter,
                        soft=bool((ord(letter) - ord("P")) % 2),
                    )
                )
    return Chart(
        [Pane(f"{name.replace('_', ' ')} of each block, {found['primary']['unit']}", marks, height=260)],
        "count",
        f"{name.replace('_', ' ')} of each block",
    )


async def show_trials(base: str, library: Library) -> None:
    rows = await asyncio.to_thread(library.trials)
    with page(
        base,
        "Progress",
        "Trials",
        "A change of shoe, cadence, posture or warm-up deserves a fair trial: balanced orders, the same "
        "place, enough runs.",
    ):
        if rows:
            table(
                ["trial", "designed", "runs", "tried against"],
                [
                    [
                        (f"Trial {t['id']}", f"{base}/trials/{t['id']}"),
                        unbroken(str(t["date"])),
                        f"{len(t['joined'])} of {t['runs']}",
                        f"{', '.join(t['conditions'][1:])} against {t['conditions'][0]}",
                    ]
                    for t in rows
                ],
                labelled=True,
            )
        heading("Design one")
        command_form(
            library,
            ["trial", "new"],
            [
                Field("change", "What is tried, as blue shoes"),
                Field("usual", "Against, as grey shoes", "--usual"),
                Field("pace", "Pace of every block, as 5:00/km", "--pace"),
                Field("block", "Length of a block, 6:00 if empty", "--block"),
                Field("rest", "Wash-out between, 2:00 if empty", "--rest"),
                Field("repeats", "Orders in a run, 1 if empty", "--repeats"),
                Field("runs", "Runs; as many as it takes if empty", "--runs"),
                Field("cadence", "Or cadences, as -8,-4,0,4,8", "--cadence"),
                Field(
                    "outcome",
                    "Primary outcome",
                    "--outcome",
                    (
                        ("heart_rate", "heart rate"),
                        ("exertion", "exertion, entered"),
                        ("oxygen_uptake", "oxygen uptake, entered"),
                    ),
                ),
                Field("course", "Where", "--course"),
            ],
            "Keep this design",
            f"{base}/trials",
            prefix="trial-",
        )
        note(WATTS_WARNING, base, "trial")
        note(held_back(library.health()) or CAUTION, base, "cautions")
        with ui.element("p"):
            method_link(base, "trial", "How trials are designed and read")


async def show_one(base: str, library: Library, number: str) -> None:
    try:
        found, problem = await asyncio.to_thread(one_data, library, number), ""
    except FootworkError as error:
        found, problem = None, sentence(str(error))
    result = found["result"] if found else None
    blind = (
        (
            f"{len(result['blocks'])} blocks of {len(result['runs'])} runs: look at them, then ask which was "
            "which and what they tell."
        )
        if result
        else ""
    )
    lede = blind or (sentence(found["reason"]) if found else problem)
    with page(base, "Progress", f"Trial {number}", lede):
        with ui.element("div").classes("row-of"):
            link("All trials", f"{base}/trials", "button")
        if found is None:
            return
        trial = found["trial"]
        if result is not None:
            _result(base, result)
        _design(base, library, trial, result is not None)
        with ui.element("p"):
            method_link(base, "trial", "How trials are designed and read")


def _result(base: str, found: dict[str, Any]) -> None:
    names = found["trial"]["conditions"]
    letters = [chr(ord("P") + k) for k in range(len(names))]
    random.Random(found["trial"]["seed"]).shuffle(letters)
    show_chart(chart(found, letters))
    told = ui.element("div")

    def reveal(_: Any) -> None:
        told.clear()
        with told:
            text("p", "; ".join(f"{a} is {n}" for a, n in sorted(zip(letters, names, strict=True))) + ".")
            for run in found["runs"]:
                mine = [names[b["condition"]] for b in found["blocks"] if b["run"] == run]
                text("p", f"Run {run}: {', '.join(mine)}.", "soft")
            _told(base, found)

    with told:
        text("p", "Blocks in the order of running; a letter stands for each condition.", "soft")
        text("button", "Show which is which, and the verdict", "fw").on("click", reveal)


def _told(base: str, found: dict[str, Any]) -> None:
    """The verdict and its numbers."""
    primary = found["primary"]
    text("p", found["sentence"])
    with ui.element("div").classes("numbers"):
        for e in primary["effects"]:
            whisker(
                base,
                f"{primary['outcome'].replace('_', ' ').capitalize()}, {e['condition']}",
                "primary.effects",
                Estimate.from_json(e["difference"]),
                digits=1,
            )
        if found["cadence"] is not None:
            whisker(
                base,
                "Cadence of least " + primary["outcome"].replace("_", " "),
                "cadence.optimum",
                Estimate.from_json(found["cadence"]["optimum"]),
                digits=0,
            )
    rows = []
    for part in (primary, *found["secondary"]):
        for e in part["effects"]:
            d = e["difference"]
            chance = (
                (
                    f"{100 * e['probability_better']:.0f} % better, {100 * e['probability_worse']:.0f} % worse, "
                    f"by {e['smallest_worthwhile_change']:g} and more"
                )
                if e["probability_better"] is not None
                else "described only"
            )
            rows.append(
                [
                    part["outcome"].replace("_", " ").capitalize(),
                    e["condition"],
                    f"{signed(d['value'])} {d['unit']} ({signed(d['low'])} to {signed(d['high'])})",
                    chance,
                ]
            )
    table(["outcome", "with", "difference", "probability"], rows, labelled=True)
    text(
        "p",
        f"{found['corrected']} Spread of a block {found['spread']['within']:.1f} {found['spread']['unit']}, "
        f"of the effect from run to run {found['spread']['between_runs']:.1f}.",
        "soft",
    )
    for warning in found["warnings"]:
        note(warning, base, "trial")


def _design(base: str, library: Library, trial: dict[str, Any], blind: bool) -> None:
    imperial = library.setting("units") == "imperial"
    heading("The design")
    text("p", trials.trial_told(trial, imperial))
    text("p", f"Where: {trial['course']}.")
    done = {j["order"]: j["run"] for j in trial["joined"]}
    # The orders of runs that are already in the picture would give it away.
    rows = [
        [
            str(k + 1),
            "told once you ask which is which" if blind and k in done else trials.order_words(trial, k),
            (f"run {done[k]}", f"{base}/runs/{done[k]}") if k in done else "to come",
        ]
        for k in range(len(trial["orders"]))
    ]
    table(["run", "order of the blocks", "run for it"], rows, labelled=True)
    following = next((k for k in range(len(trial["orders"])) if k not in done), 0)
    downloads(
        [
            (
                f"Workout of run {following + 1} for the watch",
                "trial.fit",
                lambda: trials.trial_workout(trial, following),
            ),
            ("The trial on paper", "trial.pdf", lambda: trial_sheet(trial, imperial)),
        ]
    )
    with ui.element("details"):
        text("summary", "A run was run for it")
        command_form(
            library,
            ["trial", "join", str(trial["id"])],
            [
                Field("run", "Number of the run"),
                Field("order", "Which order, the next if empty", "--order"),
                Field(
                    "begin",
                    "First block began at, as 12:00, or each, commas between; laps or the design tell it if empty",
                    "--begin",
                ),
                Field("exertion", f"Exertion of its {trial['blocks']} blocks, commas between", "--exertion"),
                Field("oxygen", "Oxygen uptake of each block, ml/kg/min", "--oxygen"),
            ],
            "Join it",
            f"{base}/trials/{trial['id']}",
            needed=["run"],
            prefix="join-",
        )
    note(CAUTION, base, "cautions")


PAGES = (Page("/trials", show_trials, data), Page("/trials/{number}", show_one, one_data))
