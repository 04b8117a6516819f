"""Does a folder lie on a disk of this computer? A network drive or a cloud service's folder can lose what was stored.

SQLite's write-ahead log needs memory that every process sees, which no network drive gives; a service that keeps
folders in step copies a file while it is being written, without its log (see docs/decisions).
"""

import os
import re
import subprocess
import sys
from functools import lru_cache
from pathlib import Path

from weirhouse.records.model import RecordsError

# File systems that come over a network, as the kernels name them.
REMOTE = frozenset(
    {"afs", "afpfs", "beegfs", "ceph", "cifs", "coda", "davfs", "fuse.ceph", "fuse.cephfs", "fuse.curlftpfs",
     "fuse.davfs2", "fuse.gcsfuse", "fuse.glusterfs", "fuse.rclone", "fuse.s3fs", "fuse.smbnetfs", "fuse.sshfs",
     "glusterfs", "lustre", "ncpfs", "nfs", "nfs3", "nfs4", "orangefs", "smb3", "smbfs", "webdav"}
)  # fmt: skip
# What the folders of services that keep folders in step are called, wherever they lie.
SYNCED = re.compile(
    r"^(onedrive( .*| - .*)?|dropbox( \(.*\))?|google ?drive|my drive|icloud ?drive|mobile documents|cloudstorage|"
    r"nextcloud|owncloud|syncthing|box sync|pcloud ?drive|megasync|creative cloud files|seafile|resilio sync)$",
    re.IGNORECASE,
)
MARKS = (".stfolder", ".dropbox", ".owncloudsync.log", ".sync.ffs_db")  # files that such services leave in their folder
_ESCAPED = re.compile(r"\\([0-7]{3})")


def require_own(folder: Path) -> None:
    """Refuse a folder on a network drive, or one that a service keeps in step with elsewhere; nothing is changed."""
    why = _why_not(os.path.abspath(folder))  # noqa: PTH100 -- as it is named: where a link leads is looked at as well
    if why:
        raise RecordsError(
            f"{folder} {why}: what is stored there can be lost. Nothing was opened. Keep the plant's folder on a disk "
            "of this computer, and let backups go elsewhere."
        )


@lru_cache(maxsize=64)
def _why_not(folder: str) -> str:
    for path in {Path(folder), Path(folder).resolve()}:
        kind = remote(path)
        if kind:
            return f"is on a network drive ({kind})"
        service = synced(path)
        if service:
            return f"lies in {service}, which is kept in step with another place"
    return ""


def synced(path: Path) -> str:
    """Return the folder on the way to a path that a service keeps in step with another place, or "".

    >>> synced(Path("/home/hale/Dropbox/plant"))
    '/home/hale/Dropbox'
    """
    for place in (path, *path.parents):
        if SYNCED.match(place.name) or any((place / mark).exists() for mark in MARKS):
            return str(place)
    return ""


def remote(path: Path) -> str:
    """Return the kind of network drive that a path lies on, or ""."""
    if sys.platform == "win32":
        return _on_windows(path)
    kind = kind_of(path, _mounts())
    return kind if kind in REMOTE else ""


def kind_of(path: Path, mounts: str) -> str:
    """Return the file system that a path lies on, from the list of those mounted (Linux, or macOS's `mount`).

    >>> kind_of(Path("/mnt/office/plant"), "/dev/sda1 / ext4 rw 0 0" + chr(10) + "nas:/x /mnt/office nfs4 rw 0 0")
    'nfs4'
    """
    best, found = -1, ""
    for line in mounts.splitlines():
        told = re.match(r"^.+ on (/.*) \((\w+)[,)]", line)  # //hale@nas/x on /Volumes/x (smbfs, nodev)
        parts = line.split()
        if told:
            point, kind = told[1], told[2]
        elif len(parts) >= 3:
            point, kind = _ESCAPED.sub(lambda octal: chr(int(octal[1], 8)), parts[1]), parts[2]
        else:
            continue
        if len(point) >= best and path.is_relative_to(point):
            best, found = len(point), kind
    return found


def _mounts() -> str:
    try:
        if sys.platform == "darwin":
            return subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=5, check=False).stdout
        return Path("/proc/mounts").read_text(encoding="utf-8", errors="replace")
    except (OSError, subprocess.SubprocessError):
        return ""  # it cannot be told; then it is not refused


def _on_windows(path: Path) -> str:
    if path.drive.startswith("\\\\"):
        return "a share"
    import ctypes

    kind = getattr(ctypes, "windll").kernel32.GetDriveTypeW(f"{path.drive}\\")  # noqa: B009 -- there on Windows alone
    return "a connected drive" if kind == 4 else ""  # DRIVE_REMOTE
