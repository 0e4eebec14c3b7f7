"""The README's two pictures, from a pack of the demo shop: ``python -m tests.browser.pictures PACK``."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from flipkit.paths import demo_folder
from tests.helpers.browser import FLAGS

#: Page, file, and the window in which it is looked at: a phone's first screens, a small window.
PICTURES = (("index.html", "this-month-phone.png", (390, 1560)), ("bulky.html", "bulky-or-small.png", (640, 1470)))


def main() -> None:
    """Take both pictures."""
    pack = Path(sys.argv[1]).resolve()
    out = demo_folder() / "pictures"
    out.mkdir(exist_ok=True)
    for page, file, (width, height) in PICTURES:
        with tempfile.TemporaryDirectory() as profile:
            window = (f"--window-size={width},{height}", "--hide-scrollbars", f"--user-data-dir={profile}")
            shot = f"--screenshot={out / file}"
            subprocess.run(["chromium", *FLAGS, *window, shot, (pack / page).as_uri()], check=True, capture_output=True)


if __name__ == "__main__":
    main()
