"""Which bytes are in the file? Unpacked, as UTF-8 with one kind of line end, within limits."""

import codecs
import hashlib
import zlib
from dataclasses import dataclass
from pathlib import Path

from weirhouse.records.importing.problem import FileProblem, shown

MOST_BYTES = 200 * 2**20  # a year of 12 channels at one minute is 51 MB of text
MOST_EXPANSION = 60  # logger text packs about tenfold; far beyond it is no logger file
_STEP = 1 << 20

_NOT_TEXT = (
    (b"PK\x03\x04", "a spreadsheet or zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet file"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"SQLite format 3", "a database"),
    (b"BZh", "a bzip2 file"),
    (b"\xfd7zXZ", "an xz file"),
    (b"\x28\xb5\x2f\xfd", "a zstandard file"),
)


@dataclass(frozen=True, slots=True)
class Source:
    """A file as it was read: its name, the digest of its bytes as they lie on disk, its text as UTF-8."""

    name: str
    digest: str
    data: bytes
    encoding: str
    raw: bytes = b""  # as they lie on disk


def read(path: Path) -> Source:
    """Return the text of the file at `path`.

    Raises
    ------
    FileProblem
        If it is missing, a folder, empty, too large, not text, or packed so that it cannot be unpacked.
    """
    name = shown(path.name)
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise FileProblem(f"{name} is a folder. Name one file in it.")
        if not path.is_file():
            raise FileProblem(f"{name} is not an ordinary file.")
        if size > MOST_BYTES:
            raise FileProblem(_too_large(name))
        raw = path.read_bytes()
    except FileNotFoundError:
        raise FileProblem(f"There is no file {shown(str(path), 200)}.") from None
    except OSError as error:
        raise FileProblem(f"{name} cannot be read: {error.strerror or 'the disk answers with an error'}.") from None
    return of_bytes(name, raw)


def of_bytes(name: str, raw: bytes) -> Source:
    """Return the text in `raw`; the same as `read`, for bytes at hand."""
    digest = hashlib.sha256(raw).hexdigest()
    data = _unpack(name, raw) if raw[:2] == b"\x1f\x8b" else raw
    if not data.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise FileProblem(f"{name} is empty. Export it again.")
    for magic, what in _NOT_TEXT:
        if data.startswith(magic):
            raise FileProblem(f"{name} is {what}, not text. Save or export it as CSV.")
    data, encoding = _as_utf8(name, data)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    data = data.rstrip(b"\x00\x1a")  # a logger that reserves space, and the old end-of-file mark
    if b"\x00" in data:
        line = data.count(b"\n", 0, data.index(b"\x00")) + 1
        raise FileProblem(f"{name} holds bytes that are not text (first in line {line}). Export it again.")
    if not data.strip():
        raise FileProblem(f"{name} is empty. Export it again.")
    return Source(name, digest, data, encoding, raw)


def _too_large(name: str) -> str:
    return f"{name} is larger than {MOST_BYTES // 2**20} MB. Export a shorter period."


def _unpack(name: str, raw: bytes) -> bytes:
    parts: list[bytes] = []
    total, rest = 0, raw
    try:
        while rest:
            unpacker = zlib.decompressobj(wbits=31)
            chunk = rest
            while not unpacker.eof:
                part = unpacker.decompress(chunk, _STEP)
                total += len(part)
                if total > MOST_BYTES:
                    raise FileProblem(_too_large(f"{name}, unpacked,"))
                if total > 16 * _STEP and total > MOST_EXPANSION * len(raw):
                    raise FileProblem(
                        f"{name} unpacks to more than {MOST_EXPANSION} times its size, as no measured data does."
                    )
                parts.append(part)
                chunk = unpacker.unconsumed_tail
                if not part and not chunk and not unpacker.eof:
                    raise FileProblem(f"{name} is packed and ends early. Copy it again.")
            rest = unpacker.unused_data.lstrip(b"\x00")
    except zlib.error:
        raise FileProblem(f"{name} is packed and damaged. Copy it again.") from None
    return b"".join(parts)


def _as_utf8(name: str, data: bytes) -> tuple[bytes, str]:
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF32_BE, "utf-32-be"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(mark):
            return _decoded(name, data[len(mark) :], encoding), encoding
    if data.isascii():
        head = data[:4096]
        even, odd = head[::2].count(0), head[1::2].count(0)
        if max(even, odd) > len(head) // 3 and min(even, odd) < len(head) // 20 + 1:  # UTF-16 without its mark
            encoding = "utf-16-le" if odd > even else "utf-16-be"
            return _decoded(name, data, encoding), encoding
        return data, "ascii"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace").encode("utf-8"), "latin-1"
    return data, "utf-8"


def _decoded(name: str, data: bytes, encoding: str) -> bytes:
    try:
        return data.decode(encoding).encode("utf-8")
    except UnicodeError:
        raise FileProblem(
            f"{name} begins like {encoding.upper()} text but is damaged or cut short. Export it again."
        ) from None
