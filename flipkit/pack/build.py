"""A month's pack: the pages, an index that leads to them, a manifest; put in place whole or not at all."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from flipkit.errors import PackError
from flipkit.pack.page import TEMPLATES, policy, style_sheet
from flipkit.pack.run import NotebookTask, PageResult, run_notebooks
from flipkit.reports import manifest as manifests
from flipkit.reports.manifest import Manifest
from flipkit.reports.single import ARCHIVE, SINGLE, single_page, write_archive

INDEX: Final = "index.html"
#: Added to the pack's name for what a failed run leaves: the pages that were made.
UNFINISHED: Final = "-unfinished"
#: What programs leave in a folder that is looked at; nobody's work.
_LITTER = {".ipynb_checkpoints", ".DS_Store", "Thumbs.db", "desktop.ini"}


@dataclass(frozen=True)
class PackPage:
    """One page of a pack: what makes it and how the index speaks of it.

    Attributes
    ----------
    task : NotebookTask
        The notebook, its parameters, name and title.
    sentence : str
        What the page says, in one sentence, for the index.
    group : str
        Heading of the index under which it stands; pages of a group follow one another.
    """

    task: NotebookTask
    sentence: str = ""
    group: str = ""


@dataclass(frozen=True)
class Pack:
    """A finished pack.

    Attributes
    ----------
    folder, index : Path
        Where it is, and the page to open.
    results : tuple of PageResult
        What became of each task.
    """

    folder: Path
    index: Path
    results: tuple[PageResult, ...]


def make_pack(
    pages: Sequence[PackPage],
    out: Path,
    *,
    title: str,
    manifest: Manifest,
    lead: str = "",
    notes: Sequence[str] = (),
    jobs: int = 1,
    on_done: Callable[[PageResult], object] | None = None,
    before: Callable[[Path], object] | None = None,
    **running: Any,
) -> Pack:
    """Make every page, the index and the manifest in a new folder, then put it in the place of the old one.

    Parameters
    ----------
    pages : sequence of PackPage
        The pages in order.
    out : Path
        The pack's folder; an earlier pack there is replaced, anything else is not.
    title : str
        Title of the index.
    manifest : Manifest
        What the figures come from.
    lead : str
        The sentence that opens the index.
    notes : sequence of str
        What was left out and what else to know, below the list of pages.
    jobs : int
        How many notebooks run at a time.
    on_done : callable, optional
        Called with each result as it comes.
    before : callable, optional
        Called with the new folder before any notebook runs, to put into it what they read.
    **running : object
        Further arguments of :func:`~flipkit.pack.run.run_notebooks`.

    Returns
    -------
    Pack
        The pack.

    Raises
    ------
    PackError
        If ``out`` holds something that no pack of ours put there, or a page failed: then the old
        pack stands as it was, and the pages that were made are in a folder beside it.
    """
    with replacing(out) as folder:
        if before is not None:
            before(folder)
        tasks = [page.task for page in pages]
        results = run_notebooks(tasks, folder, jobs=jobs, on_done=on_done, home=(INDEX, title), **running)
        failed = [result.error for result in results if result.error is not None]
        if failed:
            raise PackError(
                "the pack",
                need="made of pages that all ran",
                got=f"{len(failed)} of {len(results)} pages failed",
                where="; ".join(str(error) for error in failed),
                mend=f"the pages that were made are in {out.name}{UNFINISHED}",
            )
        titles = {result.name: result.title for result in results}
        texts = [(result.name, (folder / f"{result.name}.html").read_text(encoding="utf-8")) for result in results]
        alone = index_text(pages, title=title, lead=lead, notes=notes, titles=titles)
        _write(folder / SINGLE, single_page(alone, texts, title=title, home=INDEX, plain=[manifests.FILE]))
        _write(folder / INDEX, index_text(pages, title=title, lead=lead, notes=notes, titles=titles, single=SINGLE))
        _write(folder / manifests.FILE, manifests.manifest_text(manifest, manifests.file_hashes(folder)))
        # The archive holds the manifest, so the manifest cannot hold the archive's digest.
        write_archive(folder, folder / ARCHIVE)
    moved = [_moved(result, folder, out) for result in results]
    return Pack(out, out / INDEX, tuple(moved))


def index_text(
    pages: Sequence[PackPage],
    *,
    title: str,
    lead: str = "",
    notes: Sequence[str] = (),
    titles: Mapping[str, str] | None = None,
    single: str = "",
) -> str:
    """The page that leads to all others.

    Parameters
    ----------
    pages : sequence of PackPage
        The pages in order.
    title : str
        Title.
    lead : str
        The sentence that opens it.
    notes : sequence of str
        What stands below the list.
    titles : mapping of str to str, optional
        Name of a page to the title it turned out to have.
    single : str
        The file that holds all pages, to link to; no link where empty.

    Returns
    -------
    str
        HTML.

    Examples
    --------
    >>> page = PackPage(NotebookTask("stock", Path("stock.ipynb"), title="Stock"), "What waits.")
    >>> '<a href="stock.html">Stock</a>' in index_text([page], title="October")
    True
    """
    import jinja2

    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, keep_trailing_newline=True)
    template = environment.from_string((TEMPLATES / "index.html.j2").read_text(encoding="utf-8"))
    groups: list[tuple[str, list[tuple[str, str, str]]]] = []
    for page in pages:
        if not groups or groups[-1][0] != page.group:
            groups.append((page.group, []))
        name = page.task.name
        groups[-1][1].append((f"{name}.html", (titles or {}).get(name) or page.task.title or name, page.sentence))
    words = {
        "title": title,
        "lead": lead,
        "notes": notes,
        "groups": groups,
        "manifest": manifests.FILE,
        "single": single,
    }
    return template.render(words, policy=policy(), style=style_sheet())


@contextmanager
def replacing(out: Path) -> Iterator[Path]:
    """A new folder beside ``out`` to fill, which takes its place when the block ends well.

    Parameters
    ----------
    out : Path
        Where the folder is to stand; an earlier pack there is replaced.

    Yields
    ------
    Path
        The new folder.

    Raises
    ------
    PackError
        If ``out`` is a file, or holds something that no pack of ours put there.
    """
    require_replaceable(out)
    out.parent.mkdir(parents=True, exist_ok=True)
    new = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    try:
        _open_to_others(new)
        yield new
    except BaseException:
        _keep_unfinished(new, out)
        raise
    _swap(new, out)
    shutil.rmtree(_unfinished(out), ignore_errors=True)


def require_replaceable(out: Path) -> None:
    """Refuse a folder that holds anything but an earlier pack.

    Parameters
    ----------
    out : Path
        Where a pack is to stand.

    Raises
    ------
    PackError
        If it is a file, or holds something that no pack of ours put there.
    """
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
        listed: Iterable[str] = json.loads((out / manifests.FILE).read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    return {*listed, manifests.FILE, ARCHIVE}


def _swap(new: Path, out: Path) -> None:
    old: Path | None = None
    if out.exists():
        old = Path(tempfile.mkdtemp(prefix=f".{out.name}-old-", dir=out.parent)) / out.name
        out.rename(old)
    try:
        new.rename(out)
    except BaseException:
        if old is not None:
            old.rename(out)
        raise
    finally:
        if old is not None:
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
