"""Print the size of the code and how much of it is comments, package by package, beside the budget.

``python tests/tools code_figures``; it fails where the budget is broken. Code is lines without blanks, comments and
docstrings, and all sizes but `lines` are of code. Comments are counted beside 100 lines of it that are no imports; what
only tells a tool something is no comment.
"""

from __future__ import annotations

import ast
import io
import re
import tokenize
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from places import ROOT

ROOMS = ("ingest", "analysis", "cli", "sample_data")
MODULE_MAX, FUNCTION_MEDIAN, FUNCTION_P95, FUNCTION_MAX = 350, 8, 35, 60
#: Comment lines to 100 lines of code: fewer leave a newcomer alone where an algorithm turns, more say what is written.
COMMENTS_LEAST, COMMENTS_MOST = 5, 15
#: Packages with less code than this have hardly an algorithm to comment. [lines]
SMALL = 100
_QUIET = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
_FOR_A_TOOL = re.compile(r"#:?\s*(noqa|type:|fmt:|mypy:|ruff:|pragma)")
_COLUMNS = (
    *(("package", 26), ("modules", 7), ("lines", 6), ("code", 6), ("longest", 7), ("functions", 9), ("median", 6)),
    *(("p95", 4), ("longest", 7), ("comments to 100", 15)),
)


@dataclass(frozen=True)
class ModuleFigures:
    """How many lines a module has, how many of code, of code but imports and of comments, and its functions' code."""

    name: str
    lines: int
    code: int
    without_imports: int
    comments: int
    functions: dict[str, int]


def code_lines(source: str, tree: ast.Module) -> set[int]:
    """Return the numbers of the lines that hold code."""
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in _QUIET:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        first = body[0] if isinstance(body, list) and body else None
        if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str):
            lines.difference_update(_lines_of(first))
    return lines


def comment_lines(source: str) -> int:
    """Return how many lines hold a comment that is for people."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return sum(token.type == tokenize.COMMENT and not _FOR_A_TOOL.match(token.string) for token in tokens)


def _lines_of(node: ast.stmt) -> range:
    return range(node.lineno, (node.end_lineno or node.lineno) + 1)


def figures_of(path: Path) -> ModuleFigures:
    """Return a module's figures."""
    source = path.read_text(encoding="utf-8")
    tree = ast.parse(source)
    code, name = code_lines(source, tree), path.relative_to(ROOT).as_posix()
    nodes = list(ast.walk(tree))
    imports = {line for node in nodes if isinstance(node, (ast.Import, ast.ImportFrom)) for line in _lines_of(node)}
    functions = [node for node in nodes if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))]
    return ModuleFigures(
        name=name,
        lines=len(source.splitlines()),
        code=len(code),
        without_imports=len(code - imports),
        comments=comment_lines(source),
        functions={f"{name}:{node.name}:{node.lineno}": len(code.intersection(_lines_of(node))) for node in functions},
    )


def comments_to_100(modules: list[ModuleFigures]) -> float:
    """Return the comment lines to 100 lines of code that are no imports."""
    return 100 * sum(each.comments for each in modules) / max(sum(each.without_imports for each in modules), 1)


def row(name: str, modules: list[ModuleFigures]) -> str:
    """Return a line of the table."""
    sizes = sorted(size for each in modules for size in each.functions.values()) or [0]
    lines, code = sum(each.lines for each in modules), sum(each.code for each in modules)
    of_functions = (len(sizes), f"{median(sizes):g}", _p95(sizes), sizes[-1])
    return _line(
        name, len(modules), lines, code, max(e.code for e in modules), *of_functions, f"{comments_to_100(modules):.1f}"
    )


def _line(*cells: object) -> str:
    texts = [str(cell).rjust(width) for cell, (_, width) in zip(cells, _COLUMNS, strict=True)]
    return " ".join([str(cells[0]).ljust(_COLUMNS[0][1]), *texts[1:]])


def _p95(sizes: list[int]) -> int:
    return sizes[int(0.95 * (len(sizes) - 1))]


def too_large(room: str, modules: list[ModuleFigures]) -> list[str]:
    """Return what in a room breaks the budget of sizes."""
    over = [f"{each.name} has {each.code} lines, at most {MODULE_MAX}" for each in modules if each.code > MODULE_MAX]
    functions = {name: size for each in modules for name, size in each.functions.items()}
    over += [
        f"{name} has {size} lines, at most {FUNCTION_MAX}" for name, size in functions.items() if size > FUNCTION_MAX
    ]
    sizes = sorted(functions.values())
    if median(sizes) > FUNCTION_MEDIAN or _p95(sizes) > FUNCTION_P95:
        over.append(f"{room}: functions are too long (median {median(sizes):g}, 95th percentile {_p95(sizes)})")
    return over


def oddly_commented(package: str, modules: list[ModuleFigures]) -> list[str]:
    """Return whether a package has too few or too many comments."""
    share = round(comments_to_100(modules), 1)  # as it is printed
    if sum(each.without_imports for each in modules) < SMALL or COMMENTS_LEAST <= share <= COMMENTS_MOST:
        return []
    return [f"{package}: {share:.1f} comment lines to 100 of code, {COMMENTS_LEAST} to {COMMENTS_MOST} are wanted"]


def main() -> int:
    """Print a row a package and a room; return 1 if anything is over budget."""
    over = []
    print(_line(*(title for title, _ in _COLUMNS)))
    for room in ROOMS:
        packages: dict[str, list[ModuleFigures]] = {}
        for path in sorted((ROOT / room).rglob("*.py")):
            packages.setdefault(path.relative_to(ROOT).parent.as_posix(), []).append(figures_of(path))
        for package, modules in packages.items():
            if not any(each.code for each in modules):
                continue
            print(row(package, modules))
            over += oddly_commented(package, modules)
        every = [each for modules in packages.values() for each in modules]
        print(row(f"{room}, all of it", every) + "\n")
        over += too_large(room, every)
    for line in over:
        print(f"over budget: {line}")
    return int(bool(over))
