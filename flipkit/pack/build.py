"""A month's pack made whole: pages, index, manifest, archive."""

from __future__ import annotations

import json
import os
import re
import shutil
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from html import escape
from pathlib import Path
from typing import Any, Final

from flipkit.assumptions import parsed_settings
from flipkit.errors import PackError
from flipkit.owned import left_folders, make_folder, only_one, swap, sweep
from flipkit.pack.page import document, page_figures
from flipkit.pack.run import NotebookTask, PageResult, run_notebooks
from flipkit.pack.standing import ARCHIVE, FILE, file_hashes, versions
from flipkit.reports.elements import Figure
from flipkit.reports.tables import RuleUsed

# What a pack was made from, written beside it: enough to make it again and to see what changed.

_MACHINE_PATH = re.compile(r"(?:^|[\s'\"=(])(?:/(?!/)[^/\s]+/|~/|[A-Za-z]:[\\/]|\\\\)")


@dataclass(frozen=True)
class AssumptionUsed:
    """One assumption as the run used it."""

    key: str
    value: str
    unit: str
    layer: str
    source: str = ""


@dataclass(frozen=True)
class Manifest:
    """What a pack was made from."""

    shop: str
    currency: str
    month: str
    as_of: str
    inputs: Mapping[str, str]
    assumptions: Sequence[AssumptionUsed] = ()
    rules: Sequence[RuleUsed] = ()
    left_out: Sequence[str] = ()
    notes: Sequence[str] = ()
    options: Mapping[str, Any] = field(default_factory=dict)
    #: Digest of all that the pages depend on.
    made_from: str = ""


def manifest_text(manifest: Manifest, files: Mapping[str, str]) -> str:
    """The manifest as JSON: keys sorted, no time of day, no place on this machine."""
    body = asdict(manifest)
    body["assumptions"] = sorted(body["assumptions"], key=lambda entry: entry["key"])
    body["rules"] = sorted(body["rules"], key=lambda entry: (entry["kind"], entry["name"], entry["begins"]))
    for name in ("inputs", "assumptions", "left_out", "notes", "options"):
        for text in _texts(body[name]):
            if _MACHINE_PATH.search(text):
                raise PackError(
                    name, need="free of paths of this machine", got=text, mend="name files from the books' folder"
                )
    body |= {"files": dict(files), "versions": versions()}
    return json.dumps(body, sort_keys=True, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, Mapping):
        return [text for pair in value.items() for part in pair for text in _texts(part)]
    if isinstance(value, list | tuple):
        return [text for part in value for text in _texts(part)]
    return []


# A whole pack in one file to open, and in one archive to send.

#: All pages in one file.
SINGLE: Final = "pack.html"
_MAIN = re.compile(r"<main>(.*)</main>", re.DOTALL)
_NAV = re.compile(r"<nav aria-label=.*?</nav>", re.DOTALL)
#: An archive knows the time of each file; this one is the earliest it can write.
_NO_TIME = (1980, 1, 1, 0, 0, 0)


def single_page(
    index: str, pages: Sequence[tuple[str, str]], *, title: str, home: str, plain: Sequence[str] = ()
) -> str:
    """All pages of a pack as one document: the index opens, each page shows when it is asked for, paper shows all.

    The style sheet alone shows and hides, so the way through works without scripts too.
    """
    anchors = {home: _anchor(home), **{f"{name}.html": name for name, _ in pages}}
    opening = f'<div id="{_anchor(home)}">\n{_body("index", index, anchors, plain)}\n</div>\n'
    shown = "".join(
        f'<div class="page" id="{escape(name)}">\n{_body(name, text, anchors, plain)}\n</div>\n' for name, text in pages
    )
    return document(title, f"<main>\n{opening}{shown}</main>\n")


def write_archive(folder: Path, file: Path) -> None:
    """Every file of a folder in one archive; the same files give the same bytes."""
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path != file)
    with zipfile.ZipFile(file, "w") as archive:
        for path in found:
            entry = zipfile.ZipInfo(path.relative_to(folder).as_posix(), date_time=_NO_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, path.read_bytes(), compresslevel=9)


def _body(name: str, text: str, anchors: Mapping[str, str], plain: Sequence[str]) -> str:
    """What a page shows, its links those of one document."""
    found = _MAIN.search(text)
    if found is None:
        raise PackError("a page of the pack", need="a main part", got="none", where=name)
    top, *foot = [*_NAV.findall(text), ""]
    body = "\n".join([top, found[1].strip(), *foot]).strip()
    for file, place in anchors.items():
        # A link to a part of a page keeps the part, whose name is its own in the whole pack.
        body = body.replace(f'href="{file}"', f'href="#{place}"').replace(f'href="{file}#', 'href="#')
    for file in plain:
        body = body.replace(f'<a href="{file}">{file}</a>', file)
    return body


def _anchor(file: str) -> str:
    return file.removesuffix(".html")


# A month's pack: the pages, the first of which opens it, a manifest; put in place whole or not at all.

INDEX: Final = "index.html"
#: Added to the pack's name for what a failed run leaves: the pages that were made.
UNFINISHED: Final = "-unfinished"
#: Room that a pack of pages, with the one before it, may need on the disk. [bytes]
LEAST_FREE: Final = 100_000_000
#: What programs leave in a folder that is looked at; nobody's work.
_LITTER = {".ipynb_checkpoints", ".DS_Store", "Thumbs.db", "desktop.ini"}


@dataclass(frozen=True)
class Pack:
    """A finished pack."""

    folder: Path
    index: Path
    results: tuple[PageResult, ...]


def make_pack(
    pages: Sequence[NotebookTask],
    out: Path,
    *,
    title: str,
    manifest: Manifest,
    jobs: int = 1,
    on_done: Callable[[PageResult], object] | None = None,
    before: Callable[[Path], object] | None = None,
    ways: Mapping[str, str] | None = None,
    **running: Any,
) -> Pack:
    """Make every page and the manifest in a new folder, then put it in the place of the old one.

    The page named ``index`` opens the pack. ``ways`` leads from what a row is called, or from the name in brackets at
    its end, to the page of it.
    """
    with replacing(out) as folder:
        if before is not None:
            before(folder)
        results = run_notebooks(pages, folder, jobs=jobs, on_done=on_done, home=(INDEX, title), **running)
        failed = [result.error for result in results if result.error is not None]
        if failed:
            raise PackError(
                "the pack",
                need="made of pages that all ran",
                got=f"{len(failed)} of {len(results)} pages failed",
                where="; ".join(str(error) for error in failed),
                mend=f"the pages that were made are in {out.name}{UNFINISHED}" if len(failed) < len(results) else "",
            )
        titles = {result.name: result.title for result in results}
        texts = [(result.name, (folder / f"{result.name}.html").read_text(encoding="utf-8")) for result in results]
        require_agreement([(titles[name], page_figures(text)) for name, text in texts])
        if ways:
            texts = [(name, linked_rows(text, ways, here=f"{name}.html")) for name, text in texts]
            for name, text in texts:
                _write(folder / f"{name}.html", text)
        [opening] = [text for name, text in texts if name == _anchor(INDEX)]
        others = [(name, text) for name, text in texts if name != _anchor(INDEX)]
        # What lies beside the pages is not in the one file.
        beside = [FILE, SINGLE, *(path.name for path in folder.iterdir() if path.suffix in (".csv", ".json"))]
        _write(folder / SINGLE, single_page(opening, others, title=title, home=INDEX, plain=beside))
        _write(folder / FILE, manifest_text(manifest, file_hashes(folder)))
        # The archive holds the manifest, so the manifest cannot hold the archive's digest.
        write_archive(folder, folder / ARCHIVE)
    moved = [_moved(result, folder, out) for result in results]
    return Pack(out, out / INDEX, tuple(moved))


_CELL = re.compile(r"(<(t[hd])(?: [^>]*)?>)([^<>]+)(</\2>)")
_IN_BRACKETS = re.compile(r"\(([^()]+)\)$")


def linked_rows(page: str, ways: Mapping[str, str], *, here: str = "") -> str:
    """A page whose cells lead to the page of what they name, but for the page itself.

    >>> linked_rows("<tr><th>Lamp (R-1)</th><td>lamps</td></tr>", {"lamps": "lamps.html"})
    '<tr><th>Lamp (R-1)</th><td><a href="lamps.html">lamps</a></td></tr>'
    """
    known = {escape(name): file for name, file in ways.items() if file != here}

    def linked(cell: re.Match[str]) -> str:
        begin, _, text, end = cell.groups()
        named = _IN_BRACKETS.search(text)
        # A row may name a category and its size, or an item with its number in brackets.
        file = known.get(text) or known.get(text.rpartition(", ")[0]) or (known.get(named[1]) if named else None)
        return f'{begin}<a href="{file}">{text}</a>{end}' if file else cell[0]

    return _CELL.sub(linked, page)


def require_agreement(pages: Sequence[tuple[str, Sequence[Figure]]]) -> None:
    """Stop where two pages, or two places of one, have two values for one quantity.

    >>> require_agreement([("Stock", [Figure("sales", "shop", "2026-10-31", 2)])])
    """
    first: dict[tuple[str, str, str], tuple[str, int | str | None]] = {}
    for title, figures in pages:
        for name, scope, day, value in figures:
            where, known = first.setdefault((name, scope, day), (title, value))
            if known != value:
                raise PackError(
                    f"{name}, {scope}, {day}",
                    need="one value on all pages",
                    got=f"{known} on “{where}” and {value} on “{title}”",
                    mend="this is a fault of the kit: please report it",
                )


@contextmanager
def replacing(out: Path) -> Iterator[Path]:
    """A new folder beside ``out`` to fill, which takes its place when the block ends well."""
    require_writable(out)
    out.parent.mkdir(parents=True, exist_ok=True)
    with only_one(out, "the pack's folder"):
        heal(out)
        require_replaceable(out)
        new = make_folder(out.parent, _new(out))
        try:
            _open_to_others(new)
            yield new
            _swap(new, out)
        except BaseException:
            _keep_unfinished(new, out)
            raise
        shutil.rmtree(_unfinished(out), ignore_errors=True)


def require_writable(out: Path) -> None:
    """Refuse a place where nothing can be written, a pack may find no room, or another run is at work."""
    place = next(folder for folder in out.absolute().parents if folder.exists())
    if not place.is_dir() or not os.access(place, os.W_OK | os.X_OK):
        raise PackError(
            "the pack's folder",
            need="in a folder that you may write to",
            got=str(out),
            mend="name another with --out",
        )
    free = shutil.disk_usage(place).free
    if free < LEAST_FREE:
        raise PackError(
            "the pack's disk",
            need=f"free by at least {LEAST_FREE // 1_000_000} MB",
            got=f"{free // 1_000_000} MB",
            mend="make room, or name a folder on another disk with --out",
        )
    if place == out.absolute().parent:
        with only_one(out, "the pack's folder"):
            pass  # held by nobody now; it is held for good while the pack is made


def heal(out: Path) -> None:
    """Put back what a run that was killed between two steps left, and remove the rest of it."""
    if not out.exists():
        for left in left_folders(out.parent, _old(out)):
            if (left / out.name).is_dir():
                (left / out.name).rename(out)
                break
    for prefix in (_old(out), _new(out)):
        sweep(out.parent, prefix)


def _new(out: Path) -> str:
    return f".{out.name}-new-"


def _old(out: Path) -> str:
    return f".{out.name}-old-"


def require_replaceable(out: Path) -> None:
    """Refuse a folder that holds anything but an earlier pack."""
    if not out.exists():
        return
    if not out.is_dir():
        raise PackError("the pack's folder", need="a folder", got=str(out), mend="name another with --out")
    own = _own_files(out)
    present = (path.relative_to(out) for path in out.rglob("*") if path.is_file() or path.is_symlink())
    strange = sorted(str(path) for path in present if path.as_posix() not in own and not _LITTER & set(path.parts))
    if strange:
        more = f" and {len(strange) - 3} more" if len(strange) > 3 else ""
        raise PackError(
            "the pack's folder",
            need="new, empty or an earlier pack, which is replaced whole",
            got=str(out),
            where=f"it also holds {', '.join(strange[:3])}{more}",
            mend="move that elsewhere or name another folder with --out",
        )


def _own_files(out: Path) -> set[str]:
    try:
        listed: Iterable[str] = json.loads((out / FILE).read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return set()
    return {*listed, FILE, ARCHIVE}


def _swap(new: Path, out: Path) -> None:
    if not out.exists():
        new.rename(out)
    elif swap(new, out):
        shutil.rmtree(new, ignore_errors=True)
    else:
        old = make_folder(out.parent, _old(out)) / out.name
        try:
            out.rename(old)
            new.rename(out)
        except BaseException:
            if old.exists():
                old.rename(out)
            old.parent.rmdir()
            raise
        shutil.rmtree(old.parent, ignore_errors=True)


def _keep_unfinished(new: Path, out: Path) -> None:
    """Keep the pages of a failed run beside the pack, if there are any."""
    place = _unfinished(out)
    if any(new.glob("*.html")):
        shutil.rmtree(place, ignore_errors=True)
        new.rename(place)
    else:
        shutil.rmtree(new, ignore_errors=True)


def _unfinished(out: Path) -> Path:
    return out.with_name(f"{out.name}{UNFINISHED}")


def _open_to_others(folder: Path) -> None:
    """Give a temporary folder, which only its owner may read, the rights of any new folder."""
    if os.name == "posix":
        mask = os.umask(0)
        os.umask(mask)
        folder.chmod(0o777 & ~mask)


def _write(file: Path, text: str) -> None:
    file.write_text(text, encoding="utf-8", newline="\n")


def _moved(result: PageResult, folder: Path, out: Path) -> PageResult:
    def place(path: Path | None) -> Path | None:
        return None if path is None else out / path.relative_to(folder.resolve())

    return PageResult(
        result.name, result.title, place(result.page), place(result.notebook), result.error, result.warnings
    )


# An earlier run made again from its manifest: the same books give the same bytes.


@dataclass(frozen=True)
class EarlierRun:
    """What a manifest says of the run that wrote it."""

    text: str
    month: str
    as_of: str
    inputs: Mapping[str, str]
    categories: tuple[str, ...]
    settings: Mapping[str, str]

    def require_same_books(self, hashes: Mapping[str, str]) -> None:
        """Refuse books that are not those of the run."""
        names = sorted({*self.inputs, *hashes})
        said = [
            f"{name} is {'missing' if name not in hashes else 'new' if name not in self.inputs else 'changed'}"
            for name in names
            if hashes.get(name) != self.inputs.get(name)
        ]
        if said:
            more = f" and {len(said) - 3} more" if len(said) > 3 else ""
            raise PackError(
                "the books",
                need=f"those of the run of {self.month} as of {self.as_of}",
                got="others",
                where=", ".join(said[:3]) + more,
                mend="name the books of that day, or leave --again out to report on these",
            )

    def differences(self, text: str) -> list[str]:
        """Why a new run's manifest is not the earlier one's, a line each."""
        if text == self.text:
            return []
        old, new = json.loads(self.text), json.loads(text)
        found = []
        for key in sorted({*old, *new}):
            before, after = old.get(key), new.get(key)
            if before == after:
                continue
            if isinstance(before, dict) and isinstance(after, dict):
                names = [name for name in sorted({*before, *after}) if before.get(name) != after.get(name)]
                found.append(f"{key} differ: {', '.join(names[:5])}{' ...' if len(names) > 5 else ''}")
            else:
                found.append(f"{key} differ")
        return found or ["the manifest is written otherwise"]


def read_run(file: Path) -> EarlierRun:
    """The run that a manifest tells of."""
    place = file / "run.json" if file.is_dir() else file
    try:
        text = place.read_text(encoding="utf-8")
        body: dict[str, Any] = json.loads(text)
        options = body["options"]
        return EarlierRun(
            text,
            body["month"],
            body["as_of"],
            dict(body["inputs"]),
            tuple(options["categories"]),
            parsed_settings(options["settings"]),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as problem:
        raise PackError(
            "--again",
            need="the run.json of a pack that this kit made",
            got=place.name,
            where=f"{type(problem).__name__}: {problem}",
        ) from problem
