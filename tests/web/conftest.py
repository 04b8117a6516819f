"""The pages of the demo plant, served to a real browser and to a client without one."""

import asyncio
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from tests.browser import chromium

from weirhouse.web import create_app

NOW = datetime(2026, 10, 31, 20, 0, tzinfo=UTC)
OURS = {"origin": "http://127.0.0.1", "sec-fetch-site": "same-origin"}  # what a browser sends from a page of ours


class Client:
    """Asks the pages of a plant folder without a server, at the address a browser on this machine would use."""

    def __init__(
        self, folder: Path, now: datetime, *, address: str = "127.0.0.1", base: str = "http://127.0.0.1", **more: Any
    ) -> None:
        self.now, self.address, self.base = now, address, base
        self.app = create_app(folder, clock=lambda: self.now, **more)
        self.cookies = httpx.Cookies()
        self.thread = ThreadPoolExecutor(1)

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.ask("GET", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self.ask("POST", path, **more)

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(
                app=self.app, raise_app_exceptions=False, client=(self.address, 40_000)
            )  # fmt: skip
            async with httpx.AsyncClient(transport=transport, base_url=self.base, cookies=self.cookies) as client:
                return await client.request(method, path, **more)

        answer = self.thread.submit(lambda: asyncio.run(once())).result()  # the browser keeps this thread's own loop
        self.cookies.update(answer.cookies)
        return answer


def client_of(folder: Path, now: datetime = NOW, **more: Any) -> Client:
    return Client(folder, now, **more)


@pytest.fixture(scope="module")
def client(demo_folder: Path) -> Client:
    return client_of(demo_folder)


@contextmanager
def served(folder: Path, now: datetime = NOW) -> Iterator[str]:
    """Serve a plant folder on a free port of this machine."""
    app = create_app(folder, clock=lambda: now)
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    assert server.started
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(scope="session")
def address(demo_folder: Path) -> Iterator[str]:
    """The demo, served."""
    with served(demo_folder) as found:
        yield found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        yield found
        found.close()


@dataclass
class Visit:
    """A page in the browser, what it asked for and what it complained of."""

    page: Page
    address: str
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def go(self, path: str) -> int:
        """Open a page and return its status."""
        answer = self.page.goto(self.address + path)
        assert answer is not None
        return answer.status


class Visits:
    """Opens pages at a width and in a look."""

    def __init__(self, browser: Browser, address: str) -> None:
        self.browser, self.address = browser, address
        self.contexts: list[BrowserContext] = []

    def __call__(
        self, *, width: int = 1280, look: str = "light", scripts: bool = True, zone: str | None = None
    ) -> Visit:
        height = 844 if width < 600 else 900
        context = self.browser.new_context(
            viewport={"width": width, "height": height},
            java_script_enabled=scripts,
            has_touch=width < 600,
            timezone_id=zone,
        )
        context.add_cookies([{"name": "look", "value": look, "url": self.address}])
        self.contexts.append(context)
        visit = Visit(context.new_page(), self.address)
        visit.page.on("request", lambda request: visit.asked.append(request.url))
        visit.page.on("console", lambda said: visit.complaints.append(said.text) if said.type == "error" else None)
        visit.page.on("pageerror", lambda error: visit.complaints.append(str(error)))
        return visit

    def __enter__(self) -> "Visits":
        return self

    def __exit__(self, *fault: object) -> None:
        for context in self.contexts:
            context.close()


@pytest.fixture
def visits(browser: Browser, address: str) -> Iterator[Visits]:
    with Visits(browser, address) as made:
        yield made
