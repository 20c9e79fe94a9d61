"""The parts every page is made of. Text from files goes through `text`, never into HTML strings."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from nicegui import ui
from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from footwork.errors import NoSuchRun
from footwork.history.scales.scale_keys import CONVERTED_NAME
from footwork.physiology.domains import NAMES
from footwork.quantities import Estimate, format_duration
from footwork.web.menu import head, menu
from footwork.web.page_words import on_page

if TYPE_CHECKING:
    from footwork.api import Library

_CSS, _SCRIPT = (Path(__file__).with_name(name).read_text(encoding="utf-8") for name in ("style.css", "page.js"))


class Text(TextElement):
    """An element of any tag that holds plain text."""

    def __init__(self, tag: str, text: str) -> None:
        super().__init__(tag=tag, text=text)


def text(tag: str, content: str, classes: str = "") -> Text:
    """Plain text in a tag, with classes."""
    made = Text(tag, on_page(content))
    if classes:
        made.classes(classes)
    return made


def link(label: str, href: str, classes: str = "") -> Text:
    """A plain link within the app."""
    made = text("a", label, classes)
    made.props["href"] = href
    return made


def heading(label: str) -> Text:
    return text("h2", label)


@contextmanager
def folded(summary: str, opened: bool = False) -> Iterator[None]:
    """A part of a page that opens under its summary."""
    with ui.element("details").props("open" if opened else ""):
        text("summary", summary)
        yield


@contextmanager
def page(base: str, active: str, title: str, lede: str, wide: bool = False, columns: bool = False) -> Iterator[None]:
    """Header, title and the sentence that says what matters; the page's body goes inside, in two ``columns`` where
    there is room for forms beside each other."""
    styled = ui.context.client.storage
    if not styled.get("styled"):  # a page that comes late follows a shell that has it already
        ui.add_head_html(f"<style>{_CSS}</style><script>{_SCRIPT}</script>")
        styled["styled"] = True
    ui.page_title(f"{title} · Footwork")
    with ui.element("header").classes("fw-head"):
        link(head(base), f"{base}/", "fw-name")
        with ui.element("nav").props('aria-label="Pages"'):
            for address, label in menu(base):
                made = link(label, address, "on" if label == active else "")
                if label == active:
                    made.props["aria-current"] = "page"
    # The framework's own frame is the page's main landmark; there is one of those.
    with ui.element("div").classes("fw-main wide" if wide or columns else "fw-main"):
        text("h1", title)
        if lede:
            text("p", lede, "lede")
        with ui.element("div").classes("columns" if columns else ""):
            yield


def working(base: str, active: str) -> Element:
    """What stands while a page is worked out: the menu, and a word on it."""
    with (
        ui.element("div").classes("fw-working") as shell,
        page(base, active, active or "Footwork", "Being worked out…"),
    ):
        pass
    return shell


# Title and sentences of what is said where there is no page.
MISSING = ("There is no such page", "The address leads nowhere here. It may be of a run that was deleted, or mistyped.")
FAILED = (
    "This page could not be drawn",
    "Something in Footwork failed, not your data: nothing was changed. Load it again; if it fails again, send whoever "
    "looks after your Footwork the last lines of the terminal that serves these pages.",
)
NO_RUN = "It was deleted, merged with another, or never there. What was deleted or merged is undone under Library."
BACK = "Back to the first page"


def broken(base: str) -> None:
    """What stands where a page could not be drawn: what to do, and the way back."""
    with page(base, "", *FAILED):
        link(BACK, f"{base}/", "button")


def bare(title: str, sentence: str, base: str = "") -> str:
    """A page without the framework, as HTML; its words are our own."""
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>{title} · Footwork</title><style>{_CSS}</style><body>"
        f'<header class="fw-head"><a class="fw-name" href="{base}/">Footwork</a></header>'
        f'<main class="fw-main"><h1>{title}</h1><p class="lede">{sentence}</p>'
        f'<a class="button" href="{base}/">{BACK}</a></main></body></html>'
    )


def entrance(place: str, said: str) -> str:
    """The page that asks others for the passphrase, as HTML; its words are our own."""
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>Footwork</title><style>{_CSS}</style><body>"
        '<header class="fw-head"><span class="fw-name">Footwork</span></header><main class="fw-main">'
        f'<h1>Say the passphrase</h1><form method="post" action="{place}" class="fw-form">'
        "<label><span>Passphrase</span>"
        '<input type="password" name="passphrase" autocomplete="current-password" autofocus></label>'
        f'<label><span>{said}</span><button class="fw">Enter</button></label></form></main></body></html>'
    )


def whole_number(given: str) -> int:
    """A number in an address. Raises NoSuchRun where it is none."""
    if not (str(given).isascii() and str(given).isdigit() and len(str(given)) < 12):
        raise NoSuchRun(f"there is no run {given}: the runs page lists them")
    return int(given)


def unbroken(given: str) -> str:
    """A date that stays on one line."""
    return given.replace("-", "\u2011")


def fill(values: dict[str, str], arriving: bool = False) -> None:
    """Write texts into fields by their names, once they are there; they reach the page as data. No value is ever bound:
    a page that redraws would put it back over what was typed. While a page is ``arriving`` a field that the reader
    already writes in is left alone."""
    theirs = "document.activeElement === box" if arriving else "false"
    for name, value in values.items():
        ui.run_javascript(
            f"const put = () => {{ const box = document.querySelector('[name={name}]'); if (!box) return "
            f"setTimeout(put, 50); if (!({theirs})) box.value = {json.dumps(value)}; }}; put();"
        )


def method_link(base: str, key: str, label: str = "How this is known") -> None:
    link(label, f"{base}/methods#{key}", "soft")


def measured(label: str, value: str, unit: str, below: str = "", base: str = "", method: str = "cleaning") -> None:
    """A number read off, not worked out: no bar; its label links to how it was made."""
    with ui.element("div").classes("num"):
        with ui.element("div").classes("l"):
            link(label, f"{base}/methods#{method}")
        with ui.element("div").classes("v"):
            text("span", value)
            text("small", f" {unit}")
        text("div", below, "reason")


def whisker(
    base: str,
    label: str,
    key: str,
    found: Estimate,
    evidence: str = "",
    digits: int = 0,
    show: Any = None,
    unit: str = "",
) -> None:
    """A whisker numeral: the number over its interval drawn as a bar with a dot; withheld, an empty bar and the reason.

    ``key`` names the number in the page's JSON twin; ``show`` turns a value into text (pace, time).
    """
    form = show or (lambda v: f"{v:.{digits}f}")
    with ui.element("div").classes("num") as box:
        box.props["data-key"] = key
        with ui.element("div").classes("l"):
            link(label, f"{base}/methods#{found.method}")
        if found.value is None or found.low is None or found.high is None:
            text("div", "withheld", "v")
            ui.html(
                '<svg class="whisker" viewBox="0 0 200 18" role="img" aria-label="no value"><line x1="0" '
                'x2="200" y1="9" y2="9" class="axis"/></svg>',
                sanitize=False,
            )
            text("div", found.reason, "reason")
            return
        box.props["data-value"] = repr(found.value)
        with ui.element("div").classes("v"):
            text("span", form(found.value))
            text("small", f" {unit or found.unit}")
        # The bar is to scale: the axis spans the interval and its own width again on either side.
        low, high, value = min(found.low, found.value), max(found.high, found.value), found.value
        span = max(high - low, 1e-9)
        at = [200 * (v - (low - 0.6 * span)) / (2.2 * span) for v in (low, value, high)]
        ui.html(
            f'<svg class="whisker" viewBox="0 0 200 18" role="img" aria-label="interval">'
            f'<line x1="0" x2="200" y1="9" y2="9" class="axis"/><line x1="{at[0]:.1f}" x2="{at[2]:.1f}" '
            'y1="9" y2="9" class="bar"/>'
            f'<circle cx="{at[1]:.1f}" cy="9" r="5" class="dot"/></svg>',
            sanitize=False,
        )
        with ui.element("div").classes("r"):
            text("span", form(found.low))
            text("span", evidence)
            text("span", form(found.high))


class Drawn(str):
    """A cell of a table that is HTML of our own, never text from files."""


def domain_bar(seconds: dict[str, float], longest: float) -> Drawn:
    """Time in domains as a bar, as long as its time against the longest of its column [s]."""
    told = ", ".join(f"{name} {format_duration(seconds[name])}" for name in NAMES if seconds[name]) or "not known"
    parts = "".join(
        f'<i class="d-{name}" style="width:{100 * seconds[name] / max(longest, 1.0):.1f}%"></i>' for name in NAMES
    )
    return Drawn(f'<div class="domain-bar" role="img" aria-label="{told}" title="{told}">{parts}</div>')


def table(
    headers: Sequence[str],
    rows: Sequence[Sequence[Any]],
    two_line: bool = True,
    labelled: bool = False,
    spans: Sequence[tuple[float, float]] = (),
    words: bool = False,
) -> None:
    """A plain table of numbers, or of ``words``; a cell is text or ``(text, href)``. On a phone rows become two lines,
    the first cell above, and with ``labelled`` each further cell names its column there. ``spans`` are the stretches of
    the rows on the axis of the panes above, where they are shown under the pointer."""
    with ui.element("table").classes(f"t{' two-line' if two_line else ''}{' labelled' if labelled else ''}") as made:
        if words:
            made.classes("words")
        with ui.element("thead"), ui.element("tr"):
            for header in headers:
                text("th", header)
        with ui.element("tbody"):
            for number, row in enumerate(rows):
                with ui.element("tr") as line:
                    if spans:
                        line.props.update({"data-span": "{} {}".format(*spans[number]), "tabindex": 0})
                    for header, cell in zip(headers, row, strict=False):
                        if isinstance(cell, Drawn):
                            ui.html(cell, sanitize=False, tag="td").classes("drawn")
                        elif isinstance(cell, tuple):
                            with ui.element("td"):
                                link(cell[0], cell[1])
                        else:
                            text("td", str(cell)).props["data-label"] = header


def domain_strip(seconds: dict[str, float]) -> None:
    """Time in domains as a strip from light to dark, always with names."""
    total = sum(seconds.values())
    if not total:
        return
    parts = "".join(
        f'<div class="d-{n}" style="width:{100 * seconds[n] / total:.2f}%"></div>' for n in NAMES if seconds[n]
    )
    ui.html(f'<div class="strip">{parts}</div>', sanitize=False)
    with ui.element("div").classes("key"):
        for name in NAMES:
            with ui.element("span"):
                ui.html(f'<i class="d-{name}"></i>', sanitize=False, tag="span")
                text("span", f"{name} {format_duration(seconds[name])}")


def scale_links(base: str, library: Library, where: str, current: str, convertible: bool = True) -> None:
    """The page again for each scale that has runs; nothing where there is one."""
    names = {row.power_scale for row in library.runs() if row.power_scale}
    if len(names) > 1:
        with ui.element("div").classes("row-of"):
            text("span", "Watts as shown by:", "soft")
            for name in sorted(names):
                made = link(name, f"{base}/{where}?scale={quote(name)}", "button")
                if name == current:
                    made.props["aria-current"] = "true"
            if not convertible:
                return
            plain = current.removesuffix(CONVERTED_NAME)
            made = link("with converted watts", f"{base}/{where}?scale={quote(plain + CONVERTED_NAME)}", "button")
            if plain != current:
                made.props["aria-current"] = "true"


def pause_note(base: str, library: Library) -> None:
    """Where a page tells what can be held: what a long pause leaves unknown of it."""
    if said := library.pause():
        note(said, base, "cautions")


def note(content: str, base: str = "", key: str = "") -> Element:
    """A remark with a link to how it is known."""
    with ui.element("p").classes("note") as made:
        text("span", content + " ")
        if key:
            method_link(base, key)
    return made
