"""Private doors of other packages still open as the kit uses them; a failure says which package changed."""

from __future__ import annotations

import ast
import asyncio
import inspect
import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from flipkit import workarounds

ROOT = Path(workarounds.__file__).parent


def test_jsonschema_still_looks_for_the_address_grammar():
    from jsonschema import _format

    assert "from rfc3987_syntax import" in inspect.getsource(_format), (
        "jsonschema changed: it asks for no rfc3987_syntax any more, skip_address_grammar can go"
    )
    said = "import sys; from flipkit import workarounds as w; w.skip_address_grammar(); import jsonschema;"
    said += "print('rfc3987_syntax' in sys.modules, jsonschema.FormatChecker().conforms('not an address', 'iri'))"
    told = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True).stdout
    assert told.split() == ["False", "True"], "jsonschema changed: it reads the address grammar some other way"


def test_a_panic_of_native_code_still_has_that_name():
    assert not workarounds.is_native_panic(ValueError())
    import python_calamine

    # The class is made by the native part itself and named in it; no public module holds it.
    native = Path(inspect.getfile(python_calamine)).parent
    held = [path for path in native.iterdir() if path.suffix in (".so", ".pyd")]
    assert any(b"PanicException" in path.read_bytes() for path in held), (
        "python-calamine changed: its native part names no PanicException"
    )


def test_papermill_still_fills_in_braces_of_a_path(tmp_path):
    import nbformat
    import papermill
    from papermill.exceptions import PapermillMissingParameterException

    folder = tmp_path / "books {old}"
    folder.mkdir()
    file = folder / "one.ipynb"
    nbformat.write(nbformat.v4.new_notebook(), file)
    assert papermill.inspect_notebook(workarounds.papermill_path(file)) == {}
    with pytest.raises(
        PapermillMissingParameterException, match="old"
    ):  # DID NOT RAISE: papermill changed, papermill_path can go
        papermill.inspect_notebook(str(file))


def test_papermills_client_still_takes_a_manager_and_options():
    from nbclient import NotebookClient
    from papermill.clientwrap import PapermillNotebookClient
    from papermill.engines import NBClientEngine, NotebookExecutionManager

    taken = inspect.signature(PapermillNotebookClient).parameters
    assert list(taken)[:2] == ["nb_man", "km"], "papermill changed: PapermillNotebookClient takes other things"
    assert issubclass(PapermillNotebookClient, NotebookClient), "papermill changed: its client is no nbclient"
    engine = inspect.signature(NBClientEngine.execute_managed_notebook).parameters
    assert list(engine)[:2] == ["nb_man", "kernel_name"], "papermill changed: engines are called otherwise"
    assert "self.nb" in inspect.getsource(NotebookExecutionManager.__init__), "papermill changed: no nb_man.nb"


def test_papermill_still_leaves_its_traces_where_they_are_removed():
    import nbformat
    from papermill.engines import NotebookExecutionManager

    bare = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1")], metadata={"papermill": {}})
    manager = NotebookExecutionManager(bare, progress_bar=False)
    manager.notebook_start()
    manager.cell_start(manager.nb.cells[0])
    left = set(manager.nb.metadata) | set(manager.nb.cells[0].metadata)
    assert "papermill" in left, "papermill changed: it leaves no trace, RUN_TRACES can go"
    assert left - {"tags"} <= set(workarounds.RUN_TRACES), f"papermill changed: it leaves {sorted(left)}"


class Process:
    """As much of ``subprocess.Popen`` as a provisioner asks for."""

    pid = 2**22 + 1
    stdin = stdout = stderr = None
    ended = False

    def poll(self):
        return 0 if self.ended else None

    def wait(self, timeout=None):
        self.ended = True
        return 0

    def send_signal(self, number):
        self.ended = True

    terminate = kill = send_signal


def test_a_kernel_manager_still_keeps_a_provisioner_that_it_finds(tmp_path):
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager

    manager = AsyncKernelManager(
        kernel_name="python3",
        kernel_spec_manager=KernelSpecManager(kernel_dirs=[]),
        connection_file=str(tmp_path / "k.json"),
    )
    manager.kernel_id = "k"
    asked, process = [], Process()

    def launch(arguments, how):
        asked.append((arguments, how))
        return process

    workarounds.start_by(manager, launch)
    assert workarounds.kernel_process(manager) is None

    async def life():
        await manager.start_kernel(cwd=str(tmp_path), env={"A": "b"})
        alive = await manager.is_alive()
        held = workarounds.kernel_process(manager)
        manager.provisioner.pgid = None  # no group of that number is ours to signal
        await manager.provisioner.kill()
        ended = not await manager.is_alive()
        await manager.cleanup_resources()
        return alive, held, ended

    assert asyncio.run(life()) == (True, process, True), "jupyter_client changed: it uses another provisioner"
    arguments, how = asked[0]
    assert arguments == ["-f", str(tmp_path / "k.json")], "jupyter_client changed: a kernel's command has no -f FILE"
    assert how["cwd"] == str(tmp_path), "jupyter_client changed: a provisioner is not told the folder"
    assert how["env"]["A"] == "b", "jupyter_client changed: a provisioner is not told the variables"


@pytest.mark.skipif(sys.platform != "linux", reason="kernels are forked on Linux only")
def test_the_fork_server_still_starts_at_once_with_our_variables():
    # The variables are gone again when the first process starts, so it has them from the server or not at all.
    said = (
        "import multiprocessing, os; from flipkit import workarounds as w;"
        "w.start_fork_server(['json'], {'PYTHONHASHSEED': '0'});"
        "pool = multiprocessing.get_context('forkserver').Pool(1);"
        'ask = \'__import__("os").environ.get("PYTHONHASHSEED"), __import__("sys").flags.hash_randomization\';'
        "print(os.environ.get('PYTHONHASHSEED'), *pool.apply(eval, (ask,))); pool.terminate()"
    )
    env = {name: value for name, value in os.environ.items() if name != "PYTHONHASHSEED"}
    told = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True, env=env).stdout
    assert told.split() == ["None", "0", "0"], "multiprocessing changed: the fork server starts some other way"


def test_jupyter_still_keeps_one_event_loop_a_thread():
    from jupyter_core.utils import ensure_event_loop

    loop = ensure_event_loop()
    workarounds.close_thread_loop()
    assert loop.is_closed(), "jupyter_core changed: close_thread_loop closes some other loop"


def test_jupyterlab_still_has_what_we_draw_with_and_switch_off():
    from jupyterlab.commands import get_app_dir

    from flipkit.charts.style import MIME_TYPE

    names = [MIME_TYPE]
    for file in (ROOT / "lab_settings").rglob("page_config.json"):
        names += json.loads(file.read_text(encoding="utf-8"))["disabledExtensions"]
    assert len(names) > 1
    built = b"".join(path.read_bytes() for path in Path(get_app_dir(), "static").glob("*.js"))
    missing = [name for name in names if name.encode() not in built]
    assert not missing, f"jupyterlab changed: {missing} are no part of it any more"


def test_what_has_a_private_door_has_an_upper_bound():
    project = tomllib.loads((ROOT.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    bounded = {re.split(r"[<>=]", line)[0] for line in project["dependencies"] if ",<" in line}
    assert bounded >= {"ipykernel", "jupyter-client", "jupyter-core", "jupyterlab", "papermill", "python-calamine"}


def test_no_other_module_asks_another_package_for_a_private_name():
    found = []
    for path in ROOT.rglob("*.py"):
        if path.name == "workarounds.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import | ast.ImportFrom):
                module = getattr(node, "module", None) or ""
                parts = [*module.split("."), *(part for alias in node.names for part in alias.name.split("."))]
                if module != "__future__" and not module.startswith("flipkit"):
                    found += [f"{path.name}: {part}" for part in parts if part.startswith("_")]
    assert found == []
