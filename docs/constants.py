"""Write docs/constants.md: every number that the models rest on, with its place, its meaning and whence it is."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

from made import HERE, write_or_check

SOURCE = HERE.parent / "src" / "footwork"
ROOMS = ("physics", "physiology", "analysis", "planning", "questions", "history", "formats", "web", "wording")
HEAD = """# Constants

Every named number in the code, made by `make docs` and held by a test, so that none changes unseen. Where a comment
names a source the number is from there; "convention", "ours" or no word mean that nothing published settles it.

| place | name | value | meaning and source |
|---|---|---|---|
"""


def told(path: Path) -> list[str]:
    """Rows of one file: its upper-case names that hold numbers or are made of them."""
    text = path.read_text(encoding="utf-8")
    lines = text.splitlines()
    out = []
    for node in ast.parse(text).body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None or target is None:
            continue
        names = [n.id for n in (target.elts if isinstance(target, ast.Tuple) else [target]) if isinstance(n, ast.Name)]
        if names == ["METHOD_VERSION"]:  # pinned with golden outputs
            continue
        if not names or not all(n.strip("_").isupper() for n in names) or not _numeric(node.value):
            continue
        value = " ".join(ast.unparse(node.value).split())
        place = path.relative_to(SOURCE).as_posix()
        cells = [place, ", ".join(names), f"`{value}`", _comment(lines, node)]
        out.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
    return out


def _numeric(value: ast.expr) -> bool:
    return any(isinstance(n, ast.Constant) and type(n.value) in (int, float) for n in ast.walk(value))


def _comment(lines: list[str], node: ast.stmt) -> str:
    """The comment behind a constant, or the one above it."""
    last = lines[(node.end_lineno or node.lineno) - 1]
    if "# " in last:
        return last.partition("# ")[2].strip()
    at, found = node.lineno - 2, list[str]()
    while at >= 0 and lines[at].startswith("#"):
        found.insert(0, lines[at].lstrip("# ").strip())
        at -= 1
    return " ".join(found)


def text() -> str:
    paths = [p for room in ROOMS for p in sorted((SOURCE / room).rglob("*.py"))] + sorted(SOURCE.glob("*.py"))
    return HEAD + "\n".join(row for path in paths for row in told(path)) + "\n"


if __name__ == "__main__":
    sys.exit(write_or_check("constants.md", text(), "a number changed; if it was meant to, run 'make docs'"))
