"""A simulated shop's history written as the seller would have written it."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.errors import AssumptionError
from flipkit.money import Cents
from flipkit.rules import fees as rule_fees
from flipkit.rules import mileage, postage
from flipkit.rules.tables import Rules
from flipkit.simulation.shops import Draws, Floats, Histories, Ints, asked_cents

# Titles for the demo shop's items: plain words of the trade, put together.

#: For each kind a few patterns, each a list of slots, each slot a list of words ("" leaves it out).
WORDS: dict[str, list[list[list[str]]]] = {
    kind: [[[word.strip() for word in slot.split("|")] for slot in pattern] for pattern in patterns]
    for kind, patterns in tomllib.loads(Path(__file__).with_name("titles.toml").read_text(encoding="utf-8")).items()
}


def titles(names: tuple[str, ...], kind: Ints, draws: Draws) -> list[str]:
    """A plausible title for each item."""
    luck = draws.uniform("titles", 6 * kind.size).reshape(kind.size, 6)
    found: list[str] = []
    for row, which in enumerate(kind.tolist()):
        patterns = WORDS.get(names[which])
        if patterns is None:
            found.append(f"{names[which]} {row + 1}")
            continue
        slots = patterns[int(luck[row, 5] * len(patterns))]
        words = [slot[int(luck[row, at] * len(slot))] for at, slot in enumerate(slots)]
        *head, last = words
        text = " ".join(word for word in head if word)
        joint = " " if text.endswith(",") else ", "
        found.append(f"{text}{joint}{last}" if last else text.rstrip(","))
    return found


# The work log that a shop would keep: some weeks written down, others not.

#: When an activity is done, and how a seller writes it down: for each thing apart, for the things
#: of one category together, or for the day. Work above the stated minutes is always written apart.
_HABITS = {
    "research": ("bought_on", "category", 45.0),
    "clean": ("listed_on", "category", 30.0),
    "photograph": ("listed_on", "category", 60.0),
    "write": ("listed_on", "day", 60.0),
    "store": ("listed_on", "day", 60.0),
    "messages": ("sold_on", "day", 30.0),
    "pack": ("sold_on", "day", 20.0),
    "post": ("sold_on", "day", 60.0),
    "returns": ("returned_on", "item", 0.0),
}
COLUMNS = ("date", "activity", "minutes", "worker", "item_id", "trip_id", "category", "count")


@dataclass(frozen=True, kw_only=True)
class Logging:
    """Who works, and how faithfully they write it down."""

    owners: tuple[str, ...] = ("wren", "tobias")
    helper: str = "juno"
    logged_weeks: float = 0.55
    kept: float = 0.92
    helper_kept: float = 0.97
    both: float = 0.25


def work_log(
    items: pd.DataFrame, trips: pd.DataFrame, as_of: np.datetime64, logging: Logging, draws: Draws
) -> pd.DataFrame:
    """Rows of the table ``work``, in order of date."""
    parts = [_finding(trips)]
    for activity, (event, by, apart) in _HABITS.items():
        parts.append(_activity(items, activity, event, by, apart, logging))
    rows = pd.concat(parts, ignore_index=True)
    rows = rows[(rows["date"].to_numpy() <= as_of) & (rows["minutes"] >= 0.5)].reset_index(drop=True)
    rows = _kept(rows, logging, draws)
    rows = _shared(rows, logging, draws)
    rows["minutes"] = np.maximum(np.rint(rows["minutes"]), 1).astype(np.int64)
    order = np.lexsort((np.arange(len(rows)), rows["date"].to_numpy()))
    return rows.iloc[order].reset_index(drop=True)[list(COLUMNS)]


def _finding(trips: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "date": trips["date"],
            "activity": "find",
            "minutes": trips["minutes"].astype(np.float64),
            "worker": "",
            "item_id": "",
            "trip_id": trips["trip_id"],
            "category": "",
            "count": trips["items"],
        }
    )


def _activity(items: pd.DataFrame, activity: str, event: str, by: str, apart: float, logging: Logging) -> pd.DataFrame:
    column = f"{activity}_min"
    done = items[items[event].notna() & (items[column] > 0)]
    if activity in ("messages", "pack", "post"):
        done = done[done["outcome"] != "gone"]
    hired = (done["hired_min"] > 0) if activity == "pack" else pd.Series(False, index=done.index)
    single = (done[column] >= apart) | hired
    lone = done[single]
    parts = [
        pd.DataFrame(
            {
                "date": lone[event],
                "minutes": lone[column],
                "worker": np.where(hired[single], logging.helper, ""),
                "item_id": lone["item_id"],
                "category": "",
                "count": 1,
            }
        )
    ]
    rest = done[~single]
    if len(rest):
        keys = [event, "category"] if by == "category" else [event]
        grouped = rest.groupby(keys, observed=True)[column].agg(["sum", "size"]).reset_index()
        parts.append(
            pd.DataFrame(
                {
                    "date": grouped[event],
                    "minutes": grouped["sum"],
                    "worker": "",
                    "item_id": "",
                    "category": grouped["category"].astype(str) if by == "category" else "",
                    "count": grouped["size"],
                }
            )
        )
    frame = pd.concat(parts, ignore_index=True)
    frame["activity"] = activity
    frame["trip_id"] = ""
    return frame


def _kept(rows: pd.DataFrame, logging: Logging, draws: Draws) -> pd.DataFrame:
    """The entries that were written down: whole weeks are missing, in runs."""
    week = (rows["date"].to_numpy().astype("datetime64[D]").astype(np.int64) // 7).astype(np.int64)
    first = int(week.min(initial=0))
    weeks = int(week.max(initial=0)) - first + 1
    # A week is logged like the one before it, mostly; the chance to switch keeps the share.
    switch = draws.uniform("log goes on", weeks) < 0.28
    fresh = draws.uniform("log kept", weeks) < logging.logged_weeks
    logged = np.empty(weeks, dtype=bool)
    for at in range(weeks):
        logged[at] = fresh[at] if at == 0 or switch[at] else logged[at - 1]
    luck = draws.uniform("entry kept", len(rows))
    helper = (rows["worker"] == logging.helper).to_numpy()
    keep = np.where(helper, luck < logging.helper_kept, logged[week - first] & (luck < logging.kept))
    return rows[keep].reset_index(drop=True)


def _shared(rows: pd.DataFrame, logging: Logging, draws: Draws) -> pd.DataFrame:
    """Names on the owners' entries; work done by two together stands on two rows, half each."""
    mine = (rows["worker"] == "").to_numpy()
    who = draws.choice("owner", np.ones(len(logging.owners)), len(rows))
    rows = rows.assign(worker=np.where(mine, np.array(logging.owners, dtype=object)[who], rows["worker"]))
    long: npt.NDArray[np.bool_] = (rows["minutes"] >= 40).to_numpy()
    both = mine & long & (draws.uniform("both", len(rows)) < logging.both)
    other = np.array(logging.owners, dtype=object)[(who + 1) % len(logging.owners)]
    rows["minutes"] = np.where(both, rows["minutes"] / 2, rows["minutes"])
    second = rows[both].assign(worker=other[both])
    return pd.concat([rows, second], ignore_index=True)


# Histories written as the seller's books: what a seller would know and would have written down.

_SOURCES = ("thrift shop", "estate sale", "flea market", "yard sale", "church sale", "auction house")
_SOURCE_WEIGHTS = (26.0, 30.0, 18.0, 14.0, 7.0, 5.0)
_CONDITIONS = ("like new", "good", "fair", "for parts")
_CONDITION_WEIGHTS = (12.0, 58.0, 25.0, 5.0)


@dataclass(frozen=True, kw_only=True)
class Gaps:
    """How often a cell stays blank; the books of the first weeks have twice as many gaps."""

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
    """The tables that the seller of one simulated shop would have on a day, every cell as text."""
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
    """Write tables of text as CSV files: UTF-8, one line end, the same bytes every time."""
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
    on = items["listed_on"].to_numpy()[row].astype("datetime64[D]") + (7 * step * every[row]).astype("timedelta64[D]")
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
    on = np.where(np.arange(n) < len(for_item), like["listed_on"], like["bought_on"]).astype(
        "datetime64[D]"
    ) - ago.astype("timedelta64[D]")
    condition = np.array(["", *_CONDITIONS], dtype=object)[
        draws.choice("comparable condition", (15, *_CONDITION_WEIGHTS), n)
    ]
    frame = pd.DataFrame(
        {
            "item_id": np.where(np.arange(n) < len(for_item), like["item_id"], ""),
            "category": np.where(np.arange(n) < len(for_item), "", like["category"].astype(str)),
            "sold_on": _dates(pd.Series(on.astype("datetime64[s]"))),
            "price": _money(pd.Series(np.maximum(np.rint(price / 50) * 50, 100).astype(np.int64))),
            "condition": condition,
        }
    )
    return frame.sort_values(["sold_on", "item_id", "category", "price"], kind="stable").reset_index(drop=True)


# Slips of the pen, as real books have them: each is told by the check and none stops it.

Tables = dict[str, pd.DataFrame]


def with_mistakes(tables: Tables, *, seed: int) -> Tables:
    """The tables with a few slips of the pen put in."""
    draws = Draws(seed)
    items, changes = tables["items"].copy(), tables["price_changes"].copy()
    work, comparables, lots = tables["work"].copy(), tables["comparables"].copy(), tables["lots"].copy()
    sold = items["sold_on"] != ""

    def rows(name: str, among: pd.Series, count: int) -> list[int]:
        places = np.flatnonzero(among.to_numpy())
        order = np.argsort(draws.uniform(name, places.size))
        return sorted(places[order[:count]].tolist())

    for at in rows("no refund", items["returned_on"] != "", 2):
        items.loc[at, "refund"] = ""
    for at in rows("no listing day", sold & (items["list_price"] != "") & (items["venue"] != "stall"), 9):
        items.loc[at, "listed_on"] = ""
        changes = changes[changes["item_id"] != items.loc[at, "item_id"]]
    changes = changes.reset_index(drop=True)
    for at in rows("label of a pickup", items["zone"] == "pickup", 1):
        items.loc[at, "label_paid"] = "9.85"
    for at in rows("fees too early", (items["listed_on"] != "") & ~sold & (items["gone_on"] == ""), 2):
        items.loc[at, "fees_paid"] = "0.35"
    for at in rows("refund too large", sold & (items["refund"] != "") & (items["returned_on"] == ""), 1):
        paid = float(items.loc[at, "sold_price"]) + float(items.loc[at, "shipping_charged"] or 0)
        items.loc[at, "refund"] = f"{paid + 2.0:.2f}"
    plain = (items["lot_id"] == "") & (items["trip_id"] != "")
    for at in rows("no such trip", plain, 1):
        items.loc[at, "trip_id"] = items.loc[at, "trip_id"].replace("T-", "TR-")
    for at in rows("bought on another day", plain & sold & (items["bought_on"] > "2025-03-01"), 1):
        items.loc[at, "bought_on"] = _moved(items.loc[at, "bought_on"], -12)
    for at in rows("listed before bought", sold & (items["listed_on"] != ""), 1):
        items.loc[at, "listed_on"] = _moved(items.loc[at, "bought_on"], -2)
        changes = changes[changes["item_id"] != items.loc[at, "item_id"]].reset_index(drop=True)
    changes = _price_change_slips(items, changes, draws)
    for name, right, wrong in (("work", "film cameras and lenses", "cameras"), ("work", "vintage audio", "audio")):
        for at in rows(f"short name {name} {wrong}", work["category"] == right, 2):
            work.loc[at, "category"] = wrong
    for at in rows("comparable's short name", comparables["category"] == "table lamps", 2):
        comparables.loc[at, "category"] = "lamps"
    [twice] = rows("written twice", (work["activity"] == "pack") & (work["item_id"] == ""), 1)
    work = pd.concat([work.iloc[: twice + 1], work.iloc[twice:]], ignore_index=True)
    empty = pd.DataFrame(
        [{"lot_id": f"L-{len(lots) + 1:02d}", "date": lots["date"].iloc[-1], "cost": "24.00", "share_by": "equal"}]
    )
    return {
        **tables,
        "items": items,
        "price_changes": changes,
        "work": work,
        "lots": pd.concat([lots, empty], ignore_index=True),
        "comparables": comparables,
    }


def _price_change_slips(items: pd.DataFrame, changes: pd.DataFrame, draws: Draws) -> pd.DataFrame:
    """One change dated after its sale, and one day with two prices."""
    sold = items.set_index("item_id")["sold_on"]
    last = ~changes.duplicated("item_id", keep="last") & (changes["item_id"].map(sold) != "")
    late, double = np.sort(
        np.flatnonzero(last.to_numpy())[np.argsort(draws.uniform("price slips", int(last.sum())))[:2]]
    )
    changes.loc[late, "changed_on"] = _moved(sold[changes.loc[late, "item_id"]], 3)
    second = changes.iloc[[double]].assign(price=f"{float(changes.loc[double, 'price']) - 1:.2f}")
    return pd.concat([changes.iloc[: double + 1], second, changes.iloc[double + 1 :]], ignore_index=True)


def _moved(day: str, days: int) -> str:
    return (dt.date.fromisoformat(day) + dt.timedelta(days=days)).isoformat()


# Charges of a simulated shop by dated rule tables, so that its books and its rules agree.

_DEAR = np.iinfo(np.int64).max


class RuleCharges:
    """Fees by the schedule of each venue, labels by the cheapest of some rate cards."""

    def __init__(self, rules: Rules, cards: Sequence[str]) -> None:
        unknown = sorted(set(cards) - set(rules.rate_cards))
        if unknown or not cards:
            known = ", ".join(sorted(rules.rate_cards)) or "none"
            raise AssumptionError("cards", need=f"rate cards that the rules hold ({known})", got=unknown)
        self.rules = rules
        self.cards = tuple(rules.rate_cards[name] for name in cards)

    def fees_cents(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Cents:
        """Marketplace fees of sales at the day of the sale."""
        cents = np.zeros(goods.size, dtype=np.int64)
        for rows, _, lines in self._fees(day, venue, category, goods, shipping):
            cents[rows] = lines["total_cents"]
        return cents

    def _fees(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Iterator[tuple[npt.NDArray[np.intp], rule_fees.FeeSchedule, dict[str, Cents]]]:
        """Rows, schedule and fee lines of the sales at each venue."""
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        names, kinds = np.asarray(venue), np.asarray(category, dtype=object)
        for name in np.unique(names):
            rows = np.flatnonzero(names == name)
            schedule = self.rules.fee_schedules[str(name)]
            lines = rule_fees.order_fee_lines(
                schedule,
                on=on[rows],
                goods_cents=goods[rows],
                shipping_cents=shipping[rows],
                category=kinds[rows],
            )
            yield rows, schedule, lines

    def fees_back_cents(
        self,
        day: npt.ArrayLike,
        venue: npt.ArrayLike,
        category: npt.ArrayLike,
        goods: Cents,
        shipping: Cents,
        refund: Cents,
    ) -> Cents:
        """What comes back of them with a refund, by the schedule of the day of the sale."""
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        paid = goods + shipping
        cents = np.zeros(paid.size, dtype=np.int64)
        for rows, schedule, lines in self._fees(day, venue, category, goods, shipping):
            back = np.minimum(refund[rows], paid[rows])
            found = rule_fees.refunded_fees(
                schedule, sold_on=on[rows], fees=lines, paid_cents=paid[rows], refund_cents=back
            )
            cents[rows] = found["back_cents"]
        return cents

    def labels_cents(self, day: npt.ArrayLike, zone: npt.ArrayLike, sides_in: Floats, weight_lb: Floats) -> Cents:
        """Labels of parcels, each by the cheapest card and service that takes it."""
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        best = np.full(on.size, _DEAR, dtype=np.int64)
        for card in self.cards:
            columns = postage.label_columns(
                card,
                self.rules.rules_of(card),
                on=on,
                zone=np.asarray(zone, dtype=object),
                length_in=sides_in[:, 0],
                width_in=sides_in[:, 1],
                height_in=sides_in[:, 2],
                weight_lb=weight_lb,
            )
            taken = np.asarray(columns["refused"]) == ""
            best = np.where(taken & (columns["total_cents"] < best), columns["total_cents"], best)
        if (best == _DEAR).any():
            at = int(np.flatnonzero(best == _DEAR)[0])
            got = f"{sides_in[at].tolist()} in, {weight_lb[at]:g} lb, on {on[at]}"
            raise AssumptionError("parcel", need="one that a rate card takes", got=got)
        return best

    def mileage_cents(self, day: npt.ArrayLike, miles: Floats) -> Cents:
        """Driving at the rate of the day."""
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        return mileage.mileage_cents(self.rules.mileage, on=on, miles=miles)
