"""Write docs/answers.md: every answer with its fields, from the records themselves."""

from __future__ import annotations

import ast
import sys

from made import HERE, write_or_check

RESULTS = HERE.parent / "src" / "footwork" / "results"
HEAD = """# Answers

Made from the records in `footwork.results` by `make docs`. An answer is the same in Python (fields are attributes, and
are reached by name as in a mapping), as `--json` on the command line, and as the twin of a page (its address with
`.json`). SI units: the ending of a name tells its unit (`_s`, `_m`, `_w`, `_j`, `_mps`, `_bpm`, `_c`, `_deg`), `_share`
and `_probability` are shares of one. A number that was inferred is an `EstimateJson` with its 95 % interval; a field
marked *may be missing* is not there where the answer does not hold it. `Capacity`, `RacePlan` and `Run` give theirs
by `to_json()` too.

"""


def rows(node: ast.ClassDef) -> list[str]:
    """A record's fields as lines of a table."""
    out = ["", "| field | is |", "|---|---|"]
    for field in node.body:
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            kind = ast.unparse(field.annotation)
            missing = " *(may be missing)*" if field.value is not None or kind.startswith("NotRequired") else ""
            kind = kind.removeprefix("NotRequired[").removesuffix("]") if kind.startswith("NotRequired") else kind
            kind, none = kind.removesuffix(" | None"), ", or none" if kind.endswith(" | None") else ""
            kind = kind.replace("|", "\\|")
            out.append(f"| `{field.target.id}` | `{kind}`{none}{missing} |")
    return out


def text() -> str:
    parts = [HEAD]
    for path in [RESULTS / "base.py", *sorted(p for p in RESULTS.glob("*.py") if p.stem not in ("__init__", "base"))]:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if path.stem != "base":
            parts.append(f"## {path.stem.replace('_', ' ').capitalize()}\n\n{ast.get_docstring(tree)}\n")
        classes = [n for n in tree.body if isinstance(n, ast.ClassDef) and n.name not in ("Absent", "Result")]
        answers = [n for n in classes if any(ast.unparse(b) == "Result" for b in n.bases)]
        for node in answers + [n for n in classes if n not in answers]:
            told = ast.get_docstring(node)
            above = [b for b in map(ast.unparse, node.bases) if b not in ("Result", "TypedDict")]
            told = told or (f"Holds what `{above[0]}` does, and:" if above else None)
            parts.append(f"### {node.name}\n" + (f"\n{told}\n" if told else "") + "\n".join(rows(node)) + "\n")
    return "\n".join(parts)


if __name__ == "__main__":
    sys.exit(write_or_check("answers.md", text()))
