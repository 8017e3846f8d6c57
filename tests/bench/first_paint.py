"""When a page can be read first: each page of some cells, in a real Chromium, served as `cellmon serve` does.

    python -m tests.bench.first_paint CELL...                  # folders of cells; they are only read
    python -m tests.bench.first_paint CELL --pages Now Stream

Every page is opened three times: by the first visitor of a process that has just begun to listen, with
nothing kept by the browser; again in a new browser; again in the same one. Two moments of each, from the
start of the navigation: the first contentful paint, and when the page's leading sentence stands. Other
programs on the machine make both late; the processor's time of the serving process says what it did itself.

References
----------
W3C Paint Timing: `first-contentful-paint`. W3C Resource Timing Level 2: `transferSize`.
"""

from __future__ import annotations

import argparse
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError

from playwright.sync_api import Browser, BrowserContext, sync_playwright

from dashboards.app import PAGES as KNOWN
from tests.bench.clock import machine

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]
PAGES: Mapping[str, str] = {page.NAME: page.PATH for page in KNOWN}
WANTED_S = 1.5
PATIENCE_S = 120

SAID = "#page .lead, #page .sentence, #page .notice, #first-said .sentence, #first-said > p"
WATCH = f"""
(() => {{
  const said = () => [...document.querySelectorAll("{SAID}")].some((one) => one.textContent.trim());
  const look = () => {{
    if (window.firstSaid === undefined && said()) window.firstSaid = performance.now();
  }};
  new MutationObserver(look).observe(document, {{ subtree: true, childList: true, characterData: true }});
}})();
"""
"""Put before every script of a page: the moment its leading sentence stands."""
READ = """
() => {
  const all = performance.getEntriesByType("resource");
  const sent = (ones) => ones.reduce((sum, one) => sum + one.transferSize, 0);
  return {
    painted: performance.getEntriesByName("first-contentful-paint")[0].startTime / 1000,
    said: window.firstSaid / 1000,
    answers: sent(all.filter((one) => one.name.includes("/_dash-update-component"))),
    fixed: sent(all.filter((one) => /assets|component-suites/.test(one.name))),
  };
}
"""


@dataclass(frozen=True, kw_only=True)
class Opened:
    """One visit: seconds from its start, and bytes as they came over the line until the page was quiet."""

    painted: float
    said: float
    answers: int
    fixed: int
    worked: float
    """Seconds of the processor that the serving process worked meanwhile, for whatever it did."""


@dataclass(frozen=True, kw_only=True)
class Served:
    """A process that serves a cell."""

    address: str
    process: subprocess.Popen[bytes]

    def worked(self) -> float:
        """Return the processor's seconds of the process so far; 0 where the system does not tell."""
        if sys.platform != "linux":
            return 0.0
        told = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        return sum(int(ticks) for ticks in told[11:13]) / os.sysconf("SC_CLK_TCK")


@contextmanager
def serving(cell: Path) -> Iterator[Served]:
    """Serve a cell in a process of its own, once it listens."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "cellmon", "serve", "--cell", str(cell), "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        address = f"http://127.0.0.1:{port}"
        _wait_for(address, process)
        yield Served(address=address, process=process)
    finally:
        process.terminate()
        process.wait()


def _wait_for(address: str, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and process.poll() is None:
        try:
            urllib.request.urlopen(f"{address}/health").close()
            return
        except URLError:
            time.sleep(0.02)
    raise SystemExit(f"nothing listens at {address}")


def opened(context: BrowserContext, served: Served, path: str) -> Opened:
    """Open a page, wait until it is quiet, and return what was seen."""
    before = served.worked()
    page = context.new_page()
    page.set_default_timeout(1000 * PATIENCE_S)
    page.add_init_script(WATCH)
    page.goto(served.address + path)
    page.wait_for_function("() => window.firstSaid !== undefined")
    page.wait_for_load_state("networkidle")
    found = page.evaluate(READ)
    page.close()
    return Opened(**found, worked=served.worked() - before)


def visits(browser: Browser, cell: Path, path: str) -> list[Opened]:
    """Return the first visit of a process, one of a new browser, and one more of the same browser."""
    with serving(cell) as served:
        first = browser.new_context()
        seen = [opened(first, served, path)]
        first.close()
        second = browser.new_context()
        seen += [opened(second, served, path), opened(second, served, path)]
        second.close()
    return seen


HEAD = (
    "| page | first visitor | new browser | again | server worked | answers, kB | scripts and styles, kB |\n"
    "| --- | --- | --- | --- | --- | --- | --- |"
)


def line(name: str, seen: Sequence[Opened]) -> str:
    """Return a row: painted and said of each visit in seconds, and what a new browser was sent."""
    told = " | ".join(f"{one.painted:.2f}, {one.said:.2f}" for one in seen)
    worked = ", ".join(f"{one.worked:.2f}" for one in seen)
    return f"| {name} | {told} | {worked} | {seen[1].answers / 1000:.0f} | {seen[1].fixed / 1000:.0f} |"


def main() -> None:
    """Print a table for each cell, and which visits were slower than wanted."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.first_paint", description=__doc__)
    parser.add_argument("cells", nargs="+", type=Path, metavar="CELL")
    parser.add_argument("--pages", nargs="+", choices=list(PAGES), default=list(PAGES))
    asked = parser.parse_args()
    print(f"Machine: {machine()}. Wanted: {WANTED_S} s.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        for cell in asked.cells:
            print(f"\n{cell.name}:\n\n{HEAD}", flush=True)
            for name in asked.pages:
                print(line(name, visits(browser, cell, PAGES[name])), flush=True)
        browser.close()


if __name__ == "__main__":
    main()
