"""The share of public functions whose docstring says what a caller must know; `make lint` holds it at 80 %.

A function counts as told when it has a docstring, units in brackets where numbers go in or come out ("[W]", "[s]", or a
"Parameters" section for shapes), and a word on errors where it raises one of ours. Commands and pages tell theirs in
help and on the page; they are not counted.
"""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = ("physics", "physiology", "analysis", "planning", "formats", "store", "history", "questions", "maintenance")
FILES = ("api.py", "quantities.py", "signals.py")
LEAST = 0.80
NUMBERS = re.compile(r"\b(float|Floats|ndarray|ArrayLike|NDArray)\b")
RAISED = re.compile(r"raise (\w*Error|NotEnoughData|NoSuchRun|NotARecording|UnreadableFile)\b")


def public(tree: ast.Module) -> list[ast.FunctionDef]:
    """Functions and methods whose names, and whose classes' names, are public."""
    out: list[ast.FunctionDef] = []
    for node in tree.body:
        inside = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else [node]
        out += [n for n in inside if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")]
    return out


def missing(function: ast.FunctionDef) -> str:
    """What its docstring does not say, or nothing."""
    told = ast.get_docstring(function) or ""
    if not told:
        return "no docstring"
    given = [a.annotation for a in function.args.args + function.args.kwonlyargs] + [function.returns]
    numbers = any(NUMBERS.search(ast.unparse(a)) for a in given if a is not None)
    if numbers and not re.search(r"\[[^\]]+\]|Parameters\n", told):
        return "no units"
    if RAISED.search(ast.unparse(function)) and "aise" not in told:
        return "no word on errors"
    return ""


def main() -> int:
    paths = [p for room in ROOMS for p in sorted((ROOT / "src" / "footwork" / room).rglob("*.py"))]
    paths += [ROOT / "src" / "footwork" / name for name in FILES]
    all_, lacking = 0, []
    for path in paths:
        for function in public(ast.parse(path.read_text(encoding="utf-8"))):
            all_ += 1
            if why := missing(function):
                lacking.append(f"{path.relative_to(ROOT)}:{function.lineno} {function.name}: {why}")
    share = 1 - len(lacking) / all_
    if "--list" in sys.argv or share < LEAST:
        print("\n".join(lacking))
    print(f"{100 * share:.0f} % of {all_} public functions say what a caller must know")
    return 0 if share >= LEAST else 1


if __name__ == "__main__":
    sys.exit(main())
