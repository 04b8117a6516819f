"""Which browser do the tests drive? A Chromium on this machine, else the operating system's, else Playwright's own.

Run as a program it sees to it that there is one and says what it did; tests ask `chromium()`.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def installed() -> str | None:
    """Return the path of a Chromium on this machine, or None."""
    named = os.environ.get("WEIRHOUSE_CHROMIUM")
    if named:
        return named if Path(named).is_file() else None
    return next((found for found in map(shutil.which, NAMES) if found), None)


def playwrights_own() -> str | None:
    """Return the path of the Chromium that Playwright downloaded, or None."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        path = playwright.chromium.executable_path
    return path if Path(path).is_file() else None


def chromium() -> str:
    """Return the path of the Chromium to drive."""
    found = installed() or playwrights_own()
    if found is None:
        raise RuntimeError("No Chromium on this machine: run python tests/browser.py, or set WEIRHOUSE_CHROMIUM.")
    return found


def ensure() -> str:
    """See to it that there is a Chromium; return what was done, in words."""
    found = installed()
    if found:
        return f"Browser for the tests: {found}, already on this machine."
    found = playwrights_own()
    if found:
        return f"Browser for the tests: {found}, downloaded by Playwright before."
    if hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get") and _apt():
        return f"Browser for the tests: {installed()}, installed from the operating system's packages."
    subprocess.run([sys.executable, "-m", "playwright", "install", "chromium"], check=True)
    found = playwrights_own()
    if found is None:
        raise RuntimeError("No Chromium could be had: install one, or name one in WEIRHOUSE_CHROMIUM.")
    return f"Browser for the tests: {found}, downloaded by Playwright now."


def _apt() -> bool:
    """Install the operating system's Chromium; return whether there is one now."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (["apt-get", "update", "-q"], ["apt-get", "install", "-y", "-q", "chromium"]):
        if subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=False).returncode:
            return False
    return installed() is not None


if __name__ == "__main__":
    print(ensure())
