"""The first page, this month: what it made, what to do, what to buy, and the way to the other pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any, Final

from flipkit.analysis.decisions import LEAVE, VERDICTS
from flipkit.analysis.returns import TOO_FEW
from flipkit.charts.returns import BARS, plot_category_returns
from flipkit.charts.style import MOST_NAMED, hourly, joined, money
from flipkit.errors import count_of
from flipkit.reports.bulky import Bulky
from flipkit.reports.buy import decision_figures, helps_most, threshold
from flipkit.reports.category import page_names
from flipkit.reports.elements import EMPTY, Element, Said, caution, figures_said, headline, together
from flipkit.reports.money import Money
from flipkit.reports.sentences import day_words, doubts, month_sentence
from flipkit.reports.stock import Stock
from flipkit.reports.study import Study
from flipkit.reports.tables import cautions, words

#: What stands above the kinds to leave that pay at a price.
_LEAVE_UNLESS: Final = "Leave at what you usually pay, unless one will sell for at least"
#: A month's row, low enough that the page keeps to one sheet. [px]
_MONTH_ROW: Final = 24
#: Things to do that the first page shows; the rest are counted and linked.
_SHOWN: Final = 10


@dataclass(frozen=True, eq=False)
class ThisMonth:
    """The first page: the month's result, what to do, what to buy."""

    study: Study
    categories: str = ""

    def answer(self) -> Element:
        """What an hour earned, against the target and against last year, and how sure that is."""
        sentence, note = month_sentence(self.study)
        return headline(sentence, note=note)

    def to_do(self) -> Element:
        """The ten things worth most, each with its dollars, and how many more there are."""
        (lines, more, worth), most = self._lines(), helps_most(self.study)
        if not (lines or most):
            return EMPTY
        rest = f"And {count_of(more, 'more', 'more')}, worth {self._money(worth)}: " if more else "Item by item: "
        way = '<a href="stock.html">Stock and prices</a>'
        html = "".join(f"<li>{escape(line)}</li>" for line in lines) + f"<li>{escape(rest)}{way}</li>"
        text = "\n".join(f"- {line}" for line in [*lines, f"{rest}Stock and prices"])
        shown = Element(f'<ul class="to-do">{html}</ul>', text, figures_said(*lines))
        return together(Element("<h2>What to do</h2>", "What to do"), words(most), shown)

    def verdicts(self) -> Element:
        """Every category by rank: buy, buy only below a price, leave, with its threshold and its page."""
        study = self.study
        parts, lines = [], []
        figures = tuple(figure for one in study.decisions for figure in decision_figures(study, one))
        for verdict in VERDICTS:
            mine = [one for one in study.decisions if one.verdict == verdict]
            if not mine:
                continue
            if verdict == LEAVE:
                for head, bounded in ((_LEAVE_UNLESS, True), (LEAVE.capitalize(), False)):
                    some = [one for one in mine if (one.sells_from_cents is not None) == bounded]
                    if some:
                        ways = [f"{self._way(one.category)}{escape(threshold(study, one))}" for one in some]
                        more = len(ways) - MOST_NAMED
                        rest = f' and {more} more: see <a href="buy.html">Buy</a>' if more > 0 else ""
                        parts.append(f"<h3>{head}</h3><p>{', '.join(ways[:MOST_NAMED])}{rest}.</p>")
                        lines += [head, *(f"  {one.category}{threshold(study, one)}" for one in some)]
                cheap = [
                    f"{one.category} ({joined([size for size, _ in one.cheap_sizes])})"
                    for one in mine
                    if one.cheap_sizes
                ]
                if cheap:
                    can_pay = f"Some sizes pay if they are cheap: {joined(cheap)}. See"
                    parts.append(f'<p class="note">{escape(can_pay)} <a href="buy.html">Buy</a>.</p>')
                    lines.append(f"{can_pay} Buy.")
                continue
            items = [f"<li>{self._way(one.category)}{escape(threshold(study, one))}</li>" for one in mine]
            parts.append(f"<h3>{escape(verdict.capitalize())}</h3><ul>{''.join(items)}</ul>")
            lines += [verdict.capitalize(), *(f"  {one.category}{threshold(study, one)}" for one in mine)]
        if not parts:
            return EMPTY
        html = f'<h2>Buy or leave</h2><div class="verdicts">{"".join(parts)}</div>'
        told = Element(html, "\n".join(["Buy or leave", *lines]), figures)
        return together(told, *(caution(doubt, title="Doubtful") for doubt in doubts(study)))

    def picture(self) -> Any:
        """What an hour of each of the last thirteen months earned, and how sure that is."""
        study, frame = self.study, self.study.month_results
        if not frame["items"].any():
            return plot_category_returns(frame.iloc[:0], study.target, group="month", currency=study.currency)
        chart = plot_category_returns(
            frame, study.target, group="month", counted="items", confidence=study.confidence, currency=study.currency
        )
        target = hourly(study.target, currency=study.currency)
        told, months = frame[frame["verdict"] != TOO_FEW], f"the last {count_of(len(frame), 'month')}"
        reached, sure = (told["hourly"] >= study.target).sum(), (told["verdict"] == "above the target").sum()
        of = f"of {months}" if len(told) == len(frame) else "of them"
        title = f"{reached} {of} reached {target} an hour"
        title += f", {sure or 'none'} almost surely" if sure < reached else ""
        if told.empty:
            title = f"Too few sales in any of {months} to tell what an hour earned"
        elif len(told) < len(frame):
            title = f"{len(told)} of {months} can be told: {title}"
        subtitle = f"Sales and write-offs of each month. {BARS} Your books."
        return chart.properties(title={"text": title, "subtitle": subtitle}, height=_MONTH_ROW * len(frame))

    def bulky(self) -> Element:
        """Bulky or small in one line, how long half of everything takes to sell, and whose the month is."""
        half, shares = Stock(self.study).half_sold(), Money(self.study).shares_said()
        said = words(Said(f"{half} {shares}".strip(), figures_said(half)))
        return together(Bulky(self.study).in_one_line(), said)

    def known(self) -> Element:
        """Whose books these are, and up to which day they are known."""
        return words(f"{self.study.books.shop.name}. The books as they stood on {day_words(self.study.as_of)}.")

    def cautions(self) -> Element:
        """What to beware of."""
        few = caution("Figures from few sales are estimates, and nothing here is tax advice.", title="Estimates")
        return together(cautions(self.study.items), few)

    def _way(self, category: str) -> str:
        """A category's name, a link where it has a page."""
        chosen = [name.strip() for name in self.categories.split(";") if name.strip()]
        if chosen and category not in chosen:
            return escape(category)
        return f'<a href="{page_names(self.study.categories)[category]}.html">{escape(category)}</a>'

    def _lines(self) -> tuple[list[str], int, float]:
        """What to do, worth most first; how much more there is, and what that is worth. [cents]"""
        study = self.study
        found: list[tuple[float, str]] = []
        stock = Stock(study)
        now, soon = stock.now(), stock.soon()
        rows = [*now.to_dict("records"), *soon[soon["markdown_on"].notna()].to_dict("records")]
        found += [(row["worth_cents"], self._item(stock, row)) for row in rows if row["action"] != "give up"]
        gone = now[now["action"] == "give up"]
        if len(gone):
            line, saves = stock.clear_out(gone)
            more = soon["markdown_on"].isna().sum()
            line += f" {count_of(more, 'more follows', 'more follow')} within four weeks." if more else ""
            found.append((saves, line))
        found.sort(key=lambda pair: -pair[0])
        rest = found[_SHOWN:]
        return [line for _, line in found[:_SHOWN]], len(rest), sum(cents for cents, _ in rest)

    def _item(self, stock: Stock, row: Mapping[Any, Any]) -> str:
        """One thing to do with one item, with its dollars."""
        do = stock.action(dict(row))
        least = f"; take an offer of {stock.least(dict(row))} or more" if row["action"] in ("list", "lower") else ""
        left = f"It may not sell: on average {stock.worth(dict(row))} is left after costs and your work."
        return f"{row['title'] or row['item_id']}: {do}{least}. {left}"

    def _money(self, cents: float) -> str:
        return money(float(cents), currency=self.study.currency)
