"""Histories written as the seller's books: what a seller would know and would have written down."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from flipkit.simulation.draws import Draws
from flipkit.simulation.histories import Histories
from flipkit.simulation.shops import asked_cents
from flipkit.simulation.titles import titles
from flipkit.simulation.worklog import Logging, work_log

_SOURCES = ("thrift shop", "estate sale", "flea market", "yard sale", "church sale", "auction house")
_SOURCE_WEIGHTS = (26.0, 30.0, 18.0, 14.0, 7.0, 5.0)
_CONDITIONS = ("like new", "good", "fair", "for parts")
_CONDITION_WEIGHTS = (12.0, 58.0, 25.0, 5.0)


@dataclass(frozen=True, kw_only=True)
class Gaps:
    """How often a cell stays blank; the books of the first weeks have twice as many gaps.

    Parameters
    ----------
    sides, listed, list_price, zone, fees, label, trip, source, condition : float
        Share of the rows with the sides and weight missing, the day of listing, and so on.
    materials : float
        Share of the posted sales whose materials *are* written down.
    price_change : float
        Share of the price changes that nobody wrote down.
    """

    sides: float = 0.10
    listed: float = 0.02
    list_price: float = 0.02
    zone: float = 0.05
    fees: float = 0.14
    label: float = 0.17
    trip: float = 0.04
    source: float = 0.06
    condition: float = 0.08
    materials: float = 0.16
    price_change: float = 0.04


def books_tables(
    drawn: Histories,
    *,
    as_of: dt.date,
    gaps: Gaps,
    logging: Logging,
    seed: int,
) -> dict[str, pd.DataFrame]:
    """The tables that the seller of one simulated shop would have on a day, every cell as text.

    Parameters
    ----------
    drawn : Histories
        Histories of one copy.
    as_of : datetime.date
        What happens later is not in the books.
    gaps : Gaps
        What stays blank.
    logging : Logging
        Who works, and what of it is written down.
    seed : int
        Seed of the gaps, the log, the titles and the comparables.

    Returns
    -------
    dict of DataFrame
        items, price_changes, work, trips, lots and comparables.
    """
    draws = Draws(seed)
    day = np.datetime64(as_of, "D")
    trips = drawn.trips.assign(
        trip_id=[f"T-{number:03d}" for number in range(1, len(drawn.trips) + 1)],
        date=drawn.trips["day"].to_numpy().astype("datetime64[D]").astype("datetime64[s]"),
    )
    items = drawn.items.assign(
        item_id=[f"R-{number:04d}" for number in range(1, len(drawn.items) + 1)],
        trip_id=trips["trip_id"].to_numpy()[drawn.items["trip"].to_numpy()],
        title=titles(drawn.shop.names, drawn.items["kind"].to_numpy(), draws),
    )
    lots = _lots(items, trips, draws)
    items["lot_id"] = lots.pop("lot_of_item")
    return {
        "items": _items_table(items, day, gaps, draws, drawn.shop.first_day),
        "price_changes": _price_changes(drawn, items, day, gaps, draws),
        "work": _work_table(items, trips, day, logging, draws),
        "trips": pd.DataFrame(
            {
                "trip_id": trips["trip_id"],
                "date": _dates(trips["date"]),
                "miles": [f"{miles:.0f}" for miles in trips["miles"]],
                "parking": _money(trips["parking_cents"], blank=trips["parking_cents"] == 0),
                "entry": _money(trips["entry_cents"], blank=trips["entry_cents"] == 0),
            }
        ),
        "lots": lots["table"],
        "comparables": _comparables(drawn, items, day, draws),
    }


def write_books(tables: dict[str, pd.DataFrame], folder: Path) -> list[Path]:
    """Write tables of text as CSV files: UTF-8, one line end, the same bytes every time.

    Parameters
    ----------
    tables : dict of DataFrame
        Tables by name.
    folder : Path
        Where they go; made if it is not there.

    Returns
    -------
    list of Path
        The files written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, table in tables.items():
        path = folder / f"{name}.csv"
        path.write_bytes(table.to_csv(index=False, lineterminator="\n").encode("utf-8"))
        written.append(path)
    return written


def _money(cents: pd.Series, *, blank: pd.Series | np.ndarray | None = None) -> list[str]:
    hidden = np.zeros(len(cents), dtype=bool) if blank is None else np.asarray(blank, dtype=bool)
    return ["" if hide else f"{value / 100:.2f}" for value, hide in zip(cents, hidden, strict=True)]


def _dates(days: pd.Series, *, blank: pd.Series | np.ndarray | None = None) -> list[str]:
    text = days.dt.strftime("%Y-%m-%d")
    hidden = days.isna() if blank is None else days.isna() | np.asarray(blank, dtype=bool)
    return text.where(~hidden, "").fillna("").tolist()


def _lots(items: pd.DataFrame, trips: pd.DataFrame, draws: Draws) -> dict[str, pd.DataFrame | list[str]]:
    """Some trips bring a lot: a few things for one price."""
    has_lot = draws.uniform("lot", len(trips)) < 0.22
    size = draws.whole("things in a lot", 3, 9, len(trips))
    place = items.groupby("trip").cumcount().to_numpy()
    of_trip = items["trip"].to_numpy()
    big_enough = trips["items"].to_numpy() > size
    inside = (has_lot & big_enough)[of_trip] & (place < size[of_trip])
    number = np.cumsum(has_lot & big_enough)
    lot = [f"L-{number[trip]:02d}" if belongs else "" for trip, belongs in zip(of_trip, inside, strict=True)]
    paid = items[inside].assign(lot_id=[name for name in lot if name]).groupby("lot_id", sort=True)
    cents = paid["cost_cents"].sum()
    keys = ("expected value", "equal", "weight")
    table = pd.DataFrame(
        {
            "lot_id": cents.index,
            "date": _dates(paid["bought_on"].first()),
            "cost": _money(cents),
            "share_by": [keys[pick] for pick in draws.choice("lot key", (6, 3, 1), len(cents))],
        }
    )
    return {"table": table, "lot_of_item": lot}


def _items_table(items: pd.DataFrame, day: np.datetime64, gaps: Gaps, draws: Draws, first_day: dt.date) -> pd.DataFrame:
    n = len(items)
    young = (items["bought_on"] - pd.Timestamp(first_day)).dt.days.to_numpy() < 90

    def missing(name: str, share: float) -> np.ndarray:
        return np.asarray(draws.uniform(f"missing {name}", n) < np.minimum(share * np.where(young, 2.0, 1.0), 0.95))

    listed = items["listed_on"].to_numpy() <= day
    sold = (items["sold_on"].to_numpy() <= day) & (items["outcome"] != "gone").to_numpy()
    posted = sold & ~items["local"].to_numpy()
    returned = items["returned_on"].to_numpy() <= day
    gone = items["gone_on"].to_numpy() <= day
    refunded = sold & (items["refund_cents"] > 0).to_numpy() & (returned | (items["outcome"] == "sold").to_numpy())
    # Nobody writes down a listing day or price and forgets the listing; both are lost together.
    lost = missing("listing", gaps.listed) & sold
    no_sides = missing("sides", gaps.sides) | (~listed & (draws.uniform("not yet packed", n) < 0.5))
    no_zone = missing("zone", gaps.zone)
    adjusted = posted & (items["label_adjustment_cents"] > 0).to_numpy()
    no_label = missing("label", gaps.label) & ~adjusted
    sources = np.array([*_SOURCES, "", "lot"], dtype=object)
    of_trip = draws.choice("source", _SOURCE_WEIGHTS, int(items["trip"].max()) + 1)[items["trip"].to_numpy()]
    conditions = np.array(_CONDITIONS, dtype=object)[draws.choice("condition", _CONDITION_WEIGHTS, n)]
    table = pd.DataFrame(
        {
            "item_id": items["item_id"],
            "title": items["title"],
            "category": items["category"].astype(str),
            "bought_on": _dates(items["bought_on"]),
            "cost": _money(items["cost_cents"], blank=items["lot_id"] != ""),
            "lot_id": items["lot_id"],
            "trip_id": np.where(missing("trip", gaps.trip) & (items["lot_id"] == ""), "", items["trip_id"]),
            "source": np.where(missing("source", gaps.source), "", sources[of_trip]),
            "condition": np.where(missing("condition", gaps.condition), "", conditions),
            "quantity": "1",
            **{
                side: ["" if hide else f"{value:g}" for value, hide in zip(items[side], no_sides, strict=True)]
                for side in ("length_in", "width_in", "height_in")
            },
            "weight_lb": [
                "" if hide else f"{value:g}" for value, hide in zip(items["weight_lb"], no_sides, strict=True)
            ],
            "listed_on": _dates(items["listed_on"], blank=~listed | lost),
            "list_price": _money(
                items["list_price_cents"], blank=~listed | (missing("list price", gaps.list_price) & sold) | lost
            ),
            "sold_on": _dates(items["sold_on"], blank=~sold),
            "sold_price": _money(items["sold_price_cents"], blank=~sold),
            "shipping_charged": _money(items["shipping_charged_cents"], blank=~posted),
            "venue": np.where(listed, items["venue"], ""),
            "zone": np.where(posted, np.where(no_zone, "", items["zone"]), np.where(sold, "pickup", "")),
            "fees_paid": _money(items["fees_cents"], blank=~sold | missing("fees", gaps.fees)),
            "label_paid": _money(items["label_cents"], blank=~posted | no_label),
            "label_adjustment": _money(items["label_adjustment_cents"], blank=~adjusted),
            "materials_paid": _money(items["materials_cents"], blank=~posted | ~missing("materials", gaps.materials)),
            "refund": _money(items["refund_cents"], blank=~refunded),
            "returned_on": _dates(items["returned_on"], blank=~returned),
            "gone_on": _dates(items["gone_on"], blank=~gone),
            "gone_how": np.where(gone, items["gone_how"], ""),
        }
    )
    table["note"] = _notes(items, sold, refunded, returned, draws)
    bought = items["bought_on"].to_numpy() <= day
    return table[bought].reset_index(drop=True)


def _notes(
    items: pd.DataFrame, sold: np.ndarray, refunded: np.ndarray, returned: np.ndarray, draws: Draws
) -> list[str]:
    """A word here and there, as people write them."""
    luck = draws.uniform("notes", len(items))
    plain = ("asked for more photos", "check the shelf at the back", "sold at first offer", "odd size carton", "gift")
    notes = []
    for at in range(len(items)):
        if returned[at]:
            notes.append("came back, not as the buyer expected" if luck[at] < 0.6 else "")
        elif refunded[at]:
            notes.append("arrived damaged" if luck[at] < 0.8 else "")
        elif sold[at] and luck[at] < 0.05:
            notes.append(plain[int(luck[at] / 0.05 * len(plain))])
        else:
            notes.append("")
    return notes


def _price_changes(drawn: Histories, items: pd.DataFrame, day: np.datetime64, gaps: Gaps, draws: Draws) -> pd.DataFrame:
    every = np.array([kind.markdown_weeks for kind in drawn.shop.kinds])[items["kind"].to_numpy()]
    share = np.array([kind.markdown_share for kind in drawn.shop.kinds])[items["kind"].to_numpy()]
    count = items["markdowns"].to_numpy()
    row = np.repeat(np.arange(len(items)), count)
    step = np.arange(row.size) - np.repeat(np.cumsum(count) - count, count) + 1
    on = items["listed_on"].to_numpy()[row].astype("datetime64[D]") + 7 * step * every[row]
    price = asked_cents(items["list_price_cents"].to_numpy()[row], step, share[row])
    before = asked_cents(items["list_price_cents"].to_numpy()[row], step - 1, share[row])
    written = draws.uniform("price change written", row.size) >= gaps.price_change
    keep = (on <= day) & (price != before) & written
    order = np.lexsort((row[keep], on[keep]))
    return pd.DataFrame(
        {
            "item_id": items["item_id"].to_numpy()[row[keep]][order],
            "changed_on": _dates(pd.Series(on[keep][order].astype("datetime64[s]"))),
            "price": _money(pd.Series(price[keep][order])),
        }
    )


def _work_table(
    items: pd.DataFrame, trips: pd.DataFrame, day: np.datetime64, logging: Logging, draws: Draws
) -> pd.DataFrame:
    rows = work_log(items, trips, day, logging, draws)
    return rows.assign(date=_dates(rows["date"]), minutes=rows["minutes"].astype(str), count=rows["count"].astype(str))


def _comparables(drawn: Histories, items: pd.DataFrame, day: np.datetime64, draws: Draws) -> pd.DataFrame:
    """Recorded sales of like things: some by category, two or three for each dear thing looked up."""
    listed = items[items["listed_on"].to_numpy() <= day]
    dear = listed[(listed["value_cents"] > 9000) & (draws.uniform("looked up", len(listed)) < 0.5)]
    for_item = np.repeat(np.arange(len(dear)), draws.whole("comparables of an item", 1, 3, len(dear)))
    general = listed.iloc[np.sort(draws.choice("comparable like", np.ones(len(listed)), 32 * len(drawn.shop.kinds)))]
    like = pd.concat([dear.iloc[for_item], general])
    n = len(like)
    price = like["value_cents"].to_numpy() * np.exp(0.22 * draws.normal("comparable price", n))
    ago = draws.whole("comparable sold before", 2, 75, n)
    on = np.where(np.arange(n) < len(for_item), like["listed_on"], like["bought_on"]).astype("datetime64[D]") - ago
    condition = np.array(["", *_CONDITIONS], dtype=object)[
        draws.choice("comparable condition", (15, *_CONDITION_WEIGHTS), n)
    ]
    known = draws.uniform("comparable days known", n) < 0.6
    days = np.ceil(40 * draws.waiting("comparable days", n)).astype(np.int64)
    frame = pd.DataFrame(
        {
            "item_id": np.where(np.arange(n) < len(for_item), like["item_id"], ""),
            "category": np.where(np.arange(n) < len(for_item), "", like["category"].astype(str)),
            "sold_on": _dates(pd.Series(on.astype("datetime64[s]"))),
            "price": _money(pd.Series(np.maximum(np.rint(price / 50) * 50, 100).astype(np.int64))),
            "condition": condition,
            "days_listed": [str(value) if told else "" for value, told in zip(days, known, strict=True)],
        }
    )
    return frame.sort_values(["sold_on", "item_id", "category", "price"], kind="stable").reset_index(drop=True)
