"""Debian's Chromium without a network, opening pages from disk."""

from __future__ import annotations

import json
import os
import shutil
from contextlib import contextmanager

import pytest

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-dev-shm-usage",
    # No name resolves: what asks for the network gets an error, which the tests see.
    "--host-resolver-rules=MAP * ~NOTFOUND",
]


#: How far what a page shows moved by itself, each time.
SHIFTS = """
    const done = arguments[0];
    new PerformanceObserver(list => done(list.getEntries().map(e => e.value)))
        .observe({type: 'layout-shift', buffered: true});
    setTimeout(() => done([]), 500);
"""


def chromium():
    """The browser and its driver, or None: a seller's machine may lack them, the checks' may not."""
    found = shutil.which("chromium"), shutil.which("chromedriver")
    if all(found):
        return found
    lacking("chromium and chromedriver are not installed (Debian: apt-get install chromium chromium-driver)")
    return None


def lacking(missing):
    """What a test needs is not there: in the checks that is a failure, on a seller's own machine it is skipped."""
    if os.environ.get("CI") == "true":
        pytest.fail(missing)
    pytest.skip(missing)


class Browser:
    """A window on pages that keeps what the page said and asked for; on pages from disk where it is offline."""

    def __init__(self, driver, *, offline=True):
        self.driver = driver
        driver.execute_cdp_cmd("Network.enable", {})
        if not offline:
            return
        nothing = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
        driver.execute_cdp_cmd("Network.emulateNetworkConditions", nothing)

    def size(self, width, height=900, *, phone=False):
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)

    def dark(self, on):
        feature = {"name": "prefers-color-scheme", "value": "dark" if on else "light"}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [feature]})

    def open(self, file):
        """Open a page; what it says and asks for is heard from here on."""
        self.messages()
        self.requests()
        self.driver.get(file.as_uri())

    def run(self, script, *arguments):
        return self.driver.execute_script(script, *arguments)

    def broken(self, axe):
        """Rules of accessibility that the page breaks or leaves open, but for contrast, which has a test of its own."""
        self.driver.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
        return self.driver.execute_async_script(
            "const done = arguments[0];"
            "const open = r => r.incomplete.filter(v => v.id !== 'color-contrast');"
            "axe.run(document).then(r => done([...r.violations, ...open(r)].map(v => `${v.id}: ${v.nodes[0].html}`)),"
            " e => done([`${e}`]));"
        )

    def messages(self):
        """What the page wrote to the console since last asked, warnings too."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def requests(self):
        """Addresses asked for since last asked, and why each was stopped where it was: (address, reason) pairs."""
        events = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        sent, stopped = {}, {}
        for event in events:
            known = event.get("params", {})
            if event["method"] == "Network.requestWillBeSent":
                sent[known["requestId"]] = known["request"]["url"]
            elif event["method"] == "Network.loadingFailed":
                stopped[known["requestId"]] = known.get("blockedReason") or known.get("errorText", "")
        # What the browser asks itself for, such as its first empty tab's pictures, is not the page's doing.
        own = ("data:", "chrome:")
        return [(url, stopped.get(key, "")) for key, url in sent.items() if not url.startswith(own)]


@contextmanager
def window(folder, *, host=""):
    """A browser of its own, which reaches nothing but a server on this machine where one is named."""
    binary, driver = chromium()
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = binary
    reached = [f"{FLAGS[-1]}, EXCLUDE {host}"] if host else FLAGS[-1:]
    for flag in [*FLAGS[:-1], *reached, f"--user-data-dir={folder}"]:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with webdriver.Chrome(options=options, service=Service(driver)) as opened:
        yield Browser(opened, offline=not host)
