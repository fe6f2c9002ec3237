"""Make README's screenshots of the real app with its demo jobs: python tests/app/screenshots.py

Needs Chromium. Writes app/screenshots/causes.png (laptop: a job's causes) and app/screenshots/proof.png
(phone: before against after), with few colours so that they stay small.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.app.browser import LAPTOP, PHONE, Window, app_server, chromium  # noqa: E402

FOLDER = ROOT / "app" / "screenshots"
SETTLED_MS = 2500  # pictures and progress bars have drawn themselves
COLOURS = 64


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as data, app_server(Path(data)) as address, chromium() as browser:
        window = Window(browser, address, LAPTOP)
        window.sees("Causes, the likeliest first")
        shoot(window, "causes.png", 1300)
        window = Window(browser, address, PHONE)
        window.go("All jobs")
        window.open_job("mount")
        window.go("Proof")
        shoot(window, "proof.png", 900)


def shoot(window: Window, name: str, height: int) -> None:
    width = window.page.viewport_size["width"]
    window.page.set_viewport_size({"width": width, "height": height})
    window.page.wait_for_timeout(SETTLED_MS)
    path = FOLDER / name
    window.page.screenshot(path=path)
    from PIL import Image

    Image.open(path).convert("RGB").quantize(COLOURS).save(path, optimize=True)
    print(f"{path.relative_to(ROOT)}: {path.stat().st_size // 1000} kB")


if __name__ == "__main__":
    main()
