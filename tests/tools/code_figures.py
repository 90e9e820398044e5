"""Print the size of the code beside its budget, and fail where the budget is broken.

Run it from the repository's root: ``python tests/code_figures.py``. Lines are lines of code: no blanks, comments or
docstrings. Each exception to a rule would stand in `EXCEPTIONS`, visibly.
"""

from __future__ import annotations

import ast
import io
import tokenize
from statistics import median

from places import ROOT

ROOMS = ("ingest", "analysis", "cli", "sample_data")
MODULE_MAX, FUNCTION_MEDIAN, FUNCTION_P95, FUNCTION_MAX = 350, 8, 35, 60
EXCEPTIONS: set[str] = set()
_QUIET = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}


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
            lines.difference_update(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    return lines


def main() -> int:
    """Print a row a room; return 1 if anything is over budget."""
    over = []
    print(f"{'room':<12} {'modules':>7} {'longest':>8} {'functions':>9} {'median':>7} {'p95':>5} {'longest':>8}")
    for room in ROOMS:
        modules, functions = [], []
        for path in sorted((ROOT / room).rglob("*.py")):
            source = path.read_text(encoding="utf-8")
            tree = ast.parse(source)
            lines = code_lines(source, tree)
            modules.append((len(lines), str(path.relative_to(ROOT))))
            for node in ast.walk(tree):
                if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                    span = range(node.lineno, (node.end_lineno or node.lineno) + 1)
                    functions.append((len(lines.intersection(span)), f"{path.relative_to(ROOT)}:{node.name}"))
        sizes = sorted(size for size, _ in functions)
        p95 = sizes[int(0.95 * (len(sizes) - 1))]
        row = (len(modules), max(modules)[0], len(sizes), median(sizes), p95, sizes[-1])
        print(f"{room:<12} {row[0]:>7} {row[1]:>8} {row[2]:>9} {row[3]:>7g} {row[4]:>5} {row[5]:>8}")
        over += [f"{name} has {size} lines, at most {MODULE_MAX}" for size, name in modules if size > MODULE_MAX]
        over += [f"{name} has {size} lines, at most {FUNCTION_MAX}" for size, name in functions if size > FUNCTION_MAX]
        if median(sizes) > FUNCTION_MEDIAN or p95 > FUNCTION_P95:
            over.append(f"{room}: functions are too long (median {median(sizes):g}, 95th percentile {p95})")
    over = [line for line in over if line.split(" has ")[0] not in EXCEPTIONS]
    for line in over:
        print(f"over budget: {line}")
    return int(bool(over))
