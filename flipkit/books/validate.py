"""Checks across the cells of the books: ids, order of dates, sums, what points to what.

Everything here is vectorised; a row is visited alone only where something is wrong with it.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterable

import numpy as np
import pandas as pd

from flipkit.books import cells, schema
from flipkit.books.problems import Findings, Problem, rows_in_words
from flipkit.money import show_cents

Frames = dict[str, pd.DataFrame]

#: A comparable so many times off what its thing was sold for or listed at, or off the middle of its category, is
#: asked about.
_FAR_OF_ITEM, _FAR_OF_CATEGORY = 4.0, 8.0
#: Marks and spaces that do not tell two names apart.
_MARKS = b" -_./,;:#&+'\"()"
_NO_MARKS = str.maketrans("", "", _MARKS.decode())


def check(frames: Frames, labels: dict[str, str], problems: list[Problem], *, as_of: dt.date | None = None) -> None:
    """Tell what is wrong between the cells of the books.

    Parameters
    ----------
    frames : dict of str to DataFrame
        Typed tables by name, each with its ``row`` numbers.
    labels : dict of str to str
        What messages call each table.
    problems : list of Problem
        Where problems go.
    as_of : date or None
        Day to which dates are compared.
    """
    findings = {name: Findings(label, problems) for name, label in labels.items()}
    for table in schema.TABLES:
        if table.key:
            _require_unique(frames[table.name], table.key, findings[table.name])
    _items_blanks(frames["items"], findings["items"])
    _items_dates(frames["items"], findings["items"])
    _items_sale(frames["items"], findings["items"])
    _items_alike(frames["items"], findings["items"])
    _several(frames["items"], findings["items"])
    _orders(frames["items"], findings["items"])
    _spellings(frames["items"], "category", "two categories", findings["items"])
    _spellings(frames["items"], "item_id", "two items", findings["items"])
    _lots(frames, findings)
    _trips(frames, findings)
    _price_changes(frames, findings["price_changes"])
    _work(frames, findings)
    _comparables(frames, findings["comparables"])
    _people(frames["people"], findings["people"])
    for name in ("price_changes", "work", "supplies", "comparables", "overheads"):
        _equal_rows(frames[name], findings[name])
    if as_of is not None:
        for table in schema.TABLES:
            for column in table.columns:
                if column.kind == "date":
                    _later(frames[table.name], column.name, as_of, findings[table.name])


def _rows(frame: pd.DataFrame, mask: pd.Series) -> Iterable[tuple[int, int]]:
    """Index and spreadsheet row of every row that the mask marks."""
    marked = mask.fillna(False).to_numpy(dtype=bool)
    index = frame.index[marked]
    return zip(index, frame.loc[index, "row"].tolist(), strict=True)


def _day(value: pd.Timestamp) -> str:
    return value.date().isoformat()


def _money(value: object) -> str:
    return show_cents(int(value), currency="").strip() if value is not pd.NA else ""  # type: ignore[call-overload]


def _require_unique(frame: pd.DataFrame, key: str, findings: Findings) -> None:
    filled = frame[frame[key] != ""]
    again = filled[filled[key].duplicated()]
    if again.empty:
        return
    first = filled.drop_duplicates(key).set_index(key)["row"]
    for value, row in zip(again[key], again["row"], strict=True):
        findings.stop(
            row,
            key,
            value,
            f"{key} that no other row has (row {first[value]} has it too)",
            "if these are separate things give each its own; if one row is a copy delete it",
        )


def _items_blanks(items: pd.DataFrame, findings: Findings) -> None:
    bare = items["cost_cents"].isna() & (items["lot_id"] == "")
    rows = [row for _, row in _rows(items, bare)]
    if rows:
        found = f"blank in {rows_in_words(rows)}"
        mend = "blank is not known, and 0 is a free find"
        findings.note(rows[0], "cost", found, "what was paid, such as 18.00", mend)


#: Earlier date, later date, whether the books stop at it, why it matters.
_ORDER = (
    ("bought_on", "sold_on", True, "a thing is sold after it was bought"),
    ("listed_on", "sold_on", True, "a thing is sold after it was listed"),
    ("sold_on", "returned_on", True, "a thing comes back after it was sold"),
    ("bought_on", "gone_on", True, "a thing leaves after it was bought"),
    ("bought_on", "listed_on", False, "most things are listed after they were bought"),
)


def _items_dates(items: pd.DataFrame, findings: Findings) -> None:
    for early, late, stops, why in _ORDER:
        wrong = items[late] < items[early]
        for i, row in _rows(items, wrong):
            found = f"{late} {_day(items.at[i, late])} before {early} {_day(items.at[i, early])}"
            tell = findings.stop if stops else findings.note
            tell(row, late, found, f"{late} on or after {early} ({why})", "mend the date that is wrong")
    both = items["sold_on"].notna() & items["gone_on"].notna() & items["returned_on"].isna()
    for i, row in _rows(items, both):
        found = f"sold {_day(items.at[i, 'sold_on'])} and gone {_day(items.at[i, 'gone_on'])}"
        mend = "empty one of them, or fill in returned_on if it came back first"
        findings.stop(row, "gone_on", found, "one end for each item", mend)


#: Money of a sale that may stand on an unsold item too, or is looked at apart.
_UNSOLD_TOO = ("sold_price", "shipping_charged", "declared_value", "materials_paid")


def _items_sale(items: pd.DataFrame, findings: Findings) -> None:
    sold = items["sold_on"].notna() | items["row"].isin(findings.told("sold_on"))
    for _, row in _rows(items, sold & items["sold_price_cents"].isna()):
        findings.stop(row, "sold_price", "", "what the buyer paid for the goods", "fill it in; write 0 if nothing")
    for i, row in _rows(items, ~sold & items["sold_price_cents"].notna()):
        found = f"sold for {_money(items.at[i, 'sold_price_cents'])} without a day"
        findings.stop(row, "sold_on", found, "the day of the sale", "fill in sold_on, or empty sold_price")
    for _, row in _rows(items, ~sold & items["returned_on"].notna()):
        findings.stop(row, "returned_on", "a return without a sale", "sold_on and sold_price", "fill them in")
    for one in schema.ITEMS.columns:
        if one.known_on and one.name not in _UNSOLD_TOO:
            for i, row in _rows(items, ~sold & (items[one.frame_name].fillna(0) != 0)):
                found = f"{one.name} {_money(items.at[i, one.frame_name])} on an unsold item"
                findings.note(row, one.name, found, "a sale that it belongs to", "fill in sold_on, or empty it")
    gross = items["sold_price_cents"].fillna(0) + items["shipping_charged_cents"].fillna(0)
    for i, row in _rows(items, sold & (items["refund_cents"].fillna(0) > gross)):
        found = f"refund {_money(items.at[i, 'refund_cents'])} of {_money(gross[i])}"
        findings.note(row, "refund", found, "at most what the buyer paid", "look whether a mark or a digit slipped")
    for _, row in _rows(items, items["returned_on"].notna() & items["refund_cents"].isna()):
        findings.note(row, "refund", "", "what was given back", "a return without a refund counts as fully paid")
    for _, row in _rows(items, items["list_price_cents"].notna() & items["listed_on"].isna()):
        findings.note(row, "listed_on", "", "the day it was listed", "days listed are not known without it")
    for i, row in _rows(items, (items["gone_how"] != "") & items["gone_on"].isna()):
        findings.stop(row, "gone_on", items.at[i, "gone_how"], "the day it left", "fill in gone_on")
    pickup = (items["zone"].str.lower() == schema.PICKUP) & (items["label_paid_cents"].fillna(0) > 0)
    for i, row in _rows(items, pickup):
        found = f"a label of {_money(items.at[i, 'label_paid_cents'])} for a pickup"
        findings.note(row, "label_paid", found, "no label where the buyer collects", "mend zone or label_paid")


#: More like things than a row can mean: a slip of the pen.
_MOST_LIKE = 1_000


def _several(items: pd.DataFrame, findings: Findings) -> None:
    """Rows of several like things: each becomes an item, so it must be plain which of them sold."""
    many = items["quantity"] > 1
    for i, row in _rows(items, items["quantity"] > _MOST_LIKE):
        found = f"{items.at[i, 'quantity']:,} like things in one row"
        findings.stop(row, "quantity", found, f"at most {_MOST_LIKE:,}", "mend the number, or write several rows")
    for i, row in _rows(items, many & items["sold_on"].notna() & (items["order_id"] == "")):
        found = f"{items.at[i, 'quantity']} like things and one sale"
        mend = "did all of them sell together? give an order_id; otherwise give each sale a row of its own"
        findings.stop(row, "quantity", found, "a sale that says how many it sold", mend)
    for i, row in _rows(items, many & items["returned_on"].notna()):
        found = f"{items.at[i, 'quantity']} like things and one return"
        findings.stop(row, "quantity", found, "which of them came back", "give each of them a row of its own")
    ids = set(items["item_id"])
    for i, row in _rows(items, many & (items["quantity"] <= _MOST_LIKE)):
        item = items.at[i, "item_id"]
        taken = [name for name in (f"{item}/{n}" for n in range(1, items.at[i, "quantity"] + 1)) if name in ids]
        if taken:
            found = f"{taken[0]}, which is another row"
            findings.stop(row, "item_id", found, f"names {item}/1, {item}/2 … free for its parts", "rename that row")


def _orders(items: pd.DataFrame, findings: Findings) -> None:
    """Items of one order: what tells their parcels apart, and amounts that may stand there twice."""
    named = items[(items["order_id"] != "") & items["sold_on"].notna()]
    named = named[named["order_id"].duplicated(keep=False)]
    groups = named.groupby("order_id", sort=False)
    first, members = groups["row"].first(), groups.size()
    for column in ("sold_on", "venue"):
        for order in members.index[(groups[column].nunique() > 1).to_numpy()]:
            mend = "they count as separate parcels; mend the one that is wrong"
            findings.note(int(first[order]), column, f"order {order} has several", "one for the whole order", mend)
    labels = groups["label_paid_cents"]
    most = labels.max()
    alike = ((labels.count() == members) & (labels.min() == most) & (most > 0)).fillna(False)
    for order in members.index[alike.to_numpy(dtype=bool)]:
        found = f"{_money(most[order])} on each of the {members[order]} items of order {order}"
        mend = "if it was one label, write it on one of them: it is then shared among all"
        findings.note(int(first[order]), "label_paid", found, "what each item's own part was", mend)


def _items_alike(items: pd.DataFrame, findings: Findings) -> None:
    """Rows that say the same of title, purchase, cost and sale may be one thing entered twice."""
    said = ["title", "bought_on", "cost_cents", "sold_on", "sold_price_cents"]
    alike = items[items["title"].duplicated(keep=False) & items["bought_on"].notna() & (items["title"] != "")]
    rows = sorted(alike.loc[alike.duplicated(said, keep=False), "row"].tolist())
    if rows:
        found = f"{rows_in_words(rows)} equal to another in title, purchase, cost and sale"
        findings.note(rows[0], "title", found, "rows that differ", "all count; if one is a copy, delete it")


def _spellings(frame: pd.DataFrame, column: str, what: str, findings: Findings) -> None:
    """Texts that differ in capitals, spaces or marks alone: surely one name to the seller."""
    names = frame.loc[frame[column] != "", column]
    if not cells.alike_names(list(set(names.tolist())), _MARKS):
        return
    counts = names.value_counts(sort=False)
    plain = [name.casefold().translate(_NO_MARKS) or name for name in counts.index]
    groups: dict[str, list[str]] = {}
    for word, name in zip(plain, counts.index, strict=True):
        groups.setdefault(word, []).append(name)
    for spelled in groups.values():
        if len(spelled) > 1:
            spelled.sort(key=lambda name: (-int(counts[name]), name))
            found = ", ".join(f"{name} ({counts[name]})" for name in spelled)
            row = int(frame.loc[frame[column] == spelled[-1], "row"].iloc[0])
            findings.note(row, column, found, "one spelling for one thing", f"as written they count as {what}")


def _lots(frames: Frames, findings: dict[str, Findings]) -> None:
    items, lots = frames["items"], frames["lots"]
    in_lot = items["lot_id"] != ""
    unknown = in_lot & ~items["lot_id"].isin(lots["lot_id"])
    for i, row in _rows(items, unknown & items["cost_cents"].isna()):
        lot = items.at[i, "lot_id"]
        near = difflib.get_close_matches(lot, lots["lot_id"].tolist(), n=1)
        mend = f"did you mean {near[0]}?" if near else "add it to lots with its cost, or fill in the item's own cost"
        findings["items"].stop(row, "lot_id", lot, "a row of lots with that lot_id, as cost is blank", mend)
    rows = [row for _, row in _rows(items, unknown & items["cost_cents"].notna())]
    if rows:
        found = f"{rows_in_words(rows)} with a lot that lots does not hold"
        findings["items"].note(rows[0], "lot_id", found, "rows of lots", "their own cost counts")
    own = items[in_lot].groupby("lot_id")["cost_cents"].sum()
    blanks = items[in_lot & items["cost_cents"].isna()].groupby("lot_id").size()
    for lot, cost, row in zip(lots["lot_id"], lots["cost_cents"], lots["row"], strict=True):
        if not lot or cost is pd.NA:
            continue
        if lot not in own.index:
            findings["lots"].note(row, "lot_id", lot, "items of that lot", "its money belongs to no item yet")
            continue
        spent, left = int(own[lot]), int(cost) - int(own[lot])
        if left < 0 and lot in blanks.index:
            found = f"{_money(cost)}, while its items already cost {_money(spent)}"
            mend = "mend the cost of the lot, or of the items that have their own"
            findings["lots"].stop(row, "cost", found, "at least what its items cost", mend)
        elif left != 0 and lot not in blanks.index:
            found = f"{_money(cost)}, while its items cost {_money(spent)} together"
            findings["lots"].note(row, "cost", found, "the sum of its items", "the items' own costs count")


def _trips(frames: Frames, findings: dict[str, Findings]) -> None:
    items, trips = frames["items"], frames["trips"]
    unknown = (items["trip_id"] != "") & ~items["trip_id"].isin(trips["trip_id"])
    if len(trips):
        names = items.loc[unknown].drop_duplicates("trip_id")
        for name, row in zip(names["trip_id"], names["row"], strict=True):
            near = difflib.get_close_matches(name, trips["trip_id"].tolist(), n=1, cutoff=0.8)
            mend = f"did you mean {near[0]}?" if near else "add it to trips; without it the trip costs nothing"
            findings["items"].note(row, "trip_id", name, "a row of trips with that trip_id", mend)
        early = items.loc[items["trip_id"] != "", ["trip_id", "bought_on", "row"]].merge(
            trips[["trip_id", "date"]].drop_duplicates("trip_id"), on="trip_id"
        )
        apart = early[(early["bought_on"] - early["date"]).abs() > pd.Timedelta(days=7)]
        for row, bought, day in zip(apart["row"], apart["bought_on"], apart["date"], strict=True):
            found = f"bought {_day(bought)} on a trip of {_day(day)}"
            findings["items"].note(row, "trip_id", found, "days that agree", "mend the one that is wrong")


def _price_changes(frames: Frames, findings: Findings) -> None:
    items, changes = frames["items"], frames["price_changes"]
    if changes.empty:
        return
    _require_known(changes, "item_id", items["item_id"], "items", findings)
    first = items.drop_duplicates("item_id").set_index("item_id")
    days = first[["listed_on", "sold_on"]].reindex(changes["item_id"]).set_index(changes.index)
    listed, sold = days["listed_on"], days["sold_on"]
    for i, row in _rows(changes, changes["changed_on"] < listed):
        found = f"changed {_day(changes.at[i, 'changed_on'])}, listed {_day(listed[i])}"
        findings.note(row, "changed_on", found, "a day on or after the listing", "mend the one that is wrong")
    for i, row in _rows(changes, changes["changed_on"] > sold):
        found = f"changed {_day(changes.at[i, 'changed_on'])}, sold {_day(sold[i])}"
        findings.note(row, "changed_on", found, "a day on or before the sale", "mend the one that is wrong")
    key = ["item_id", "changed_on"]
    twice = changes.duplicated(key) & ~changes.duplicated([*key, "price_cents"]) & changes["changed_on"].notna()
    for i, row in _rows(changes, twice):
        found = f"a second price for {changes.at[i, 'item_id']} on {_day(changes.at[i, 'changed_on'])}"
        findings.note(row, "price", found, "one price a day", "the lower row counts")


def _require_known(frame: pd.DataFrame, column: str, known: pd.Series, table: str, findings: Findings) -> None:
    unknown = (frame[column] != "") & ~frame[column].isin(known)
    names = known.tolist() if len(known) <= 5_000 else []
    for i, row in _rows(frame, unknown):
        name = frame.at[i, column]
        near = difflib.get_close_matches(name, names, n=1, cutoff=0.8)
        mend = f"did you mean {near[0]}?" if near else f"add it to {table}, or mend the id"
        findings.stop(row, column, name, f"a row of {table} with that {column}", mend)


def _work(frames: Frames, findings: dict[str, Findings]) -> None:
    work, items, told = frames["work"], frames["items"], findings["work"]
    if work.empty:
        return
    _require_known(work, "item_id", items["item_id"], "items", told)
    if len(frames["trips"]):
        trips = pd.concat([frames["trips"]["trip_id"], items["trip_id"]])
        _require_known(work, "trip_id", trips[trips != ""], "trips", told)
    people = frames["people"]
    if len(people):
        _require_known(work, "worker", people["worker"], "people", told)
    elif (work["worker"] != "").any():
        names = ", ".join(sorted(set(work["worker"]) - {""})[:5])
        told.note(None, "worker", names, "a table people", "without it everybody counts as an owner")
    kinds = items.drop_duplicates("item_id").set_index("item_id")["category"]
    own = kinds.reindex(work["item_id"]).set_axis(work.index).fillna("")
    category = (work["category"] != "") & ~((work["item_id"] != "") & (own == work["category"]))
    named = (work["item_id"] != "").astype(int) + (work["trip_id"] != "").astype(int) + category.astype(int)
    for i, row in _rows(work, named > 1):
        found = ", ".join(work.at[i, c] for c in ("item_id", "trip_id", "category") if work.at[i, c])
        told.stop(row, "item_id", found, "at most one of item_id, trip_id and category", "keep the narrowest")
    _unknown_categories(work, items, told)
    for i, row in _rows(work, work["minutes"] > 24 * 60):
        found = f"{work.at[i, 'minutes']:g} minutes in one day"
        told.note(row, "minutes", found, "at most 1,440", "are these seconds, or several days?")


def _comparables(frames: Frames, findings: Findings) -> None:
    comparables, items = frames["comparables"], frames["items"]
    if comparables.empty:
        return
    for _, row in _rows(comparables, (comparables["item_id"] == "") & (comparables["category"] == "")):
        findings.stop(row, "item_id", "", "an item_id or a category", "fill in the one that it is like")
    without = comparables[comparables["category"] == ""]
    _require_known(without, "item_id", items["item_id"], "items", findings)
    _unknown_categories(comparables, items, findings)
    _improbable(comparables, items, findings)


def _improbable(comparables: pd.DataFrame, items: pd.DataFrame, findings: Findings) -> None:
    """Prices so far from what was asked for the thing, or from those of its category, that a point may have slipped."""
    asked = items["sold_price_cents"].fillna(items["list_price_cents"]).astype(np.float64)
    own = pd.Series(asked.to_numpy(), index=items["item_id"].astype(object)).groupby(level=0).first()
    log = np.log(comparables["price_cents"].astype(np.float64).where(lambda cents: cents > 0))
    for column, factor in (("item_id", _FAR_OF_ITEM), ("category", _FAR_OF_CATEGORY)):
        of = comparables[column] != ""
        if column == "category":
            of &= comparables["item_id"] == ""
            known = pd.concat([log[of], np.log(asked[asked > 0])])
            names = pd.concat([comparables.loc[of, column], items.loc[asked > 0, column]]).astype(object)
            middle = known.groupby(names.to_numpy()).median()
        else:
            middle = np.log(own[own > 0])
        usual = comparables[column].astype(object).map(middle)
        for i, row in _rows(comparables, of & ((log - usual).abs() > np.log(factor))):
            about = f"about {_money(round(float(np.exp(usual[i]))))}, as {comparables.at[i, column]} usually brings"
            mend = "is a decimal point misplaced, or is it another kind of thing?"
            findings.note(row, "price", _money(comparables.at[i, "price_cents"]), about, mend)


def _unknown_categories(frame: pd.DataFrame, items: pd.DataFrame, findings: Findings) -> None:
    known = sorted(set(items["category"]) - {""})
    unknown = frame[(frame["category"] != "") & ~frame["category"].isin(known)].drop_duplicates("category")
    for name, row in zip(unknown["category"], unknown["row"], strict=True):
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.7)
        mend = f"did you mean {near[0]}?" if near else "no item has it yet"
        findings.note(row, "category", name, "a category of items", mend)


def _people(people: pd.DataFrame, findings: Findings) -> None:
    for _, row in _rows(people, (people["role"] == "hired") & people["wage_cents"].isna()):
        findings.note(row, "wage", "", "the wage of a hired worker", "without it the assumed wage counts")
    shares = people["share_of_profit_ppm"].fillna(0).sum()
    if shares > 1_000_000:
        findings.stop(None, "share_of_profit", f"{shares / 10_000:g} % together", "at most 100 %", "mend the shares")


def _equal_rows(frame: pd.DataFrame, findings: Findings) -> None:
    """Rows that are equal in every cell may be separate: told, never dropped."""
    if frame.empty:
        return
    columns = [column for column in frame.columns if column != "row"]
    again = frame[frame.duplicated(columns, keep=False)]
    if again.empty:
        return
    rows = again["row"].tolist()
    findings.note(
        rows[0],
        "",
        f"{rows_in_words(rows)} equal to another",
        "rows that differ",
        "all count; if one is a copy, delete it",
    )


def _later(frame: pd.DataFrame, column: str, as_of: dt.date, findings: Findings) -> None:
    for i, row in _rows(frame, frame[column] > pd.Timestamp(as_of)):
        found = _day(frame.at[i, column])
        mend = "if the year is mistyped, mend it; until that day no report counts it"
        findings.note(row, column, found, f"a day up to {as_of.isoformat()}", mend)
