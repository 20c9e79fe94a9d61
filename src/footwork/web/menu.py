"""The words of the menu and where they lead: one for a runner's pages, another for a squad's."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from footwork.web.declaration import Page

_menu: list[tuple[str, str]] = []
_squad: list[tuple[str, str]] = []
_names: dict[str, str] = {}  # of runners in a squad, by the beginning of their addresses


def put_in_menu(pages: Iterable[Page]) -> None:
    """Let the menu show those of the pages that have a word in it, by their places."""
    shown = sorted((p for p in pages if p.nav), key=lambda p: p.place)
    _menu[:] = [(p.address.strip("/"), p.nav) for p in shown]


def make_squad(pages: Iterable[Page], names: dict[str, str]) -> None:
    """Let a squad's pages have a menu of their own, and each runner's name stand at the head of their pages."""
    shown = sorted((p for p in pages if p.nav), key=lambda p: p.place)
    _squad[:] = [(p.address, p.nav) for p in shown]
    _names.clear()
    _names.update(names)


def menu(base: str) -> list[tuple[str, str]]:
    """Addresses and words of the menu for pages whose addresses begin so, in order."""
    if _squad and not base:
        return list(_squad)
    return [*_squad[:1], *((f"{base}/{path}", word) for path, word in _menu)]


def head(base: str) -> str:
    """What stands at the head of a page: the runner's name in a squad."""
    return _names.get(base, "Footwork")
