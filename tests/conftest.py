"""What do many tests share? The demo plant with its year, made once for all workers."""

import os
import shutil
import time
from pathlib import Path

import pytest

PATIENCE = 120.0  # for another worker to make the demo [s]


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo plant's folder, the same for every worker: read it, never write to it."""
    base = tmp_path_factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        base = base.parent
    return made_once(base / "emberly")


@pytest.fixture
def demo_copy(demo_folder: Path, tmp_path: Path) -> Path:
    """A copy of the demo plant that a test may change."""
    folder = tmp_path / "emberly"
    shutil.copytree(demo_folder, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
    return folder


@pytest.fixture(scope="session")
def district(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a database on the PostgreSQL server of this run; each worker has its own."""
    import psycopg
    from tests import postgres

    base, worker = tmp_path_factory.getbasetemp(), os.environ.get("PYTEST_XDIST_WORKER", "")
    url = postgres.address(base.parent if worker else base)
    name = f"district_{worker or 'main'}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return url.replace("/postgres?", f"/{name}?")


def made_once(folder: Path) -> Path:
    """Make the demo unless another worker has, or is at it."""
    from weirhouse.demo import is_demo, make_demo

    lock = folder.with_name(f"{folder.name}.lock")
    until = time.monotonic() + PATIENCE
    while not is_demo(folder):
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            if time.monotonic() > until:
                raise TimeoutError(f"{lock} is held, and no demo came of it") from None
            time.sleep(0.1)
            continue
        try:
            if not is_demo(folder):
                make_demo(folder)
        finally:
            lock.unlink()
    return folder
