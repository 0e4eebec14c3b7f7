"""What the kit writes: whole files, safe in a spreadsheet, and the same text back."""

from __future__ import annotations

import csv
import io
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flipkit.books.write import Stage, csv_text, escape_formula, staged, unescape_formula

TEXT = st.text(alphabet=st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


@given(TEXT | st.sampled_from(FORMULA).flatmap(lambda mark: TEXT.map(lambda text: mark + text)))
def test_a_shield_comes_off_again_and_no_formula_is_left(text):
    written = escape_formula(text)
    assert unescape_formula(written) == text
    assert not written.startswith(FORMULA) or written.lstrip("+-").replace(".", "", 1).isdigit()


@pytest.mark.parametrize("number", ["-3.20", "+5", "-7", "0.5"])
def test_plain_numbers_need_no_shield(number):
    assert escape_formula(number) == number


@given(st.lists(st.lists(TEXT, min_size=3, max_size=3), max_size=8), st.sampled_from([None, [0, 1, 2]]))
def test_csv_text_reads_back(rows, words):
    text = csv_text(["a", "b", "c"], rows, words=words)
    header, *back = csv.reader(io.StringIO(text, newline=""))
    assert header == ["a", "b", "c"]
    assert [[unescape_formula(cell) for cell in row] for row in back] == rows


def test_rows_of_one_blank_cell_are_still_rows():
    assert list(csv.reader(io.StringIO(csv_text(["a"], [[""], ["x"], [""]])))) == [["a"], [""], ["x"], [""]]


def test_a_new_folder_appears_whole(tmp_path):
    home = tmp_path / "new"
    with staged(home) as stage:
        stage.write("x/a.csv", "1\n")
        assert not home.exists()
    assert (home / "x" / "a.csv").read_text() == "1\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["new"]


def test_what_a_spreadsheet_holds_open_is_not_half_written(tmp_path, monkeypatch):
    # On Windows a file that another program has open cannot be replaced: then no file of the group is.
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("old\n")
    opened = type(tmp_path).open

    def held(self, mode="r", *rest, **more):
        if self == tmp_path / "b.csv" and "+" in mode:
            raise PermissionError(13, "used by another process", str(self))
        return opened(self, mode, *rest, **more)

    stage = Stage(tmp_path)
    stage.write("a.csv", "new\n")
    stage.write("b.csv", "new\n")
    with monkeypatch.context() as patched:
        patched.setattr(type(tmp_path), "open", held)
        patched.setattr("flipkit.books.write.sys", SimpleNamespace(platform="win32"))
        with pytest.raises(PermissionError):
            stage.commit()
    stage.discard()
    assert [(tmp_path / name).read_text() for name in ("a.csv", "b.csv")] == ["old\n", "old\n"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "b.csv"]
