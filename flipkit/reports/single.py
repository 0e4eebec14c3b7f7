"""A whole pack in one file to open, and in one archive to send."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import Final

from flipkit.errors import PackError
from flipkit.pack.page import TEMPLATES, policy, style_sheet
from flipkit.reports.library import drawing_library

#: All pages in one file; the pack as an archive.
SINGLE: Final = "pack.html"
ARCHIVE: Final = "pack.zip"
_MAIN = re.compile(r"<main>(.*)</main>", re.DOTALL)
_NAV = re.compile(r'<nav aria-label="Pages">.*?</nav>', re.DOTALL)
_FIGURE = 'id="chart-'
#: An archive knows the time of each file; this one is the earliest it can write.
_NO_TIME = (1980, 1, 1, 0, 0, 0)


def single_page(
    index: str, pages: Sequence[tuple[str, str]], *, title: str, home: str, plain: Sequence[str] = ()
) -> str:
    """All pages of a pack as one document: the index opens, each page shows when it is asked for.

    The style sheet alone shows and hides, so the way through works without scripts too. The drawing
    library stands in it once, and a page's charts are drawn when the page is first seen.

    Parameters
    ----------
    index : str
        The page that leads to the others, as HTML.
    pages : sequence of (str, str)
        Name and HTML of each page.
    title : str
        Title of the document.
    home : str
        File name by which the pages call the index.
    plain : sequence of str
        Files that the pages link to and that do not travel with this one: the link becomes its words.

    Returns
    -------
    str
        HTML that asks the network for nothing.

    Raises
    ------
    PackError
        If a page has not the form that the kit gives its pages.

    Examples
    --------
    >>> both = single_page("<main><h1>A</h1><a href='#x'>b</a></main>", [("b", "<main>B</main>")], title="A",
    ...     home="index.html")
    >>> both.count("<main>"), '<div class="page" id="b">' in both
    (1, True)
    """
    shown = "".join(
        f'<div class="page" id="{escape(name)}">\n{_body(name, text, pages, home, plain)}\n</div>\n'
        for name, text in pages
    )
    # Last, so that a page before it can hide it: see the style sheet.
    opening = f'<div id="{_anchor(home)}">\n{_body("index", index, pages, home, plain)}\n</div>\n'
    drawn = any(_FIGURE in text for _, text in pages)
    scripts = [drawing_library(), (TEMPLATES / "draw.js").read_text(encoding="utf-8")] if drawn else []
    drawing = "".join(f"<script>{script}</script>\n" for script in scripts)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy()}">\n'
        '<meta name="color-scheme" content="light dark">\n<link rel="icon" href="data:,">\n'
        f"<title>{escape(title)}</title>\n<style>\n{style_sheet()}</style>\n</head>\n<body>\n<main>\n"
        f"{shown}{opening}</main>\n{drawing}</body>\n</html>\n"
    )


def write_archive(folder: Path, file: Path) -> None:
    """Every file of a folder in one archive; the same files give the same bytes.

    Parameters
    ----------
    folder : Path
        The pack.
    file : Path
        The archive; itself left out where it lies in the folder.
    """
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path != file)
    with zipfile.ZipFile(file, "w") as archive:
        for path in found:
            entry = zipfile.ZipInfo(path.relative_to(folder).as_posix(), date_time=_NO_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, path.read_bytes(), compresslevel=9)


def _body(name: str, text: str, pages: Sequence[tuple[str, str]], home: str, plain: Sequence[str]) -> str:
    """What a page shows, its names made its own and its links those of one document."""
    found = _MAIN.search(text)
    if found is None:
        raise PackError("a page of the pack", need="a main part", got="none", where=name)
    ways = _NAV.search(text)
    body = (f"{ways[0]}\n" if ways else "") + found[1].strip()
    body = body.replace(_FIGURE, f'id="{name}-chart-')
    for file, place in [(home, _anchor(home)), *((f"{page}.html", page) for page, _ in pages)]:
        body = body.replace(f'href="{file}"', f'href="#{place}"')
    for file in plain:
        body = body.replace(f'<a href="{file}">{file}</a>', file)
    return body


def _anchor(file: str) -> str:
    return file.removesuffix(".html")
