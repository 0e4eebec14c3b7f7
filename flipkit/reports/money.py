"""Money: what the month and the year earned, whose it is, and the year for a tax preparer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.results import (
    BOOK_LINES,
    RESULT,
    WRITTEN_OFF,
    driven_cents,
    people_worked,
    rows_within,
    span_money,
    within,
)
from flipkit.analysis.returns import Window, in_window
from flipkit.analysis.stock import goods_flow
from flipkit.books.read import books_as_of
from flipkit.charts.returns import plot_waterfall
from flipkit.charts.style import joined, money
from flipkit.economics.items import MONEY_LINES
from flipkit.errors import count_of
from flipkit.money import PPM, share_out
from flipkit.reports.elements import EMPTY, Element, Said, caution, headline, line_sums, table, to_do
from flipkit.reports.sentences import day_words, month_name, year_name
from flipkit.reports.study import Study, currency_unit
from flipkit.reports.tables import months_table, seen_words, words

#: Lines of the usual form for a business of one owner, part on the cost of goods, by number.
GOODS_LINES = {
    "35": "stock at the beginning of the year",
    "36": "purchases, less what you kept for yourself",
    "37": "cost of labor",
    "38": "materials and supplies that are part of the goods",
    "39": "other costs",
    "40": "together",
    "41": "stock at the end",
    "42": "cost of goods sold",
}
#: Lines that the summary of a year says in words of its own, or that are no money of the year.
_SAID_APART = {
    *("sold_price", "shipping_charged", "refund", "refunded_fee", "listing_fee", "materials", "hired", "trip"),
    *("overhead", "cost", "expected_loss"),
}
#: All others follow the day of the sale.
_SALE_LINES = {line.name: line.year or line.label for line in MONEY_LINES if line.name not in _SAID_APART}


@dataclass(frozen=True)
class Money:
    """The page on money: one bottom line a month and a year, and whose it is."""

    study: Study

    def answer(self) -> Element:
        """What the month brought, and what is whose."""
        study, month = self.study, month_name(self.study.month)
        steps = study.bridges["month"].set_index("step")["amount_cents"]
        settled = study.month_items()
        sold = int(settled["sold_on"].notna().sum())
        brought = f"{month} brought {self._dollars(study.result_cents('month'))}"
        if WRITTEN_OFF in steps:
            off = f"{self._dollars(-int(steps[WRITTEN_OFF]))} for {count_of(len(settled) - sold, 'item')}"
            brought += f" from {count_of(sold, 'sale')}, after {off} you wrote off."
        else:
            brought += f", from {count_of(sold, 'sale')}." if sold else ": nothing sold."
        scopes = {"month": month, "year": year_name(study)}
        figures = [study.figure(RESULT, scope, study.result_cents(span)) for span, scope in scopes.items()]
        figures.append(study.figure("stock at cost", "shop", self._stock()))
        return headline(Said(brought, figures), note=" ".join([self._year(), *self._shares_note()]))

    def to_do(self) -> Element:
        """What of a share may be paid out: what is left once the next goods are paid."""
        goods, months = self.goods(), self.study.year_so_far()[1].month
        if self._owners().empty or goods["purchases"] <= 0:
            return EMPTY
        each = self._dollars((goods["purchases"] - goods["kept"]) / months)
        return to_do(
            [
                f"Pay out shares only from cash that is left after you keep back about {each} for the next month's "
                "goods. You spent that a month this year, on average, on goods to sell; it is less if you buy only "
                "what Buy says."
            ]
        )

    def picture(self) -> Any:
        """Where the month's money went."""
        items, month = self.study.month_items(), month_name(self.study.month)
        lines = line_sums(items)
        paid = self._dollars(int((items["sold_price_cents"] + items["shipping_charged_cents"]).sum()))
        left = self._dollars(int(items["net_cents"].sum()))
        dearest = lines.iloc[:-1].sort_values("amount_cents")["line"].iloc[0]
        title = f"Of the {paid} that buyers paid, {left} was left: the largest part went to {dearest}"
        chart = plot_waterfall(lines, currency=self.study.currency, nothing=f"No money moved in {month}.")
        return chart.properties(
            title={"text": title, "subtitle": f"{month}: what sold or was written off. Your books."}
        )

    def shares(self) -> Element:
        """Each owner's share of the result, and what hired help was paid."""
        study = self.study
        people = self._worked(study.year_so_far())
        if people.empty:
            return words("The books name nobody and log no work.")
        owners = (people["role"] == "owner").to_numpy()
        # As ``share_out`` takes them: where nobody has a share, all have the same.
        given = people["share"][owners] if people["share"][owners].any() else np.full(owners.sum(), PPM // owners.sum())
        shares = pd.Series("wages", index=people.index)
        shares[owners] = [f"{share / PPM:.0%}" for share in given]
        columns: dict[str, Any] = {"who": [_named(worker) for worker in people.index], "share": shares.to_numpy()}
        hired: dict[str, float] = {}
        for name, window in (("month", study.month_so_far()), ("year", study.year_so_far())):
            logged = self._worked(window)[["minutes", "paid_cents"]].reindex(people.index).fillna(0)
            hired[name] = float(logged["minutes"][~owners].sum()) / 60
            due = logged["paid_cents"].to_numpy(dtype=np.int64, copy=True)
            if owners.any():
                due[owners] = share_out(study.result_cents(name), given)
            columns |= {f"{name}_hours": logged["minutes"].to_numpy() / 60, f"{name}_cents": due}
        headings = {
            "who": "Who",
            "share": "Share",
            "month_cents": month_name(study.month),
            "year_cents": year_name(study),
            "month_hours": "Hours logged",
        }
        return table(
            pd.DataFrame(columns),
            caption="Shares of the result; wages with payroll taxes",
            headings=headings,
            note=self._dearer_help(hired),
            formats={"month_hours": lambda hours: f"{hours:,.1f}"},
            currency=study.currency,
        )

    def _dearer_help(self, hours: Mapping[str, float]) -> str:
        """What a dearer hour of help would have cost."""
        if not hours["year"]:
            return ""
        more = 100 * (1 + self.study.assumptions.ppm("help.burden") / 1_000_000)
        one, month, year = (self._dollars(cents) for cents in (100, more * hours["month"], more * hours["year"]))
        return (
            f"If help had cost {one} more an hour, it would have taken about {month} more in "
            f"{month_name(self.study.month)} and {year} in {year_name(self.study)}, with payroll taxes."
        )

    def bridge(self) -> Element:
        """From the sales to the result, and from there to the lines of the books, step by step."""
        study = self.study
        parts = {span: frame.set_index("step")["amount_cents"] for span, frame in study.bridges.items()}
        steps = list(dict.fromkeys(step for part in parts.values() for step in part.index if step != BOOK_LINES))
        frame = pd.DataFrame({"step": [*steps, BOOK_LINES]})
        for span, part in parts.items():
            frame[f"{span}_cents"] = part.reindex(frame["step"]).fillna(0).astype(np.int64).to_numpy()
        headings = {"step": "What", "month_cents": month_name(study.month), "year_cents": year_name(study)}
        note = (
            "The result counts an item on the day that it sold or was written off, with all that it ever cost. The "
            "last line counts most money on the day that it moved, goods when they leave and trips at the dated rate. "
            "Written off are items that you cleared out: their goods and also their trips, fees and overheads. A plus: "
            "the result had counted a cost that you paid in another month."
        )
        caption = "From the sales to the result, and on to your books"
        return table(frame, caption=caption, headings=headings, note=note, currency=study.currency)

    def months(self) -> Element:
        """What each month came to."""
        return months_table(self.study)

    def lines(self) -> Element:
        """Every line of the month, with where it comes from."""
        caption = f"{month_name(self.study.month)}, what sold or was written off"
        shares = dict.fromkeys(("recorded", "rule", "assumed"), lambda share: f"{share:.0%}")
        headings = {"line": "Line", "amount_cents": "Amount", "recorded": "Recorded", "rule": "By a rule"}
        headings["assumed"] = "Assumed"
        frame = line_sums(self.study.month_items())
        return table(
            frame[frame["amount_cents"] != 0],
            caption=caption,
            headings=headings,
            formats=shares,
            currency=self.study.currency,
        )

    def hours(self) -> Element:
        """How far the log of hours reaches."""
        study = self.study
        logged = self._worked(study.month_so_far())
        hours = logged.loc[logged["role"] == "owner", "minutes"].sum() / 60
        behind = study.month_items()["owner_min"].sum() / 60
        return words(
            f"You logged {hours:,.1f} hours in {month_name(study.month)}, help not counted. The result has "
            f"{behind:,.0f} hours behind it: all the work on what sold or was written off, whenever you did it. Where "
            "nobody logged it, standard minutes stand in."
        )

    def goods(self) -> dict[str, int]:
        """Stock, purchases and cost of goods of the year so far, as ``goods_flow`` gives them."""
        study = self.study
        how = study.books.items.set_index("item_id")["gone_how"].reindex(study.items["item_id"]).to_numpy()
        return goods_flow(study.items.assign(gone_how=how), window=study.year_so_far())

    def year(self) -> Element:
        """The year for a tax preparer, in one sentence."""
        first, last = self.study.year_so_far()
        sold = in_window(self.study.items, window=(first, last), basis="sold")
        span = f"From {first:%B} {first.day} to {last:%B} {last.day}, {last.year}"
        if sold.empty:
            return words(f"{span} nothing sold.")
        taken = self._dollars(int((sold["sold_price_cents"] + sold["shipping_charged_cents"]).sum()))
        goods = self.goods()
        cost, given = self._dollars(goods["sold"]), goods["given"]
        more = (
            f" Items donated or thrown away had cost {self._dollars(given)}, so {self._line_42} comes to "
            f"{self._dollars(goods['sold'] + given)}."
            if given
            else ""
        )
        return words(
            f"{span} {count_of(len(sold), 'sale')} brought {taken} from buyers. The items that sold had cost you "
            f"{cost}; each counts at its own cost.{more}"
        )

    def goods_table(self) -> Element:
        """Cost of goods sold by specific identification, line by line."""
        goods = self.goods()
        bought = goods["purchases"] - goods["kept"]
        # What was donated or thrown away has left the stock: it is neither there nor sold, and so in the last line.
        amounts = {
            "35": goods["opening"],
            "36": bought,
            "37": 0,
            "38": 0,
            "39": 0,
            "40": goods["opening"] + bought,
            "41": goods["closing"],
            "42": goods["opening"] + bought - goods["closing"],
        }
        last = self.study.year_so_far()[1]
        said = GOODS_LINES | {"41": f"stock at the end of {last:%B} {last.day}"}
        rows: list[tuple[str, str, int]] = [(line, name, amounts[line]) for line, name in said.items()]
        rows += [
            ("", f"of {self._line_42}: the items that sold, each at its own cost", goods["sold"]),
            ("", f"of {self._line_42}: items donated or thrown away", goods["given"]),
        ]
        headings = {"line": "Line", "what": "What", "amount_cents": "Amount"}
        frame = pd.DataFrame(rows, columns=list(headings))
        form = ", by the lines of the usual tax form for one owner; partners use another"
        if not self._by_form:
            form, frame, headings = "", frame.drop(columns="line"), {"what": "What", "amount_cents": "Amount"}
        return table(
            frame,
            caption=f"Cost of goods{form}",
            headings=headings,
            currency=self.study.currency,
        )

    def income_table(self) -> Element:
        """What the sales took in and what they and the shop cost, beside the goods."""
        study = self.study
        window = study.year_so_far()
        sold = in_window(study.items, window=window, basis="sold")
        books = books_as_of(study.books, study.as_of)
        came_back = study.items["returned_on"].fillna(study.items["sold_on"])
        refunded = study.items.loc[within(came_back, window)]
        paid = span_money(study.economics, books, study.rules, study.assumptions, window=window)
        driven = int(driven_cents(rows_within(books.trips, "date", window), study.rules).sum())
        rows: list[tuple[str, int, float]] = [
            ("sold prices", paid["sold_price"], 1.0),
            ("shipping charged to buyers", paid["shipping_charged"], 1.0),
            ("refunds", -paid["refund"], _recorded(refunded, "refund")),
            ("marketplace fees given back with them", paid["refunded_fee"], _recorded(refunded, "refunded_fee")),
            ("listing fees, of unsold items too", -paid["listing_fee"], 0.0),
            *((name, -paid[line], _recorded(sold, line)) for line, name in _SALE_LINES.items() if paid[line]),
            ("packing supplies bought", -paid["materials"], 1.0),
            ("hired help, payroll taxes included", -paid["hired"], 1.0),
            (f"{self._distances().lower()} driven to buy, at the dated rates", -driven, 0.0),
            ("parking, tolls and entry", driven - paid["trip"], 1.0),
            ("overheads", -paid["overhead"], 1.0),
            (f"cost of goods sold{', line 42' if self._by_form else ''} above", -paid["cost"], 1.0),
        ]
        rows.append((BOOK_LINES, sum(cents for _, cents, _ in rows), float("nan")))
        frame = pd.DataFrame(rows, columns=["what", "amount_cents", "recorded"])
        return table(
            frame,
            caption="Money in and out, goods included",
            headings={"what": "What", "amount_cents": "Amount", "recorded": "Recorded in the books"},
            formats={"recorded": lambda share: f"{share:.0%}"},
            note="Sales, fees and postage count on the day of the sale, refunds on the day that the item came back.",
            currency=study.currency,
            figures=[study.figure(BOOK_LINES, year_name(study), rows[-1][1])],
        )

    def mileage_table(self) -> Element:
        """Miles driven to buy at each rate that was in force; nothing where nothing was driven."""
        study = self.study
        trips = rows_within(books_as_of(study.books, study.as_of).trips, "date", study.year_so_far())
        trips = trips[trips["miles"].fillna(0) > 0] if len(trips) else trips
        if trips.empty:
            return EMPTY
        rates = study.rules.mileage
        days = trips["date"].to_numpy().astype("datetime64[D]")
        driven = driven_cents(trips, study.rules)
        frame = pd.DataFrame({"block": rates.index_at(days), "miles": trips["miles"].to_numpy(), "cents": driven})
        frame["past"] = rates.past(days)
        rows = [
            {
                "from": pd.Timestamp(rates.blocks[at].starts),
                "rate": f"{rates.blocks[at].tenth_cents / 10:.1f}",
                "unit": rates.blocks[at].unit,
                "trips": len(group),
                "miles": float(study.measures.distances_of(group["miles"].sum())),
                "amount_cents": int(group["cents"].sum()),
                "seen": f"assumed: it ended {rates.blocks[at].ends}" if past else seen_words(rates.blocks[at].seen),
            }
            for (at, past), group in frame.groupby(["block", "past"])
        ]
        headings = {
            "from": "Rate in force from",
            "rate": f"Cents a {' or '.join(sorted({row['unit'] for row in rows}))}",
            "trips": "Trips",
            "miles": self._distances(),
            "amount_cents": f"Amount ({currency_unit(study)})",
            "seen": "How we know the rate",
        }
        formats = {"miles": lambda miles: f"{miles:,.1f}"}
        caption = f"{self._distances()} driven to buy"
        note = "The amount of each trip is rounded to the cent."
        frame = pd.DataFrame(rows)
        return table(frame, caption=caption, headings=headings, formats=formats, note=note, currency=study.currency)

    def cautions(self) -> Element:
        """That these are statements of the books, and no advice."""
        return caution(
            "A tidy summary of the books for a licensed preparer, not tax advice. What each partner owes in taxes is "
            f"for the preparer to say, and so is whether goods donated or thrown away belong in {self._line_42}."
            + (
                " The numbers of the lines are those of the form for 2025: check them against the form of the year."
                if self._by_form
                else ""
            ),
            title="Taxes",
        )

    @property
    def _by_form(self) -> bool:
        """Whether the lines of the tax form are named: it is that of the United States."""
        return self.study.currency == "USD"

    @property
    def _line_42(self) -> str:
        return "line 42" if self._by_form else f"the {GOODS_LINES['42']}"

    def _worked(self, window: Window) -> pd.DataFrame:
        """Who worked in a window or is named in people.csv, by name."""
        study = self.study
        return people_worked(books_as_of(study.books, study.as_of), study.assumptions, window).set_index("worker")

    def _owners(self) -> pd.DataFrame:
        return self.study.books.people[self.study.books.people["role"] == "owner"]

    def _year(self) -> str:
        first = self.study.year_so_far()[0]
        return f"Since {first:%B} {first.day} it is {self._dollars(self.study.result_cents('year'))}."

    def shares_said(self) -> str:
        """Who gets what of the month, in one sentence; nothing where the books name no owner."""
        owners = self._owners()
        if owners.empty:
            return ""
        shares = owners["share_of_profit_ppm"].fillna(0).astype(np.int64)
        due = share_out(self.study.result_cents("month"), shares.to_numpy())
        said = [
            f"{_named(who)} {self._dollars(int(cents))} ({share / PPM:.0%})"
            for who, cents, share in zip(owners["worker"], due, shares, strict=True)
        ]
        return f"Shares of {month_name(self.study.month)}, by your agreed split: {', '.join(said)}."

    def _shares_note(self) -> list[str]:
        """Who gets what of the month, and that it is no cash to take out."""
        owners = self._owners()
        if owners.empty:
            worked = self._worked(self.study.year_so_far())
            names = [_named(worker) for worker in worked.index[worked["role"] == "owner"]]
            whose = f"it goes to who logged the work: {joined(names)}" if names else "there is nobody to share it among"
            return [f"The books name no owner in people.csv, so {whose}."]
        given = owners["share_of_profit_ppm"].fillna(0).sum() / PPM
        told = (
            f"A share is not cash to take out at once: the {self._dollars(self._stock())} that your stock of "
            f"{day_words(self.study.as_of)} cost is already spent, and it comes back only when items sell."
        )
        uneven = f"The shares in people.csv come to {given:.0%}, not to 100%: they are taken in proportion."
        return [
            self.shares_said(),
            *([uneven] if given != 1 else []),
            told,
        ]

    def _stock(self) -> int:
        return int(self.study.unsold_items()["cost_cents"].sum())

    def _dollars(self, cents: float) -> str:
        return money(cents, currency=self.study.currency)

    def _distances(self) -> str:
        return "Kilometers" if self.study.measures.metric else "Miles"


def _named(worker: str) -> str:
    """A name as a name is written, where the books write it small."""
    return worker.title() if worker == worker.lower() else worker


def _recorded(items: pd.DataFrame, line: str) -> float:
    cents = items[f"{line}_cents"].abs()
    known = cents[items[f"{line}_origin"] == "recorded"].sum()
    return float(known / cents.sum()) if cents.sum() else 1.0
