"""What did a program do to its files, in which order? Written down by a small library put before the C library."""

import functools
import os
import shutil
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

SOURCE = Path(__file__).with_name("shim.c")
WITH_DATA = frozenset("WRLA")


@dataclass(frozen=True, slots=True)
class Op:
    """One thing done: a write, a cut (T), a sync (S), a sync of the folder (D), a new name (N), one lost (U), one moved
    (R) or added (L); or an acknowledgement that a client has read (A).
    """

    letter: str
    name: str
    offset: int
    data: bytes


def possible() -> str:
    """Return why it cannot be done here; nothing where it can."""
    if not sys.platform.startswith("linux"):
        return "needs Linux: other systems put no library before the C library in this way"
    return "" if shutil.which("cc") else "needs a C compiler"


@functools.cache
def library() -> Path:
    """Return the library, compiled at the first call of a run."""
    target = Path(tempfile.mkdtemp(prefix="weirhouse-shim-")) / "shim.so"
    subprocess.run(
        ["cc", "-O2", "-shared", "-fPIC", "-o", str(target), str(SOURCE), "-ldl", "-lpthread"],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    return target


def environment(folder: Path, log: Path | None = None, fault: Path | None = None) -> dict[str, str]:
    """Return what a program is started with so that what it does to a folder is written down, or made to fail."""
    found = {"LD_PRELOAD": str(library()), "CRASH_WATCH": str(folder)}
    if log is not None:
        found["CRASH_LOG"] = str(log)
    if fault is not None:
        found["CRASH_FAULT"] = str(fault)
    return found


def acknowledge(log: int, words: str) -> None:
    """Write an acknowledgement into the open log, in one write: it stands behind all that was done before it."""
    data = words.encode()
    os.write(log, b"A" + struct.pack("<H", 0) + struct.pack("<qI", 0, len(data)) + data)


def read(log: Path) -> Iterator[Op]:
    """Yield what was written down; a last line that was cut off by a kill is left out."""
    data = log.read_bytes()
    place = 0
    while place + 3 <= len(data):
        letter = chr(data[place])
        (length,) = struct.unpack_from("<H", data, place + 1)
        head = place + 3 + length
        if head + 12 > len(data):
            return
        offset, count = struct.unpack_from("<qI", data, head)
        end = head + 12 + (count if letter in WITH_DATA else 0)
        if end > len(data):
            return
        yield Op(letter, data[place + 3 : head].decode(), offset, data[head + 12 : end])
        place = end
