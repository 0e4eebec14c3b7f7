"""Bulky or small: what an hour on each size earned at the same price, and from which price bulky wins."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import pandas as pd

from flipkit.analysis.returns import TOO_FEW, in_window, side_by_side, too_few_words
from flipkit.analysis.sizes import SIZE_ORDER, BreakEven
from flipkit.analysis.what_if import DIVISORS, Settings
from flipkit.charts.returns import (
    BARS,
    plot_break_even_moves,
    plot_minutes,
    plot_price_bands,
    plot_size_comparison,
)
from flipkit.charts.style import hourly, joined, money
from flipkit.errors import count_of
from flipkit.money import show_cents
from flipkit.reports.elements import (
    EMPTY,
    NOTHING,
    Element,
    Figure,
    Said,
    activity_minutes,
    headline,
    table,
    to_do,
)
from flipkit.reports.sentences import day_words, money_per_hour, size_words, span_name
from flipkit.reports.sliders import Moves
from flipkit.reports.study import Study
from flipkit.reports.tables import bases_columns, bases_formats, bases_headings, lifting

_PAIR = ("small", "bulky")
#: From which shares of its parcels on a category is usually, and is often, bulky.
_USUALLY, _OFTEN = 0.8, 0.3
#: Categories that a sentence names at most.
_MOST_NAMED = 6


@dataclass(frozen=True, eq=False)
class Bulky:
    """The page on sizes: equal prices first, then what each size takes."""

    study: Study

    def answer(self) -> Element:
        """Which size earned more at the same price, and over all that was bought."""
        said = [self._at_equal_prices(), self.verdict()]
        if not any(said):
            missing = [size for size in _PAIR if size not in set(self.study.size_returns.get("size_class", []))]
            gone = " and nothing ".join(missing or _PAIR)
            return headline(f"Nothing {gone} sold in these months, so there is nothing to compare.")
        note = [self._gap(), self._unmeasured(), f"{span_name(self.study)}."]
        return headline(Said(" ".join(filter(None, said)), self._figures()), note=" ".join(filter(None, note)))

    def to_do(self) -> Element:
        """From which price on a bulky item is worth its hours, and which items are bulky."""
        usual, often = (self._bulky_kinds(low, high) for low, high in ((_USUALLY, 1.01), (_OFTEN, _USUALLY)))
        kinds = [
            f"{said} bulky once packed: {joined(names)}."
            for said, names in (("Nearly always", usual), ("Often", often))
            if names
        ]
        look = "Look at the size before you buy: Buy says what to pay for each kind and size."
        return to_do([f"{look} {' '.join(kinds)}"] if kinds else [])

    def in_one_line(self) -> Element:
        """The whole answer in one line, with the way to its page."""
        said = self.verdict() or self._at_equal_prices()
        if not said:
            return EMPTY
        way = '<a href="bulky.html">Bulky or small</a>'
        return Element(
            f"<p>{way}: {escape(said[:1].lower() + said[1:])}</p>", f"Bulky or small: {said}", self._figures()
        )

    def verdict(self) -> str:
        """Whether bulky items pay, over everything bought, or sold where nothing else is known."""
        basis = "bought" if self._both("bought") else "sold"
        if not self._both(basis):
            return ""
        gap = self.study.size_gaps[basis]
        frame = self.study.size_bought if basis == "bought" else self.study.size_returns
        row = frame.set_index("size_class").loc["bulky"]
        lead, tail = "Whether bulky items pay is too close to call", ""
        if not row["claimed"]:
            lead = f"{TOO_FEW.capitalize()} whether bulky items pay"
        elif row["high"] < self.study.target:
            lead, tail = (
                "Bulky items don't pay at what you usually pay for them",
                " Buy says below which price some do.",
            )
        elif row["low"] >= self.study.target:
            lead = "Bulky items pay"
        counted = "counting unsold items" if basis == "bought" else "counting sold items only"
        small, bulky = (hourly(value, currency=self.study.currency) for value in (gap.hourly_second, gap.hourly_first))
        return f"{lead}: {counted}, an hour earned {bulky} on bulky items and {small} on small ones.{tail}"

    def break_even(self) -> str:
        """From which sold price on a bulky item beats the average small one."""
        found = self.study.break_even
        if not found.claimed or math.isnan(found.price_cents):
            return f"We can't say from which price on bulky items pay better: {found.verdict}."
        if math.isinf(found.price_cents):
            return "At no price do bulky items pay better than small ones."
        low, high = (_price(self.study.currency, cents) for cents in (found.low_cents, found.high_cents))
        inside = found.seen_from_cents <= found.price_cents <= found.seen_to_cents
        beyond = "" if inside else " No bulky item sold at such a price, so this is a guess."
        return (
            "Counting sold items only, a bulky item had to sell for about "
            f"{_price(self.study.currency, found.price_cents)} (probably between {low} and {high}): from there on it "
            f"beats the average small item.{beyond} That leaves out what never sold, so decide by Buy: it says what to "
            "pay for each kind and size."
        )

    def picture(self) -> Any:
        """What an hour on each size earned at each price."""
        study = self.study
        # The last row of the table under it, which the answer names, is drawn as a band of its own.
        bands = pd.concat([study.bought_bands, study.size_bought.assign(from_cents=0, below_cents=math.nan)])
        told = bands["size_class"].isin(bands.loc[bands["claimed"].astype(bool), "size_class"])
        chart = plot_price_bands(
            bands[told] if told.any() else bands,
            study.target,
            counted="bought",
            confidence=study.confidence,
            currency=study.currency,
        )
        title = self._at_equal_prices() or "What an hour of each size earned at each price"
        subtitle = f"Everything bought, {span_name(study)}, by what such items sell for. {BARS}"
        if bands.empty:
            return chart
        return chart.properties(title={"text": title.rstrip("."), "subtitle": subtitle})

    def by_price(self) -> Element:
        """An hour on each size at each price, over what was bought, unsold items too; the last row is all of it."""
        caption = "What an hour earned, unsold items counted, and where it probably lies"
        return self._by_price(self.study.bought_bands, self.study.size_bought, "Such items sell for", caption)

    def by_sold_price(self) -> Element:
        """The same over the sales alone, by the price that each brought."""
        caption = "The same for sold items only, by the price that each brought"
        return self._by_price(self.study.price_bands, self.study.size_returns, "It sold for", caption)

    def _by_price(self, bands: pd.DataFrame, whole: pd.DataFrame, price: str, caption: str) -> Element:
        if bands.empty:
            return EMPTY
        shown: dict[str, dict[str, str]] = {}
        for row in bands.to_dict("records"):
            shown.setdefault(_band(self.study, row), {})[str(row["size_class"])] = self._cell(row)
        for row in whole.to_dict("records"):
            shown.setdefault("any price", {})[str(row["size_class"])] = self._cell(row)
        frame = (
            pd.DataFrame.from_dict(shown, orient="index").reindex(columns=list(SIZE_ORDER)).dropna(axis=1, how="all")
        )
        frame = frame.loc[:, [(frame[size].dropna() != TOO_FEW).any() for size in frame]]
        if frame.columns.empty:
            return EMPTY
        headings = {"price": price, **{size: size.capitalize() for size in frame}}
        frame = frame.fillna(NOTHING).rename_axis("price").reset_index()
        return table(frame, caption=caption, headings=headings)

    def both_counts(self) -> Element:
        """What an hour on each size earns, counted over what was bought and over what sold."""
        study = self.study
        frame = side_by_side(study.size_returns, study.size_bought, by="size_class")
        frame = frame.iloc[frame["size_class"].map({size: at for at, size in enumerate(SIZE_ORDER)}).argsort()]
        return table(
            bases_columns(study, frame),
            caption="What an hour on each size earns",
            headings={"size_class": "Size", **bases_headings(study)},
            note=f"{size_words(study)} Sold of bought: sold by {day_words(study.as_of)}, the last day in the books.",
            formats=bases_formats(study),
            currency=study.currency,
        )

    def facts(self) -> Element:
        """What each size brings and takes: a sale's net, label, minutes, losses, the days and the room."""
        study = self.study
        headings = {
            "size_class": "Size",
            "sold": "Sales",
            "net_per_sale_cents": "Net per sale",
            "label_per_sale_cents": "Postage per sale",
            "minutes_per_sale": "Minutes per sale",
            "returned_share": "Refunded",
            "loss_per_sale_cents": "Lost per sale",
            "days_to_sale": "Days until half have sold",
            "stock_items": "In stock",
            "stock_cost_cents": "Money tied up, at cost",
            "stock_cubic_ft": f"{study.measures.rooms_words.capitalize()} of stock",
            "cubic_ft": f"{study.measures.rooms_words.capitalize()} a parcel",
        }
        frame = study.size_returns if len(study.size_returns) else pd.DataFrame(columns=list(headings))
        amounts = [name for name in headings if name.endswith("_cents")]
        formats = dict.fromkeys(amounts, lambda cents: show_cents(round(cents), currency=study.currency)) | {
            "returned_share": lambda share: f"{share:.1%}",
            "minutes_per_sale": lambda minutes: f"{minutes:,.0f}",
            "days_to_sale": lambda days: f"{days:,.0f}",
            "stock_cubic_ft": study.measures.room_number,
            "cubic_ft": lambda feet: study.measures.room_number(feet, places=1),
        }
        caption = f"Sales of {span_name(study)}. Lost per sale: damage, refunds and later carrier charges"
        return table(
            frame,
            caption=caption,
            headings=headings,
            note=self._unsold_sizes(),
            formats=formats,
            currency=study.currency,
        )

    def _unsold_sizes(self) -> str:
        """What is in stock of sizes that no row stands for, because none of them sold."""
        study, unsold = self.study, self.study.unsold_items()
        rest = unsold[~unsold["size_class"].isin(study.size_returns.get("size_class", []))]
        if rest.empty:
            return ""
        cost = money(int(rest["cost_cents"].sum()), currency=study.currency)
        sizes = joined(sorted(set(rest["size_class"])))
        return f"Not in this table: {count_of(len(rest), 'item')} in stock, {sizes}, that cost {cost}: none has sold."

    def facts_picture(self) -> Any:
        """The same, one small panel a measure."""
        study = self.study
        return plot_size_comparison(
            study.size_returns,
            confidence=study.confidence,
            currency=study.currency,
            measures=study.measures,
            source=f"Your books, {span_name(study)}",
        )

    @functools.cached_property
    def moves(self) -> BreakEvenMoves:
        """How the price from which bulky wins moves."""
        return break_even_moves(self.study)

    def moves_picture(self) -> Any:
        """That price under one supposition after another."""
        return plot_break_even_moves(
            self.moves.frame,
            confidence=self.study.confidence,
            currency=self.study.currency,
            source=f"Your books, {span_name(self.study)}",
        )

    def minutes_picture(self) -> Any:
        """Where the minutes of each size go."""
        return plot_minutes(
            activity_minutes(self.study.sold_items(), by="size_class"),
            group="size_class",
            source=f"Your books, {span_name(self.study)}",
        )

    def cautions(self) -> Element:
        """What to beware of with bulky items."""
        return lifting(self.study.items)

    def _at_equal_prices(self) -> str:
        """Which of the two earned more in each band of like prices, unsold items counted."""
        rows = {(row["band"], row["size_class"]): row for row in self.study.bought_bands.to_dict("records")}
        pairs = [
            (rows[band, "small"], rows[band, "bulky"])
            for band in sorted({band for band, _ in rows})
            if all((band, size) in rows and rows[band, size]["claimed"] for size in _PAIR)
        ]
        won = [small["hourly"] > bulky["hourly"] for small, bulky in pairs]
        if not pairs:
            return ""
        if all(won):
            return "At the same price, an hour on small items earned more than one on bulky items."
        if not any(won):
            return "At the same price, an hour on bulky items earned more than one on small items."
        bulky = joined([_band(self.study, row) for (_, row), small in zip(pairs, won, strict=True) if not small])
        return f"At the same price, an hour on bulky items earned more at {bulky}, and on small items elsewhere."

    def _figures(self) -> tuple[Figure, ...]:
        if not self._both("bought"):
            return ()
        gap = self.study.size_gaps["bought"]
        pairs = (("bulky", gap.hourly_first), ("small", gap.hourly_second))
        return tuple(self.study.figure(f"an hour, {size}", "shop", 100 * value) for size, value in pairs)

    def _gap(self) -> str:
        """How sure the difference is: two overlapping intervals show nothing, only its own interval decides."""
        basis = "bought" if self._both("bought") else "sold"
        if not self._both(basis):
            return ""
        gap = self.study.size_gaps[basis]
        if not gap.claimed:
            return f"How large the difference is: {TOO_FEW}."
        if gap.low < 0 < gap.high:
            return "The difference is too close to call."
        low, high = sorted((abs(gap.low), abs(gap.high)))
        low_text, high_text = (hourly(value, currency=self.study.currency) for value in (low, high))
        return f"The difference is probably between {low_text} and {high_text} an hour."

    def _both(self, basis: str) -> bool:
        frame = self.study.size_bought if basis == "bought" else self.study.size_returns
        return len(frame) > 0 and set(_PAIR) <= set(frame["size_class"])

    def _cell(self, row: Mapping[Any, Any]) -> str:
        if not row["claimed"]:
            return too_few_words(row)
        value, low, high = (hourly(float(row[end]), currency=self.study.currency) for end in ("hourly", "low", "high"))
        return f"{value} ({low} to {high})"

    def _bulky_kinds(self, low: float, high: float) -> list[str]:
        """Categories of whose items such a share is bulky or larger once packed."""
        bought = in_window(self.study.items, window=self.study.window(), basis="bought")
        share = bought["size_class"].isin(["bulky", "oversize"]).groupby(bought["category"]).mean()
        found = share[(share >= low) & (share < high)].sort_values(ascending=False, kind="stable")
        return [str(name) for name in found.index[:_MOST_NAMED]]

    def _unmeasured(self) -> str:
        """How many of the items bought have their size from others of their category."""
        bought = in_window(self.study.items, window=self.study.window(), basis="bought")
        guessed = int((bought["measures_origin"] != "recorded").sum())
        if not guessed:
            return ""
        told = f"{guessed:,} of {count_of(len(bought), 'item')} bought"
        return f"{told} have no measures in the books and count by their category's usual parcel."


def _band(study: Study, row: Mapping[Any, Any]) -> str:
    """A band of like prices in words."""
    low = money(float(row["from_cents"]), currency=study.currency)
    if pd.isna(row["below_cents"]):
        return f"{low} and over"
    high = money(float(row["below_cents"]), currency=study.currency)
    return f"{low} to {high}" if row["from_cents"] else f"under {high}"


def _price(currency: str, cents: float) -> str:
    return "no price" if math.isinf(cents) else money(cents, currency=currency)


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
            return f"We can't say how the price from which bulky wins moves: {now['verdict']}."
        parts = [self._wages(now), self._divisors(now)]
        return " ".join(part for part in parts if part)

    def _wages(self, now: pd.Series[object]) -> str:
        if not self.hired_cents:
            return "No hired help went into these sales, so its wage changes nothing."
        rows = self.frame[self.frame["moved"] == "wage"]
        low, high = rows.iloc[0], rows.iloc[-1]
        return (
            f"If you paid help {self._wage(low)} an hour instead of {self._wage(now)}, bulky would pay more "
            f"{self._from(low['price_cents'])}; at {self._wage(high)}, {self._from(high['price_cents'])}."
        )

    def _divisors(self, now: pd.Series[object]) -> str:
        rows = self.frame[self.frame["moved"] == "divisor"]
        if rows.empty:
            return ""
        if (rows["price_cents"] == now["price_cents"]).all():
            return "Another divisor changes nothing: no rate card prices these parcels by their space."
        said = [f"{row['divisor']}: {self._from(row['price_cents'])}" for row in rows.to_dict("records")]
        return f"With every parcel billed at one divisor, bulky would pay more as follows. {'; '.join(said)}."

    def _wage(self, row: pd.Series[object]) -> str:
        return money_per_hour(float(str(row["wage"])), currency=self.currency).removesuffix(".00")

    def _from(self, cents: object) -> str:
        shown = self._shown(cents)
        return f"from {shown}" if math.isfinite(float(str(cents))) else f"at {shown}"

    def _shown(self, cents: object) -> str:
        value = float(str(cents))
        if math.isnan(value):
            return "–"
        return "no price" if math.isinf(value) else show_cents(round(value / 100) * 100, currency=self.currency)[:-3]


def break_even_moves(study: Study) -> BreakEvenMoves:
    """The break-even price between bulky and small with the hired wage moved, and with the divisor moved.

    Every setting is the whole model anew: what the help of each sale cost at that wage, what each
    label cost at that divisor, and the price at which the two returns meet, with its interval.
    """
    sold = study.sold_items()
    compared = sold[sold["size_class"].isin(["small", "bulky", "oversize"])]
    studies = Moves(study)
    start = studies.supposed
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
