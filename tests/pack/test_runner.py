"""Notebooks run with parameters: refused, failed alone, repeated byte for byte, warm as plain."""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
import time

import pytest

from flipkit.errors import NotebookFailedError, NotebookParameterError
from flipkit.pack.run import NotebookTask, can_fork, declared_parameters, run_notebooks
from tests.helpers.without_kernels import without_kernels

WAYS = [
    pytest.param(True, id="warm", marks=pytest.mark.skipif(not can_fork(), reason="kernels are forked on Linux only")),
    pytest.param(False, id="plain"),
]


def files(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def waited_for(happened):
    """Whether something comes about within half a minute."""
    for _ in range(300):
        if happened():
            return True
        time.sleep(0.1)
    return False


def gone(process):
    """Whether a process has ended or soon ends."""

    def ended():
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return True
        return False

    return waited_for(ended)


def outputs(notebook):
    cells = json.loads(notebook.read_text())["cells"]
    return "".join(str(cell.get("outputs", "")) for cell in cells)


def test_an_undeclared_parameter_is_refused_before_anything_runs(small_notebook, tmp_path):
    tasks = [NotebookTask("good", small_notebook), NotebookTask("bad", small_notebook, {"catgory": "x"})]
    with pytest.raises(NotebookParameterError) as caught:
        run_notebooks(tasks, tmp_path)
    assert str(caught.value) == "small.ipynb declares no parameter catgory; it declares category, code, factor"
    assert list(tmp_path.iterdir()) == []


def test_a_notebook_without_a_parameters_cell_declares_none(write_notebook, tmp_path):
    plain = write_notebook("1", parameters="")
    assert declared_parameters(plain) == {}
    with pytest.raises(NotebookParameterError, match="it declares none"):
        run_notebooks([NotebookTask("a", plain, {"who": "y"})], tmp_path / "out")


def test_a_parameter_has_its_comment_as_help(small_notebook):
    assert declared_parameters(small_notebook) == {
        "category": "whose page",
        "factor": "multiplies every figure",
        "code": "an identifier",
    }


def test_a_folder_may_be_named_with_braces_and_spaces(write_notebook, tmp_path):
    made = write_notebook("1")
    place = tmp_path / "my {books} 2026"
    place.mkdir()
    moved = made.rename(place / made.name)
    assert declared_parameters(moved) == {"who": "whose page"}
    (result,) = run_notebooks([NotebookTask("a", moved, {"who": "y"})], place / "out {x}", warm=can_fork())
    assert result.error is None
    assert result.page.read_text().startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("name", "said"), [("Über", "got 'Über'"), ("../x", "got '../x'"), ("a b", "got 'a b'"), ("", "got ''")]
)
def test_a_name_that_cannot_be_a_file_is_refused(small_notebook, tmp_path, name, said):
    with pytest.raises(ValueError, match="lower-case letters") as caught:
        run_notebooks([NotebookTask(name, small_notebook)], tmp_path)
    assert said in str(caught.value)


def test_two_pages_of_one_name_are_refused(small_notebook, tmp_path):
    with pytest.raises(ValueError, match="must differ, got 'a' 2 times"):
        run_notebooks([NotebookTask("a", small_notebook)] * 2, tmp_path)


def test_jobs_below_one_are_refused(small_notebook, tmp_path):
    with pytest.raises(ValueError, match="jobs must be at least 1, got 0"):
        run_notebooks([NotebookTask("a", small_notebook)], tmp_path, jobs=0)


def test_no_task_makes_nothing(tmp_path):
    assert run_notebooks([], tmp_path) == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("warm", WAYS)
def test_parameters_reach_the_notebook_as_they_are(small_notebook, tmp_path, warm):
    task = NotebookTask("a", small_notebook, {"factor": 3, "category": 'it\'s "so"', "code": "00123"})
    (result,) = run_notebooks([task], tmp_path, warm=warm)
    # 123456 x 3 - 320 = 370048
    assert "(np.int64(370048), '00123')" in outputs(result.notebook)
    assert result.page.read_text().count("it&#x27;s &quot;so&quot;") == 1


@pytest.mark.skipif(not can_fork(), reason="kernels are forked on Linux only")
def test_warm_and_plain_kernels_give_the_same_bytes(small_notebook, tmp_path):
    tasks = [NotebookTask(f"p{k}", small_notebook, {"factor": k}) for k in (1, 2)]
    run_notebooks(tasks, tmp_path / "warm", jobs=2, warm=True)
    run_notebooks(tasks, tmp_path / "plain", jobs=1, warm=False)
    assert files(tmp_path / "warm") == files(tmp_path / "plain")
    assert set(files(tmp_path / "warm")) == {"p1.html", "p2.html", "notebooks/p1.ipynb", "notebooks/p2.ipynb"}


def test_executed_notebooks_hold_no_time_and_no_place(small_notebook, tmp_path):
    (result,) = run_notebooks([NotebookTask("a", small_notebook, {"factor": 2})], tmp_path, warm=can_fork())
    text = result.notebook.read_text()
    body = json.loads(text)
    assert "papermill" not in body["metadata"]
    for cell in body["cells"]:
        assert not {"papermill", "execution"} & set(cell["metadata"])
    assert str(tmp_path) not in text
    assert "iopub" not in text
    assert [cell["id"] for cell in body["cells"]][:3] == ["title", "parameters", "injected-parameters"]


@pytest.mark.parametrize("warm", WAYS)
def test_a_failing_cell_is_named_and_the_other_pages_are_made(write_notebook, tmp_path, warm):
    bad = write_notebook("x = 1", "\n\ndetail = {}\ndetail['lamp']", name="bad")
    good = write_notebook("2", name="good")
    seen = []
    tasks = [NotebookTask("bad-page", bad), NotebookTask("good-page", good, title="Good")]
    first, second = run_notebooks(tasks, tmp_path / "out", jobs=2, on_done=seen.append, warm=warm)
    assert first.page is None
    assert str(first.error) == (
        "the page bad-page was not made: bad.ipynb cell 4: KeyError: 'lamp' (the cell begins: detail = {})"
    )
    assert first.error.cell == 4
    assert "KeyError" in outputs(first.notebook)
    assert second.error is None
    assert second.page.read_text().count("<h1>Good</h1>") == 1
    assert {result.name for result in seen} == {"bad-page", "good-page"}


@pytest.mark.parametrize("warm", WAYS)
def test_a_kernel_that_dies_is_an_error_with_its_last_words(write_notebook, tmp_path, warm):
    dying = write_notebook("import os, sys\nos.write(2, b'out of luck\\n')\nos._exit(3)", name="dying")
    (result,) = run_notebooks([NotebookTask("a", dying)], tmp_path / "out", warm=warm)
    assert result.page is None
    assert isinstance(result.error, NotebookFailedError)
    assert "Kernel died" in str(result.error)
    assert "out of luck" in str(result.error)


def test_a_cell_that_takes_too_long_is_ended(write_notebook, tmp_path):
    slow = write_notebook("import time\ntime.sleep(600)", name="slow")
    (result,) = run_notebooks([NotebookTask("a", slow)], tmp_path / "out", cell_timeout_s=1, warm=can_fork())
    assert result.page is None
    assert "timed out" in str(result.error)


def test_a_chart_that_cannot_be_shown_fails_its_page(write_notebook, tmp_path):
    # IPython would print the error and show the chart's repr in its place.
    source = (
        "import altair as alt\nimport flipkit.charts.style\n"
        "alt.Chart(alt.Data(values=[{'a': float('nan')}])).mark_point()"
    )
    (result,) = run_notebooks([NotebookTask("a", write_notebook(source))], tmp_path / "out", warm=can_fork())
    assert result.page is None
    assert "the numbers of a chart must be finite or missing" in str(result.error)


def test_a_chart_that_cannot_be_drawn_fails_its_page_alone(write_notebook, tmp_path):
    shown = "from IPython.display import display\ndisplay({{'application/vnd.vegalite.v5+json': {}}}, raw=True)"
    spec = {"data": {"values": [{"a": 1}]}, "encoding": {"x": {"field": "a", "type": "quantitative"}}}
    tasks = [
        NotebookTask(name, write_notebook(shown.format({**spec, "mark": mark}), name=name))
        for name, mark in (("good", "point"), ("bad", 7))
    ]
    good, bad = run_notebooks(tasks, tmp_path / "out", warm=can_fork())
    assert good.page is not None
    assert bad.page is None
    assert isinstance(bad.error, NotebookFailedError)


def test_warnings_are_handed_back_and_not_shown(write_notebook, tmp_path):
    loud = write_notebook("import warnings\nwarnings.warn('mind the gap')", name="loud")
    (result,) = run_notebooks([NotebookTask("a", loud)], tmp_path / "out", warm=can_fork())
    assert len(result.warnings) == 1
    assert "mind the gap" in result.warnings[0]
    assert "mind the gap" not in result.page.read_text()


@pytest.mark.parametrize("warm", WAYS)
def test_environment_and_folder_reach_the_kernel(write_notebook, tmp_path, warm):
    source = "import os\nprint(os.environ['SHOP'], os.environ['PYTHONHASHSEED'], os.getcwd(), hash('a'))"
    asking = write_notebook(source, name="asking")
    place = tmp_path / "books"
    place.mkdir()
    here = os.getcwd()
    tasks = [NotebookTask("a", asking), NotebookTask("b", asking)]
    results = run_notebooks(tasks, tmp_path / "out", cwd=place, env={"SHOP": "river"}, warm=warm, jobs=2)
    told = {outputs(result.notebook) for result in results}
    assert len(told) == 1, "the order of sets must not differ from kernel to kernel"
    assert f"river 0 {place}" in told.pop()
    assert os.getcwd() == here
    assert "SHOP" not in os.environ


def test_each_notebook_has_a_process_of_its_own(write_notebook, tmp_path):
    source = "import os, sys\nprint(getattr(sys, 'left_behind', 'clean'), os.getpid())\nsys.left_behind = who"
    asking = write_notebook(source, name="asking")
    results = run_notebooks([NotebookTask(n, asking) for n in "abc"], tmp_path / "out", jobs=2)
    told = [outputs(result.notebook) for result in results]
    assert all("clean" in text for text in told)
    assert len(set(told)) == 3


def test_an_interruption_ends_the_kernels(write_notebook, tmp_path):
    quick = write_notebook("import os\nopen('quick.pid', 'w').write(str(os.getpid()))", name="quick")
    source = "import os, time\nopen(f'{who}.pid', 'w').write(str(os.getpid()))\ntime.sleep(600)"
    slow = write_notebook(source, name="slow")

    def interrupt(result):
        # The other one is in the middle of its cell by now, or will be within the wait.
        if waited_for(lambda: (tmp_path / "slow.pid").exists() and (tmp_path / "slow.pid").read_text()):
            raise KeyboardInterrupt

    tasks = [NotebookTask("slow", slow, {"who": "slow"}), NotebookTask("quick", quick)]
    with pytest.raises(KeyboardInterrupt):
        run_notebooks(tasks, tmp_path / "out", jobs=2, cwd=tmp_path, on_done=interrupt)
    assert gone(int((tmp_path / "slow.pid").read_text()))


def test_pages_link_to_their_neighbours(small_notebook, tmp_path):
    tasks = [NotebookTask(n, small_notebook, title=n.upper()) for n in ("one", "two")]
    with without_kernels():
        first, second = run_notebooks(tasks, tmp_path, home=("index.html", "October"))
    assert '<a rel="next" href="two.html">TWO</a>' in first.page.read_text()
    assert '<a rel="prev" href="one.html">ONE</a>' in second.page.read_text()
    assert '<a rel="home" href="index.html">October</a>' in second.page.read_text()


def test_the_error_crosses_a_process_boundary_whole():
    error = NotebookFailedError("a", notebook="n.ipynb", cause="KeyError: 'x'", cell=3, source="x\ny")
    again = pickle.loads(pickle.dumps(error))  # noqa: S301
    assert str(again) == str(error)
    assert (again.page, again.cell, again.source) == ("a", 3, "x\ny")


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_no_kernel_and_no_socket_is_left_behind(small_notebook, tmp_path, monkeypatch):
    import tempfile

    place = tmp_path / "t"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    run_notebooks([NotebookTask("a", small_notebook)], tmp_path / "out", warm=False)
    assert list(place.iterdir()) == []


#: What Python imports first in every process: the kit is told that it runs where nothing forks.
ELSEWHERE = """
import sys
import flipkit.owned
class Elsewhere:
    platform = "darwin"
    def __getattr__(self, name):
        return getattr(sys, name)
flipkit.owned.sys = Elsewhere()
# It tells the beginnings of processes otherwise now, and would take those of Linux for ended.
flipkit.owned.sweep = lambda *_: None
"""


@pytest.mark.skipif(sys.platform == "win32", reason="a signal of POSIX systems")
def test_where_nothing_forks_pages_are_made_and_kernels_end_with_the_report(small_notebook, write_notebook, tmp_path):
    (tmp_path / "first").mkdir()
    (tmp_path / "first" / "sitecustomize.py").write_text(ELSEWHERE)
    source = "import os, time\nopen('slow.pid', 'w').write(str(os.getpid()))\ntime.sleep(600)"
    told = (
        "import sys, flipkit.owned, flipkit.pack.run as run; from pathlib import Path; run.sys = flipkit.owned.sys; "
        "assert not run.can_fork(); out, *books = map(Path, sys.argv[1:]); "
        "run.run_notebooks([run.NotebookTask(p.stem, p) for p in books], out, jobs=2, cwd=out)"
    )
    out = tmp_path / "out"
    out.mkdir()
    report = subprocess.Popen(
        [sys.executable, "-c", told, str(out), str(small_notebook), str(write_notebook(source, name="slow"))],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path / "first"), *sys.path])},
    )
    try:
        assert waited_for(lambda: (out / "notebooks").exists())
        assert waited_for(lambda: (out / "small.html").exists())
        assert waited_for(lambda: (out / "slow.pid").exists() and (out / "slow.pid").read_text())
    finally:
        report.kill()
        report.wait()
    assert gone(int((out / "slow.pid").read_text()))
