"""Does anything ask somebody else while a page is made: a connection, a look-up of a name, another program?"""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

OUTWARD = ("socket.connect", "socket.getaddrinfo", "socket.sendto", "subprocess.Popen")
_tried: list[tuple[str, tuple[Any, ...]]] = []
_watching = threading.Event()


def _watch(event: str, arguments: tuple[Any, ...]) -> None:
    if event in OUTWARD and _watching.is_set():
        _tried.append((event, arguments))


sys.addaudithook(_watch)  # it stays for as long as Python runs


@contextmanager
def watched() -> Iterator[list[tuple[str, tuple[Any, ...]]]]:
    """Let Python itself note what goes outward meanwhile."""
    _tried.clear()
    _watching.set()
    try:
        yield _tried
    finally:
        _watching.clear()
