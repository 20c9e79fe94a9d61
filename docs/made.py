"""Write a page that is made from the code, or with --check say that it is out of date."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent


def write_or_check(name: str, made: str, otherwise: str = "run 'make docs'") -> int:
    """Exit code: 1 where the page differs and was only to be checked."""
    path = HERE / name
    if "--check" not in sys.argv:
        path.write_text(made, encoding="utf-8")
        return 0
    if path.read_text(encoding="utf-8") == made:
        return 0
    print(f"docs/{name} is out of date: {otherwise}")
    return 1
