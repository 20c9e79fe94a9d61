"""Pages, each with a JSON twin made by the same function: every ``*_page`` module declares its own in ``PAGES``."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules

from footwork.web.declaration import Page
from footwork.web.menu import put_in_menu

PAGES: tuple[Page, ...] = tuple(
    page
    for found in iter_modules(__path__)
    if found.name.endswith("_page")
    for page in getattr(import_module(f"{__name__}.{found.name}"), "PAGES", ())
)
put_in_menu(PAGES)
