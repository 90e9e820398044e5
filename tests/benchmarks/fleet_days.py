"""A fleet's log-days, written in a process of their own as exports are: ``python fleet_days.py FOLDER COUNT``.

Each is a reading of amps and volts a second for 24 hours, of a pump that starts some sixty times; a few different ones
are simulated and stand for all.
"""

import sys
from pathlib import Path

HERE = Path(__file__).parent
KINDS = 20


def write_days(folder: Path, count: int) -> None:
    """Write them, and a site file for all."""
    from fleet_scenes import a_day, write_log, write_site

    folder.mkdir()
    for k in range(count):
        path = folder / f"{k:06d}.parquet"
        if k < KINDS:
            _plan, chunk, how = a_day(k)
            write_log(path, chunk, how)
        else:
            path.write_bytes((folder / f"{k % KINDS:06d}.parquet").read_bytes())
    write_site(folder / "site.toml")


if __name__ == "__main__":
    sys.path[1:1] = [str(place) for place in (HERE.parent / "helpers", HERE.parent / "tools" / "scoring")]
    write_days(Path(sys.argv[1]), int(sys.argv[2]))
