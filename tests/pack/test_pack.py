"""A pack: whole or not at all, the same bytes twice, and never in the place of something else."""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
import sys
import zipfile

import pytest

from flipkit.charts.style import MIME_TYPE, PICTURE_TYPE
from flipkit.errors import PackError
from flipkit.owned import only_one
from flipkit.pack.build import UNFINISHED, Manifest, make_pack, replacing, require_replaceable
from flipkit.pack.run import NotebookTask
from tests.helpers.without_kernels import without_kernels

MANIFEST = Manifest("A shop", "USD", "2026-10", "2026-11-14", {"items.csv": "ab"})


@pytest.fixture(autouse=True)
def no_kernels():
    """How a pack is put together is looked at here; kernels are in ``test_runner``."""
    with without_kernels():
        yield


def files(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def make(small_notebook, tmp_path):
    """Make a pack of two pages; parameters of the second may be given."""

    def made(out=None, **second):
        pages = [
            NotebookTask("index", small_notebook, title="The month"),
            NotebookTask("lamps", small_notebook, second, bar="Lamps"),
        ]
        return make_pack(pages, out or tmp_path / "pack", title="October", manifest=MANIFEST, jobs=2)

    return made


@pytest.fixture
def old_pack(tmp_path):
    """An earlier pack, of one page, as the manifest lists it."""
    out = tmp_path / "pack"
    out.mkdir()
    (out / "old.html").write_text("old")
    (out / "run.json").write_text(json.dumps({"files": {"old.html": "x"}}))
    return out


def test_a_pack_is_pages_notebooks_index_and_manifest(make):
    pack = make()
    assert set(files(pack.folder)) == {
        "index.html",
        "lamps.html",
        "notebooks/index.ipynb",
        "notebooks/lamps.ipynb",
        "pack.html",
        "pack.zip",
        "run.json",
    }
    assert pack.index == pack.folder / "index.html"
    assert [result.page for result in pack.results] == [pack.folder / "index.html", pack.folder / "lamps.html"]
    assert all(result.page.is_file() and result.notebook.is_file() for result in pack.results)


def test_twice_the_same_bytes_wherever_it_is_made(make, tmp_path):
    first = files(make(tmp_path / "one").folder)
    second = files(make(tmp_path / "elsewhere" / "two {x}").folder)
    assert first == second
    assert files(make(tmp_path / "one").folder) == first


def test_the_manifest_lists_each_file_with_its_digest(make):
    pack = make()
    listed = json.loads((pack.folder / "run.json").read_text())["files"]
    found = files(pack.folder)
    del found["run.json"]
    del found["pack.zip"]  # which holds the manifest
    assert listed == {name: hashlib.sha256(content).hexdigest() for name, content in found.items()}


def test_the_archive_holds_the_pack_whole_and_no_time(make):
    folder = make().folder
    with zipfile.ZipFile(folder / "pack.zip") as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
        times = {entry.date_time for entry in archive.infolist()}
    found = files(folder)
    del found["pack.zip"]
    assert held == found
    assert list(held) == sorted(held)
    assert times == {(1980, 1, 1, 0, 0, 0)}


def test_one_file_holds_every_page(make):
    folder = make().folder
    text = (folder / "pack.html").read_text(encoding="utf-8")
    assert text.count("<main>") == text.count("<script>") == 1
    for link in ('href="#lamps"', 'href="#index"'):
        assert link in text
    body = text.split("<body", 1)[1].split("<script>")[0]
    assert re.findall(r".{0,60}\.html.{0,40}", body) == [], "a link leaves the one file"
    ids = re.findall(r'id="([^"]+)"', body)
    assert len(ids) == len(set(ids)), "no two pages share a name"
    assert {"lamps", "index", "index-chart-1", "lamps-chart-1"} <= set(ids)


def test_a_notebook_of_the_pack_holds_its_charts_as_pictures(make):
    notebook = json.loads((make().folder / "notebooks" / "lamps.ipynb").read_text(encoding="utf-8"))
    outputs = [output["data"] for cell in notebook["cells"] for output in cell.get("outputs", []) if "data" in output]
    drawn = [data for data in outputs if MIME_TYPE in data]
    assert drawn
    for data in drawn:
        assert 'src="data:image/svg+xml;base64,' in "".join(data[PICTURE_TYPE])


def test_an_earlier_pack_is_replaced_whole(make, old_pack):
    make()
    assert not (old_pack / "old.html").exists()
    assert (old_pack / "index.html").exists()
    assert [path.name for path in old_pack.parent.iterdir() if "pack" in path.name] == ["pack"]


def test_a_failed_page_leaves_the_earlier_pack_as_it_was(make, old_pack):
    before = files(old_pack)
    with pytest.raises(PackError) as caught:
        make(factor="x")
    assert files(old_pack) == before
    assert "1 of 2 pages failed" in str(caught.value)
    assert "small.ipynb cell" in str(caught.value)
    assert "pack-unfinished" in str(caught.value)
    unfinished = files(old_pack.with_name("pack-unfinished"))
    assert "index.html" in unfinished
    assert "lamps.html" not in unfinished


def test_the_next_whole_run_clears_what_the_failed_one_left(make, tmp_path):
    with pytest.raises(PackError):
        make(factor="x")
    make()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pack"]


def test_nothing_is_left_where_nothing_was_made(tmp_path):
    def fail(folder):
        raise OSError("no space")

    with pytest.raises(OSError, match="no space"):
        make_pack([], tmp_path / "pack", title="t", manifest=MANIFEST, before=fail)
    assert list(tmp_path.iterdir()) == []


def test_a_swap_that_fails_puts_the_earlier_pack_back(old_pack, monkeypatch):
    # In one step nothing can fail between; this is the way of systems that need two.
    monkeypatch.setattr("flipkit.pack.build.swap", lambda new, old: False)
    before = files(old_pack)
    rename = type(old_pack).rename

    def failing(self, target):
        if self.name.startswith(".pack-") and self.parent == old_pack.parent:
            raise OSError("device gone")
        return rename(self, target)

    monkeypatch.setattr(type(old_pack), "rename", failing)
    with pytest.raises(OSError, match="device gone"), replacing(old_pack) as folder:
        (folder / "index.html").write_text("new")
    assert files(old_pack) == before


def test_a_page_that_another_program_holds_keeps_both_packs(old_pack, monkeypatch):
    # As on Windows, where a folder cannot be renamed while a spreadsheet has a file of it open.
    monkeypatch.setattr("flipkit.pack.build.swap", lambda new, old: False)
    before = files(old_pack)
    rename = type(old_pack).rename

    def held(self, target):
        if self == old_pack:
            raise PermissionError(13, "used by another process", str(self))
        return rename(self, target)

    monkeypatch.setattr(type(old_pack), "rename", held)
    with pytest.raises(PermissionError), replacing(old_pack) as folder:
        (folder / "index.html").write_text("new")
    assert files(old_pack) == before
    unfinished = old_pack.with_name(f"{old_pack.name}{UNFINISHED}")
    assert (unfinished / "index.html").read_text() == "new"
    assert {path.name for path in old_pack.parent.iterdir()} == {old_pack.name, unfinished.name}


@pytest.mark.skipif(sys.platform == "win32", reason="has a lock of its own")
def test_a_lock_that_is_denied_is_held_by_another_run(tmp_path, monkeypatch):
    # So Windows answers; a disk without locks answers otherwise.
    monkeypatch.setattr("fcntl.flock", lambda *_: (_ for _ in ()).throw(PermissionError(13, "denied")))
    with pytest.raises(PackError, match="another run is writing it now"), only_one(tmp_path / "pack", "the folder"):
        pass


@pytest.mark.parametrize("name", ["taxes.xlsx", "notebooks/mine.ipynb", "photos/lamp.jpg"])
def test_a_folder_with_something_of_the_sellers_is_refused(old_pack, name):
    file = old_pack / name
    file.parent.mkdir(exist_ok=True)
    file.write_text("mine")
    with pytest.raises(PackError) as caught:
        require_replaceable(old_pack)
    assert name.replace("/", os.sep) in str(caught.value)
    assert "name another folder with --out" in str(caught.value)
    assert file.read_text() == "mine"


def test_what_looking_at_a_pack_leaves_in_it_is_no_obstacle(old_pack):
    (old_pack / ".ipynb_checkpoints").mkdir()
    (old_pack / ".ipynb_checkpoints" / "a-checkpoint.ipynb").write_text("{}")
    (old_pack / ".DS_Store").write_text("")
    require_replaceable(old_pack)


def test_a_folder_that_was_never_a_pack_is_refused(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(PackError, match="new, empty or an earlier pack"), replacing(tmp_path):
        pass
    assert (tmp_path / "letter.txt").exists()


def test_a_manifest_that_cannot_be_read_owns_nothing(old_pack):
    (old_pack / "run.json").write_text("{not json")
    with pytest.raises(PackError, match=r"it also holds old\.html, run\.json"):
        require_replaceable(old_pack)


def test_a_file_in_the_way_is_refused(tmp_path):
    file = tmp_path / "pack"
    file.write_text("x")
    with pytest.raises(PackError, match="must be a folder"):
        require_replaceable(file)


@pytest.mark.parametrize("make_it", [lambda path: None, lambda path: path.mkdir()])
def test_a_new_or_empty_folder_will_do(tmp_path, make_it):
    make_it(tmp_path / "pack")
    require_replaceable(tmp_path / "pack")


@pytest.mark.skipif(sys.platform == "win32", reason="rights of POSIX systems")
def test_a_pack_has_the_rights_of_any_new_folder(tmp_path):
    (tmp_path / "usual").mkdir()
    with replacing(tmp_path / "pack"):
        pass
    assert stat.S_IMODE((tmp_path / "pack").stat().st_mode) == stat.S_IMODE((tmp_path / "usual").stat().st_mode)


def test_what_notebooks_read_can_be_put_into_the_new_folder_first(tmp_path, write_notebook):
    reading = write_notebook("from pathlib import Path\nPath('figures.txt').read_text()", name="reading")
    pack = make_pack(
        [NotebookTask("index", reading)],
        tmp_path / "pack",
        title="t",
        manifest=MANIFEST,
        before=lambda folder: (folder / "figures.txt").write_text("42 lamps"),
    )
    assert "42 lamps" in (pack.folder / "index.html").read_text()
    assert "figures.txt" in json.loads((pack.folder / "run.json").read_text())["files"]
