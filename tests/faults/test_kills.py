"""Commands killed at any moment: no process, no folder and no half-written file stays for good."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import time

import pytest

from flipkit import owned
from flipkit.books import write
from flipkit.errors import PackError
from flipkit.imports.apply import apply
from flipkit.imports.detect import propose
from flipkit.pack import build
from flipkit.pack.build import heal, replacing
from tests.helpers.asked import EVERYTHING
from tests.helpers.kills import SIGNALS, files_of, killed, run, small_export, small_shop

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX's")

#: Ends of the names of processes and folders that a command may leave only until the next one starts.
_OWN = (".flipkit-", "fk-", "pymp-", ".2026")

#: Kills of each command; ten with FLIPKIT_EVERYTHING=1, hundreds in the benchmark.
KILLS = 10 if EVERYTHING else 4


def litter(*places):
    """What is left of commands in some places."""
    return [path.name for place in places if place.is_dir() for path in place.rglob("*") if path.name.startswith(_OWN)]


@pytest.fixture
def place(tmp_path):
    # Short, as a local socket's address must be.
    folder = owned.make_folder(owned.temporary_place(), "fk-")
    yield folder
    shutil.rmtree(folder)


def moments(count, low, high, seed):
    rng = random.Random(seed)  # noqa: S311
    return [(SIGNALS[k % 4], rng.uniform(low, high)) for k in range(count)]


def test_ten_killed_reports_leave_no_process_and_the_earlier_pack(tmp_path, place):
    small_shop(tmp_path / "shop")
    pack = tmp_path / "shop-packs" / "2026-09"
    pack.mkdir(parents=True)
    (pack / "index.html").write_text("earlier")
    (pack / "run.json").write_text('{"files": {"index.html": ""}}')
    for name, after in moments(KILLS, 0.5, 3.0, 20):
        before = set(litter(place, pack.parent))
        ended = killed(["report", "shop", "--jobs", "1"], name, after, cwd=tmp_path, temporary=place)
        assert not ended.sooner, f"the report had ended before {after:.1f} s: {ended.said}"
        assert ended.alive == 0, f"{ended.alive} processes left by {name} after {after:.1f} s"
        assert (pack / "index.html").read_text() == "earlier"
        if name != "SIGKILL":
            assert set(litter(place, pack.parent)) <= before, f"{name} lets a command clean up after itself"
    # What the next start does first.
    heal(pack)
    owned.sweep(place, owned.TEMPORARY)
    assert litter(place, tmp_path / "shop-packs") == []


@pytest.mark.parametrize("command", ["convert", "start"])
def test_ten_killed_commands_of_the_books_are_made_good_by_one_that_is_not(tmp_path, place, command):
    small_export(tmp_path / "export.csv")
    words = {"convert": ["convert", "export.csv", "--into", "books", "--yes"], "start": ["start", "books"]}[command]
    for name, after in moments(KILLS, 0.05, 0.8, 21):
        ended = killed(words, name, after, cwd=tmp_path, temporary=place)
        assert ended.alive == 0, f"{ended.alive} processes left by {name} after {after:.2f} s"
    again = run(words, cwd=tmp_path, temporary=place)
    assert again.returncode == 0, again.stderr
    assert litter(place, tmp_path) == []
    other = tmp_path / "unkilled"
    other.mkdir()
    small_export(other / "export.csv")
    assert run(words, cwd=other, temporary=place).returncode == 0
    assert files_of(tmp_path / "books") == files_of(other / "books")


class Killed(BaseException):
    """As abrupt as a kill within one process can be: nothing is cleaned up after it."""


def converted(folder, export):
    """An export taken into books that an earlier one has filled."""
    return apply(propose(export, into=folder if folder.exists() else None), folder, changes="take")


def prepared(place):
    """Books with a first conversion, cells changed by hand, and a second export that says otherwise."""
    first = small_export(place / "first.csv")
    converted(place / "books", first)
    items = place / "books" / "items.csv"
    items.write_text(items.read_text().replace("vase 3,", "vase three,"))
    (place / "next").mkdir()
    second = place / "next" / "first.csv"
    second.write_text(first.read_text().replace("25.00", "26.00") + "S99,bowl,bowls,2026-08-09,4.00,2026-09-09,31.00\n")
    return place / "books", second


def test_a_conversion_killed_at_each_of_its_moves_ends_as_an_unkilled_one(tmp_path, monkeypatch):
    (tmp_path / "before").mkdir()
    begun, export = prepared(tmp_path / "before")
    books = tmp_path / "unkilled"
    shutil.copytree(begun, books)
    counted = []
    replace = os.replace
    monkeypatch.setattr(os, "replace", lambda *names: (counted.append(names), replace(*names)))
    converted(books, export)
    monkeypatch.setattr(os, "replace", replace)
    wanted = files_of(books)
    assert len(counted) >= 6, "the conversion is of several moves"

    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    mark = f"{owned.owner_mark().partition('-')[0]}-{gone.pid}-1"
    # Before each move and after the last; after one is before the next.
    for at in range(len(counted) + 1):
        books = tmp_path / f"at{at}"
        shutil.copytree(begun, books)
        left = [at]

        def failing(source, target, left=left):
            if not left[0]:
                raise Killed
            left[0] -= 1
            replace(source, target)
            if left[0] == 0 and len(counted) == at:  # noqa: B023 - called within this turn
                raise Killed

        with monkeypatch.context() as patched:
            patched.setattr(os, "replace", failing)
            patched.setattr(write.Stage, "discard", lambda self: None)
            patched.setattr(owned, "owner_mark", lambda: mark)
            with pytest.raises(Killed):
                converted(books, export)
        assert litter(books) != [], "the kill left its folder"
        write.finish_moves(books)
        converted(books, export)
        assert files_of(books) == wanted, f"killed at move {at} of {len(counted)}"


def test_a_pack_killed_between_two_renames_is_put_back(tmp_path, monkeypatch):
    out = tmp_path / "pack"
    out.mkdir()
    (out / "run.json").write_text('{"files": {}}')
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    mark = f"{owned.owner_mark().partition('-')[0]}-{gone.pid}-1"
    rename = type(out).rename

    def killed_at_the_second(self, target):
        if target == out:
            raise Killed
        return rename(self, target)

    with monkeypatch.context() as patched:
        patched.setattr(build, "swap", lambda new, old: False)
        patched.setattr(owned, "owner_mark", lambda: mark)
        patched.setattr(build.shutil, "rmtree", lambda *a, **k: None)
        # Whoever is killed keeps nothing either.
        patched.setattr(build, "_keep_unfinished", lambda *a: None)
        patched.setattr(type(out), "rename", killed_at_the_second)
        with pytest.raises(Killed), replacing(out) as folder:
            (folder / "index.html").write_text("new")
    assert not out.exists(), "killed while there was no pack"
    heal(out)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pack"]
    assert (out / "run.json").is_file()


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_a_process_that_has_ended_and_is_not_yet_reaped_counts_as_ended():
    ended = subprocess.Popen([sys.executable, "-c", ""])
    os.waitid(os.P_PID, ended.pid, os.WEXITED | os.WNOWAIT)
    assert owned._begun(ended.pid) == 0
    ended.wait()


def test_a_folder_of_a_living_process_or_another_computer_is_left_alone(tmp_path):
    mine = owned.make_folder(tmp_path, "fk-")
    computer, number, begun = owned.owner_mark().split("-")
    other = "0000" if computer != "0000" else "1111"
    for name in (f"fk-{other}-1-1-abc", f"fk-{computer}-{number}-{int(begun) + 1}-abc", "fk-notes", "fk-"):
        (tmp_path / name).mkdir()
    owned.sweep(tmp_path, "fk-")
    # The third has our number and another beginning: a process that is gone, whose number came round.
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        [mine.name, f"fk-{other}-1-1-abc", "fk-notes", "fk-"]
    )


def test_two_names_are_swapped_in_one_step(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
        (tmp_path / name / "said").write_text(name)
    if not owned.swap(tmp_path / "a", tmp_path / "b"):
        pytest.skip("this system or disk cannot")
    assert (tmp_path / "a" / "said").read_text() == "b"
    assert (tmp_path / "b" / "said").read_text() == "a"


def test_two_runs_at_once_into_one_pack_the_second_is_refused_in_words(tmp_path, place):
    small_shop(tmp_path / "shop")
    with owned.only_one(tmp_path / "pack", "the pack's folder"):
        second = run(["report", "shop", "--out", "pack"], cwd=tmp_path, temporary=place)
        with pytest.raises(PackError, match="another run is writing it now"), replacing(tmp_path / "pack"):
            pass
    assert second.returncode == 2
    assert second.stderr == (
        "flipkit: the pack's folder must be written by one run at a time, got 'pack' (another run is writing it now): "
        "wait until that one is done, or name another folder with --out\n"
    )
    assert not (tmp_path / ".pack.lock").exists()


@pytest.mark.parametrize("platform", ["linux", "elsewhere"])
def test_a_child_ends_with_its_parent_by_signal_or_by_pipe(tmp_path, platform):
    if platform == "linux" and sys.platform != "linux":
        pytest.skip("parent-death signals are Linux's")
    child = (
        f"import sys, time; sys.platform = {platform!r}; from flipkit.owned import end_with_parent; "
        "end_with_parent(int(sys.argv[1]), 0); print(1, flush=True); time.sleep(600)"
    )
    parent = (
        "import os, subprocess, sys\n"
        f"p = subprocess.Popen([sys.executable, '-c', {child!r}, str(os.getpid())], stdin=subprocess.PIPE,"
        " stdout=subprocess.PIPE)\n"
        "p.stdout.readline(); print(p.pid, flush=True); sys.stdin.read()"
    )
    process = subprocess.Popen([sys.executable, "-c", parent], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    number = int(process.stdout.readline())
    assert owned._begun(number), "the child lives while its parent does"
    process.kill()
    process.wait()
    process.stdin.close()
    process.stdout.close()
    end = time.monotonic() + 5
    while owned._begun(number) and time.monotonic() < end:
        time.sleep(0.05)
    assert owned._begun(number) == 0
