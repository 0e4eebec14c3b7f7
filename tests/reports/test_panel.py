"""The sliders over the full model: the same figures as a report under the same assumptions, saved and loaded."""

from __future__ import annotations

import asyncio
import dataclasses
import datetime as dt
import tomllib

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from openpyxl import Workbook

from flipkit.analysis.what_if import Settings
from flipkit.assumptions import load_assumptions, settings_in
from flipkit.charts.sliders import plot_moved_returns
from flipkit.charts.style import MIME_TYPE, spec_bundle
from flipkit.cli.main import main
from flipkit.errors import AssumptionError
from flipkit.reports.panel import AssumptionPanel, assumption_panel, save_assumptions
from flipkit.reports.sliders import Moves
from flipkit.reports.study import open_study
from flipkit.reports.tables import ranking_table, returns_table
from tests.helpers.asked import EVERYTHING

DAY = dt.date(2026, 11, 25)
#: Reports computed anew under settings drawn by chance.
DRAWS = 12 if EVERYTHING else 3
ITEMS = """item_id,title,category,bought_on,cost,listed_on,sold_on,sold_price,shipping_charged
A,Jug,stoneware,2025-11-01,10.00,2025-11-05,2026-01-10,50.00,12.00
B,Jar,stoneware,2025-11-01,5.00,2025-11-05,,,
C,Lamp,lamps,2026-01-02,20.00,2026-01-05,2026-02-01,80.00,0
"""


@pytest.fixture(scope="module")
def demo(demo_study):
    return demo_study


@pytest.fixture
def books(tmp_path):
    folder = tmp_path / "my books"
    folder.mkdir()
    (folder / "items.csv").write_text(ITEMS, encoding="utf-8")
    return folder


@pytest.fixture
def panel(books):
    return AssumptionPanel(open_study(books))


def same_figures(moved, anew):
    """Both bases, intervals, pulled figures, chances and verdicts, to the last digit; the stock is not planned anew."""
    anew = dataclasses.replace(anew, giving=moved.given_up)
    pd.testing.assert_frame_equal(moved.items, anew.items, check_exact=True)
    for name in (
        "sold_returns",
        "bought_returns",
        "both_bases",
        "ranking",
        "prospects",
        "shop_results",
        "shop_sales",
        "shop_bought",
    ):
        pd.testing.assert_frame_equal(getattr(moved, name), getattr(anew, name), check_exact=True)
    assert moved.assumptions == anew.assumptions
    assert (moved.as_of, moved.month, moved.target) == (anew.as_of, anew.month, anew.target)


@pytest.mark.slow
def test_chance_settings_give_the_figures_of_a_report_under_them(demo, demo_folder):
    studies = Moves(demo)
    draw = np.random.default_rng(20261125)
    seen = set()
    for _ in range(DRAWS):
        settings = Settings(
            target=float(draw.integers(0, 121)) / 2,
            wage=float(draw.integers(0, 81)) / 2,
            points=float(draw.integers(-20, 41)) / 4,
            divisor=int(draw.choice([0, 139, 166, 194])),
            factor=float(draw.integers(10, 41)) / 20,
            price=float(draw.integers(50, 151)) / 100,
            postage=float(draw.integers(10, 41)) / 20,
            cost=float(draw.integers(0, 41)) / 20,
        )
        moved = studies.under(settings)
        same_figures(moved, open_study(demo_folder, settings=studies.overrides(settings)))
        seen.add((moved.key, tuple(moved.ranking["pulled"])))
    assert len(seen) == DRAWS


@pytest.mark.slow
def test_each_slider_moves_something_and_back_is_the_report(demo):
    panel = assumption_panel(demo)
    start = panel.settings
    assert panel.overrides == {}
    first = {name: getattr(panel.study, name) for name in ("ranking", "both_bases")}
    texts = {panel.reading().text}
    for name, value in (
        ("target", 22.0),
        ("wage", 25.5),
        ("points", 1.25),
        ("divisor", 166),
        ("factor", 1.15),
        ("price", 1.1),
    ):
        panel.move(**{name: value})
        assert getattr(panel.settings, name) == value
        texts.add(panel.reading().text)
    assert len(texts) == 7, "each slider changes what is read"
    panel.move_back()
    assert panel.settings == start
    for name, frame in first.items():
        pd.testing.assert_frame_equal(getattr(panel.study, name), frame, check_exact=True)
    assert "Nothing is moved" in panel.reading().text


@pytest.mark.slow
def test_any_other_assumption_and_one_supposed_already_can_be_moved_from(demo_folder):
    supposed = {"suppose.minutes": 1.5, "suppose.divisor": 180, "help.wage": "21.00", "suppose.wage_for": "everybody"}
    panel = assumption_panel(open_study(demo_folder, settings=supposed))
    assert (panel.settings.factor, panel.settings.divisor, panel.settings.wage) == (1.5, 180, 21.0)
    panel.move(others="stock.salvage=25 %; report.window_months=9", factor=1.0, divisor=166)
    assert panel.told == ""
    same_figures(panel.study, open_study(demo_folder, settings=supposed | panel.overrides))


def test_what_cannot_be_assumed_is_said_and_changes_nothing(panel):
    before = panel.reading().text
    for text, said in (
        ("stock.salvag=25 %", "stock.salvage"),
        ("stock.salvage=much", "rate"),
        ("nothing", "KEY=VALUE"),
        ("hour.target=30", "moved where it stands by itself"),
    ):
        panel.move(others=text)
        assert said in panel.told
        assert panel.reading().text == before
    panel.move(others="")
    assert panel.told == ""


def test_the_panel_shows_itself_in_words_and_drawn_figures(panel):
    panel.move(target=12.0)
    study = panel.study
    shown = panel._repr_mimebundle_()
    assert {"application/vnd.jupyter.widget-view+json", "text/html", "text/plain"} <= set(shown)
    for table in (ranking_table(study), returns_table(study)):
        assert table.html in shown["text/html"]
        assert table.text in shown["text/plain"]
    [drawn] = panel._shown["chart"].outputs
    anew = spec_bundle(plot_moved_returns(study.bought_returns, 12.0, confidence=study.confidence).to_dict())
    assert drawn["data"] == anew
    assert drawn["data"][MIME_TYPE]["params"] == [{"name": "target", "value": 12.0}]


def test_a_key_held_down_is_computed_once_it_rests(panel):
    computed = []
    recompute = panel.recompute
    panel.recompute = lambda: computed.append(panel.settings.target) or recompute()

    async def held():
        for value in (21.0, 21.5, 22.0):
            panel.controls["target"].value = value
        assert computed == []
        await asyncio.sleep(0.3)

    asyncio.run(held())
    assert computed == [22.0]
    assert panel.study.target == 22.0


def test_saving_does_not_wait_for_the_key_to_rest(panel, books):
    async def press():
        panel.controls["target"].value = 23.0
        return panel.save(on=DAY)

    assert 'hour.target = "23.00"' in asyncio.run(press()).read_text(encoding="utf-8")


def test_the_file_says_the_day_what_was_moved_and_from_what(panel, books):
    panel.move(target=25.0, wage=18.5, points=-1.25, divisor=166, factor=1.2, others="loss.chance.bulky=7.5 %")
    file = panel.save(on=DAY)
    assert file == books / "assumptions-2026-11-25.toml"
    assert panel.told.startswith(f"Saved in {file}")
    text = file.read_text(encoding="utf-8")
    assert "saved on 2026-11-25, moved over the books as they stood on 2026-02-01" in text
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert lines == [
        'hour.target = "25.00"  # was $20.00',
        'help.wage = "18.50"  # was $16.00',
        lines[2],
        'suppose.wage_for = "everybody"  # was those without a wage',
        "suppose.fee_points = -1.25  # was 0",
        "suppose.divisor = 166  # was 0",
        "suppose.minutes = 1.2  # was 1",
    ]
    assert lines[2].startswith('loss.chance.bulky = "7.5 %"  # was ')
    assert tomllib.loads(text)["suppose"]["minutes"] == 1.2


def test_what_was_saved_gives_the_same_figures_wherever_it_is_taken_up(panel, books, tmp_path, monkeypatch):
    panel.move(target=12.25, wage=18.5, points=0.75, factor=1.15, others="minutes.pack=11; stock.salvage=3.0625 %")
    file = panel.save(on=DAY)
    for settings in (file.name, str(file), settings_in(file)):
        same_figures(panel.study, open_study(books, settings=settings))
    kept = {key: entry.value for key, entry in panel.study.assumptions.entries.items()}
    for shop, overrides in ((None, settings_in(file)), (file, None)):
        found = load_assumptions(shop, overrides=overrides).entries
        assert {key: entry.value for key, entry in found.items()} == kept
    asked = {}
    monkeypatch.setattr("flipkit.pack.month.month_plan", lambda _, **rest: asked.update(rest) or 1 / 0)
    said = ("report", books, "--assumptions", file.name, "--set", "hour.target=9", "--set", "minutes.pack=12")
    CliRunner().invoke(main, [str(word) for word in said])
    expected = {key: value for key, value in settings_in(file).items() if not key.startswith("minutes.pack")}
    assert asked["settings"] == expected | {"hour.target": "9", "minutes.pack": "12"}
    listed = CliRunner().invoke(main, ["assumptions", str(books), "--assumptions", str(file)])
    assert "hour.target = $12.25 per owner hour (this run)" in listed.output


def test_nothing_is_ever_written_over(panel, books):
    panel.move(target=25.0)
    first = panel.save(on=DAY)
    assert panel.save(on=DAY) == first, "the same again needs no second file"
    panel.move(target=26.0)
    second = panel.save(on=DAY)
    assert second.name == "assumptions-2026-11-25-2.toml"
    assert 'hour.target = "25.00"' in first.read_text(encoding="utf-8")
    assert 'hour.target = "26.00"' in second.read_text(encoding="utf-8")
    assert panel.save(on=DAY + dt.timedelta(days=1)).name == "assumptions-2026-11-26.toml"
    assert sorted(path.name for path in books.iterdir()) == [
        "assumptions-2026-11-25-2.toml", "assumptions-2026-11-25.toml", "assumptions-2026-11-26.toml", "items.csv",
    ]  # fmt: skip


def test_a_saved_file_changes_no_report_that_does_not_ask_for_it(panel, books):
    before = open_study(books)
    panel.move(factor=2.0)
    panel.save(on=DAY)
    again = open_study(books)
    assert again.key == before.key
    assert again.assumptions == before.assumptions
    assert again.notes == before.notes


def test_the_shops_own_assumptions_are_what_was(books):
    own = books / "assumptions.toml"
    own.write_text('[hour]\ntarget = "30.00"\n', encoding="utf-8")
    panel = AssumptionPanel(open_study(books))
    panel.move(target=31.0)
    assert 'hour.target = "31.00"  # was $30.00' in panel.save(on=DAY).read_text(encoding="utf-8")
    assert own.read_text(encoding="utf-8") == '[hour]\ntarget = "30.00"\n'


def test_nothing_moved_is_nothing_to_save(panel, books):
    assert panel.save(on=DAY) is None
    assert "move one first" in panel.told
    assert [path.name for path in books.iterdir()] == ["items.csv"]


def test_a_folder_that_cannot_be_written_to_is_said(panel, tmp_path):
    panel.move(target=31.0)
    assert panel.save(on=DAY, folder=tmp_path / "none") is None
    assert "can be written to" in panel.told


def test_beside_a_workbook_and_not_among_the_demo_books(tmp_path, monkeypatch, demo):
    sheet = Workbook()
    sheet.active.title = "items"
    for line in ITEMS.strip().splitlines():
        sheet.active.append(line.split(","))
    sheet.save(tmp_path / "shop.xlsx")
    study = open_study(tmp_path / "shop.xlsx", settings="hour.target=33")
    file = save_assumptions(study, on=DAY)
    assert file == tmp_path / "assumptions-2026-11-25.toml"
    assert open_study(tmp_path / "shop.xlsx", settings=file.name).target == 33.0
    (tmp_path / "assumptions.toml").write_text('[hour]\ntarget = "34.00"\n', encoding="utf-8")
    listed = CliRunner().invoke(main, ["assumptions", str(tmp_path / "shop.xlsx")]).output
    assert "hour.target = $34.00 per owner hour (shop)" in listed
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    moved = Moves(demo).under(Settings(target=19.0, wage=16.5))
    assert save_assumptions(moved, on=DAY).parent == tmp_path / "here"


def test_a_file_that_is_not_there_or_no_assumptions_is_one_line(books):
    with pytest.raises(AssumptionError, match=r"none\.toml"):
        open_study(books, settings="none.toml")
    (books / "bad.toml").write_text("[hour\n", encoding="utf-8")
    result = CliRunner().invoke(main, ["assumptions", str(books), "--assumptions", "bad.toml"])
    assert result.exit_code == 2
    assert "bad.toml must be a TOML file" in result.output


def test_books_without_a_purchase_in_the_window_still_have_a_panel(tmp_path):
    (tmp_path / "items.csv").write_text(ITEMS, encoding="utf-8")
    panel = AssumptionPanel(open_study(tmp_path, as_of="2028-06-30"))
    panel.move(target=3.0, factor=2.0)
    assert "Nothing was bought in these months" in panel.reading().text
    assert "Nothing bought yet" in panel._shown["chart"].outputs[0]["data"]["text/plain"]
