"""The README shows what the kit says today of the demo shop, and its commands are one line each."""

from __future__ import annotations

import re
from pathlib import Path

from flipkit.reports.sentences import month_sentence
from flipkit.reports.study import open_study
from flipkit.reports.tables import returns_table

README = Path(__file__).resolve().parents[1] / "README.md"


def block_below(mark: str) -> str:
    match = re.search(rf"<!-- {mark} -->\n```\w*\n(.*?)```", README.read_text(encoding="utf-8"), flags=re.S)
    assert match, f"README has no block below the mark {mark!r}"
    return match.group(1)


def demo_excerpt() -> str:
    study = open_study()
    sentence, note = month_sentence(study)
    return f"{sentence}\n{note}\n\n{returns_table(study)}\n"


def test_the_excerpt_is_what_the_kit_says():
    assert block_below("excerpt") == demo_excerpt()


def test_each_command_is_one_line():
    for mark in ("first command", "second command"):
        assert len(block_below(mark).strip().splitlines()) == 1


def test_the_first_paragraph_is_the_job():
    paragraphs = README.read_text(encoding="utf-8").split("\n\n")
    assert paragraphs[0] == "# flipkit"
    assert "which kind of thing was worth the hours" in paragraphs[1]
