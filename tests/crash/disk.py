"""What can be on a disk after a power cut? What was synced; of the rest nothing, some, some of it torn, or all.

Contents belong to a file, names to its folder: a name that was given, taken or moved since the folder was last synced
may be there or not. The disk is taken to keep what it said it has synced.
"""

import random
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from tests.crash.shim import Op

SECTOR = 512  # what a disk writes whole [bytes]
MODES = ("none", "some", "torn", "all")


@dataclass(slots=True, eq=False)
class File:
    """What is surely on the disk, and what was written since."""

    kept: bytearray = field(default_factory=bytearray)
    since: list[tuple[int, bytes | None]] = field(default_factory=list)  # None: cut off at the offset

    def sync(self) -> None:
        """Bring it all to the disk."""
        for change in self.since:
            _change(self.kept, *change)
        self.since.clear()

    def after_cut(self, mode: str, pick: random.Random) -> bytes:
        """Return what a power cut may leave of it."""
        if not self.since or mode == "none":
            return bytes(self.kept)
        found = bytearray(self.kept)
        for offset, data in self.since:
            if mode == "all" or pick.random() < 0.5:
                if mode == "torn" and data is not None:
                    for part in range(0, len(data), SECTOR):
                        if pick.random() < 0.5:
                            _change(found, offset + part, data[part : part + SECTOR])
                else:
                    _change(found, offset, data)
        return bytes(found)


def _change(content: bytearray, offset: int, data: bytes | None) -> None:
    if data is None:
        if len(content) > offset:
            del content[offset:]
        else:
            content.extend(bytes(offset - len(content)))
        return
    if len(content) < offset:
        content.extend(bytes(offset - len(content)))
    content[offset : offset + len(data)] = data


class Disk:
    """The files of a folder as a program sees them, and as the disk holds them."""

    def __init__(self, folder: Path) -> None:
        self.root = str(folder)
        self.seen: dict[str, File] = {}
        for path in folder.rglob("*"):
            if path.is_file() and not path.name.endswith("-shm"):
                self.seen[str(path)] = File(bytearray(path.read_bytes()))
        self.kept = dict(self.seen)
        self.names: list[tuple[str, File | None]] = []  # given or taken since the folder was synced

    def do(self, op: Op) -> None:
        """Do what the program did."""
        match op.letter:
            case "W":
                self._file(op.name).since.append((op.offset, op.data))
            case "T":
                self._file(op.name).since.append((op.offset, None))
            case "S":
                self._file(op.name).sync()
            case "N":
                self._name(op.name, File())
            case "U":
                self._name(op.name, None)
            case "R" | "L":
                file = self.seen.get(op.name)
                if file is not None:
                    self._name(str(op.data.decode()), file)
                    if op.letter == "R":
                        self._name(op.name, None)
            case "D":
                here = [(name, file) for name, file in self.names if str(PurePosixPath(name).parent) == op.name]
                self.names = [one for one in self.names if one not in here]
                _put(self.kept, here)

    def _file(self, name: str) -> File:
        if name not in self.seen:  # opened without a new name by a program started before: cannot be
            raise KeyError(f"{name} was written to and never opened")
        return self.seen[name]

    def _name(self, name: str, file: File | None) -> None:
        _put(self.seen, [(name, file)])
        self.names.append((name, file))

    def after_cut(self, mode: str, pick: random.Random) -> dict[str, bytes]:
        """Return the files that a power cut may leave, by their place in the folder."""
        names = dict(self.kept)
        _put(names, self.names[: {"none": 0, "all": len(self.names)}.get(mode, pick.randint(0, len(self.names)))])
        return {name[len(self.root) + 1 :]: file.after_cut(mode, pick) for name, file in names.items()}


def _put(names: dict[str, File], changes: Iterable[tuple[str, File | None]]) -> None:
    for name, file in changes:
        if file is None:
            names.pop(name, None)
        else:
            names[name] = file
