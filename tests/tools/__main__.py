"""The commands beside the tests: ``python tests/tools NAME [options]``; without a name they are listed."""

import ast
import sys
from importlib import import_module
from pathlib import Path
from runpy import run_path

HERE = Path(__file__).parent
#: What tools and tests import by its bare name, as pytest does (see pyproject.toml).
FOLDERS = ("scoring", "sureness", "faults", "mutation", "filming")
PLACES = [HERE.parent / "helpers", *(HERE / name for name in FOLDERS), HERE]
COMMANDS = {
    "score_cycles": "scoring",
    "score_sources": "scoring",
    "what_if_truth": "scoring",
    "flow_truth": "scoring",
    "wear_months": "scoring",
    "coverage_runs": "sureness",
    "recovery": "sureness",
    "faults": "faults",
    "kill_capture": "faults",
    "soak": "faults",
    "mutants": "mutation",
    "fuzz": "fuzz",
    "exports": "exports",
    "compare_scenes": "../helpers",
    "day_logs": "../helpers",
    "worked_examples": "",
    "unchanged": "",
    "doubling": "",
    "code_figures": "",
    "dependencies": "",
    "film_reading": "filming",
    "benchmarks": "../benchmarks",
}
#: Commands that are packages of their own.
PACKAGES = {"fuzz", "exports"}


def listed() -> str:
    """Return a line a command: what it is for, as its own file says."""
    lines = []
    for name, folder in COMMANDS.items():
        path = HERE / folder / ("__main__.py" if name in {*PACKAGES, "benchmarks"} else f"{name}.py")
        docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        lines.append(f"  {name:<15}{docstring.split(chr(10) * 2)[0].replace(chr(10), ' ')}")
    return "\n".join(lines)


def main() -> int:
    """Run one command, with the rest of the line as its options."""
    name = sys.argv[1] if len(sys.argv) > 1 else ""
    if name not in COMMANDS:
        print(f"{__doc__}\n\n{listed()}")
        return 2
    sys.path[:1] = [str(place) for place in PLACES]
    sys.argv[:2] = [f"python tests/tools {name}"]
    if name == "benchmarks":
        run_path(str(HERE.parent / name), run_name="__main__")
        return 0
    return import_module(f"{name}.__main__" if name in PACKAGES else name).main() or 0


if __name__ == "__main__":
    sys.exit(main())
