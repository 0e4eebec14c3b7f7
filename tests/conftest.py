"""What all tests share: sources of published figures are known, and demo books are read once."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SEEN = {"found", "secondary", "from memory", "common practice", "computed"}


def pytest_collection_modifyitems(items):
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
