"""The short form of `python tests/tools faults`: a few faults of every way, in commands that take no seconds."""

import os
import subprocess
import sys

import pytest
from places import TOOLS

#: Jobs to be hurt: by day those whose readings can be had no second time.
JOBS = ["compaction,capture", pytest.param("convert out of order,compaction,capture", marks=pytest.mark.night)]


@pytest.mark.timeout(400)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="commands are hurt in forks")
@pytest.mark.parametrize("jobs", JOBS)
def test_faults_are_survived(jobs):
    """What was there is kept, no half is taken for whole, the status is that of the contract, and nothing is left."""
    words = [sys.executable, str(TOOLS), "faults", "--jobs", jobs, "--most", "1", "--seed", "12"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count(": survived ") == len(jobs.split(","))
    assert all(way in done.stdout for way in ("kill", "disk", "refused", "interrupted", "terminated", "closed"))
