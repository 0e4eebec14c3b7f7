"""The study's tables, paragraphs and cautions as its pages show them."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.results import RESULT, resting_on
from flipkit.analysis.returns import TOO_FEW, too_few_words
from flipkit.assumptions import Assumption
from flipkit.charts.style import money
from flipkit.economics.costs import own_rate_cards
from flipkit.reports.elements import EMPTY, NOTHING, Element, caution, figures_said, table, together
from flipkit.reports.sentences import day_words, money_per_hour, month_name, of_category, past_words
from flipkit.reports.study import Study, help_paid
from flipkit.rules.blocks import RuleSet

# Which blocks of which rule sets the figures of a study depend on.

Days = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class RuleUsed:
    """One block of a rule set that some figure of the pack depends on."""

    kind: str
    name: str
    begins: str
    ends: str
    source: str
    seen: str
    own: bool = False


def rules_used(study: Study) -> list[RuleUsed]:
    """Every rule block in force on a day for which some figure was computed by it."""
    found: dict[RuleUsed, None] = {}
    for rule_set, days in _asked(study):
        for at in sorted(set(rule_set.index_at(days).tolist())) if days.size else []:
            block = rule_set.blocks[at]
            # A surcharge may stand on a page of its own.
            sourced = (block, *getattr(block, "surcharges", ()))
            used = RuleUsed(
                kind=rule_set.kind,
                name=rule_set.name,
                begins=block.starts.isoformat(),
                ends=block.ends.isoformat() if block.ends else "",
                source=", ".join(dict.fromkeys(key for one in sourced for key in one.sources)),
                seen=", ".join(dict.fromkeys(one.seen for one in sourced)),
                own=rule_set.file in study.rules.own,
            )
            found[used] = None
    return list(found)


def _asked(study: Study) -> Iterator[tuple[RuleSet, Days]]:
    """Each rule set that was asked, with the days that it was asked for."""
    items = study.items
    rules = study.rules
    venue = items["venue"].where(items["venue"] != "", study.assumptions.text("venue.default"))
    listings = study.economics.listings
    listed_at = venue.to_numpy()[listings["row"]]
    by_rule = (items[["marketplace_fee_origin", "refunded_fee_origin"]] == "rule").any(axis=1)
    for name in sorted({*venue[by_rule], *listed_at}):
        asked = items["sold_on"][by_rule & (venue == name)], listings["day"][listed_at == name]
        yield rules.fee_schedules[name], np.concatenate([_days(days) for days in asked])
    labelled = items["label_origin"].isin(["rule", "assumed"])
    cards = own_rate_cards(rules, study.assumptions)
    for card in cards:
        yield card, _days(items["sold_on"][labelled])
    for name in sorted({card.parcel_rules for card in cards}):
        yield rules.parcels[name], _days(items["sold_on"][labelled])
    driven = study.books.trips[study.books.trips["trip_id"].isin(items["trip_id"])]
    yield rules.mileage, _days(driven["date"][driven["miles"].fillna(0) > 0])
    classed = items["sold_on"].fillna(pd.Timestamp(study.as_of))
    classed = classed.clip(lower=pd.Timestamp(rules.size_classes.blocks[0].starts))
    yield rules.size_classes, _days(classed)
    if rules.size_classes.rules is not None:
        yield rules.size_classes.rules, _days(classed)


def _days(dates: pd.Series) -> Days:
    return dates.dropna().to_numpy().astype("datetime64[D]")


# The study's tables, paragraphs and cautions as a page shows them.

#: From this weight on a parcel's page carries the lifting caution. The revised lifting equation's
#: load constant is 51 lb under the best conditions; half of it is soon reached under others.
LIFT_LB = 25.0


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
    return Element(f"<p>{escape(text)}</p>", text, figures_said(text)) if text else EMPTY


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
    """Both bases side by side for every category."""
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
    del headings["sold_interval"]
    formats = bases_formats(study) | {"minutes_per_sale": lambda minutes: f"{minutes:,.0f}"}
    return table(
        frame,
        caption="What an hour of each category earned, counting unsold items and sold items only",
        headings=headings,
        formats=formats,
        note=f"The figures are of {past_words(study)}. Sold of bought: sold by {day_words(study.as_of)}.",
        currency=study.currency,
        figures=[
            study.figure(f"{basis} basis, an hour", of_category(row["category"]), 100 * row[f"{basis}_hourly"])
            for row in study.both_bases.to_dict("records")
            for basis in ("sold", "bought")
            if not pd.isna(row[f"{basis}_items"])
        ],
    )


def bases_headings(study: Study) -> dict[str, str]:
    """Headings of what both bases have side by side, whatever the rows are."""
    return {
        "bought_hourly": "Per hour, unsold counted",
        "bought_interval": f"{study.confidence:.0%} interval",
        "sold_of": "Sold of bought",
        "sold_hourly": "Per hour, sold only",
        "sold_interval": f"{study.confidence:.0%} interval",
    }


def bases_columns(study: Study, frame: pd.DataFrame) -> pd.DataFrame:
    """The columns of ``bases_headings``, added to a frame with both bases side by side."""
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
    """How the columns of ``bases_headings`` are written."""
    return _formats(study, "sold_hourly", "bought_hourly")


def months_table(study: Study) -> Element:
    """What each of the latest thirteen months came to, with the sales alone beside it."""
    frame = study.months.tail(13)
    frame = frame.assign(named=[f"{day:%B %Y}" for day in frame["month"]], hours=frame["owner_min"] / 60)
    headings = {
        "named": "Month",
        "sold": "Sold",
        "written_off": "Written off",
        "net_cents": "Result",
        "hours": "Hours",
        "hourly": "An hour",
        "sales_hourly": "Sales alone, an hour",
    }
    formats = _formats(study, "hourly", "sales_hourly") | {"hours": lambda hours: f"{hours:,.0f}"}
    figures = [
        study.figure(name, row["named"], value)
        for row in frame.to_dict("records")
        for name, value in (
            (RESULT, row["net_cents"]),
            ("result an hour", 100 * row["hourly"]),
            ("sales alone, an hour", 100 * row["sales_hourly"]),
            ("sales", row["sold"]),
            ("things written off", row["written_off"]),
        )
    ]
    return table(
        frame,
        caption="Month by month, sales and write-offs",
        headings=headings,
        formats=formats,
        currency=study.currency,
        figures=figures,
    )


#: How a rule's figures were known to whoever wrote them down, in a reader's words.
_SEEN = {"found": "read in the rule itself", "secondary": "read in a report of it"}


def seen_words(seen: str) -> str:
    """How the values of a rule are known, in a reader's words.

    >>> seen_words("secondary, from memory")
    'read in a report of it, from memory'
    """
    return ", ".join(_SEEN.get(one, one) for one in seen.split(", "))


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
            f"{used.kind}, {used.name}",
            day_words(dt.date.fromisoformat(used.begins)),
            day_words(dt.date.fromisoformat(used.ends)) if used.ends else NOTHING,
            f"{'the shop' if used.own else 'flipkit'}: {seen_words(used.seen)}",
            "; ".join(_source_title(study, key.strip()) for key in used.source.split(",")),
        )
        for used in rules_used(study)
    ]
    columns = ["rule", "from", "to", "who says so, and how", "source"]
    return table(pd.DataFrame(rows, columns=columns), caption="Each block in force on a day that mattered")


#: Money on an assumption from which on it is named. [cents]
_LEAST_RESTS: Final = 50
#: What the files say of values that have no unit.
_NO_UNITS: Final = ("choice", "who", "key", "name", "size class", "same", "power", "of the logarithm")


def assumptions_table(study: Study) -> Element:
    """Every assumption with its value and who says so: those on which most of the month's money rests come first.

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
    held, by_card = study.assumptions, bool(own_rate_cards(study.rules, study.assumptions))
    rests = resting_on(study.month_items(), target_cents=held.cents("hour.target"), by_card=by_card)
    entries = sorted(held.entries.values(), key=lambda entry: (-rests.get(entry.key, 0.0), order[entry.layer]))
    whose = {"packaged": "", "shop": " (yours)", "this run": " (this run)"}
    wage, burden = help_paid(study)
    # What the log of help says stands in the figures in place of what is assumed.
    paid = {"help.wage": money_per_hour(wage, currency=study.currency), "help.burden": f"{burden / 10_000:.3g}%"}
    if study.books.work.empty or (wage, burden) == (held.cents("help.wage") / 100, held.ppm("help.burden")):
        paid = {}
    shared = Counter(entry.meaning for entry in entries)
    groups: dict[tuple[object, ...], list[Assumption]] = {}
    for entry in entries:
        # Values of one meaning on which nothing of the month rests share a row.
        alone = entry.key if rests.get(entry.key, 0.0) >= _LEAST_RESTS or entry.key in paid else ""
        groups.setdefault((alone, entry.key.rpartition(".")[0], entry.meaning, entry.layer), []).append(entry)
    rows = [
        (
            own[0].meaning
            if own[0].layer != "packaged" or own[0].source.startswith("common practice")
            else f"{own[0].meaning} Source: {own[0].source}.",
            _values(study, own, alone=shared[own[0].meaning] == len(own))
            + whose[own[0].layer]
            + (
                f"; what you paid, {paid[own[0].key]}, is used"
                if own[0].key in paid and own[0].layer == "packaged"
                else ""
            ),
            money(rests[own[0].key], currency=study.currency)
            if rests.get(own[0].key, 0.0) >= _LEAST_RESTS
            else NOTHING,
            own[0].key if len(own) == 1 else f"{own[0].key.rpartition('.')[0]}.…",
        )
        for own in groups.values()
    ]
    caption = "Every assumption, its value and who says so"
    note = (
        f"First come those on which most of {month_name(study.month)} rested: its money and minutes, at your target, "
        "that the books did not say and your logs only corrected. Then come those that you or this run set. Where no "
        "source is named it is common practice."
    )
    headings = {"meaning": "What is assumed", "value": "Value", "rests": "Rests on it", "key": "To change it, set"}
    return table(pd.DataFrame(rows, columns=list(headings)), caption=caption, note=note, headings=headings)


_UNIT_OF_KEY: Final = re.compile(r"_per_(cuft|sqft|ft|lb|in)$|_(cuft|sqft|ft|lb|in)$")


def _values(study: Study, own: Sequence[Assumption], *, alone: bool) -> str:
    """The values of assumptions that share a row, each with the end of its key unless it is alone, their unit once."""
    said = [entry.shown(study.measures, currency=study.currency) for entry in own]
    unit = "" if said[0][1] in _NO_UNITS else said[0][1]
    unit = f"minutes {unit}" if own[0].kind == "minutes" else unit
    each = [value or "none" for value, _ in said]
    if len(own) > 1 or not alone:
        # The unit of a key's name is that of the packaged value, which the shop may say in another.
        ends = [_UNIT_OF_KEY.sub("", entry.key.rpartition(".")[2]).replace("_", " ") for entry in own]
        each = [f"{end} {value}" for end, value in zip(ends, each, strict=True)]
    return f"{', '.join(each)} {unit}".rstrip()


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
    return table(frame, caption=f"{len(rows)} notes on the books") if rows else EMPTY


def cautions(items: pd.DataFrame) -> Element:
    """What to beware of with these items."""
    goods = caution(
        "Check the carrier's and the authority's rules for knives and cutters, batteries, aerosols, perfumes and "
        "other restricted goods, recalled products, food and child-safety goods.",
        title="Goods and tools",
    )
    return together(lifting(items), goods)


def lifting(items: pd.DataFrame) -> Element:
    """That bulky and heavy things are lifted with two people; nothing where there are none."""
    heavy = items["size_class"].isin(["bulky", "oversize"]) | (items["weight_lb"] >= LIFT_LB)
    if not heavy.any():
        return EMPTY
    return caution(
        "Some parcels are bulky or heavy: lift them with two people, and heed the work-safety limits where you live.",
        title="Lifting",
    )


def _intervals(study: Study, frame: pd.DataFrame, *, before: str = "") -> list[str]:
    """Each interval as text, or why there is none."""
    return [
        too_few_words({"one_decides": one_decides == 1})
        if pd.isna(low)
        else " to ".join(money_per_hour(float(end), currency=study.currency) for end in (low, high))
        for low, high, one_decides in zip(
            *(frame[f"{before}{name}"] for name in ("low", "high", "one_decides")), strict=True
        )
    ]


def _source_title(study: Study, key: str) -> str:
    source = study.rules.sources.get(key)
    return source.title if source else key


def _formats(study: Study, *columns: str) -> dict[str, Callable[[Any], str]]:
    return dict.fromkeys(columns, lambda dollars: money_per_hour(float(dollars), currency=study.currency))


# Tables of the ranking and the stock, as pages show them.


def ranking_table(study: Study) -> Element:
    """Categories in the order of the decisions, with their chance of beating the target and their pulled figure."""
    headings = {
        "category": "Category",
        "beats_target": "Chance to beat the target",
        "pulled": "An hour, adjusted",
        "between": f"{study.confidence:.0%} interval, adjusted",
        "items": "Bought",
    }
    formats = _formats(study, "pulled") | {"beats_target": _chance}
    place = {one.category: at for at, one in enumerate(study.decisions)}
    frame = study.ranking.sort_values("category", key=lambda names: names.map(place), kind="stable")
    # What is too few to tell gets no chance and no pulled figure that could be read as one.
    told = ["beats_target", "pulled", "low", "high"]
    frame[told] = frame[told].where(frame["claimed"].astype(bool))
    frame["between"] = _intervals(study, frame)
    return table(
        frame,
        caption="Counting unsold items, adjusted for small samples",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def _chance(chance: float) -> str:
    """A chance as a percentage that never claims certainty."""
    return "under 1%" if chance < 0.01 else "over 99%" if chance > 0.99 else f"{chance:.0%}"


# The interval claimed beside the same interval by textbook methods.

_WHY = (
    "The interval comes from drawing your own trips anew many times (a bootstrap), with room for few trips and a few "
    "sales that bring most. The textbook way (BCa) is too narrow where trips are few. The quick error (delta method) "
    "is a check: about two of them lie between the figure and either end."
)


def methods_table(study: Study) -> Element:
    """Each category's claimed interval, the BCa bootstrap's and the delta-method error, on bought basis."""
    frame = pd.concat([study.bought_returns, study.shop_bought], ignore_index=True)
    headings = {
        "category": "Category",
        "items": "Bought",
        "trips": "Trips",
        "hourly": "Per hour",
        "claimed_interval": f"{study.confidence:.0%} interval shown",
        "bca_interval": "Textbook interval",
        "delta_se": "Quick error",
    }
    for name, before in (("claimed_interval", ""), ("bca_interval", "bca_")):
        rows = frame[["claimed", f"{before}low", f"{before}high"]].itertuples(index=False)
        frame[name] = [
            f"{_dollars(study, low)} to {_dollars(study, high)}" if claimed else TOO_FEW for claimed, low, high in rows
        ]
    formats = dict.fromkeys(("hourly", "delta_se"), lambda dollars: _dollars(study, dollars))
    return table(
        frame,
        caption="The same interval by other methods, counting unsold items",
        headings=headings,
        formats=formats,
        note=_WHY,
        currency=study.currency,
    )


def _dollars(study: Study, dollars: float) -> str:
    return money_per_hour(float(dollars), currency=study.currency)
