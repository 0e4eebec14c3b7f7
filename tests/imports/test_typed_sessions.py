"""Sessions typed at a terminal: what the questions suggest ends well, and a break loses no answer."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time

import openpyxl
import pytest

from flipkit.books.read import read_books

PROMPT = re.compile(r"(Answer|Which)(?: \[\])?: $|\[Y/n\]: $")


class Terminal:
    """A command at a pseudo-terminal; each prompt is answered by what the text above it asks."""

    def __init__(self, *words):
        self.master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "flipkit", "convert", *map(str, words)],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            close_fds=True,
            env={**os.environ, "COLUMNS": "200", "TERM": "dumb"},
            # Started in the background a shell's programs ignore ctrl-C, and so would this one.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        os.close(slave)
        self.text = ""

    def until_prompt(self):
        """Everything printed up to the next prompt; None once the command has ended."""
        begun, seen = time.monotonic(), ""
        while time.monotonic() - begun < 60:
            ready, _, _ = select.select([self.master], [], [], 0.2)
            if ready:
                try:
                    more = os.read(self.master, 65_536).decode("utf-8", "replace").replace("\r\n", "\n")
                except OSError:
                    more = ""
                if not more:
                    self.process.wait(timeout=120)
                    self.text += seen
                    return None
                seen += more
            elif PROMPT.search(seen):
                self.text += seen
                return seen
        raise AssertionError(f"no prompt and no end: {seen}")

    def type(self, line):
        os.write(self.master, f"{line}\n".encode())

    def run(self, replies, *, stop_after=None):
        """Type the reply whose key stands in the text before a prompt, up to so many replies."""
        asked = []
        while (seen := self.until_prompt()) is not None:
            # A prompt that comes again stands below the question that it repeats.
            question = f"{asked[-1]}{seen}" if "a number from" in seen.lower() else seen
            if stop_after is not None and len(asked) >= stop_after:
                self.process.send_signal(signal.SIGINT)
                self.process.wait(timeout=120)
                break
            reply = next((reply for words, reply in replies.items() if words in question), None)
            assert reply is not None, question
            if isinstance(reply, list):
                reply = reply.pop(0)
            asked.append(question)
            self.type(reply)
        os.close(self.master)
        return asked


SALES = (
    "Thing,When,Got,Postage\n"
    "brass lamp,3/14/2026,42.50,9.95\nwool blanket,3/20/2026,31.00,12.40\nmantel clock,4/2/2026,88.00,14.10\n"
)
#: What somebody types who reads the question and nothing else.
SALES_REPLIES = {
    "no column is cost": "0",
    "a cost of 0 for every row": "2",
    "no column is category": "unsorted",
    "no column is bought_on": "2026-01-01",
    "no column is sold_on": "2",
    "no column is sold_price": "Got",
    "no column is title": "1",
    "what is Postage": "1",
    "what is Got": "sold_price",
    "what is When": "sold_on",
    "do not say what the rows are": "items",
    "Write this into": "y",
}


@pytest.fixture
def sales(tmp_path):
    path = tmp_path / "sales.csv"
    path.write_text(SALES, encoding="utf-8")
    return path


def require_sales(folder):
    items = read_books(folder).items.sort_values("row")
    assert items["title"].tolist() == ["brass lamp", "wool blanket", "mantel clock"]
    assert items["sold_price_cents"].tolist() == [4250, 3100, 8800]
    assert items["shipping_charged_cents"].tolist() == [995, 1240, 1410]
    assert [day.date().isoformat() for day in items["sold_on"]] == ["2026-03-14", "2026-03-20", "2026-04-02"]
    assert items["cost_cents"].isna().all()


def test_numbers_headers_and_values_are_taken_as_they_are_typed(sales, tmp_path):
    terminal = Terminal(sales, "--into", tmp_path / "books")
    asked = terminal.run(dict(SALES_REPLIES))
    assert terminal.process.returncode == 0, terminal.text
    assert len(asked) <= 9
    assert "brass lamp, wool blanket, mantel clock" in terminal.text
    assert "sum of shipping_charged over the rows taken: 36.45" in terminal.text.split("Write this into")[0]
    require_sales(tmp_path / "books")


def test_wrong_answers_are_asked_again(sales, tmp_path):
    replies = dict(SALES_REPLIES)
    replies["no column is bought_on"] = ["last spring", "2026-01-01"]
    replies["what is Postage"] = ["9", "maybe", "shipping_charged"]
    terminal = Terminal(sales, "--into", tmp_path / "books")
    terminal.run(replies)
    assert terminal.process.returncode == 0, terminal.text
    assert replies["no column is bought_on"] == []
    assert replies["what is Postage"] == []
    require_sales(tmp_path / "books")


def test_a_break_loses_no_answer(sales, tmp_path):
    books = tmp_path / "books"
    first = Terminal(sales, "--into", books)
    before = first.run(dict(SALES_REPLIES), stop_after=3)
    assert first.process.returncode == 130
    assert not (books / "items.csv").exists()
    second = Terminal(sales, "--into", books)
    after = second.run(dict(SALES_REPLIES))
    assert second.process.returncode == 0, second.text
    assert "Continuing with 3 answers" in second.text
    assert len(before) == 3
    whole = Terminal(sales, "--into", tmp_path / "other").run(dict(SALES_REPLIES))
    assert len(after) == len(whole) - 3
    require_sales(books)
    assert not list((books / "converted").glob("*-answers.json"))
    # The same headers next month: nothing is asked but the last word.
    month = tmp_path / "april.csv"
    month.write_text(SALES + "tea set,4/20/2026,55.00,8.00\n", encoding="utf-8")
    third = Terminal(month, "--into", books)
    assert len(third.run({"Write this into": "y"})) == 1
    assert len(read_books(books).items) == 4


def test_an_answer_is_taken_back(sales, tmp_path):
    replies = dict(SALES_REPLIES)
    replies["no column is category"] = ["oddments", "unsorted"]
    replies["no column is bought_on"] = ["back", "2026-01-01"]
    terminal = Terminal(sales, "--into", tmp_path / "books")
    terminal.run(replies)
    assert terminal.process.returncode == 0, terminal.text
    assert replies["no column is category"] == replies["no column is bought_on"] == []
    assert "Type back to answer the last question again" in terminal.text
    assert set(read_books(tmp_path / "books").items["category"]) == {"unsorted"}


def test_a_kept_answer_that_does_not_fit_is_asked_again(sales, tmp_path):
    kept = tmp_path / "books" / "converted" / "sales-answers.json"
    kept.parent.mkdir(parents=True)
    kept.write_text('{"table": "items", "column bought_on": "=last spring"}', encoding="utf-8")
    terminal = Terminal(sales, "--into", tmp_path / "books")
    asked = terminal.run(dict(SALES_REPLIES))
    assert terminal.process.returncode == 0, terminal.text
    assert any("no column is bought_on" in question for question in asked)
    require_sales(tmp_path / "books")


def test_no_to_the_last_question_writes_nothing(sales, tmp_path):
    terminal = Terminal(sales, "--into", tmp_path / "books")
    terminal.run({**SALES_REPLIES, "Write this into": "n"})
    assert terminal.process.returncode == 0
    assert "nothing written" in terminal.text
    assert not (tmp_path / "books" / "items.csv").exists()


def test_a_sheet_among_several_below_title_lines(tmp_path):
    made = openpyxl.Workbook()
    made.active.title = "read me"
    made.active.append(["my shop", "2026"])
    sheet = made.create_sheet("finds")
    for row in (
        ["Everything I bought"],
        ["as of June"],
        [],
        ["Item", "Kind", "Bought", "Paid"],
        ["brass lamp", "lamps", "2026-03-07", 18.5],
        ["clock", "", "2026-03-08", "free"],
        ["vase", "glass", "2026-03-09", 4],
    ):
        sheet.append(row)
    path = tmp_path / "shop.xlsx"
    made.save(path)
    terminal = Terminal(path, "--into", tmp_path / "books")
    terminal.run({"2 sheets": "2", "has no Kind": "1", "Paid has free": "1", "Write this into": "y"})
    assert terminal.process.returncode == 0, terminal.text
    items = read_books(tmp_path / "books").items.sort_values("row")
    assert items["cost_cents"].tolist() == [1850, 0, 400]
    assert items["category"].tolist() == ["lamps", "unsorted", "glass"]
