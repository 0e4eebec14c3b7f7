"""The drawing library: kept between runs, made again when what was kept is not what was written."""

from __future__ import annotations

import pytest

from flipkit.pack import page


@pytest.fixture
def counted(monkeypatch, tmp_path):
    """An empty cache folder and a stand-in for the slow maker that counts its calls."""
    import vl_convert

    calls = []

    def make(*, vl_version):
        calls.append(vl_version)
        return "let a = '</script>'; // <!-- é"

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(page.sys, "platform", "linux")
    monkeypatch.setattr(vl_convert, "javascript_bundle", make)
    page.drawing_library.cache_clear()
    yield calls
    page.drawing_library.cache_clear()


def again():
    page.drawing_library.cache_clear()
    return page.drawing_library()


def test_it_is_made_once_and_then_read(counted):
    first = page.drawing_library()
    assert again() == first
    assert len(counted) == 1


def test_it_cannot_end_the_script_that_holds_it(counted):
    script = page.drawing_library()
    assert "</script" not in script
    assert "<!--" not in script


@pytest.mark.parametrize("spoil", [lambda b: b[:-1], lambda b: b + b"x", lambda b: b"", lambda b: b"\xff" + b])
def test_a_spoiled_file_is_made_again(counted, spoil):
    good = page.drawing_library()
    (file,) = page.cache_folder().iterdir()
    file.write_bytes(spoil(file.read_bytes()))
    assert again() == good
    assert len(counted) == 2
    assert again() == good
    assert len(counted) == 2


def test_nothing_half_written_stays(counted):
    page.drawing_library()
    assert [path.suffix for path in page.cache_folder().iterdir()] == [".js"]


def test_a_folder_that_cannot_be_written_costs_time_and_nothing_else(counted, tmp_path):
    (tmp_path / "flipkit").write_text("a file where the folder should be")
    assert page.drawing_library() == again()
    assert len(counted) == 2


def test_the_name_holds_the_versions(counted):
    from importlib.metadata import version

    page.drawing_library()
    (file,) = page.cache_folder().iterdir()
    assert version("vl-convert-python") in file.name
    assert counted[0] in file.name
