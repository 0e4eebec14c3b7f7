"""What the numbers say in words, for the head of each page and the text beside each chart.

Every sentence is made from the study's numbers and claims no more than they bear.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from flipkit.analysis.results import RESULT, minutes_known
from flipkit.analysis.returns import TOO_FEW, too_few_words, unsold_group
from flipkit.charts.style import hourly, money
from flipkit.economics.overrides import suppositions
from flipkit.errors import count_of
from flipkit.money import show_cents
from flipkit.reports.elements import Figure, Said, origin_mix
from flipkit.reports.study import Study
from flipkit.units import CM_AN_INCH


def money_per_hour(dollars: float, *, currency: str) -> str:
    """An hourly return as text.

    >>> money_per_hour(14.2, currency="USD"), money_per_hour(float("nan"), currency="USD")
    ('$14.20', '–')
    """
    return "–" if math.isnan(dollars) else show_cents(round(dollars * 100), currency=currency)


def month_name(month: str) -> str:
    """A month in words.

    >>> month_name("2026-10")
    'October 2026'
    """
    return pd.Period(month, "M").strftime("%B %Y")


def day_words(day: Any) -> str:
    """A day as tables show it.

    >>> day_words(pd.Timestamp("2026-10-31"))
    '31 Oct 2026'
    """
    return f"{day.day} {day:%b %Y}"


def span_name(study: Study) -> str:
    """The months that a report looks back on, in words."""
    first, last = (f"{day:%B %Y}" for day in study.window())
    return first if first == last else f"{first} to {last}"


def year_name(study: Study) -> str:
    """The year so far, in words."""
    return f"{study.year_so_far()[1].year} so far"


def sales_known(study: Study) -> int:
    """Sales that the books hold, whenever they were."""
    return int(study.items["sold_on"].notna().sum())


def few_sales_sentence(study: Study) -> str:
    """Why the books cannot say what to pay or to ask; empty where they can."""
    sales, needed = sales_known(study), study.assumptions.whole("report.too_few_items")
    if sales >= needed:
        return ""
    return (
        f"{TOO_FEW.capitalize()}: {count_of(sales, 'sale')} in the books, and a price without at least {needed} of "
        f"them would be assumptions alone."
    )


def month_sentence(study: Study) -> tuple[str, str]:
    """What an hour earned in the month, and how sure that is."""
    row, sales = (frame.loc["this month"] for frame in (study.shop_results, study.shop_sales))
    if not row["items"]:
        return _nothing_sold(study, f"in {month_name(study.month)}")
    items = study.month_items()
    unknown = int((items["cost_origin"] == "none").sum())
    if unknown > 0.5 * len(items):
        return _cost_unknown(study, row, unknown, len(items))
    off = int(row["items"] - row["sold"])
    after = f" after {count_of(off, 'item')} you wrote off" if off else ""
    apart = hourly(abs(study.target - float(row["hourly"])), currency=study.currency)
    side = "over" if float(row["hourly"]) > study.target else "short of"
    hours = count_of(round(row["owner_min"] / 60), "hour")
    sentence = (
        f"You made about {_whole(study, row)} an hour in {month_name(study.month)}, {apart} {side} your "
        f"{hourly(study.target, currency=study.currency)} target: {count_of(int(row['sold']), 'sale')}, "
        f"{money(int(row['net_cents']), currency=study.currency)} profit{after}, {hours}."
    )
    if unknown:
        sentence += f" What {count_of(unknown, 'item')} cost is not known and counts as 0, so this is too high."
    note = [noise_sentence(study, row)]
    if off and sales["items"]:
        note.append(f"Sales alone made {_whole(study, sales)} an hour.")
    note += [year_sentence(study)]
    named = month_name(study.month)
    figures = [
        study.figure("result an hour", named, 100 * row["hourly"]),
        study.figure(RESULT, named, row["net_cents"]),
        study.figure("sales", named, row["sold"]),
        study.figure("things written off", named, off),
        study.figure("hours behind the result, in minutes", named, row["owner_min"]),
        study.figure("sales alone, an hour", named, 100 * sales["hourly"]),
        study.figure("target an hour", "shop", study.assumptions.cents("hour.target")),
    ]
    more = [*doubts(study), overrides_sentence(study), run_out_sentence(study)]
    return Said(sentence, figures), " ".join(filter(None, [*note, *more]))


def noise_sentence(study: Study, row: pd.Series) -> str:
    """How far one month tells what an hour of the seller's earns."""
    if not row["claimed"]:
        return _interval(study, row)
    low, high = (hourly(float(row[end]), currency=study.currency) for end in ("low", "high"))
    return f"One month is noisy: the true rate is probably between {low} and {high}."


def year_sentence(study: Study) -> str:
    """The year so far against the same months of the last, as far as that can be told."""
    gap = study.year_gap
    if not gap.claimed:
        return ""
    now, then = (hourly(value, currency=study.currency) for value in (gap.hourly_first, gap.hourly_second))
    text = f"So far {gap.first} made {now} an hour, the same months of {gap.second} {then}:"
    low, high = (hourly(value, currency=study.currency) for value in sorted((abs(gap.low), abs(gap.high))))
    told = f"probably {low} to {high} {'more' if gap.gap > 0 else 'less'}"
    told = "too close to call" if gap.low < 0 < gap.high else told
    sales = study.year_gap_of_sales
    alone, before = (hourly(value, currency=study.currency) for value in (sales.hourly_first, sales.hourly_second))
    first, last = (day.replace(year=day.year - 1) for day in map(pd.Timestamp, study.year_so_far()))
    off = int((study.items["gone_on"].between(first, last) & study.items["sold_on"].isna()).sum())
    # A young shop has hardly anything to write off yet, which flatters its first year.
    if off < study.assumptions.whole("report.too_few_items"):
        told += " (few write-offs then)"
    return f"{text} {told}. Sales alone: {alone} and {before}."


def _cost_unknown(study: Study, row: pd.Series, unknown: int, things: int) -> tuple[str, str]:
    """The month where most costs are not known: what came in, and no profit."""
    came = int(study.month_items()["sold_price_cents"].sum())
    sentence = (
        f"In {month_name(study.month)} you sold {count_of(int(row['sold']), 'item')} for "
        f"{show_cents(came, currency=study.currency)}. What {unknown:,} of {things:,} cost is not known, so nobody can "
        "say what you earned."
    )
    figures = [study.figure("sales", month_name(study.month), row["sold"])]
    return Said(sentence, figures), "Fill in cost where you know it; 0 is a free find, and blank is not known."


def minutes_sentence(items: pd.DataFrame) -> str:
    """How much of the hours behind a figure was logged, and that its interval does not carry the doubt in the rest."""
    known = minutes_known(items)
    if math.isnan(known["logged"]):
        return ""
    doubt = "unlogged minutes could make the range wider"
    if known["logged"] == 0 and known["corrected"] == 0:
        return f"No work is logged: these hours are assumed minutes throughout, and {doubt}."
    parts = {
        "logged": "logged",
        "corrected": "standard minutes corrected by your logs",
        "standard": "standard minutes",
    }
    said = ", ".join(f"{known[name]:.0%} {words}" for name, words in parts.items() if round(known[name], 2) > 0)
    return f"Hours: {said}; {doubt}." if known["logged"] < 1 else f"Hours: {said}."


def doubts(study: Study) -> list[str]:
    """What makes every figure of these books doubtful: it stands at the headline, beside the verdicts, in the index."""
    items = study.items
    found = []
    alone = unsold_group(items["category"], items["sold_on"].notna())
    if len(items) >= study.assumptions.whole("report.too_few_items"):
        if items["sold_on"].notna().all():
            found.append(
                "Everything in these books sold. If you left out what never sold, every figure here is too good: add "
                "those things with what they cost."
            )
        if alone is not None:
            found.append(
                f"Everything unsold is called {alone}, and nothing else is. So no other category counts what of it "
                "never sold, and their figures are too good."
            )
        if not items["cost_cents"].any() and (items["cost_origin"] != "none").all():
            found.append(
                "Everything cost 0. If these aren't all free finds, profits are too high: fill in what you paid, and "
                "leave a cost blank where you don't know it."
            )
        if not (items["measures_origin"] == "recorded").any():
            found.append("No parcel was measured, so every size is a guess, and so is the postage you didn't record.")
    known = minutes_known(items)
    if known["logged"] == 0 and known["corrected"] == 0:
        found.append(minutes_sentence(items))
    return found


def overrides_sentence(study: Study) -> str:
    """What this run supposes in place of what the books record."""
    held = study.assumptions
    wage = show_cents(held.cents("help.wage"), currency=study.currency)
    said = {
        "suppose.wage_for": f"help at {wage} an hour whatever was paid",
        "suppose.fee_points": f"fees {held.number('suppose.fee_points'):+g} percentage points",
        "suppose.divisor": f"a divisor of {held.whole('suppose.divisor'):,} for every parcel",
        "suppose.minutes": f"{held.number('suppose.minutes'):g} times your own minutes",
        "suppose.prices": f"{held.number('suppose.prices'):g} times the sold prices",
        "suppose.postage": f"{held.number('suppose.postage'):g} times the postage",
        "suppose.goods": f"{held.number('suppose.goods'):g} times the cost of goods",
    }
    found = [said[key] for key in suppositions(held)]
    return f"Supposed in place of the books: {'; '.join(found)}.".replace("-", "−") if found else ""


def run_out_sentence(study: Study) -> str:
    """Which rule tables have ended, so that their last values are assumed."""
    if not study.rules_run_out:
        return ""
    named = " ".join(one.text for one in study.rules_run_out)
    return f"Assumed, because a rule table ran out: {named} flipkit check shows the lines to add."


def past_words(study: Study) -> str:
    """The months that a figure over the window's purchases is about, and that it is no forecast."""
    first, last = (pd.Period(day, "M") for day in study.window())
    months = (last - first).n + 1
    span = {1: "month", 12: "year", 24: "two years"}.get(months, f"{months} months")
    return f"the past {span}, not next month"


def of_category(name: object) -> str:
    """The scope of a figure that is of one category.

    >>> of_category("lamps")
    'category lamps'
    """
    return f"category {name}"


def stock_figures(study: Study, scope: str, unsold: pd.DataFrame) -> list[Figure]:
    """How many things of a category, or of the shop, are in stock, and what they cost."""
    return [
        study.figure("things in stock", scope, len(unsold)),
        study.figure("stock at cost", scope, unsold["cost_cents"].sum()),
    ]


def may_bring_sentence(study: Study) -> Said:
    """What the stock may still bring, what is to be cleared out counted with nothing but its salvage."""
    unsold = study.unsold_items()
    may = round(float(study.prospects.loc[unsold.index, "value_cents"].sum()))
    likely = float(study.prospects.loc[unsold.index, "chance"].sum())
    given = f". The {len(study.given_up):,} to clear out count at their clear-out value" if study.given_up else ""
    return Said(
        f"Over the next {study.horizon.days} days the stock may bring {money(may, currency=study.currency)} after "
        f"fees, postage and packing, before your work, about {likely:,.0f} items selling: what is left sells "
        f"more slowly than new finds{given}.",
        [study.figure("stock may bring", "shop", may)],
    )


def trace_sentence(items: pd.DataFrame) -> str:
    """How much of the money shown is recorded, follows from a rule, or is assumed."""
    mix = origin_mix(items)
    if any(math.isnan(share) for share in mix.values()):
        return "No sale has brought money yet."
    return (
        f"Of the money behind these figures {mix['recorded']:.0%} is recorded in the books, "
        f"{mix['rule']:.0%} follows from a dated rule and {mix['assumed']:.0%} is assumed."
    )


def _whole(study: Study, row: pd.Series) -> str:
    return hourly(float(row["hourly"]), currency=study.currency)


def _interval(study: Study, row: pd.Series) -> str:
    if not row["claimed"]:
        seen = f"{count_of(int(row['items']), 'sale')} from {count_of(int(row['trips']), 'trip')}"
        return (
            f"{too_few_words(row).capitalize()} ({seen})." if row["one_decides"] else f"{TOO_FEW.capitalize()}: {seen}."
        )
    low, high = (money_per_hour(float(row[end]), currency=study.currency) for end in ("low", "high"))
    return f"{study.confidence:.0%} interval {low} to {high}."


def _nothing_sold(study: Study, when: str) -> tuple[str, str]:
    unsold = study.unsold_items()
    ever = study.items["sold_on"].notna().any()
    sentence = f"Nothing sold {when}." if ever else "Nothing sold yet."
    return sentence, _stock_words(study, unsold)


def _stock_words(study: Study, unsold: pd.DataFrame) -> str:
    if unsold.empty:
        return "Nothing is in stock."
    cost = show_cents(int(unsold["cost_cents"].sum()), currency=study.currency)
    held = f"{unsold['days_held'].median():,.0f} days"
    return f"In stock: {count_of(len(unsold), 'item')} that cost {cost}, held {held} at the median."


def size_words(study: Study) -> str:
    """The thresholds of the size classes in force, in the shop's units."""
    # The classes are a yardstick: books older than the table are measured by its first block.
    classes = study.rules.size_classes
    block = classes.at(max(study.as_of, classes.blocks[0].starts))

    def bounds(found: Mapping[str, float], than: str) -> list[str]:
        names = {"longest": "longest side", "second": "second side", "length_plus_girth": "length plus the way around"}
        names |= {"united": "sides together"}
        return [
            f"{names.get(measure, measure.replace('_', ' '))} {than} {_threshold(study, measure, value)}"
            for measure, value in found.items()
        ]

    room = _threshold(study, "volume", block.bulky_space_over)
    small, bulky = " and ".join(bounds(block.small_at_most, "at most")), ", ".join(bounds(block.bulky_over, "over"))
    return (
        f"Small: {small}. Bulky, any of: {bulky}, or volume over {room} where space is billed above the scale weight. "
        "Oversize: what a carrier calls a large package. Medium: the rest."
    )


def _threshold(study: Study, measure: str, value: float) -> str:
    if measure == "volume":
        metric = study.measures.metric
        return f"{value * CM_AN_INCH**3 / 1e3:.0f} liters" if metric else f"{value / 1_728:g} cu ft"
    return study.measures.weight(value) if measure == "weight" else study.measures.side(value, places=0)
