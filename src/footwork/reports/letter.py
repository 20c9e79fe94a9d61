"""A report as it is sent: Markdown, as it was written or changed by hand, made into HTML and onto paper with its
pictures."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markdown_it import MarkdownIt
from markdown_it.token import Token

from footwork.charts.report_pictures import PICTURES, pictures
from footwork.errors import FootworkError, UsageError
from footwork.quantities import plain
from footwork.reports import numbers_card, numbers_of
from footwork.wording.report_words import as_markdown

if TYPE_CHECKING:
    from footwork.api import Library
    from footwork.squad import Squad

_HERE = Path(__file__).parent
_PICTURE = re.compile(r"^\[picture: ([a-z]+)\]$")
MANY_ROWS = 32
MOST_TEXT = 200_000  # characters; ours hold some thousand
_STYLE = (
    "body{max-width:720px;margin:32px auto;padding:0 20px;background:#fffdf7;color:#1d2733;font:17px/1.5 Georgia,serif}"
    "h1{font-size:30px;line-height:1.2}h2{font-size:20px;margin:28px 0 6px}svg{width:100%;height:auto;margin:8px 0}"
    "table{border-collapse:collapse;width:100%;margin:6px 0 12px}th,td{text-align:left;padding:4px 14px 4px 0;"
    "border-top:1px solid #d9d3c3;vertical-align:top}th{font-weight:400;color:#5d6670;border:0}"
)


def read(path: Path) -> str:
    """The text of a report from a file. Raises UsageError for no such file, or none of text."""
    if not path.is_file():
        raise UsageError(f"there is no file {path}")
    try:
        text = path.read_text(encoding="utf-8")
        if not text.strip():
            raise UsageError(f"{path.name} is empty: footwork report --text writes one to change")
        return text
    except UnicodeDecodeError:
        raise UsageError(f"{path.name} is no text: footwork report --text writes one to change") from None


def parsed(text: str) -> list[dict[str, Any]]:
    """The blocks of a report's text: ``kind`` is heading (with its ``level``), paragraph, list (``numbered`` or not),
    table or picture.

    Raises
    ------
    UsageError
        Too much text.
    """
    if len(text) > MOST_TEXT:
        raise UsageError(f"a report holds up to {MOST_TEXT} characters, this text has {len(text)}")
    tokens = MarkdownIt("commonmark", {"html": False}).enable("table").parse(text)
    out: list[dict[str, Any]] = []
    at = 0
    while at < len(tokens):
        token = tokens[at]
        end = _end(tokens, at)
        inside = tokens[at:end]
        if token.type == "heading_open":
            out.append({"kind": "heading", "level": int(token.tag[1]), "text": _words(inside)})
        elif token.type == "paragraph_open":
            words = _words(inside)
            found = _PICTURE.match(words)
            out.append({"kind": "picture", "name": found.group(1)} if found else {"kind": "paragraph", "text": words})
        elif token.type in ("bullet_list_open", "ordered_list_open"):
            items = [t.content for t in inside if t.type == "inline"]
            out.append({"kind": "list", "items": items, "numbered": token.type == "ordered_list_open"})
        elif token.type == "table_open":
            out.append({"kind": "table", "rows": _rows(inside)})
        elif token.type in ("fence", "code_block"):
            out.append({"kind": "paragraph", "text": token.content.strip()})
        elif token.type == "blockquote_open":
            out.append({"kind": "paragraph", "text": _words(inside)})
        at = end
    return out


def _end(tokens: Sequence[Token], at: int) -> int:
    """Place after the block that begins at one."""
    if tokens[at].nesting != 1:
        return at + 1
    depth = 0
    for k in range(at, len(tokens)):
        depth += tokens[k].nesting
        if depth == 0:
            return k + 1
    return len(tokens)


def _words(tokens: Sequence[Token]) -> str:
    """Text of a block without its signs of emphasis."""
    out = []
    for token in tokens:
        to = ""
        for child in token.children or []:
            to = str(child.attrGet("href") or "") if child.type == "link_open" else to
            broken = child.type in ("softbreak", "hardbreak")
            out.append("\n" if broken else f" ({to})" if child.type == "link_close" and to else child.content)
    return " ".join("".join(out).split())


def _rows(tokens: Sequence[Token]) -> list[list[str]]:
    rows: list[list[str]] = []
    for k, token in enumerate(tokens):
        if token.type == "tr_open":
            rows.append([])
        elif token.type in ("th_open", "td_open"):
            rows[-1].append(_words(tokens[k + 1 : k + 2]))
    return rows


def _set(text: str, drawn: Mapping[str, str]) -> list[dict[str, Any]]:
    """Blocks without pictures that have nothing to show. Raises UsageError for a picture that no report has."""
    blocks = parsed(text)
    for block in blocks:
        if block["kind"] == "picture" and block["name"] not in PICTURES:
            known = ", ".join(f"[picture: {name}]" for name in PICTURES)
            raise UsageError(f"no report has a [picture: {block['name']}]: there are {known}")
    return [b for b in blocks if b["kind"] != "picture" or b["name"] in drawn]


def as_html(text: str, drawn: Mapping[str, str]) -> str:
    """A report's text as one page of HTML that needs nothing else; what is typed is text, never markup. Raises
    UsageError for a picture that no report has."""
    blocks = _set(text, drawn)
    title = next((b["text"] for b in blocks if b["kind"] == "heading"), "Report")
    body = "".join(_html(block, drawn) for block in blocks)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>{body}</body></html>\n"
    )


def _html(block: dict[str, Any], drawn: Mapping[str, str]) -> str:
    if block["kind"] == "heading":
        level = min(block["level"], 3)
        return f"<h{level}>{escape(block['text'])}</h{level}>"
    if block["kind"] == "paragraph":
        return f"<p>{escape(block['text'])}</p>"
    if block["kind"] == "list":
        of = "ol" if block["numbered"] else "ul"
        return f"<{of}>{''.join(f'<li>{escape(t)}</li>' for t in block['items'])}</{of}>"
    if block["kind"] == "picture":
        return drawn[block["name"]]
    head, *rows = block["rows"]
    heads = f"<tr>{''.join(f'<th>{escape(c)}</th>' for c in head)}</tr>" if any(head) else ""
    told = "".join(f"<tr>{''.join(map(_td, row))}</tr>" for row in rows)
    return f"<table>{heads}{told}</table>"


def _td(cell: str) -> str:
    return f"<td>{escape(cell)}</td>"


def on_paper(text: str, drawn: Mapping[str, str], sheets: Sequence[str] = ()) -> bytes:
    """A report's text as PDF; ``sheets`` are headings that begin a page. Raises UsageError for a picture that no
    report has."""
    import typst

    blocks = _set(text, drawn)
    for block in blocks:
        if block["kind"] == "picture":
            block["svg"] = drawn[block["name"]]
        block["breaks"] = block["kind"] == "heading" and block["text"] in sheets
    long = sum(len(b.get("rows", ())) for b in blocks) > MANY_ROWS  # then pictures make room, so that a week is a page
    told = {"blocks": blocks, "wide": 62 if long else 82}
    made: bytes = typst.compile(
        str(_HERE / "letter.typ"), format="pdf", sys_inputs={"data": json.dumps(told)}, root=str(_HERE)
    )
    return made


SPANS, FORMS = ("week", "block", "season"), {"pdf": ".pdf", "html": ".html", "text": ".md"}


def of_many(
    squad: Squad, names: Sequence[str], over: str, date: dt.date | None, form: str
) -> Iterator[tuple[str, str, bytes, str]]:
    """Reports to several runners, one after the other: name, name of the file, its content, and what went wrong
    instead. ``over`` is one of `SPANS`, ``form`` one of `FORMS`; of the diary they tell what is shared."""
    for name in names:
        file = f"{squad.addresses[name]}-{over}{FORMS[form]}"
        try:
            with squad.library(name) as library, library.seen_by_coach() as seen:
                found = seen.report(over, date)
            words, drawn = as_markdown(found), pictures(found)
            if form == "pdf":
                content = on_paper(words, drawn, [p.title for p in found.parts if p.sheet])
            else:
                content = (words if form == "text" else as_html(words, drawn)).encode()
        except FootworkError as error:  # one that cannot be read or told of does not stop the others
            yield name, file, b"", str(error)
        else:
            yield name, file, content, ""


def papers(library: Library, report: bool = False, zones: bool = False) -> dict[str, bytes]:
    """Papers that go with a hand-over, by name: the report on this week as page and text, the numbers on paper and as
    JSON. Of the diary they tell what is shared."""
    out: dict[str, bytes] = {}
    with library.seen_by_coach() as seen:
        if report:
            found = seen.report()
            text, made = as_markdown(found), pictures(found)
            out |= {"report.html": as_html(text, made).encode(), "report.md": text.encode()}
        if zones:
            told = numbers_of(seen, seen.capacity(), library.setting("units") == "imperial")
            out |= {"numbers.pdf": numbers_card(told), "numbers.json": json.dumps(plain(told)).encode()}
    return out
