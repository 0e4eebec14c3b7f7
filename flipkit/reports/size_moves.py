"""How the price from which bulky wins moves with the hired wage and with the divisor."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Final

import pandas as pd

from flipkit.analysis.break_even import BreakEven
from flipkit.analysis.sliders import Settings
from flipkit.charts.sliders import DIVISORS
from flipkit.money import show_cents
from flipkit.reports import elements
from flipkit.reports.elements import Element
from flipkit.reports.moved import MovedStudies
from flipkit.reports.sentences import money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Hired wages that are tried, in whole units of the currency, as parts of the one that was paid.
WAGE_PARTS: Final = (0.5, 0.75, 1.5, 2.0)


@dataclass(frozen=True)
class BreakEvenMoves:
    """Break-even prices under other wages and divisors, each found from every item's lines anew.

    Attributes
    ----------
    frame : DataFrame
        One row a setting: ``moved`` ("wage", "divisor" or "" for the books as they are), ``wage`` [dollars
        per hour], ``divisor`` (0 for the one charged), ``price_cents``, ``low_cents``, ``high_cents``
        (infinity where bulky never wins), ``claimed`` and ``verdict``.
    hired_cents : int
        What hired help cost in the sales compared. [cents]
    currency : str
        Code of the shop's currency.
    confidence : float
        How often the intervals are meant to hold the truth.
    """

    frame: pd.DataFrame
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
