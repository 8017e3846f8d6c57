"""Make `docs/pictures/`: the dashboard's pages with the demo week, as a real Chromium shows them.

Run from the top of the repository: `python -m tests.make_pictures`.
"""

from __future__ import annotations

import base64
import shutil
import struct
import tempfile
import threading
import zlib
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, sync_playwright

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
                small = in_few_colours(page.screenshot(), browser.new_page(), width=width, height=height)
                (FOLDER / f"{name}.png").write_bytes(small)
                page.close()
            browser.close()
        server.close()


if __name__ == "__main__":
    main()
