"""Another version of shuntbook, installed beside this one from its commit or tag."""

import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: The last commit of 0.1.0, which has no tag.
RELEASED = {"0.1.0": "72db036b"}


def installed(version: str, folder: Path) -> str:
    """Install a version in an environment in this folder, and return the environment's interpreter."""
    tree, place = folder / "tree", folder / "venv"
    subprocess.run(
        ["git", "-C", ROOT, "worktree", "add", "--quiet", "--detach", tree, RELEASED.get(version, version)], check=True
    )
    try:
        venv.create(place, with_pip=True)
        python = str(place / ("Scripts" if sys.platform == "win32" else "bin") / "python")
        subprocess.run([python, "-m", "pip", "install", "--quiet", f"{tree}[fleet]"], check=True)
    finally:
        subprocess.run(["git", "-C", ROOT, "worktree", "remove", "--force", tree], check=True)
    return python
