"""Films' files, changed byte by byte as cameras and accidents make them: MP4 boxes of ISO/IEC 14496-12."""

import struct
from itertools import pairwise

import cv2
import numpy as np


def slower_from(film, frame):
    """Return an MP4 film whose frames last three times as long from one of them on: its table of times rewritten."""
    raw = bytearray(film)
    at = raw.index(b"stts")
    _, count, lasts = struct.unpack(">III", raw[at + 8 : at + 20])
    raw[at + 8 : at + 20] = struct.pack(">IIIII", 2, frame, lasts, count - frame, 3 * lasts)
    # What is shown of it lasts longer, too.
    if (shown := raw.find(b"elst")) > 0:
        (length,) = struct.unpack(">I", raw[shown + 12 : shown + 16])
        raw[shown + 12 : shown + 16] = struct.pack(">I", 3 * length)
    # The boxes around it grow by the second entry; they stand behind the pictures, whose places stay.
    for box in (b"moov", b"trak", b"mdia", b"minf", b"stbl", b"stts"):
        size = raw.index(box) - 4
        raw[size : size + 4] = struct.pack(">I", struct.unpack(">I", raw[size : size + 4])[0] + 8)
    return bytes(raw)


def turned(film):
    """Return an MP4 film that says that it is to be shown turned by a quarter, as a phone's that was held upright."""
    raw = bytearray(film)
    at = raw.index(b"tkhd") + 4 + 40
    raw[at : at + 36] = struct.pack(">9i", 0, 0x10000, 0, -0x10000, 0, 0, 0, 0, 0x40000000)
    return bytes(raw)


def made_in(film, seconds):
    """Return an MP4 film that was made so long after 1904 by its own head. [s]"""
    raw = bytearray(film)
    at = raw.index(b"mvhd") + 4
    raw[at + 4 : at + 8] = struct.pack(">I", seconds)
    return bytes(raw)


def without_table(film):
    """Return an MP4 film up to the table of its pictures, which is written last."""
    return film[: film.index(b"moov") - 4]


def sound_alone(seconds=1):
    """Return a sound file (WAV): a hum."""
    hum = (8000 * np.sin(np.arange(8000 * seconds) * 0.3)).astype("<i2").tobytes()
    head = struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + len(hum), b"WAVE", b"fmt ", 16, 1, 1, 8000, 16000, 2, 16,
                       b"data", len(hum))  # fmt: skip
    return head + hum


def write_small(path, pictures, rate=30.0, codec="mp4v"):
    """Write a film of some pictures."""
    high, wide = pictures[0].shape[:2] if pictures else (48, 64)
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*codec), rate, (wide, high))
    for picture in pictures:
        writer.write(picture)
    writer.release()
    return path


def brighter_and_brighter(count, high=48, wide=64):
    """Return pictures of which each is brighter than the one before, on the left of which a dark edge stands."""
    pictures = [np.full((high, wide, 3), 40 + 4 * k, np.uint8) for k in range(count)]
    for picture in pictures:
        picture[:, : wide // 4] = 0
    assert all(a.mean() < b.mean() for a, b in pairwise(pictures))
    return pictures
