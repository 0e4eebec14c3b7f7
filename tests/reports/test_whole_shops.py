"""Random shops through the whole study and all pages: sums exact, no page at odds with another, no order of rows."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from flipkit.analysis.results import BOOK_LINES
from flipkit.books.read import books_as_of, read_books
from flipkit.errors import NotEnoughDataError, PackError
from flipkit.pack.build import require_agreement
from flipkit.reports.elements import Figure, Said, headline, table
from flipkit.reports.study import latest_full_month, open_study
from tests.helpers.pages_in_process import pages_shown
from tests.helpers.random_books import write_random_books
from tests.helpers.random_shops import require_exact_sums, require_one_voice

#: Shops whose pages are looked at in each run of the tests; the benchmark takes hundreds.
SEEDS = (1, 6, 171042, 171110)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_shop_adds_up_on_every_page(tmp_path, seed):
    books = write_random_books(tmp_path / "books", seed)
    study, shown = pages_shown(books)
    require_exact_sums(study)
    require_one_voice(shown)


@pytest.mark.parametrize("seed", range(20, 40))
def test_sums_of_a_random_shop_are_exact(tmp_path, seed):
    books = write_random_books(tmp_path / "books", seed)
    if read_books(books).items.empty:
        with pytest.raises(NotEnoughDataError, match="number of things in items must be at least 1, got 0"):
            open_study(books)
        return
    require_exact_sums(open_study(books))


def test_the_order_of_rows_moves_nothing(tmp_path):
    one, other = (pages_shown(write_random_books(tmp_path / str(order), 13, shuffled=order))[1] for order in (None, 5))
    assert {name: [e.html for e in page] for name, page in one.items()} == {
        name: [e.html for e in page] for name, page in other.items()
    }


@pytest.mark.worked
def test_the_years_lines_are_those_of_the_books(demo_folder, demo_study):
    """The same lines added up from the tables themselves, without the kit's own sums."""
    study = demo_study
    books = books_as_of(read_books(demo_folder), study.as_of)
    first, last = (pd.Timestamp(day) for day in study.year_so_far())

    def inside(days: pd.Series) -> pd.Series:
        return (days >= first) & (days <= last)

    items = study.items
    sold = items[inside(items["sold_on"])]
    total = int((sold["sold_price_cents"] + sold["shipping_charged_cents"]).sum())
    total -= int(items.loc[inside(items["returned_on"].fillna(items["sold_on"])), "refund_cents"].sum())
    for line in ("marketplace_fee", "label", "label_adjustment", "protection"):
        total -= int(sold[f"{line}_cents"].sum())
    # Fees of listings and fees given back are worked out in tests/economics.
    listings = study.economics.listings
    total -= int(listings.loc[inside(listings["day"]), "cents"].sum())
    total += int(items.loc[inside(items["returned_on"].fillna(items["sold_on"])), "refunded_fee_cents"].sum())
    total -= int(books.supplies.loc[inside(books.supplies["date"]), "cost_cents"].sum())
    total -= int(books.overheads.loc[inside(books.overheads["month"]), "amount_cents"].sum())
    trips = books.trips[inside(books.trips["date"])]
    total -= int(trips[["parking_cents", "entry_cents"]].fillna(0).sum().sum())
    total -= int(np.floor(trips["miles"].fillna(0) * 72.5 + 0.5).sum())
    hired = books.people[books.people["role"] == "hired"].set_index("worker")
    work = books.work[inside(books.work["date"]) & books.work["worker"].isin(hired.index)]
    for row in work.itertuples():
        pay = hired.loc[row.worker]
        cents = row.minutes * pay["wage_cents"] / 60 * (1 + pay["payroll_burden_ppm"] / 1e6)
        total -= int(np.floor(cents + 0.5))
    how = books.items.set_index("item_id")["gone_how"].reindex(items["item_id"]).to_numpy()
    left = items["gone_on"].fillna(items["sold_on"].where(items["returned_on"].isna()))
    out = inside(left) & ~((how == "kept") & items["gone_on"].notna())
    total -= int(items.loc[out, "cost_cents"].sum())
    # What sold before and came back within the span is stock again.
    steps = study.bridges["year"].set_index("step")["amount_cents"]
    before = items[(items["sold_on"] < first) & inside(items["returned_on"])]
    total += int(before["cost_cents"].sum())
    assert int(steps[BOOK_LINES]) == total


def test_two_pages_with_two_values_stop_the_pack():
    said = Figure("things in stock", "shop", "2026-10-31", 36)
    pages = [("Stock", [said]), ("One category", [said._replace(value=43)])]
    with pytest.raises(PackError, match=r"things in stock, shop.*36 on “Stock” and 43 on “One category”"):
        require_agreement(pages)
    # Another day is another quantity.
    require_agreement([pages[0], ("One category", [said._replace(value=43, day="2026-11-14")])])


def test_elements_hand_their_figures_on():
    said = Figure("sales", "shop", "2026-10-31", 2)
    assert headline(Said("Two.", [said]), note="No more.").figures == (said,)
    frame = pd.DataFrame({"sold": [2]})
    shown = table(frame, figures=[said])._repr_mimebundle_()
    assert shown["application/vnd.flipkit.figures+json"] == [["sales", "shop", "2026-10-31", 2]]
    assert set(table(frame)._repr_mimebundle_()) == {"text/html", "text/plain"}


def test_the_months_of_a_study_end_before_they_begin_nowhere():
    assert latest_full_month(dt.date(2026, 3, 1)) == "2026-02"
