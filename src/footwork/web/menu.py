"""The words of the menu and where they lead."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from footwork.web.declaration import Page

_menu: list[tuple[str, str]] = []


def put_in_menu(pages: Iterable[Page]) -> None:
    """Let the menu show those of the pages that have a word in it, by their places."""
    shown = sorted((p for p in pages if p.nav), key=lambda p: p.place)
    _menu[:] = [(p.address.strip("/"), p.nav) for p in shown]


def menu() -> list[tuple[str, str]]:
    """Addresses (without the leading stroke) and words of the menu, in order."""
    return list(_menu)
