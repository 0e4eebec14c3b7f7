"""What the labels of a postage history cost each sold item, however often they are converted."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal

from flipkit.books.cells import Bad, Units, reader_of
from flipkit.books.exports.layout import Left
from flipkit.books.exports.taken import Taken
from flipkit.books.schema import ITEMS
from flipkit.books.write import csv_text
from flipkit.imports.join import Label, Stock, labels_of, match_labels, shares_of

_LEDGER = ("label", "items", "amount", "adjustment", "date", "how")


@dataclass(slots=True)
class Postings:
    """Labels of this and of earlier conversions, matched with items.

    Parameters
    ----------
    stock : Stock
        The items of the books.
    ledger : list of dict of str to str
        Every label taken, earlier ones first.
    before : list of list of str
        Item, label_paid and label_adjustment as the earlier labels made them.
    added, there : int
        Labels of this export that are new, and that were taken before.
    refused : list of Left
        Labels that match no sale.
    told : list of str
        What matched each new label.
    """

    stock: Stock
    ledger: list[dict[str, str]] = field(default_factory=list)
    before: list[list[str]] = field(default_factory=list)
    added: int = 0
    there: int = 0
    refused: list[Left] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def as_rows(self) -> Taken:
        """What all labels cost each item.

        Returns
        -------
        Taken
            Rows of item_id, label_paid and label_adjustment.
        """
        return Taken(["item_id", "label_paid", "label_adjustment"], _costs(self.stock, self.ledger))

    def ledger_text(self) -> str:
        """The labels taken, as a CSV file.

        Returns
        -------
        str
            The text.
        """
        return csv_text(_LEDGER, [[row[name] for name in _LEDGER] for row in self.ledger])


def _costs(stock: Stock, ledger: list[dict[str, str]]) -> list[list[str]]:
    paid: dict[str, int] = defaultdict(int)
    later: dict[str, int] = defaultdict(int)
    known = stock.ids
    for row in ledger:
        items = [item for item in row["items"].split("|") if item in known]
        if not items:
            continue
        for item, share in shares_of(stock, items, int(Decimal(row["amount"] or "0") * 100)).items():
            paid[item] += share
        for item, share in shares_of(stock, items, int(Decimal(row["adjustment"] or "0") * 100)).items():
            later[item] += share
    rows = []
    for item in paid:
        # A label given back leaves nothing to pay; more than that is a credit.
        credit = min(paid[item], 0)
        adjustment = later[item] + credit
        rows.append([item, _text(paid[item] - credit), _text(adjustment) if adjustment else ""])
    return rows


def _text(cents: int) -> str:
    return f"{Decimal(cents) / 100:.2f}"


def post_labels(taken: Taken, stock: Stock, earlier: list[dict[str, str]]) -> Postings:
    """Match the labels of an export with sales, beside those taken before.

    Parameters
    ----------
    taken : Taken
        Rows of the postage history.
    stock : Stock
        The items of the books.
    earlier : list of dict of str to str
        Labels taken before.

    Returns
    -------
    Postings
        All labels and what became of those in the export.
    """
    labels = labels_of(taken, _weights(taken))
    known = {row["label"] for row in earlier}
    new = [label for label in labels if label.key not in known]
    already = {row["label"].split(":", 1)[0]: row["items"].split("|") for row in earlier}
    postings = Postings(stock, list(earlier), _costs(stock, earlier), there=len(labels) - len(new))
    posted = match_labels(stock, new, already=already)
    cells = dict(zip(taken.origins, taken.rows, strict=True))
    for label in new:
        items = posted.items.get(label.key)
        if items is None:
            postings.refused.append(Left(label.origin, posted.unmatched[label.key], cells[label.origin]))
            continue
        postings.added += 1
        postings.told.append(f"row {label.origin}: {', '.join(items)}, by {posted.how[label.key]}")
        postings.ledger.append(_entry(label, items, posted.how[label.key]))
    return postings


def _entry(label: Label, items: list[str], how: str) -> dict[str, str]:
    values = (
        label.key,
        "|".join(items),
        _text(label.amount_cents),
        _text(label.adjustment_cents),
        label.date,
        how,
    )
    return dict(zip(_LEDGER, values, strict=True))


def _weights(taken: Taken) -> list[float]:
    if "weight_lb" not in taken.columns:
        return [0.0] * len(taken.rows)
    at = taken.columns.index("weight_lb")
    read = reader_of(ITEMS.column("weight_lb"), unit="lb", units=Units())
    weights = []
    for row in taken.rows:
        value = read(row[at]) if row[at] else 0.0
        weights.append(0.0 if isinstance(value, Bad) else float(value))
    return weights
