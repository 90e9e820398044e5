"""The one table in a zip archive is read where it lies; whatever leaves a doubt is refused."""

import struct
import zipfile

import pytest
from exporting import convert
from workbooks import zipped

LINES = ["Time,Current (A)", *(f"2026-06-13 10:00:{k:02d},{k % 5}.5" for k in range(60))]
CSV = "\n".join(LINES) + "\n"
README = "Dear all,\nthe pump is fine.\n"


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_the_one_table_is_read(tmp_path, method):
    """Beside a text that is none, in a folder, and what one system adds to archives."""
    content = zipped({"logs/readme.txt": README, "logs/june.csv": CSV, "__MACOSX/logs/._june.csv": b"\0\5\x16"}, method)
    done = convert(tmp_path, content)
    assert len(done.time_us) == 60
    assert "read from 'logs/june.csv'" in done.said
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        [done.log_path.name, *(path.name for path in tmp_path.glob("export_*"))]
    )


def test_a_name_that_leads_elsewhere_is_only_a_name(tmp_path):
    """Nothing is written under it."""
    done = convert(tmp_path, zipped({"../../evil.csv": CSV}))
    assert len(done.time_us) == 60
    assert not list(tmp_path.parent.parent.glob("evil.csv"))


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"a.csv": CSV, "b.csv": CSV}, "several tables ('a.csv', 'b.csv')"),
        ({"a.txt": README, "b.txt": README}, "no table ('a.txt', 'b.txt')"),
        ({}, "no file in it"),
        ({f"{k}.csv": CSV for k in range(101)}, "101 files"),
        ({"a.csv.gz": b"\x1f\x8b\x08" + b"\0" * 40}, "packed with gzip inside"),
        ({"a.csv": b"x" * (80 << 20)}, "would unpack to 84 MB"),
    ],
)
def test_what_leaves_a_doubt_is_refused(tmp_path, members, words):
    """In one sentence."""
    done = convert(tmp_path, zipped(members))
    assert done.status == 2
    assert words in done.error
    assert done.error.count("\n") == 1


def test_a_locked_archive_is_refused(tmp_path):
    """By the mark that it bears."""
    content = bytearray(zipped({"a.csv": CSV}))
    content[6] |= 1
    content[content.index(b"PK\1\2") + 8] |= 1
    assert "locked with a password" in convert(tmp_path, bytes(content)).error


@pytest.mark.parametrize("share", [0.02, 0.3, 0.8])
def test_an_archive_cut_short_is_refused(tmp_path, share):
    """Its list of members stands at its end."""
    content = zipped({"a.csv": CSV})
    assert "damaged" in convert(tmp_path, content[: int(share * len(content))]).error


def test_a_damaged_member_is_refused(tmp_path):
    """Its checksum tells, though all of its lines can be read."""
    content = zipped({"a.csv": CSV}, zipfile.ZIP_STORED).replace(b",4.5\n", b",9.5\n", 1)
    done = convert(tmp_path, content)
    assert (done.status, "is damaged or cut short" in done.error) == (2, True)


def test_a_member_that_lies_about_its_size_is_refused(tmp_path):
    """What is unpacked is no more than what was said, and then the checksum tells."""
    content = bytearray(zipped({"a.csv": CSV * 50}))
    at = content.index(b"PK\1\2") + 24
    content[at : at + 4] = struct.pack("<I", 700)
    assert "damaged" in convert(tmp_path, bytes(content)).error
