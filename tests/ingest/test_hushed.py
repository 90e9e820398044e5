"""What a library writes past Python reaches nobody while it is hushed, and everything does afterwards."""

import os
import threading

from shuntbook.ingest.hushed import hushed


def test_standard_error_is_back_behind_the_last_of_many(capfd):
    """Threads come and go in any order: nothing is said by any within, and it is back when the last has gone."""
    inside, first_gone = threading.Barrier(2), threading.Event()

    def first():
        with hushed():
            inside.wait(30)
            os.write(2, b"first\n")
        first_gone.set()

    def second():
        with hushed():
            inside.wait(30)
            first_gone.wait(30)
            os.write(2, b"second\n")

    threads = [threading.Thread(target=work) for work in (first, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"


def test_a_damaged_picture_is_told_of_once(capfd, tmp_path):
    """Not by the library as well: a PNG whose middle is another's."""
    import cv2
    import numpy as np

    from shuntbook.cli.main import run

    noise = np.random.default_rng(1).integers(0, 255, (90, 120, 3), dtype=np.uint8)
    raw = bytearray(cv2.imencode(".png", noise)[1].tobytes())
    raw[200:260] = bytes(60)
    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / "1.png").write_bytes(raw)
    corners = "[[10, 10], [90, 10], [90, 60], [10, 60]]"
    (tmp_path / "d.toml").write_text(f'[[fields]]\nunit = "A"\ncorners = {corners}\ndigits = 3\ndecimals = 1\n')
    words = ["convert", tmp_path / "stills", "--display", tmp_path / "d.toml", "--every", "2s", "--zone", "UTC"]
    run([*map(str, words), "--start", "2026-06-13T10:30:05", "--out", str(tmp_path / "a.parquet")])
    assert [line for line in capfd.readouterr().err.splitlines() if "libpng" in line] == []
