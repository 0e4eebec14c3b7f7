"""What all tests share: sources of published figures are known, and demo books are read once."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest

from flipkit.reports.study import STUDIES, Study, open_study

ROOT = Path(__file__).resolve().parents[1]
BROWSER = "tests/browser/"
SEEN = {"found", "secondary", "from memory", "common practice", "computed"}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """A file at a time, as ``loadfile`` does it, but for the browser's: one worker opens its windows and pages once."""
    from xdist.scheduler import LoadFileScheduling

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid):
            return BROWSER if nodeid.startswith(BROWSER) else super()._split_scope(nodeid)

    return Scheduling(config, log)


def pytest_collection_modifyitems(items):
    # Files with slow tests come first, so that quick ones fill up the time of the worker that is done sooner.
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: (BROWSER not in item.nodeid, item.path not in slow))
    sources = ROOT / "flipkit" / "rules" / "data" / "sources.toml"
    known = set(tomllib.loads(sources.read_text(encoding="utf-8"))) if sources.exists() else set()
    for item in items:
        for mark in item.iter_markers("published"):
            missing = {"source", "where", "seen"} - set(mark.kwargs)
            if missing or mark.args:
                raise pytest.UsageError(f"{item.nodeid}: published needs source=, where= and seen= ({missing})")
            if mark.kwargs["seen"] not in SEEN:
                raise pytest.UsageError(f"{item.nodeid}: seen={mark.kwargs['seen']!r} is none of {sorted(SEEN)}")
            key = mark.kwargs["source"]
            if key not in known:
                raise pytest.UsageError(f"{item.nodeid}: source {key!r} does not stand in sources.toml")


def pytest_runtest_setup(item):
    for mark in item.iter_markers("published"):
        item.user_properties.append(("published", mark.kwargs))


def pytest_terminal_summary(terminalreporter, config):
    """With ``-m published`` list each check with its source."""
    if "published" not in (config.option.markexpr or ""):
        return
    terminalreporter.section("published checks: source | where | seen | outcome | test")
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, []):
            for name, told in getattr(report, "user_properties", []):
                if name == "published":
                    line = " | ".join([told["source"], told["where"], told["seen"], outcome, report.nodeid])
                    terminalreporter.write_line(line)


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    return ROOT / "data_demo"


@pytest.fixture(scope="session")
def demo_studies(demo_folder, tmp_path_factory) -> Path:
    """A folder in which the demo's study lies ready, for all workers of a run: the first that asks computes it."""
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "demo-studies"
    shared.mkdir(mode=0o700, exist_ok=True)
    if not list(shared.iterdir()):
        own = tmp_path_factory.mktemp("study")
        open_study(demo_folder).keep(own)
        for kept in own.iterdir():
            kept.replace(shared / kept.name)  # in one step, since another worker may be looking
    return shared


@pytest.fixture(scope="session")
def demo_study(demo_folder, demo_studies) -> Study:
    """The demo's study of its latest full month, with nothing supposed."""
    with pytest.MonkeyPatch.context() as around:
        around.setenv(STUDIES, str(demo_studies))
        return open_study(demo_folder)
