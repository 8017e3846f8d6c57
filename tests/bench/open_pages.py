"""What a committed batch costs the serving process while a page is open in a real Chromium, all of the page.

    python -m tests.bench.open_pages CELL...                  # folders of cells; copies are written into
    python -m tests.bench.open_pages CELL --pages Now Stream

Beside what `tests.bench refreshes` counts, the answers a page asks for, this counts every section of it, the
head, JSON and the line. Seconds are those of the processor, for whatever the process does meanwhile, less
what it does in the same time with nothing committed.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import BrowserContext, sync_playwright

import cellmon
from tests.bench.clock import machine
from tests.bench.first_paint import FLAGS, PAGES, Served, serving
from tests.bench.next_batch import next_batches

CALM_S, WORKS_S, ROUNDS = 7, 5, 3


def refreshed(context: BrowserContext, served: Served, path: str, commit: Callable[[], None]) -> float:
    """Return the least of some rounds, seconds of the processor, with one page open."""
    page = context.new_page()
    page.goto(served.address + path)
    time.sleep(CALM_S)
    commit()
    time.sleep(WORKS_S)
    found = []
    for _ in range(ROUNDS):
        before = served.worked()
        time.sleep(WORKS_S)
        idle = served.worked() - before
        before = served.worked()
        commit()
        time.sleep(WORKS_S)
        found.append(served.worked() - before - idle)
    page.close()
    return min(found)


def main() -> None:
    """Print a row for each page of each cell."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.open_pages", description=__doc__)
    parser.add_argument("cells", nargs="+", type=Path, metavar="CELL")
    parser.add_argument("--pages", nargs="+", choices=list(PAGES), default=list(PAGES))
    asked = parser.parse_args()
    print(f"Machine: {machine()}.\n\n| cell | page | a batch of 48 bores |\n| --- | --- | --- |")
    for cell in asked.cells:
        with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
            copy = shutil.copytree(cell, Path(folder) / "cell")
            monitor = cellmon.open_cell(copy)
            commit = next_batches(monitor, Path(folder))
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
            with serving(copy) as served:
                time.sleep(3 * CALM_S)  # what it works out ahead
                for name in asked.pages:
                    took = refreshed(browser.new_context(), served, PAGES[name], commit)
                    print(f"| {cell.name} | {name} | {1000 * took:.0f} ms |", flush=True)
            browser.close()
            monitor.close()


if __name__ == "__main__":
    main()
