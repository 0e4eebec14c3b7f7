"""The demo shop's books are what the generator writes, byte for byte, and tell what they should."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from flipkit.books.read import inspect_books
from flipkit.simulation.__main__ import main
from flipkit.simulation.demo import DEMO_LAST_DAY, demo_rules, demo_tables

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def tables() -> dict[str, pd.DataFrame]:
    return demo_tables(demo_rules())


def test_kept_books_equal_the_generators(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(tmp_path), str(DEMO / "rules")]) == 0
    written = sorted(path.name for path in tmp_path.iterdir())
    assert written == sorted(path.name for path in DEMO.glob("*.csv"))
    for name in written:
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes(), name
    assert len(capsys.readouterr().out.splitlines()) == len(written)


def test_folder_must_be_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert "FOLDER" in capsys.readouterr().err


def test_about_1500_items_of_twelve_kinds_over_the_period(tables: dict[str, pd.DataFrame]) -> None:
    items = tables["items"]
    assert 1400 <= len(items) <= 1600
    assert items["category"].nunique() == 12
    assert items["bought_on"].min() >= "2025-01-04"
    last = max(
        day for name in ("bought_on", "listed_on", "sold_on", "returned_on", "gone_on") for day in items[name] if day
    )
    assert last <= DEMO_LAST_DAY.isoformat()
    assert items["item_id"].is_unique


def test_every_fate_occurs(tables: dict[str, pd.DataFrame]) -> None:
    items = tables["items"]
    sold = items["sold_on"] != ""
    assert sold.mean() > 0.5
    for fate in ("returned_on", "gone_on", "refund", "lot_id", "label_adjustment"):
        assert (items[fate] != "").sum() >= 15, fate
    assert set(items["gone_how"]) == {"", "donated", "scrapped", "kept"}
    waiting = ~sold & (items["gone_on"] == "")
    assert (waiting & (items["listed_on"] != "")).sum() > 100
    assert (waiting & (items["listed_on"] == "")).sum() > 5


@pytest.mark.parametrize("column", ["fees_paid", "label_paid", "zone", "length_in"])
def test_some_figures_are_recorded_and_some_are_not(tables: dict[str, pd.DataFrame], column: str) -> None:
    items = tables["items"]
    posted = items[(items["sold_on"] != "") & (items["zone"] != "pickup")]
    assert 0.6 < (posted[column] != "").mean() < 0.97


def test_an_item_of_a_lot_has_no_cost_of_its_own(tables: dict[str, pd.DataFrame]) -> None:
    items, lots = tables["items"], tables["lots"]
    in_lot = items["lot_id"] != ""
    assert ((items["cost"] == "") == in_lot).all()
    # One lot is a slip: nothing was ever booked as coming from it.
    assert set(items.loc[in_lot, "lot_id"]) == set(lots["lot_id"].iloc[:-1])


def test_rows_point_at_rows_that_exist(tables: dict[str, pd.DataFrame]) -> None:
    items = set(tables["items"]["item_id"])
    trips = set(tables["trips"]["trip_id"])
    unknown = set(tables["items"]["trip_id"]) - {""} - trips
    assert len(unknown) == 1, "one slip"
    assert set(tables["price_changes"]["item_id"]) <= items
    assert set(tables["comparables"]["item_id"]) - {""} <= items
    work = tables["work"]
    assert set(work["item_id"]) - {""} <= items
    assert set(work["trip_id"]) - {""} <= trips
    assert set(work["worker"]) == set(tables["people"]["worker"])


def test_the_check_tells_the_slips_and_stops_at_none() -> None:
    books, problems = inspect_books(DEMO)
    assert books is not None
    assert {problem.severity for problem in problems} == {"note"}
    told = {(problem.file, problem.column) for problem in problems}
    for place in (
        ("items.csv", "refund"),
        ("items.csv", "listed_on"),
        ("items.csv", "label_paid"),
        ("items.csv", "fees_paid"),
        ("items.csv", "trip_id"),
        ("price_changes.csv", "changed_on"),
        ("price_changes.csv", "price"),
        ("work.csv", "category"),
        ("work.csv", ""),
        ("comparables.csv", "category"),
        ("lots.csv", "lot_id"),
    ):
        assert place in told, place
    assert len(problems) < 60


def test_the_log_is_kept_in_some_weeks_only(tables: dict[str, pd.DataFrame]) -> None:
    work, trips = tables["work"], tables["trips"]
    logged = trips["trip_id"].isin(set(work["trip_id"])).mean()
    assert 0.3 < logged < 0.75


def test_titles_are_varied(tables: dict[str, pd.DataFrame]) -> None:
    items = tables["items"]
    assert items["title"].nunique() > 0.55 * len(items)
    assert items["title"].str.fullmatch(r"[A-Z0-9][\w ,.'/é-]+").all()
