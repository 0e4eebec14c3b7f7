"""Bulky against small in words and tables."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from flipkit.analysis.returns import TOO_FEW, in_window, side_by_side
from flipkit.analysis.sizes import SIZE_ORDER, BreakEven
from flipkit.analysis.sliders import Settings
from flipkit.charts.sliders import DIVISORS
from flipkit.money import show_cents
from flipkit.reports import elements
from flipkit.reports.elements import Element, table
from flipkit.reports.panel import MovedStudies
from flipkit.reports.sentences import count_of, money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import bases_columns, bases_formats, bases_headings, words
from flipkit.units import CM_AN_INCH

# Bulky against small in words and tables: what an hour on each size earns, and what each takes.

_PAIR = ("small", "bulky")


def size_sentence(study: Study) -> tuple[str, str]:
    """Bulky against small over the window, on both bases, by the interval of their difference.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence, on bought basis where both sizes were bought; the note below it with the difference, its
        interval, and the other basis.
    """
    said = [_compared(study, basis, frame) for basis, frame in _bases(study) if _has_both(frame)]
    if not said:
        missing = [size for size in _PAIR if size not in set(study.size_returns.get("size_class", []))]
        gone = " and nothing ".join(missing or _PAIR)
        return f"Nothing {gone} sold in these months, so there is nothing to compare.", ""
    (sentence, difference), *others = said
    note = [difference, *(f"{other} {more}" for other, more in others), _unmeasured(study)]
    note.append("Dear things are more often bulky, so the bands of equal price below are the fairer comparison.")
    return sentence, " ".join(part for part in note if part)


def sizes_table(study: Study) -> Element:
    """What an hour on each size earns, both bases side by side.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    frame = side_by_side(study.size_returns, study.size_bought, by="size_class")
    frame = frame.iloc[frame["size_class"].map({size: at for at, size in enumerate(SIZE_ORDER)}).argsort()]
    return table(
        bases_columns(study, frame),
        caption="What an hour on each size earns, bought and sold basis",
        headings={"size_class": "Size", **bases_headings(study)},
        note=size_words(study),
        formats=bases_formats(study),
        currency=study.currency,
    )


def size_facts_table(study: Study) -> Element:
    """What each size brings and takes: a sale's net, label, minutes, losses, the days and the room.

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
        "size_class": "Size",
        "sold": "Sales",
        "net_per_sale_cents": "Net per sale",
        "label_per_sale_cents": "Label per sale",
        "minutes_per_sale": "Minutes per sale",
        "returned_share": "Refunded",
        "loss_per_sale_cents": "Lost per sale",
        "days_to_sale": "Days to sale, median",
        "stock_items": "In stock",
        "stock_cost_cents": "Capital tied up",
        "stock_cubic_ft": f"{study.measures.rooms_words.capitalize()} of stock",
        "cubic_ft": f"{study.measures.rooms_words.capitalize()} a parcel",
    }
    frame = study.size_returns if len(study.size_returns) else pd.DataFrame(columns=list(headings))
    money = [name for name in headings if name.endswith("_cents")]
    formats = dict.fromkeys(money, lambda cents: show_cents(round(cents), currency=study.currency)) | {
        "returned_share": lambda share: f"{share:.1%}",
        "minutes_per_sale": lambda minutes: f"{minutes:,.0f}",
        "days_to_sale": lambda days: f"{days:,.0f}",
        "stock_cubic_ft": study.measures.room_number,
        "cubic_ft": lambda feet: study.measures.room_number(feet, places=1),
    }
    return table(
        frame,
        caption="What each size takes and brings; lost to damage, refunds and later carrier charges",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def size_words(study: Study) -> str:
    """The thresholds of the size classes in force, in the shop's units."""
    # The classes are a yardstick: books older than the table are measured by its first block.
    classes = study.rules.size_classes
    block = classes.at(max(study.as_of, classes.blocks[0].starts))

    def bounds(found: Mapping[str, float], than: str) -> list[str]:
        names = {"longest": "longest side", "second": "second side", "length_plus_girth": "length plus girth"}
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


def _bases(study: Study) -> tuple[tuple[str, pd.DataFrame], ...]:
    return ("bought", study.size_bought), ("sold", study.size_returns)


def _has_both(frame: pd.DataFrame) -> bool:
    return len(frame) > 0 and set(_PAIR) <= set(frame["size_class"])


def _compared(study: Study, basis: str, frame: pd.DataFrame) -> tuple[str, str]:
    """What an hour on either size earns, and how sure the difference is."""
    hourly = frame.set_index("size_class")["hourly"]
    small, bulky = (_dollars(study, float(hourly[size])) for size in _PAIR)
    gap = study.size_gaps[basis]
    # Two overlapping intervals show nothing: only the interval of the difference decides.
    verdict = gap.verdict if gap.claimed else f"the difference is {TOO_FEW}"
    sentence = f"On the {basis} basis an hour of work on small things earns {small}, on bulky ones {bulky}: {verdict}."
    if not gap.claimed:
        return sentence, ""
    low, high = _dollars(study, gap.low), _dollars(study, gap.high)
    return sentence, f"Bulky less small: {_dollars(study, gap.gap)} ({study.confidence:.0%} interval {low} to {high})."


def _unmeasured(study: Study) -> str:
    """How many of the things bought have their size from others of their category."""
    bought = in_window(study.items, window=study.window(), basis="bought")
    guessed = int((bought["measures_origin"] != "recorded").sum())
    if not guessed:
        return ""
    told = f"{guessed:,} of {count_of(len(bought), 'thing')} bought"
    return f"{told} lack measures and count by their category's usual parcel."


def _dollars(study: Study, dollars: float) -> str:
    return money_per_hour(float(dollars), currency=study.currency)


# How the price from which bulky wins moves with the hired wage and with the divisor.

#: Hired wages that are tried, in whole units of the currency, as parts of the one that was paid.
WAGE_PARTS: Final = (0.5, 0.75, 1.5, 2.0)


@dataclass(frozen=True)
class BreakEvenMoves:
    """Break-even prices under other wages and divisors, each found from every item's lines anew."""

    frame: pd.DataFrame  # [dollars per hour]
    hired_cents: int
    currency: str
    confidence: float

    def sentence(self) -> str:
        """How far the price moves with each of the two."""
        now = self.frame[self.frame["moved"] == ""].iloc[0]
        if not now["claimed"]:
            return f"How the price at which bulky wins moves with a wage and a divisor: {now['verdict']}."
        parts = [self._wages(now), self._divisors(now)]
        return " ".join(part for part in parts if part)

    def table(self) -> Element:
        """Every setting with its price and interval."""
        if not self.frame["claimed"].any():
            return words("Too few sales to say how that price moves.")
        frame = pd.DataFrame(
            {
                "setting": [self.named(row) for row in self.frame.to_dict("records")],
                "price": [self._shown(value) for value in self.frame["price_cents"]],
                "interval": [
                    f"{self._shown(low)} to {self._shown(high)}"
                    for low, high in zip(self.frame["low_cents"], self.frame["high_cents"], strict=True)
                ],
            }
        )
        headings = {"setting": "Supposed", "price": "Bulky wins from", "interval": f"{self.confidence:.0%} interval"}
        return elements.table(frame, caption="The break-even price with one thing moved", headings=headings, fold=True)

    def named(self, row: dict[str, object] | dict[object, object]) -> str:
        """What a row supposes, in words."""
        if row["moved"] == "wage":
            return f"hired wage {money_per_hour(float(str(row['wage'])), currency=self.currency)}"
        return f"divisor {row['divisor']}" if row["moved"] == "divisor" else "as the books have it"

    def _wages(self, now: pd.Series[object]) -> str:
        if not self.hired_cents:
            return "No hired help went into these sales, so its wage moves nothing."
        rows = self.frame[self.frame["moved"] == "wage"]
        low, high = rows.iloc[0], rows.iloc[-1]
        return (
            f"With help at {self._wage(low)} an hour instead of {self._wage(now)} bulky would win "
            f"{self._from(low['price_cents'])}, at {self._wage(high)} {self._from(high['price_cents'])}."
        )

    def _divisors(self, now: pd.Series[object]) -> str:
        rows = self.frame[self.frame["moved"] == "divisor"]
        if rows.empty:
            return ""
        if (rows["price_cents"] == now["price_cents"]).all():
            return "Another divisor moves it nowhere: no rate card prices these parcels by their space."
        said = [f"of {row['divisor']} {self._from(row['price_cents'])}" for row in rows.to_dict("records")]
        return f"With every parcel at a divisor {', '.join(said)}."

    def _wage(self, row: pd.Series[object]) -> str:
        return money_per_hour(float(str(row["wage"])), currency=self.currency)

    def _from(self, cents: object) -> str:
        shown = self._shown(cents)
        return f"from {shown} on" if math.isfinite(float(str(cents))) else f"at {shown}"

    def _shown(self, cents: object) -> str:
        value = float(str(cents))
        if math.isnan(value):
            return "–"
        return "no price" if math.isinf(value) else show_cents(round(value / 100) * 100, currency=self.currency)[:-3]


def break_even_moves(study: Study) -> BreakEvenMoves:
    """The break-even price between bulky and small with the hired wage moved, and with the divisor moved.

    Every setting is the whole model anew: what the help of each sale cost at that wage, what each
    label cost at that divisor, and the price at which the two returns meet, with its interval.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    BreakEvenMoves
        The prices, and how to show them.
    """
    sold = study.sold_items()
    compared = sold[sold["size_class"].isin(["small", "bulky", "oversize"])]
    studies = MovedStudies(study)
    start = studies.start
    settings = [("", start)]
    if study.break_even.claimed:
        settings += [
            ("wage", dataclasses.replace(start, wage=float(max(round(start.wage * part), 1)))) for part in WAGE_PARTS
        ]
        settings += [("divisor", dataclasses.replace(start, divisor=divisor)) for divisor in DIVISORS]
    rows = [_row(moved, at, studies.under(at).break_even) for moved, at in settings]
    return BreakEvenMoves(pd.DataFrame(rows), int(compared["hired_cents"].sum()), study.currency, study.confidence)


def _row(moved: str, settings: Settings, even: BreakEven) -> dict[str, object]:
    return {
        "moved": moved,
        "wage": settings.wage,
        "divisor": settings.divisor,
        # Where bulky never wins there is no price, and that is a result and not a gap.
        "price_cents": math.inf if even.claimed and math.isnan(even.price_cents) else even.price_cents,
        "low_cents": even.low_cents,
        "high_cents": even.high_cents,
        "claimed": even.claimed,
        "verdict": even.verdict,
    }
