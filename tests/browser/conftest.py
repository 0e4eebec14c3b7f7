"""Windows and pages that the browser tests of one worker share."""

from __future__ import annotations

import shutil
import subprocess
import tarfile

import pytest

from tests.helpers.browser import lacking, window
from tests.helpers.gallery import gallery_page
from tests.helpers.small_packs import two_page_pack


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    with window(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="session")
def gallery(tmp_path_factory):
    """A page with every chart, on disk."""
    file = tmp_path_factory.mktemp("a folder with spaces") / "gallery.html"
    file.write_text(gallery_page(), encoding="utf-8")
    return file


@pytest.fixture
def page(browser):
    """A browser at a wide light window, for tests that change what they look at."""
    browser.size(1280)
    browser.dark(False)
    return browser


@pytest.fixture(scope="session")
def desk(gallery, tmp_path_factory):
    """The gallery at a wide window, opened once, for tests that only look."""
    with window(tmp_path_factory.mktemp("profile")) as opened:
        opened.size(1280)
        opened.open(gallery)
        yield opened


@pytest.fixture(scope="session")
def phone(gallery, tmp_path_factory):
    """The gallery on a phone 360 pixels wide, opened once, for tests that only look."""
    with window(tmp_path_factory.mktemp("profile")) as opened:
        opened.size(360, 780, phone=True)
        opened.open(gallery)
        yield opened


@pytest.fixture(scope="session")
def small_pack(tmp_path_factory):
    """A pack of the fixture notebook: an opening page and two more."""
    return two_page_pack(tmp_path_factory.mktemp("packs"))


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """The accessibility rules of axe-core, from the npm registry."""
    npm = shutil.which("npm")
    if npm is None:
        lacking("npm is not installed (Debian: apt-get install npm), so axe-core cannot be fetched")
    folder = tmp_path_factory.mktemp("axe")
    command = [npm, "pack", "--silent", "axe-core@4.14.1"]
    try:
        subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=90)
    except (subprocess.SubprocessError, OSError) as error:
        lacking(f"axe-core could not be fetched: {error}")
    with tarfile.open(next(folder.glob("*.tgz"))) as packed:
        script = packed.extractfile("package/axe.min.js")
        return script.read().decode()
