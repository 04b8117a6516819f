"""Is there room for what will be entered? Told while there still is some."""

import shutil
from pathlib import Path

GIGABYTE = 10**9
LEAST, SHARE, AMPLE = 2 * GIGABYTE, 0.10, 20 * GIGABYTE  # warned below the first; below the share unless it is ample


def low(folder: Path) -> str:
    """Return a sentence when the disk of the records is nearly full; nothing otherwise, or where it cannot be told."""
    try:
        found = shutil.disk_usage(folder)
    except OSError:
        return ""
    share = found.free / found.total if found.total else 1.0
    if found.free >= LEAST and (share >= SHARE or found.free >= AMPLE):
        return ""
    return (
        f"The disk of the records is nearly full: {found.free / GIGABYTE:.1f} GB are left ({share:.0%}). Free some "
        "space; once it is full, nothing more can be stored."
    )
