"""Where the repository is, and what lies in it."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = ROOT / "tests"
SAMPLES = ROOT / "sample_data"
TOOLS = TESTS / "tools"
