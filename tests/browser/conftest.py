"""Fixtures of the browser's tests: one browser, one broker, kitchens served at each stage."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from drivers.config import BrokerConfig
from logger import broker as brokers
from logger.broker import RunningBroker

sys.path.insert(0, str(Path(__file__).parent))

from served import Served, served_at

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1440, 900)}
# The browser is the system's; its own sandbox and graphics are of no use in a test.
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
]


@pytest.fixture(scope="session")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningBroker]:
    running = brokers.start(BrokerConfig(), tmp_path_factory.mktemp("broker"))
    yield running
    running.stop()


# By module: while it is open, the browser's library keeps an event loop in this thread.
@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=ARGUMENTS
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def standing(
    tmp_path_factory: pytest.TempPathFactory, broker: RunningBroker
) -> Iterator[Callable[[str | None], Served]]:
    """Kitchens that are only looked at, one for each stage (None: nothing recorded yet)."""
    running: dict[str | None, Served] = {}

    def begin(stage: str | None) -> Served:
        if stage not in running:
            folder = tmp_path_factory.mktemp(stage or "nothing")
            running[stage] = served_at(folder, broker, stage)
        return running[stage]

    yield begin
    for served in running.values():
        served.stop()


@pytest.fixture
def serve(tmp_path: Path, broker: RunningBroker) -> Iterator[Callable[..., Served]]:
    """A kitchen of the test's own, which it may kill and feed."""
    running: list[Served] = []

    def begin(stage: str, formulas: list[dict[str, Any]] | None = None) -> Served:
        running.append(served_at(tmp_path, broker, stage, formulas))
        return running[-1]

    yield begin
    for served in running:
        served.stop()


@pytest.fixture
def look(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Opens a page in a size and a colour scheme; what went wrong in it fails the test."""
    contexts: list[Any] = []
    wrong: list[str] = []
    expected: list[str] = []

    def open_page(
        served: Served,
        size: str = "desktop",
        scheme: str = "light",
        may_fail: str = "",
        path: str = "",
    ) -> Page:
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,  # type: ignore[arg-type]
        )
        contexts.append(context)
        context.set_default_timeout(10_000)
        page = context.new_page()
        if may_fail:
            expected.append(may_fail)
        page.on("pageerror", lambda error: wrong.append(f"error: {error}"))
        page.on(
            "console",
            lambda said: (
                wrong.append(f"console: {said.text}") if said.type in ("error", "warning") else None
            ),
        )
        page.on(
            "request",
            lambda request: (
                wrong.append(f"elsewhere: {request.url}")
                if not request.url.startswith(served.url)
                else None
            ),
        )
        page.goto(served.url + path)
        if not path:
            page.wait_for_function("document.body.dataset.stage !== undefined")
        return page

    yield open_page
    for context in contexts:
        context.close()
    unexpected = [text for text in wrong if not any(part in text for part in expected)]
    assert unexpected == []
