"""Checks across the cells of the books: ids, order of dates, sums, what points to what.

Everything here is vectorised; a row is visited alone only where something is wrong with it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from flipkit.books import schema
from flipkit.books.problems import Findings, Problem, meant, rows_in_words
from flipkit.money import show_cents

Frames = dict[str, pd.DataFrame]

#: A comparable so many times off what its thing was sold for or listed at, or off the middle of its category, is
#: asked about.
_FAR_OF_ITEM, _FAR_OF_CATEGORY = 4.0, 8.0
#: Names of cells in the words of a finding.
_IN_BRACES = re.compile(r"\{(\w+)")
#: Takes out marks and spaces, which do not tell two names apart.
_NO_MARKS = str.maketrans("", "", " -_./,;:#&+'\"()")


def check(frames: Frames, labels: dict[str, str], problems: list[Problem], *, as_of: dt.date | None = None) -> None:
    """Tell what is wrong between the cells of the books."""
    findings = {name: Findings(label, problems) for name, label in labels.items()}
    for table in schema.TABLES:
        if table.key:
            _require_unique(frames[table.name], table.key, findings[table.name])
    for look in (_items_blanks, _items_dates, _items_sale, _items_alike, _several, _orders):
        look(frames["items"], findings["items"])
    _spellings(frames["items"], "category", "two categories", findings["items"])
    _spellings(frames["items"], "item_id", "two items", findings["items"])
    _lots(frames, findings)
    _trips(frames, findings["items"])
    _price_changes(frames, findings["price_changes"])
    _work(frames, findings["work"])
    _comparables(frames, findings["comparables"])
    _people(frames["people"], findings["people"])
    for name in ("price_changes", "work", "supplies", "comparables", "overheads"):
        _equal_rows(frames[name], findings[name])
    if as_of is not None:
        for table in schema.TABLES:
            for column in (column.name for column in table.columns if column.kind == "date"):
                _later(frames[table.name], column, as_of, findings[table.name])


def _tell(
    findings: Findings, rows: pd.DataFrame, column: str, found: str, needed: str, mend: str = "", *, stops: bool = True
) -> None:
    """Tell the same of each of some rows; the words name cells of the row in braces."""
    said = {name: _shown(rows[name]) for name in set(_IN_BRACES.findall(found + needed + mend))}
    tell = findings.stop if stops else findings.note
    for at, row in enumerate(rows["row"].tolist()):
        cells = {name: shown[at] for name, shown in said.items()}
        tell(row, column, found.format(**cells), needed.format(**cells), mend.format(**cells))


def _shown(values: pd.Series) -> list[Any]:
    """Cells as messages show them: days and amounts as the books write them."""
    if str(values.name).endswith("_cents"):
        return [_money(value) for value in values]
    return (values.dt.strftime("%Y-%m-%d") if values.dtype.kind == "M" else values).tolist()


def _money(value: object) -> str:
    return show_cents(int(value), currency="").strip() if value is not pd.NA else ""  # type: ignore[call-overload]


def _meant(names: pd.Series, known: Collection[str], otherwise: str, *, cutoff: float = 0.8) -> list[str]:
    """How to mend each of some names that are none of those known."""
    return [meant(name, known, otherwise, cutoff=cutoff) for name in names]


def _require_unique(frame: pd.DataFrame, key: str, findings: Findings) -> None:
    filled = frame[frame[key] != ""]
    again = filled[filled[key].duplicated()]
    if again.empty:
        return
    first = again[key].map(filled.drop_duplicates(key).set_index(key)["row"])
    mend = "if these are separate things give each its own; if one row is a copy delete it"
    needed = f"{key} that no other row has (row {{first}} has it too)"
    _tell(findings, again.assign(first=first), key, f"{{{key}}}", needed, mend)


def _items_blanks(items: pd.DataFrame, findings: Findings) -> None:
    rows = items.loc[items["cost_cents"].isna() & (items["lot_id"] == ""), "row"].tolist()
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
        found, needed = f"{late} {{{late}}} before {early} {{{early}}}", f"{late} on or after {early} ({why})"
        wrong = items[items[late] < items[early]]
        _tell(findings, wrong, late, found, needed, "mend the date that is wrong", stops=stops)
    both = items[items["sold_on"].notna() & items["gone_on"].notna() & items["returned_on"].isna()]
    mend = "empty one of them, or fill in returned_on if it came back first"
    _tell(findings, both, "gone_on", "sold {sold_on} and gone {gone_on}", "one end for each item", mend)


#: Money of a sale that may stand on an unsold item too, or is looked at apart.
_UNSOLD_TOO = ("sold_price", "shipping_charged", "declared_value", "materials_paid")


def _items_sale(items: pd.DataFrame, findings: Findings) -> None:
    sold = items["sold_on"].notna() | items["row"].isin(findings.told("sold_on"))
    priced, returned = items["sold_price_cents"].notna(), items["returned_on"].notna()
    gross = items["sold_price_cents"].fillna(0) + items["shipping_charged_cents"].fillna(0)
    items = items.assign(gross_cents=gross)
    pickup = items["zone"].str.lower() == schema.PICKUP

    def stop(mask: pd.Series, *words: str) -> None:
        _tell(findings, items[mask], *words)

    def note(mask: pd.Series, *words: str) -> None:
        _tell(findings, items[mask], *words, stops=False)

    stop(sold & ~priced, "sold_price", "", "what the buyer paid for the goods", "fill it in; write 0 if nothing")
    mend = "fill in sold_on, or empty sold_price"
    stop(~sold & priced, "sold_on", "sold for {sold_price_cents} without a day", "the day of the sale", mend)
    stop(~sold & returned, "returned_on", "a return without a sale", "sold_on and sold_price", "fill them in")
    for one in schema.ITEMS.columns:
        if one.known_on and one.name not in _UNSOLD_TOO:
            found, mend = f"{one.name} {{{one.frame_name}}} on an unsold item", "fill in sold_on, or empty it"
            note(~sold & (items[one.frame_name].fillna(0) != 0), one.name, found, "a sale that it belongs to", mend)
    found, mend = "refund {refund_cents} of {gross_cents}", "look whether a mark or a digit slipped"
    note(sold & (items["refund_cents"].fillna(0) > gross), "refund", found, "at most what the buyer paid", mend)
    mend = "a return without a refund counts as fully paid"
    note(returned & items["refund_cents"].isna(), "refund", "", "what was given back", mend)
    listed, mend = items["listed_on"].notna(), "days listed are not known without it"
    note(items["list_price_cents"].notna() & ~listed, "listed_on", "", "the day it was listed", mend)
    gone = (items["gone_how"] != "") & items["gone_on"].isna()
    stop(gone, "gone_on", "{gone_how}", "the day it left", "fill in gone_on")
    found, needed = "a label of {label_paid_cents} for a pickup", "no label where the buyer collects"
    note(pickup & (items["label_paid_cents"].fillna(0) > 0), "label_paid", found, needed, "mend zone or label_paid")


#: More like things than a row can mean: a slip of the pen.
_MOST_LIKE = 1_000


def _several(items: pd.DataFrame, findings: Findings) -> None:
    """Rows of several like things: each becomes an item, so it must be plain which of them sold."""
    ids, items = set(items["item_id"]), items[items["quantity"] > 1]
    found, needed = "{quantity:,} like things in one row", f"at most {_MOST_LIKE:,}"
    many, mend = items["quantity"] > _MOST_LIKE, "mend the number, or write several rows"
    _tell(findings, items[many], "quantity", found, needed, mend)
    sold, needed = items["sold_on"].notna() & (items["order_id"] == ""), "a sale that says how many it sold"
    mend = "did all of them sell together? give an order_id; otherwise give each sale a row of its own"
    _tell(findings, items[sold], "quantity", "{quantity} like things and one sale", needed, mend)
    needed, mend = "which of them came back", "give each of them a row of its own"
    back = items[items["returned_on"].notna()]
    _tell(findings, back, "quantity", "{quantity} like things and one return", needed, mend)
    parts = [
        next((part for part in (f"{item}/{n}" for n in range(1, count + 1)) if part in ids), "")
        for item, count in zip(items["item_id"], items["quantity"].where(~many, 0), strict=True)
    ]
    taken = items.assign(taken=parts)
    taken = taken[taken["taken"] != ""]
    needed = "names {item_id}/1, {item_id}/2 … free for its parts"
    _tell(findings, taken, "item_id", "{taken}, which is another row", needed, "rename that row")


def _orders(items: pd.DataFrame, findings: Findings) -> None:
    """Items of one order: what tells their parcels apart, and amounts that may stand there twice."""
    named = items[(items["order_id"] != "") & items["sold_on"].notna()]
    named = named[named["order_id"].duplicated(keep=False)]
    groups = named.groupby("order_id", sort=False)
    orders = groups["row"].agg(row="first", members="size").reset_index()
    for column in ("sold_on", "venue"):
        several = orders[(groups[column].nunique() > 1).to_numpy()]
        found, mend = "order {order_id} has several", "they count as separate parcels; mend the one that is wrong"
        _tell(findings, several, column, found, "one for the whole order", mend, stops=False)
    labels = groups["label_paid_cents"]
    most = labels.max()
    alike = ((labels.count() == groups.size()) & (labels.min() == most) & (most > 0)).fillna(False)
    alike_orders = orders.assign(label_cents=most.to_numpy())[alike.to_numpy(dtype=bool)]
    found = "{label_cents} on each of the {members} items of order {order_id}"
    mend = "if it was one label, write it on one of them: it is then shared among all"
    _tell(findings, alike_orders, "label_paid", found, "what each item's own part was", mend, stops=False)


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
    bare = items[unknown & items["cost_cents"].isna()]
    otherwise, needed = "add it to lots with its cost, or fill in the item's own cost", "a row of lots with that lot_id"
    mends = _meant(bare["lot_id"], lots["lot_id"].tolist(), otherwise, cutoff=0.6)
    _tell(findings["items"], bare.assign(mend=mends), "lot_id", "{lot_id}", f"{needed}, as cost is blank", "{mend}")
    rows = items.loc[unknown & items["cost_cents"].notna(), "row"].tolist()
    if rows:
        found = f"{rows_in_words(rows)} with a lot that lots does not hold"
        findings["items"].note(rows[0], "lot_id", found, "rows of lots", "their own cost counts")
    lots = lots[(lots["lot_id"] != "") & lots["cost_cents"].notna()]
    groups = items[in_lot].groupby("lot_id")["cost_cents"]
    own, partly = lots["lot_id"].map(groups.sum()).astype("Int64"), groups.count() < groups.size()
    blank = lots["lot_id"].isin(partly.index[partly])
    lots = lots.assign(own_cents=own)
    empty, needed, mend = lots[own.isna()], "items of that lot", "its money belongs to no item yet"
    _tell(findings["lots"], empty, "lot_id", "{lot_id}", needed, mend, stops=False)
    short, mend = (
        lots[blank & (lots["cost_cents"] < own)],
        "mend the cost of the lot, or of the items that have their own",
    )
    found, needed = "{cost_cents}, while its items already cost {own_cents}", "at least what its items cost"
    _tell(findings["lots"], short, "cost", found, needed, mend)
    apart, found = lots[~blank & (lots["cost_cents"] != own)], "{cost_cents}, while its items cost {own_cents} together"
    _tell(findings["lots"], apart, "cost", found, "the sum of its items", "the items' own costs count", stops=False)


def _trips(frames: Frames, findings: Findings) -> None:
    items, trips = frames["items"][frames["items"]["trip_id"] != ""], frames["trips"]
    if trips.empty:
        return
    unknown = items[~items["trip_id"].isin(trips["trip_id"])].drop_duplicates("trip_id")
    mends = _meant(unknown["trip_id"], trips["trip_id"].tolist(), "add it to trips; without it the trip costs nothing")
    needed = "a row of trips with that trip_id"
    _tell(findings, unknown.assign(mend=mends), "trip_id", "{trip_id}", needed, "{mend}", stops=False)
    days = trips[["trip_id", "date"]].drop_duplicates("trip_id")
    driven = items[["trip_id", "bought_on", "row"]].merge(days, on="trip_id")
    apart = driven[(driven["bought_on"] - driven["date"]).abs() > pd.Timedelta(days=7)]
    found = "bought {bought_on} on a trip of {date}"
    _tell(findings, apart, "trip_id", found, "days that agree", "mend the one that is wrong", stops=False)


def _price_changes(frames: Frames, findings: Findings) -> None:
    items, changes = frames["items"], frames["price_changes"]
    if changes.empty:
        return
    _require_known(changes, "item_id", items["item_id"], "items", findings)
    days = items.drop_duplicates("item_id").set_index("item_id")[["listed_on", "sold_on"]]
    changes = changes.join(days, on="item_id")
    early, late = changes["changed_on"] < changes["listed_on"], changes["changed_on"] > changes["sold_on"]
    for wrong, found, needed in (
        (early, "changed {changed_on}, listed {listed_on}", "a day on or after the listing"),
        (late, "changed {changed_on}, sold {sold_on}", "a day on or before the sale"),
    ):
        _tell(findings, changes[wrong], "changed_on", found, needed, "mend the one that is wrong", stops=False)
    key = ["item_id", "changed_on"]
    twice = changes.duplicated(key) & ~changes.duplicated([*key, "price_cents"]) & changes["changed_on"].notna()
    found = "a second price for {item_id} on {changed_on}"
    _tell(findings, changes[twice], "price", found, "one price a day", "the lower row counts", stops=False)


def _require_known(frame: pd.DataFrame, column: str, known: pd.Series, table: str, findings: Findings) -> None:
    unknown = frame[(frame[column] != "") & ~frame[column].isin(known)]
    names = known.tolist() if len(known) <= 5_000 else []
    mends = _meant(unknown[column], names, f"add it to {table}, or mend the id")
    needed = f"a row of {table} with that {column}"
    _tell(findings, unknown.assign(mend=mends), column, f"{{{column}}}", needed, "{mend}")


def _work(frames: Frames, findings: Findings) -> None:
    work, items = frames["work"], frames["items"]
    if work.empty:
        return
    _require_known(work, "item_id", items["item_id"], "items", findings)
    if len(frames["trips"]):
        trips = pd.concat([frames["trips"]["trip_id"], items["trip_id"]])
        _require_known(work, "trip_id", trips[trips != ""], "trips", findings)
    people = frames["people"]
    if len(people):
        _require_known(work, "worker", people["worker"], "people", findings)
    elif (work["worker"] != "").any():
        names = ", ".join(sorted(set(work["worker"]) - {""})[:5])
        findings.note(None, "worker", names, "a table people", "without it everybody counts as an owner")
    kinds = items.drop_duplicates("item_id").set_index("item_id")["category"]
    places = work[["item_id", "trip_id", "category"]]
    own = (work["item_id"] != "") & (work["item_id"].map(kinds) == work["category"])
    several = (places != "").sum(axis=1) - (own & (work["category"] != "")) > 1
    said = [", ".join(filter(None, row)) for row in places[several].itertuples(index=False)]
    needed = "at most one of item_id, trip_id and category"
    _tell(findings, work[several].assign(said=said), "item_id", "{said}", needed, "keep the narrowest")
    _unknown_categories(work, items, findings)
    long, found = work[work["minutes"] > 24 * 60], "{minutes:g} minutes in one day"
    _tell(findings, long, "minutes", found, "at most 1,440", "are these seconds, or several days?", stops=False)


def _comparables(frames: Frames, findings: Findings) -> None:
    comparables, items = frames["comparables"], frames["items"]
    if comparables.empty:
        return
    single = comparables["category"] == ""
    bare, mend = comparables[single & (comparables["item_id"] == "")], "fill in the one that it is like"
    _tell(findings, bare, "item_id", "", "an item_id or a category", mend)
    _require_known(comparables[single], "item_id", items["item_id"], "items", findings)
    _unknown_categories(comparables, items, findings)
    _improbable(comparables, items, findings)


def _improbable(comparables: pd.DataFrame, items: pd.DataFrame, findings: Findings) -> None:
    """Prices so far from what was asked for the thing, or from those of its category, that a point may have slipped."""
    asked = items["sold_price_cents"].fillna(items["list_price_cents"]).astype(np.float64)
    own = pd.Series(asked.to_numpy(), index=items["item_id"].astype(object)).groupby(level=0).first()
    log = np.log(comparables["price_cents"].astype(np.float64).where(lambda cents: cents > 0))
    of_kind = (comparables["category"] != "") & (comparables["item_id"] == "")
    known = pd.concat([log[of_kind], np.log(asked[asked > 0])])
    names = pd.concat([comparables.loc[of_kind, "category"], items.loc[asked > 0, "category"]]).astype(object)
    kinds = known.groupby(names.to_numpy()).median()
    mend = "is a decimal point misplaced, or is it another kind of thing?"
    for column, of, middle, factor in (
        ("item_id", comparables["item_id"] != "", np.log(own[own > 0]), _FAR_OF_ITEM),
        ("category", of_kind, kinds, _FAR_OF_CATEGORY),
    ):
        usual = comparables[column].astype(object).map(middle)
        far = comparables.assign(usual_cents=np.exp(usual).round())[of & ((log - usual).abs() > np.log(factor))]
        needed = f"about {{usual_cents}}, as {{{column}}} usually brings"
        _tell(findings, far, "price", "{price_cents}", needed, mend, stops=False)


def _unknown_categories(frame: pd.DataFrame, items: pd.DataFrame, findings: Findings) -> None:
    known = sorted(set(items["category"]) - {""})
    unknown = frame[(frame["category"] != "") & ~frame["category"].isin(known)].drop_duplicates("category")
    unknown = unknown.assign(mend=_meant(unknown["category"], known, "no item has it yet", cutoff=0.7))
    _tell(findings, unknown, "category", "{category}", "a category of items", "{mend}", stops=False)


def _people(people: pd.DataFrame, findings: Findings) -> None:
    hired, mend = people[(people["role"] == "hired") & people["wage_cents"].isna()], "the assumed wage counts"
    _tell(findings, hired, "wage", "", "the wage of a hired worker", f"without it {mend}", stops=False)
    shares = people["share_of_profit_ppm"].fillna(0).sum()
    if shares > 1_000_000:
        findings.stop(None, "share_of_profit", f"{shares / 10_000:g} % together", "at most 100 %", "mend the shares")


def _equal_rows(frame: pd.DataFrame, findings: Findings) -> None:
    """Rows that are equal in every cell may be separate: told, never dropped."""
    rows = frame.loc[frame.duplicated(frame.columns.drop("row"), keep=False), "row"].tolist()
    if rows:
        found = f"{rows_in_words(rows)} equal to another"
        findings.note(rows[0], "", found, "rows that differ", "all count; if one is a copy, delete it")


def _later(frame: pd.DataFrame, column: str, as_of: dt.date, findings: Findings) -> None:
    needed, mend = (
        f"a day up to {as_of.isoformat()}",
        "if the year is mistyped, mend it; until that day no report counts it",
    )
    _tell(findings, frame[frame[column] > pd.Timestamp(as_of)], column, f"{{{column}}}", needed, mend, stops=False)
