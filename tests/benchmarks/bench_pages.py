"""How large each page of a pack is, how soon its first chart stands, and what it writes to the console.

Run it by hand: ``python -m tests.benchmarks.bench_pages [PACK]``; without a folder the demo shop's pack is made
first. It needs Chromium and its driver. The time is from the start of the navigation to the moment at which the
first drawing is in the page, as the page itself sees it, from disk with the network off, the best and the worst of
a few openings; the aim is 1.5 s. Another busy program on the machine lengthens it.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from flipkit.pack.month import default_jobs, make_month_pack, month_plan
from flipkit.pack.page import MOST_BYTES
from tests.helpers.browser import window

AIM_MS = 1_500
OPENINGS = 3
#: Runs before any script of the page: notes when the first drawing comes.
WATCH = """
    new MutationObserver((_, watch) => {
        if (!document.querySelector('figure.chart svg')) return;
        window.firstChart = performance.now();
        watch.disconnect();
    }).observe(document, {childList: true, subtree: true});
"""


def line(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def opened(browser, page):
    """Milliseconds to the first chart, None where the page has none, and what the console said."""
    browser.driver.get("about:blank")
    browser.messages()
    browser.driver.get(page.as_uri())
    return browser.run("return window.firstChart ?? null"), browser.messages()


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        if len(sys.argv) > 1:
            pack = Path(sys.argv[1]).resolve()
        else:
            pack = make_month_pack(month_plan(out=Path(folder, "pack")), jobs=default_jobs()).folder
        with window(Path(folder, "profile")) as browser:
            browser.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
            browser.size(1280)
            line(f"{'page':40} {'kB':>6} {'of most':>8} {'first chart, ms':>16}  console")
            slowest, errors = 0.0, 0
            for page in sorted(pack.glob("*.html")):
                times, said = [], []
                for _ in range(OPENINGS):
                    time, messages = opened(browser, page)
                    times += [] if time is None else [time]
                    said += messages
                size = page.stat().st_size
                shown = f"{min(times):.0f} to {max(times):.0f}" if times else "no chart"
                line(f"{page.name:40} {size / 1e3:6.0f} {size / MOST_BYTES:8.0%} {shown:>16}  {len(said)} messages")
                for message in said[:3]:
                    line(f"    {message}")
                slowest, errors = max([slowest, *times]), errors + len(said)
            line(f"slowest first chart {slowest:.0f} ms, {slowest / AIM_MS:.2f} of the aim; {errors} console messages")


if __name__ == "__main__":
    main()
