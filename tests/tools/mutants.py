"""Change formulas at random and see whether the tests of their room notice: `make mutants`.

A fixed random sample of single changes (an operator, a comparison, a sign, a number, a condition, a loop) in the rooms
that hold numbers and decisions. Each is made in a copy of the checkout, and the tests that run through the changed line
are run, the quickest first, until one fails. What no test notices is printed with its place; docs/mutants.md holds the
table.
Not among the changes, since no number or decision can follow: ``<`` for ``<=`` (the same on measured numbers), the
words of an error, method versions (tests/golden.json holds them), the seed of a generator, ``strict`` and ``frozen``,
and what only a type checker reads.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from py_compile import PycInvalidationMode
from queue import SimpleQueue

ROOT = Path(__file__).parents[2]
PACKAGE = Path("src") / "footwork"
# Published values, and all answers on the demo's season.
EVERYWHERE = ("tests/reference", "tests/demo/test_answers.py")
SQUADS = ("tests/test_squad.py", "tests/test_squad_sessions.py", "tests/test_federation.py")
# A room and the tests that answer for it.
ROOMS = {
    "physics": ("tests/physics", *EVERYWHERE),
    "physiology": ("tests/physiology", *EVERYWHERE),
    "analysis": ("tests/analysis", *EVERYWHERE),
    "planning": ("tests/planning", *EVERYWHERE),
    "questions": ("tests/questions", "tests/history", *SQUADS, *EVERYWHERE),
}
OPERATORS = (
    *(f"core/ReplaceBinaryOperator_{a}" for a in ("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "Pow_Mul")),
    *(f"core/ReplaceComparisonOperator_{a}" for a in ("Lt_Gt", "Gt_Lt", "LtE_Gt", "GtE_Lt", "Eq_NotEq", "NotEq_Eq")),
    *(f"core/ReplaceUnaryOperator_Delete_{a}" for a in ("USub", "Not")),
    *(f"core/{a}" for a in ("AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr")),
    *(f"core/{a}" for a in ("ReplaceOrWithAnd", "NumberReplacer", "ZeroIterationForLoop")),
)
TOO_LONG_S = 240
MOST_TESTS = 40  # of either kind that are tried on one change
PINNED = "tests/reference/test_constants.py::test_no_number_changes_unseen"


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the operator and which of its places, and the line."""

    path: str
    operator: str
    occurrence: int
    line: int

    @property
    def room(self) -> str:
        return Path(self.path).parts[2]


def every() -> Iterator[Mutant]:
    """All changes there are, file by file."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator

    for room in ROOMS:
        for path in sorted((ROOT / PACKAGE / room).rglob("*.py")):
            nodes = list(ast_nodes(get_ast(path.read_text(encoding="utf-8"))))
            for name in OPERATORS:
                operator, count = get_operator(name)(), 0
                for node in nodes:
                    for start, _ in operator.mutation_positions(node):
                        yield Mutant(str(path.relative_to(ROOT)), name, count, start[0])
                        count += 1


class _Plain(ast.NodeTransformer):
    """A module without what no number or decision follows from."""

    def visit_Raise(self, node: ast.Raise) -> ast.AST:
        return ast.copy_location(ast.Raise(exc=ast.Name("error"), cause=None), node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        self.generic_visit(node)
        node.keywords = [k for k in node.keywords if k.arg not in ("strict", "frozen", "repr", "kw_only")]
        if isinstance(node.func, ast.Attribute) and node.func.attr == "default_rng":
            node.args = []
        return node

    def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
        named = [t.id for t in node.targets if isinstance(t, ast.Name)]
        return None if named == ["METHOD_VERSION"] else self.generic_visit(node)

    def visit_If(self, node: ast.If) -> ast.AST | None:
        return None if "TYPE_CHECKING" in ast.unparse(node.test) else self.generic_visit(node)


def matters(mutant: Mutant) -> bool:
    """Whether a number or a decision can follow from the change."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    whole = (ROOT / mutant.path).read_text(encoding="utf-8")
    changed = mutate_code(whole, get_operator(mutant.operator)(), mutant.occurrence)
    if changed is None:
        return False
    try:
        before, after = (ast.dump(_Plain().visit(ast.parse(text))) for text in (whole, changed))
    except SyntaxError:
        return False
    return before != after


def covering(checkout: Path) -> dict[str, dict[int, list[str]]]:
    """For each file and line the tests that run through it, by running all tests of the rooms once."""
    told = checkout / ".coverage.mutants"
    settings = checkout / "coverage.cfg"
    settings.write_text("[run]\nsource = src/footwork\n")
    folders = sorted({folder for tests in ROOMS.values() for folder in tests})
    environment = {**_environment(checkout), "COVERAGE_FILE": str(told), "COVERAGE_CORE": "ctrace"}
    command = [
        "-m",
        "coverage",
        "run",
        f"--rcfile={settings}",
        "-m",
        "pytest",
        "-q",
        "-p",
        "tests.tools.contexts",
        *folders,
    ]
    subprocess.run([sys.executable, *command], cwd=checkout, env=environment, check=True, stdout=subprocess.DEVNULL)
    from coverage import CoverageData

    data, out = CoverageData(str(told)), {}
    data.read()
    for name in data.measured_files():
        lines = {line: [c for c in contexts if c] for line, contexts in data.contexts_by_lineno(name).items()}
        out[str(Path(name).relative_to(checkout))] = lines
    return out


def _environment(checkout: Path) -> dict[str, str]:
    demo = checkout.parent / "demo"
    return {
        **os.environ,
        "PYTHONPATH": str(checkout / "src"),
        "PYTHONDONTWRITEBYTECODE": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "FOOTWORK_TEST_DEMO": str(demo),
    }


def tests_of(mutant: Mutant, lines: dict[str, dict[int, list[str]]]) -> list[str]:
    """Tests of the mutant's room that run through its line, those of plain functions first."""
    here = lines.get(mutant.path, {})
    near = here.get(mutant.line) or [c for line in range(mutant.line - 4, mutant.line + 5) for c in here.get(line, [])]
    if not near:  # on a line that runs when the module is read: whatever runs in the file
        near = [c for contexts in here.values() for c in contexts]
    mine = [n for n in set(near) if n.startswith(ROOMS[mutant.room])]
    quick = [n for n in mine if not n.startswith(("tests/demo", "tests/questions", "tests/history"))]
    whole = [n for n in mine if n not in quick]
    return [PINNED, *sorted(quick)[:MOST_TESTS], *sorted(whole)[:MOST_TESTS]]


def killed(mutant: Mutant, checkout: Path, nodes: list[str]) -> bool:
    """Whether a test fails with the change made in a copy of the checkout; the copy is put right again."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    path = checkout / mutant.path
    whole = path.read_text(encoding="utf-8")
    changed = mutate_code(whole, get_operator(mutant.operator)(), mutant.occurrence)
    if changed is None or not nodes:
        return False
    path.write_text(changed, encoding="utf-8")
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", *nodes],
            cwd=checkout,
            env=_environment(checkout),
            timeout=TOO_LONG_S,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        return done.returncode != 0
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(whole, encoding="utf-8")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--out", type=Path, help="write the results as JSON lines too")
    told = parser.parse_args()
    everything = list(every())
    random.Random(told.seed).shuffle(everything)
    sample = list(islice(filter(matters, everything), told.count))
    with tempfile.TemporaryDirectory() as scratch:
        from footwork.demo import make

        make(Path(scratch) / "demo")
        copies: SimpleQueue[Path] = SimpleQueue()
        for k in range(told.workers):
            copy = Path(scratch) / f"copy-{k}"
            shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".venv", ".git", "demo-library", "__pycache__"))
            # Compiled once, and believed only while the source has the same hash: each change is one of a source.
            compileall.compile_dir(copy / "src", quiet=1, invalidation_mode=PycInvalidationMode.CHECKED_HASH)
            copies.put(copy)
        lines = covering(copy)

        def one(mutant: Mutant) -> tuple[Mutant, bool, int]:
            checkout, nodes = copies.get(), tests_of(mutant, lines)
            try:
                return mutant, killed(mutant, checkout, nodes), len(nodes)
            finally:
                copies.put(checkout)

        found = []
        with ThreadPoolExecutor(told.workers) as pool:
            for mutant, dead, tests in pool.map(one, sample):
                found.append((mutant, dead))
                if not dead:
                    print(
                        f"survived {mutant.path}:{mutant.line} {mutant.operator} #{mutant.occurrence} ({tests} tests)",
                        flush=True,
                    )
                if told.out:
                    with told.out.open("a") as stream:
                        stream.write(json.dumps({**mutant.__dict__, "killed": dead, "tests": tests}) + "\n")
    dead_by, all_by = Counter(m.room for m, dead in found if dead), Counter(m.room for m, _ in found)
    for room in ROOMS:
        print(f"| {room} | {all_by[room]} | {dead_by[room]} | {100 * dead_by[room] / max(all_by[room], 1):.0f} % |")
    share = sum(dead_by.values()) / len(found)
    print(f"| all | {len(found)} | {sum(dead_by.values())} | {100 * share:.0f} % |")
    return 0 if share >= 0.85 else 1


if __name__ == "__main__":
    sys.exit(main())
