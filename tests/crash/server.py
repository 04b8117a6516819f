"""How is the real server started for the harness? As a user would, on this machine alone, under a time limit."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

ADDRESS = re.compile(r"http://[^:]+:(\d+)/")
PATIENCE = 60.0  # for the address to be said [s]
# Runs the command line with the files of the records opened less carefully: a control that must lose.
CARELESS = """
import sys
from weirhouse.records import engine
settle = engine.Database._settle
def careless(self):
    settle(self)
    if not self.read_only:
        self._connection.execute("PRAGMA synchronous = {level}")
engine.Database._settle = careless
from weirhouse.cli.main import main
main(sys.argv[1:])
"""


class Server:
    """One run of ``weirhouse serve`` on the loopback."""

    def __init__(
        self, folder: Path, *, synchronous: str = "FULL", environment: Mapping[str, str] | None = None
    ) -> None:
        program = ["-m", "weirhouse"] if synchronous == "FULL" else ["-c", CARELESS.format(level=synchronous)]
        self.began = time.monotonic()
        self._errors = (folder.parent / f"{folder.name}.errors").open("ab")
        self.process = subprocess.Popen(
            [sys.executable, *program, "serve", "--plant", str(folder), "--port", "0"],
            stdout=subprocess.PIPE, stderr=self._errors, text=True, env={**os.environ, **(environment or {})},
        )  # fmt: skip
        self.port = self._said()

    def _said(self) -> int:
        assert self.process.stdout is not None
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            line = self.process.stdout.readline()
            found = ADDRESS.search(line)
            if found:
                return int(found[1])
            if not line:
                break
        self.kill()
        raise RuntimeError(f"the server said no address and ended with {self.process.returncode}")

    def kill(self) -> None:
        """End it as a power cut ends a program: at once, without a word."""
        self.process.kill()
        self._left()

    def stop(self) -> None:
        """End it as Ctrl+C does."""
        self.process.terminate()
        self._left()

    def _left(self) -> None:
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(30)
        if self.process.stdout is not None:
            self.process.stdout.close()
        self._errors.close()
