"""What does a printed page say? The text of the PDF that the browser writes, page by page.

Just enough of ISO 32000 for that: the page objects, their fonts' ToUnicode maps (9.10.3) and the strings they show.
"""

import re
import zlib


def pages(data: bytes) -> list[str]:
    """Return the text of each page, blanks left out: the browser sets words apart by moves, not by blanks."""
    objects = {int(m[1]): m[2] for m in re.finditer(rb"(\d+) 0 obj\b(.*?)\bendobj", data, re.DOTALL)}
    found = []
    for body in objects.values():
        if not re.search(rb"/Type\s*/Page\b", body):
            continue
        fonts = {
            m[1]: _letters(objects, int(m[2])) for m in re.finditer(rb"/(F\d+) (\d+) 0 R", _resources(objects, body))
        }
        contents = re.search(rb"/Contents (\d+) 0 R", body)
        assert contents is not None
        found.append(_shown(_stream(objects[int(contents[1])]), fonts))
    return found


def _resources(objects: dict[int, bytes], body: bytes) -> bytes:
    named = re.search(rb"/Resources (\d+) 0 R", body)
    return objects[int(named[1])] if named else body


def _stream(body: bytes) -> bytes:
    raw = body.split(b"stream", 1)[1].lstrip(b"\r\n").rsplit(b"endstream", 1)[0]
    return zlib.decompressobj().decompress(raw) if b"/FlateDecode" in body else raw


def _letters(objects: dict[int, bytes], font: int) -> dict[int, str]:
    named = re.search(rb"/ToUnicode (\d+) 0 R", objects[font])
    if named is None:
        return {}
    found: dict[int, str] = {}
    text = _stream(objects[int(named[1])]).decode("latin-1")
    for block in re.findall(r"beginbfchar(.*?)endbfchar", text, re.DOTALL):
        for code, letters in re.findall(r"<(\w+)>\s*<(\w+)>", block):
            found[int(code, 16)] = bytes.fromhex(letters).decode("utf-16-be")
    for block in re.findall(r"beginbfrange(.*?)endbfrange", text, re.DOTALL):
        for first, last, letters in re.findall(r"<(\w+)>\s*<(\w+)>\s*<(\w+)>", block):
            for step in range(int(last, 16) - int(first, 16) + 1):
                found[int(first, 16) + step] = chr(int(letters, 16) + step)
    return found


def _shown(content: bytes, fonts: dict[bytes, dict[int, str]]) -> str:
    out, letters = [], {}
    for name, codes in re.findall(rb"/(F\d+) [\d.]+ Tf|<([0-9A-Fa-f\s]+)>", content):
        if name:
            letters = fonts.get(name, {})
        else:
            code = codes.decode().replace("\n", "").replace(" ", "")
            out += [letters.get(int(code[i : i + 4], 16), "?") for i in range(0, len(code), 4)]
    return "".join(out).replace(" ", "").replace("\N{NO-BREAK SPACE}", "")
