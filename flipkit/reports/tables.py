"""The study's tables, paragraphs and cautions as a page shows them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

import pandas as pd

from flipkit.analysis.words import TOO_FEW
from flipkit.reports.elements import NOTHING, Element, caution, table
from flipkit.reports.rules_used import rules_used
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import Study

#: From this weight on a parcel's page carries the lifting caution. The revised lifting equation's
#: load constant is 51 lb under the best conditions; half of it is soon reached under others.
LIFT_LB = 25.0

BAND_HEADINGS = {
    "from_cents": "Price from",
    "below_cents": "below",
    "size_class": "Size",
    "items": "Sales",
    "hourly": "Per hour",
    "interval": "Interval",
    "verdict": "Verdict",
}


def words(text: str) -> Element:
    """A paragraph made from numbers.

    Parameters
    ----------
    text : str
        The paragraph.

    Returns
    -------
    Element
        For a page.

    Examples
    --------
    >>> words("Nothing sold yet.")
    Nothing sold yet.
    """
    return Element(f"<p>{escape(text)}</p>", text)


def bullets(lines: Sequence[str], *, none: str) -> Element:
    """A list of sentences.

    Parameters
    ----------
    lines : sequence of str
        The sentences.
    none : str
        What to say where there are none.

    Returns
    -------
    Element
        For a page.

    Examples
    --------
    >>> bullets([], none="Nothing was left out.")
    Nothing was left out.
    """
    if not lines:
        return words(none)
    html = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return Element(f"<ul>{html}</ul>", "\n".join(f"- {line}" for line in lines))


def returns_table(study: Study) -> Element:
    """Both bases side by side for every category.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    headings = {
        "category": "Category",
        **bases_headings(study),
        "net_per_sale_cents": "Net per sale",
        "minutes_per_sale": "Minutes per sale",
    }
    frame = bases_columns(study, study.both_bases)
    sales = frame["sold_items"].where(frame["sold_items"] > 0)
    frame["net_per_sale_cents"] = frame["sold_net_cents"] / sales
    frame["minutes_per_sale"] = frame["sold_owner_min"] / sales
    formats = bases_formats(study) | {"minutes_per_sale": lambda minutes: f"{minutes:,.0f}"}
    return table(
        frame,
        caption="True hourly return by category, bought and sold basis",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def bases_headings(study: Study) -> dict[str, str]:
    """Headings of what both bases have side by side, whatever the rows are.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    dict of str to str
        Column to heading.
    """
    return {
        "bought_hourly": "Per hour, bought",
        "bought_interval": f"{study.confidence:.0%} interval",
        "sold_of": "Sold of bought",
        "sold_hourly": "Per hour, sold",
        "sold_interval": f"{study.confidence:.0%} interval",
        "sold_items": "Sales",
    }


def bases_columns(study: Study, frame: pd.DataFrame) -> pd.DataFrame:
    """The columns of ``bases_headings``, added to a frame with both bases side by side.

    Parameters
    ----------
    study : Study
        The numbers.
    frame : DataFrame
        As ``side_by_side`` gives it.

    Returns
    -------
    DataFrame
        A copy; of what never sold no hourly return is shown on bought basis.
    """
    shown = frame.copy()
    for basis in ("sold", "bought"):
        shown[f"{basis}_interval"] = [
            text if items == items else NOTHING
            for text, items in zip(_intervals(study, shown, before=f"{basis}_"), shown[f"{basis}_items"], strict=True)
        ]
    shown["bought_hourly"] = shown["bought_hourly"].where(shown["bought_sold"].fillna(0) > 0)
    shown["sold_of"] = [
        f"{int(sold)} of {int(bought)}" if bought == bought else NOTHING
        for sold, bought in zip(shown["bought_sold"], shown["bought_items"], strict=True)
    ]
    return shown


def bases_formats(study: Study) -> dict[str, Callable[[Any], str]]:
    """How the columns of ``bases_headings`` are written.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    dict of str to callable
        Column to a function that turns one value into text.
    """
    return _formats(study, "sold_hourly", "bought_hourly") | {"sold_items": lambda number: f"{number:,.0f}"}


def bands_table(study: Study) -> Element:
    """The size classes within bands of like prices.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    empty = pd.DataFrame(columns=[*BAND_HEADINGS, "low", "high"])
    frame = study.price_bands if len(study.price_bands) else empty
    return table(
        frame.assign(interval=_intervals(study, frame)),
        caption="The same within equal price bands",
        headings=BAND_HEADINGS,
        formats=_formats(study, "hourly"),
        fold=True,
        currency=study.currency,
    )


def rules_table(study: Study) -> Element:
    """Every rule block that some figure depends on.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    rows = [
        (
            used.kind,
            used.name,
            used.begins,
            used.ends or "–",
            "the shop's own" if used.own else "packaged",
            used.seen,
            "; ".join(_source_title(study, key.strip()) for key in used.source.split(",")),
        )
        for used in rules_used(study)
    ]
    columns = ["rule", "name", "from", "to", "table", "seen", "source"]
    return table(pd.DataFrame(rows, columns=columns), caption="Each block in force on a day that mattered")


def assumptions_table(study: Study) -> Element:
    """Every assumption with its value and who says so, the shop's and this run's own first.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    order = {"this run": 0, "shop": 1, "packaged": 2}
    entries = sorted(study.assumptions.entries.values(), key=lambda entry: order[entry.layer])
    rows = [
        (entry.key, entry.text(currency=study.currency), entry.unit, entry.layer, entry.meaning, entry.source)
        for entry in entries
    ]
    columns = ["assumption", "value", "unit", "who says so", "meaning", "source"]
    return table(pd.DataFrame(rows, columns=columns), caption="Every assumption, its value and who says so")


def notes_table(study: Study) -> Element:
    """What the check of the books noticed.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    rows = [(note.file, note.row, note.column, note.found, note.needed, note.mend) for note in study.notes]
    columns = ["file", "row", "column", "found", "needed", "how to mend it"]
    frame = pd.DataFrame(rows, columns=columns, dtype=object)
    return table(frame, caption=f"{len(rows)} notes on the books", fold=True) if rows else words("Nothing.")


def cautions(items: pd.DataFrame) -> Element:
    """What to beware of with these items.

    Parameters
    ----------
    items : DataFrame
        The items that a page speaks of.

    Returns
    -------
    Element
        One box or more.
    """
    boxes = []
    heavy = items["size_class"].isin(["bulky", "oversize"]) | (items["weight_lb"] >= LIFT_LB)
    if heavy.any():
        boxes.append(
            caution(
                "Some of these parcels are bulky or heavy: lift them with two people, and heed the lifting limits of "
                "the authority for work safety where you live.",
                title="Lifting",
            )
        )
    boxes.append(
        caution(
            "Knives and cutters in packing work, batteries, aerosols, perfumes and other restricted goods, recalled "
            "products, food and child-safety goods have rules of their own: check the carrier's and the authority's.",
            title="Goods and tools",
        )
    )
    boxes.append(caution("Figures from few sales are estimates, and nothing here is tax advice.", title="Estimates"))
    return Element("".join(box.html for box in boxes), "\n".join(box.text for box in boxes))


def _intervals(study: Study, frame: pd.DataFrame, *, before: str = "") -> list[str]:
    """Each interval as text, or why there is none."""
    return [
        TOO_FEW
        if pd.isna(low)
        else " to ".join(money_per_hour(float(end), currency=study.currency) for end in (low, high))
        for low, high in zip(frame[f"{before}low"], frame[f"{before}high"], strict=True)
    ]


def _source_title(study: Study, key: str) -> str:
    source = study.rules.sources.get(key)
    return source.title if source else key


def _formats(study: Study, *columns: str) -> dict[str, Callable[[Any], str]]:
    return dict.fromkeys(columns, lambda dollars: money_per_hour(float(dollars), currency=study.currency))
