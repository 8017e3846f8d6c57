"""Make `docs/pictures/`: the dashboard's pages with the demo week, as a real Chromium shows them.

Run from the top of the repository: `python -m tests.make_pictures`; a cell folder named after it is pictured
instead of a fresh demo.
"""

from __future__ import annotations

import base64
import shutil
import struct
import sys
import tempfile
import threading
import zlib
from pathlib import Path
from typing import Literal

import numpy as np
from playwright.sync_api import Browser, Page, sync_playwright

import cellmon
from cellmon.export.demo import make_demo
from cellmon.export.hand_demo import make_hand_demo
from cellmon.monitor import Monitor
from dashboards.serve import listening
from tests.dashboards.conftest import FLAGS

FOLDER = Path(__file__).resolve().parent.parent / "docs" / "pictures"
CHIP = "until=2026-10-21T22:00:00%2B02:00"
PAGES = {
    "now": ("/", "#now-block .main-svg .trace"),
    "signals": ("/signals?signal={signal}", "#signals-ribbon .main-svg .trace"),
    "shifts": ("/shifts?shift=2026-10-21/late", "#shifts-mean-range .main-svg .trace"),
    "stream": (f"/stream?spindle=S2&bore=4&feature=taper&{CHIP}", "#stream-ribbon .main-svg .trace"),
    "part": ("/part?bore=2&serial={part}", "#part-walls .main-svg .trace"),
    "claims": ("/claims", "#claims-edges .main-svg .trace"),
    "stones": ("/stones", "#stones-lines .main-svg .trace"),
    "gauge": ("/gauge", "#gauge-zeroes .main-svg .trace"),
    "files": ("/files", "#files-table table"),
}
"""Each page, and what has come once it is drawn."""
AT_THE_BORE = {"bore": ("/bore?serial=HM-4001&bore=4", "#bore-walls .main-svg .trace")}
"""The page of whoever hones by hand, with the block of `cellmon demo --hand`."""
DRESSES: dict[str, tuple[int, int, Literal["light", "dark"]]] = {
    "": (1440, 900, "light"),
    "-dark": (1440, 900, "dark"),
    "-tablet": (1024, 768, "light"),
}
"""How each is pictured: what its name ends with, its size and whether it is light or dark."""

PIXELS = """async png => {
    const image = await createImageBitmap(await (await fetch(`data:image/png;base64,${png}`)).blob());
    const canvas = new OffscreenCanvas(image.width, image.height).getContext("2d");
    canvas.drawImage(image, 0, 0);
    const reader = new FileReader();
    const read = new Promise(done => { reader.onload = () => done(reader.result.split(",")[1]); });
    reader.readAsDataURL(new Blob([canvas.getImageData(0, 0, image.width, image.height).data]));
    return await read;
}"""
"""What a browser makes of a picture: the bytes of its pixels, red, green, blue and opacity, row by row."""


def in_few_colours(png: bytes, blank: Page, *, width: int, height: int) -> bytes:
    """Return a picture again as a PNG of at most 256 colours, a quarter as large.

    Colours that share the leading bits of red, green and blue become their mean.
    """
    pixels = base64.b64decode(blank.evaluate(PIXELS, base64.b64encode(png).decode()))
    colour = np.frombuffer(pixels, dtype=np.uint8).reshape(-1, 4)[:, :3].astype(np.int64)
    for dropped in range(1, 8):
        _, which = np.unique((colour >> dropped) @ [1 << 16, 1 << 8, 1], return_inverse=True)
        if which.max() < 256:
            break
    count = np.bincount(which)
    mean = [np.rint(np.bincount(which, weights=colour[:, i]) / count) for i in range(3)]
    rows = np.pad(which.reshape(height, width).astype(np.uint8), ((0, 0), (1, 0)))  # 0: no filter
    chunks = {
        b"IHDR": struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0),
        b"PLTE": np.stack(mean, axis=1).astype(np.uint8).tobytes(),
        b"IDAT": zlib.compress(rows.tobytes(), 9),
        b"IEND": b"",
    }
    parts = [
        struct.pack(">I", len(d)) + t + d + struct.pack(">I", zlib.crc32(t + d)) for t, d in chunks.items()
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def named_in(monitor: Monitor) -> dict[str, str]:
    """Return a signal that is drawn, and a block with one: what the links of pages name."""
    of_bores = monitor.streams()
    told = next(s for s in monitor.signals().signals if s.change is not None and s.stream in of_bores)
    return {"signal": told.id, "part": told.part}


def take(
    browser: Browser,
    address: str,
    pages: dict[str, tuple[str, str]],
    names: dict[str, str],
    blank: Page,
    *,
    dress: str,
) -> None:
    """Take the pictures of pages in one dress, in one window."""
    width, height, scheme = DRESSES[dress]
    page = browser.new_page(viewport={"width": width, "height": height})
    page.emulate_media(color_scheme=scheme)
    page.set_default_timeout(120_000)
    for name, (link, drawn) in pages.items():
        page.goto(address + link.format(**names))
        page.wait_for_selector(drawn, state="attached")
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(700)
        small = in_few_colours(page.screenshot(), blank, width=width, height=height)
        (FOLDER / f"{name}{dress}.png").write_bytes(small)
    page.close()


def picture(monitor: Monitor, pages: dict[str, tuple[str, str]], names: dict[str, str]) -> None:
    """Serve a cell on a free port and take the pictures of pages in every dress."""
    server = listening(monitor, "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        blank = browser.new_page()
        for dress in DRESSES:
            address = f"http://127.0.0.1:{server.effective_port}"
            take(browser, address, pages, names, blank, dress=dress)
        browser.close()
    server.close()


def main() -> None:
    """Take every picture: of the demo week, and of the bore of its own demo."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        cell = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "cell"
        if not cell.exists():
            make_demo(cell)
        monitor = cellmon.open_cell(cell)
        picture(monitor, PAGES, named_in(monitor))
        picture(make_hand_demo(Path(folder) / "hand"), AT_THE_BORE, {})


if __name__ == "__main__":
    main()
