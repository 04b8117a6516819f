"""What stands on a PDF? Read back by poppler, which shares nothing with what made it."""

import subprocess
from pathlib import Path


def _file(pdf: bytes, folder: Path) -> Path:
    path = folder / "made.pdf"
    path.write_bytes(pdf)
    return path


def words(pdf: bytes, folder: Path) -> str:
    """Return the text of all pages."""
    done = subprocess.run(["pdftotext", "-layout", _file(pdf, folder), "-"], check=True, capture_output=True)
    return done.stdout.decode()


def facts(pdf: bytes, folder: Path) -> dict[str, str]:
    """Return what pdfinfo says of it."""
    done = subprocess.run(["pdfinfo", _file(pdf, folder)], check=True, capture_output=True, text=True)
    return {k.strip(): v.strip() for k, v in (line.split(":", 1) for line in done.stdout.splitlines() if ":" in line)}


def fonts(pdf: bytes, folder: Path) -> list[tuple[str, bool]]:
    """Return the fonts and whether each is embedded."""
    done = subprocess.run(["pdffonts", _file(pdf, folder)], check=True, capture_output=True, text=True)
    rows = [line.split() for line in done.stdout.splitlines()[2:]]
    return [(row[0], row[-5] == "yes") for row in rows]
