"""The words that may not stand on a page, and every question, action and caution of the pages before, still there."""

from __future__ import annotations

import csv
import html
import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LOST = Path(__file__).with_name("nothing_lost.csv")
#: Notebooks of the lab, which speak to who runs them.
LAB = {"own_questions", "move_assumptions", "packing_plan"}
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
PAGES = [path for path in NOTEBOOKS if path.stem not in LAB]

#: What may not stand, and what to say in its place.
INSTEAD = {
    r"(bought|sold) basis": "counting unsold items, sold items only",
    r"pulled": "adjusted for small samples",
    r"middling": "average",
    r"dear(er|est)?\b": "expensive",
    r"\d things?\b": "items",
    r"(give|gave|given|giving) up": "clear out",
    r"how it has gone": "month by month",
    r"(it )?cannot be told": "too close to call",
    r"can(not)? be told from": "too close to call",
    r"(?<!notice )\b20\d\d-\d\d\b(?!-\d)": "October 2026",
    r"break-even": "the price from which bulky wins",
    r"\bbears?\b": "carry",
    r"\bmost likely\b": "probably",
}


def said(path: Path) -> str:
    """What a page shows, in words: its own text and what its cells show, charts by title and reading."""
    found = []
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] == "markdown":
            found.append("".join(cell["source"]))
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            shown = data.get("text/html") or ""
            found.append(html.unescape(re.sub(r"<[^>]+>", " ", "".join(shown))))
            for kind, spec in data.items():
                if "vegalite" in kind:
                    found.append(
                        f"{json.dumps(spec.get('title', ''), ensure_ascii=False)} {spec.get('description', '')}"
                    )
    return " ".join(" ".join(found).split())


@pytest.fixture(scope="module")
def pages():
    return {path.stem: said(path) for path in NOTEBOOKS}


@pytest.mark.parametrize("name", [path.stem for path in PAGES])
def test_no_word_stands_that_may_not(name, pages):
    found = {word: match[0] for word in INSTEAD if (match := re.search(word, pages[name], flags=re.I))}
    assert found == {}


def test_the_words_are_looked_for_where_they_would_stand():
    text = "On the bought basis 3 things are dearer, 2026-10"
    found = [word for word in INSTEAD if re.search(word, text, flags=re.I)]
    assert found == [r"(bought|sold) basis", r"dear(er|est)?\b", r"\d things?\b", r"(?<!notice )\b20\d\d-\d\d\b(?!-\d)"]


with LOST.open(encoding="utf-8", newline="") as _file:
    ROWS = list(csv.DictReader(_file))


def test_the_table_names_every_notebook_before_and_every_page_now(pages):
    assert len({row["before"] for row in ROWS}) == 20
    assert {row["now"] for row in ROWS if row["now"] != "gone"} == set(pages)
    assert {row["kind"] for row in ROWS} == {"question", "action", "caution"}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['before']}: {row['what']}")
def test_each_question_action_and_caution_still_stands(row, pages):
    if row["now"] == "gone":
        assert row["words"].startswith("because ")
    else:
        assert row["words"] in pages[row["now"]]
