"""On which databases do the tests of the records run? On both: each asks for `home`, a plant's folder."""

import uuid
from pathlib import Path

import pytest


@pytest.fixture(params=["sqlite", "postgresql"])
def home(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A folder whose records lie in it, or on the PostgreSQL server of this run."""
    if request.param == "postgresql":
        on_server(tmp_path, request.getfixturevalue("district"))
    return tmp_path


def on_server(folder: Path, url: str) -> str:
    """Let the records of a folder lie on a server; return under which schema."""
    schema = f"plant_{uuid.uuid4().hex[:12]}"
    (folder / "plant.toml").write_text(f'[records]\ndatabase = "{url}"\nschema = "{schema}"\n')
    return schema
