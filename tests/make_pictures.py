"""Make `docs/pictures/`: the dashboard's pages with the demo week, as a real Chromium shows them.

Run from the top of the repository: `python -m tests.make_pictures`.
"""

from __future__ import annotations

import shutil
import tempfile
import threading
from pathlib import Path

from playwright.sync_api import sync_playwright

import cellmon
from cellmon.export.demo import make_demo
from dashboards.serve import listening
from tests.dashboards.conftest import FLAGS

FOLDER = Path(__file__).resolve().parent.parent / "docs" / "pictures"
CHIP = "until=2026-10-21T22:00:00%2B02:00"
PICTURES = {
    "now": ("/", "now-block", 1440, 900),
    "now-tablet": ("/", "now-block", 1024, 768),
    "shifts": ("/shifts?shift=2026-10-21/late", "shifts-seismograph", 1440, 900),
    "stream": (f"/stream?spindle=S2&bore=4&feature=taper&{CHIP}", "stream-ribbon", 1440, 900),
}


def main() -> None:
    """Serve the demo on a free port and take every picture."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        make_demo(Path(folder) / "cell")
        server = listening(cellmon.open_cell(Path(folder) / "cell"), "127.0.0.1", 0)
        threading.Thread(target=server.run, daemon=True).start()
        with sync_playwright() as playwright:
            path = shutil.which("chromium")
            browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
            for name, (link, figure, width, height) in PICTURES.items():
                page = browser.new_page(viewport={"width": width, "height": height})
                page.goto(f"http://127.0.0.1:{server.effective_port}{link}")
                page.wait_for_selector(f"#{figure} .main-svg")
                page.wait_for_timeout(1500)
                page.screenshot(path=FOLDER / f"{name}.png")
                page.close()
            browser.close()
        server.close()


if __name__ == "__main__":
    main()
