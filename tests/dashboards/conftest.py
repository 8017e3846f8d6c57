"""A served dashboard and a real Chromium to look at it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

import cellmon
from cellmon import passwords
from cellmon.export.run_files import write_run
from cellmon.monitor import Monitor
from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.line import run
from cellmon.simulate.sheet_text import sheet_text
from tests.conftest import made_once, missing
from tests.dashboards.serving import ANEW, dashboard

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--process-per-site",  # one process draws all pages, and keeps what it compiled of the scripts
]
DAYS = ("2026-10-19", "2026-10-20", "2026-10-21", "2026-10-22")


@pytest.fixture(scope="session")
def make_cell(tmp_path_factory) -> Callable[..., Monitor]:
    """Return a function that makes a cell with the demo's first four days, without some faults."""

    def make(*without: str) -> Monitor:
        name = "-".join(("four-days-without", *without))
        folder = tmp_path_factory.mktemp("cell")
        made = made_once(tmp_path_factory, name, lambda new: four_days(new, without))
        for kept in ("cell.toml", "cell.db"):
            shutil.copy(made / kept, folder)
        return cellmon.open_cell(folder)

    return make


def four_days(folder: Path, without: tuple[str, ...]) -> None:
    """Make that cell, and freeze its limits."""
    folder.mkdir()
    files = write_run(run(harrowmere_week().without(*without), seed=SEED), folder)
    kept = [f for f in files if f.name.startswith(DAYS) and "station" in f.name]
    logs = [f for f in files if f.name in ("cell-log.csv", "master-checks.csv")]
    (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    monitor = cellmon.open_cell(folder)
    monitor.take([*logs, *(f for f in kept if "again" not in f.name)])
    monitor.freeze(by="test", why="the first quiet subgroups")
    monitor.close()


@pytest.fixture(scope="session")
def cell(make_cell) -> Monitor:
    """Four days with every fault in them."""
    return make_cell()


@pytest.fixture(scope="module")
def quick() -> Iterator[None]:
    """Hashes that cost little; how much they cost stands with each, and tests/test_passwords.py checks it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "LOG_N", 4)
        passwords._nobodys.cache_clear()
        yield
    passwords._nobodys.cache_clear()


@pytest.fixture(scope="module")
def serve() -> Iterator[Callable[[Any], str]]:
    """Return a function that serves a monitor until the module ends, and gives its address."""
    with ExitStack() as stack:

        def start(monitor: Any) -> str:
            return stack.enter_context(dashboard(monitor))

        yield start


@pytest.fixture(scope="session")
def browser(tmp_path_factory) -> Iterator[Any]:
    """One real Chromium for all tests."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium")
    if path is None:
        missing("Chromium")
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(tmp_path_factory.mktemp("profile")),
            executable_path=path,
            args=FLAGS,
            headless=True,
        )
        yield context
        context.close()


class Watched:
    """A page that remembers what it should not have said or asked for."""

    def __init__(self, page: Any, address: str) -> None:
        self.page, self.address = page, address
        self.complaints: list[str] = []
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        page.on("request", self._request)

    def _console(self, message: Any) -> None:
        if message.type == "error":
            self.complaints.append(f"console: {message.text}")

    def _request(self, request: Any) -> None:
        if not request.url.startswith((self.address, "data:", "blob:", "about:")):
            self.complaints.append(f"asked another host: {request.url}")

    def open(self, path: str, figure: str) -> None:
        """Go to a page and wait until a figure of it is drawn."""
        self.page.goto(self.address + path)
        self.page.wait_for_selector(f"#{figure} .main-svg", timeout=20_000)
        self.page.wait_for_function(
            "id => (document.querySelector(`#${id} .js-plotly-plot`)?.data || []).length > 0", arg=figure
        )

    def trace(self, figure: str, name: str) -> list[Any]:
        """Return the customdata of the trace of that name, [] where there is none."""
        return self.page.evaluate(
            "([id, name]) => (document.querySelector(`#${id} .js-plotly-plot`).data"
            ".find(t => t.name === name)?.customdata || [])",
            [figure, name],
        )


def stay(browser: Any, address: str) -> None:
    """Keep one page of the site open beside all others: the process that draws them ends with the last."""
    first = browser.pages[0]
    if first.url == "about:blank":
        first.goto(f"{address}/assets/icon.svg")


def forget(browser: Any, page: Any, address: str) -> None:
    """Let a browser forget what pages of an address kept in it, but not how their scripts are compiled."""
    session = browser.new_cdp_session(page)
    kept = {"origin": address, "storageTypes": "local_storage,indexeddb"}
    session.send("Storage.clearDataForOrigin", kept)
    session.detach()


@pytest.fixture
def look(browser) -> Iterator[Callable[..., Watched]]:
    """Return a function that opens a watched page; what it complained of fails the test at its end."""
    opened: list[Watched] = []

    def start(address: str, width: int = 1440, height: int = 900) -> Watched:
        stay(browser, address)
        page = browser.new_page()
        while ANEW:
            forget(browser, page, ANEW.pop())
        page.set_viewport_size({"width": width, "height": height})
        opened.append(Watched(page, address))
        return opened[-1]

    yield start
    for watched in opened:
        watched.page.close()
        assert watched.complaints == []
