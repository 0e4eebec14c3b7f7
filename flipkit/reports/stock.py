"""Stock and prices: what to list, mark down, keep and clear out, on which day, and how long items wait."""

from __future__ import annotations

import dataclasses
import functools
from collections import Counter
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from flipkit.analysis.max_bid import SHOP
from flipkit.analysis.pricing import Habit
from flipkit.analysis.repricing import AS_NOW, PLANNED, came_of
from flipkit.analysis.stock import ageing_table, stock_table
from flipkit.analysis.survival import days_to_sale, survival_table
from flipkit.books.write import csv_text
from flipkit.charts.stock import plot_days_listed, plot_patience
from flipkit.charts.style import hourly, joined, money
from flipkit.economics.items import item_economics
from flipkit.errors import count_of
from flipkit.money import show_cents
from flipkit.reports.buy import next_finds
from flipkit.reports.elements import EMPTY, NOTHING, Element, Said, figures_said, headline, table, to_do
from flipkit.reports.sentences import (
    day_words,
    few_sales_sentence,
    may_bring_sentence,
    of_category,
    sales_known,
    span_name,
    stock_figures,
)
from flipkit.reports.study import Study, stock_gain
from flipkit.reports.tables import cautions, words
from flipkit.reports.waiting import Waiting, waiting_page

#: What the answer says of each action, in this order; nothing to mark down is an answer too.
_COUNTED: Final = {
    "list": "list {}",
    "lower": "mark down {} today",
    "hold": "keep {} for now",
    "give up": "clear out {}",
}
#: Actions that change something now, in the order in which they are done.
NOW: Final = ("list", "lower", "give up")
#: How far ahead dated actions are listed.
_SOON_WEEKS: Final = 4
#: Kinds that the line on clearing out names.
_NAMED: Final = 6
_PLANNED: Final = [
    "item_id",
    "title",
    "category",
    "action",
    "asked_cents",
    "worth_cents",
    "weeks_listed",
    "markdown_on",
]
#: What a lowest offer is of.
_LEAST: Final = (
    "Take at least: the price for the item alone; what you charge for postage comes on top. An offer shows that "
    "somebody wants the item, so waiting is then worth more than on average, where perhaps nobody comes."
)
#: Why a lowest offer can stand above a markdown to come.
_WHY_ABOVE: Final = (
    "Refuse lower offers now, even above a later markdown: a buyer may still pay the full price. The lowest offer "
    "falls as the day of the markdown comes nearer."
)


@dataclass(frozen=True, eq=False)
class Stock:
    """The page on what is in stock: what to do with each item, and how long items wait."""

    study: Study
    by: str = "category"

    def answer(self) -> Element:
        """How many items to list, mark down, keep and clear out, and how long it takes until half have sold."""
        study, counted, half = self.study, self.counted(), self.half_sold()
        known = study.items["sold_on"].notna().any() and len(study.unsold_items())
        figures = figures_said(counted, half, may_bring_sentence(study) if known else "")
        note = " ".join(filter(None, [few_sales_sentence(study), self._held(), half]))
        return headline(Said(counted, figures), note=note)

    def counted(self, category: str = "") -> str:
        """How many items of the shop, or of a category, to list, mark down, keep and clear out."""
        unsold = self.study.unsold_items(category) if category else self.study.unsold_items()
        stock, figures = len(unsold), stock_figures(self.study, of_category(category) if category else "shop", unsold)
        if not stock:
            return Said("Nothing is in stock.", figures)
        soon = self.soon()
        soon = soon[soon["category"] == category] if category else soon
        leaving = soon["markdown_on"].isna().sum()
        counts = Counter(dict(self.study.decision(category).stock) if category else self.plan["action"])
        aside = {"hold": f" ({leaving:,} to be cleared out within four weeks)"} if leaving else {}
        parts = [
            said.format(f"{counts[action]:,}" if action in counts else "none") + aside.get(action, "")
            for action, said in _COUNTED.items()
            if action in counts or (action == "lower" and len(counts))
        ]
        known = counts.total()
        rest = f" For {stock - known:,} we don't know a typical price yet." if stock > known else ""
        if not parts:
            return Said(f"You have {count_of(stock, 'item')} in stock.{rest}", figures)
        return Said(f"Of {count_of(stock, 'item')} in stock: {', '.join(parts)}.{rest}", figures)

    def half_sold(self) -> str:
        """By which day half of everything listed has sold."""
        listed = self.study.items[self.study.items["days_listed"].notna()]
        if listed.empty:
            return ""
        half = days_to_sale(listed["days_listed"], listed["sold_on"].notna(), confidence=self.study.confidence)
        if np.isnan(half.days):
            return "Less than half of what you listed has sold so far."
        return Said(
            f"Half of everything you list sells within {half.days:,.0f} days.",
            [self.study.figure("days until half has sold", "shop", round(half.days))],
        )

    def to_do(self) -> Element:
        """What to do now, counted and in dollars; every item stands in the table below."""
        study, lines = self.study, []
        first = self.now()
        listed = first[first["action"] == "list"]
        if len(listed):
            lines.append(f"List {count_of(len(listed), 'item')} as priced below: {self._brings(listed)}.")
        lower = first[first["action"] == "lower"]
        if len(lower):
            lines.append(f"Mark down {count_of(len(lower), 'item')} as priced below: {self._brings(lower)}.")
        gone = first[first["action"] == "give up"]
        if len(gone):
            how = "Bundle them into lots, sell them off locally, or give them away."
            lines.append(f"{self.clear_out(gone)[0]} {self._why_cleared(gone)} {how}")
        soon = self.soon()
        if len(soon):
            cuts = int(soon["markdown_on"].notna().sum())
            does = [f"{do} {number:,} more" for do, number in (("mark down", cuts), ("clear out", len(soon) - cuts))]
            said = joined([one for one in does if " 0 more" not in one])
            lines.append(f"Within four weeks {said}, on the days below: until then {self._brings(soon)}.")
        later = self._later()
        if len(later):
            cut = later["markdown_on"].min()
            first = f" The first markdown is due on {day_words(cut)}." if pd.notna(cut) else ""
            lines.append(f"Keep the other {len(later):,} at today's price: {self._brings(later)}.{first}")
        if len(self._unpriced()):
            items = count_of(len(self._unpriced()), "item without a typical price", "items without a typical price")
            cost = money(self._unpriced()["cost_cents"].sum(), currency=study.currency)
            lines.append(f"For {items}, listed below, look up what like items sold for: they cost {cost}.")
        return to_do([*lines, *filter(None, [next_finds(study)])])

    def clear_out(self, gone: pd.DataFrame) -> tuple[str, float]:
        """What to clear out, by kind, and what that saves: in words, and in cents."""
        kinds = gone["category"].value_counts()
        named = [f"{name} ({number})" for name, number in kinds.head(_NAMED).items()]
        rest = int(kinds.iloc[_NAMED:].sum())
        named += [f"{rest} of other kinds"] if rest else []
        saves = -float(self._kept_as_now(gone)["worth_cents"].sum())
        worth = f" That saves about {self._whole(saves)}." if saves > 0 else ""
        return f"Clear out {count_of(len(gone), 'item')}: {joined(named)}.{worth}", saves

    def _why_cleared(self, gone: pd.DataFrame) -> str:
        """What would come of what is cleared out if it were kept and priced as before."""
        kept = self._kept_as_now(gone)
        if kept.empty:
            return "What they may still bring is less than their room and your work."
        net, hours = kept["net_cents"].sum(), kept["work_min"].sum() / 60
        brings = f"bring {self._whole(net)}" if net >= 0 else f"lose {self._whole(-net)}"
        target = hourly(self.study.target, currency=self.study.currency)
        takes = f"take {count_of(round(hours), 'hour')} at {target}"
        # What the room and the money tied up cost: the rest of what clearing out saves, as the figures show it.
        room = -kept["worth_cents"].sum() + net - 100 * self.study.target * round(hours)
        held = f"cost {self._whole(room)} in room and money tied up" if room >= 100 else "keep their room"
        return f"Kept and priced as now, they would {brings}, {takes}, and {held}."

    def _kept_as_now(self, found: pd.DataFrame) -> pd.DataFrame:
        """What comes of some items if they are kept and priced as before."""
        rows = self.study.patience
        return rows[(rows["way"] == AS_NOW) & rows["item_id"].isin(found["item_id"])]

    def picture(self) -> Any:
        """How long everything that was ever listed waits."""
        listed = self.study.items[self.study.items["days_listed"].notna()]
        sold = listed["sold_on"].notna()
        half = days_to_sale(listed["days_listed"], sold).days if len(listed) else np.nan
        chart = plot_days_listed(
            survival_table(listed["days_listed"], sold, confidence=self.study.confidence), median=half
        )
        if listed.empty:
            return chart
        subtitle = "Share still unsold by days since listed, everything ever listed. Your books."
        return chart.properties(title={"text": self.half_sold().rstrip("."), "subtitle": subtitle})

    def actions(self, category: str = "") -> Element:
        """What to list and mark down now, item by item; of one category, all that is in stock."""
        now = self.now()
        due = [now[now["action"] != "give up"], self.soon()]
        found = self.plan[self.plan["category"] == category] if category else pd.concat(due)
        if found.empty:
            return EMPTY
        headings = {"item": "Item", "do": "What to do", "asked": "Asked now", "least": "Take at least today"}
        headings["brings"] = "Still brings"
        caption = "In stock, item by item" if category else "To do now and in the next four weeks, item by item"
        note = f"{_LEAST} Still brings: on average, after all costs and your work at your target."
        shown = self._told(found.assign(due=found["markdown_on"].fillna(found["give_up_on"])))
        if category:
            # What is kept is kept at what is asked: one column says both.
            del headings["asked"]
        return table(shown, caption=caption, headings=headings, note=note)

    def kept(self) -> Element:
        """What is kept at its price: the lowest offer to take this week, and what comes next on which day."""
        found = self._later()
        if found.empty:
            return EMPTY
        headings = {"item": "Item", "then": "Asked now, and next", "least": "Take at least"}
        above = bool((found["lowest_offer_cents"] > found["markdown_cents"]).any())
        caption = f"{count_of(len(found), 'item')}, worth most first by what each still brings"
        note = f"{_LEAST} {_WHY_ABOVE}" if above else _LEAST
        return table(self._told(found), caption=caption, headings=headings, note=note)

    def unpriced(self) -> Element:
        """What has no typical price yet, item by item, and what to do about it."""
        found = self._unpriced()
        if found.empty:
            return EMPTY
        shown = found.assign(
            item=[
                f"{title} ({name})" if title else name
                for name, title in zip(found["item_id"], found["title"], strict=True)
            ],
            cost=[self._money(cents) for cents in found["cost_cents"]],
        )
        note = (
            "These have neither a list price nor sold prices of like items in the books, so no plan counts them. Look "
            "up what like items sold for and write each price into comparables.csv, with the item's item_id; or list "
            "the item, and its price counts. They are in stock all the same, so a category can have more items in "
            "stock than its plan counts."
        )
        headings = {"item": "Item", "category": "Category", "cost": "It cost"}
        return table(shown, caption=count_of(len(found), "item"), headings=headings, note=note)

    def cleared(self) -> Element:
        """What to clear out, item by item."""
        found = self.plan[self.plan["action"] == "give up"]
        if found.empty:
            return EMPTY
        found = found.sort_values(["weeks_listed", "item_id"], ascending=[False, True], kind="stable")
        kept = self._kept_as_now(found).set_index("item_id")["worth_cents"].reindex(found["item_id"])
        shown = self._told(found).assign(
            saves=[NOTHING if pd.isna(cents) else self._at_least(-cents) for cents in kept],
            typical=[self._whole(cents) for cents in found["typical_cents"]],
            posted=[NOTHING if pd.isna(cents) else self._whole(cents) for cents in found["floor_cents"]],
        )
        headings = {
            "item": "Item",
            "asked": "Asked now",
            "typical": "Like items sell for",
            "posted": "Shipping pays from",
        }
        caption = f"{count_of(len(found), 'item')}, the longest listed first"
        note = (
            "Loss avoided: what keeping it and pricing it as now would cost you, your work at your target and its room "
            "included. Shipping pays from: under that price sell it in a lot or locally at any price; a dash: no "
            "price pays for shipping."
        )
        oversize = found.loc[found["size_class"] == "oversize", "item_id"]
        if len(oversize):
            note += f" {joined(list(oversize))} is oversize: most of its loss avoided is postage, so sell it locally."
        above = found.loc[found["asked_cents"] >= found["floor_cents"], "item_id"]
        if len(above):
            note += (
                f" You ask enough for {joined(list(above), _NAMED)} to ship, but after so long a wait hardly any buyer "
                "is likely to come, at that price or a lower one."
            )
        return table(shown, caption=caption, headings=headings | {"saves": "Loss avoided"}, note=note)

    def action(self, row: dict[Hashable, Any]) -> str:
        """What to do with one item, and when."""
        price = self._money(row["price_cents"])
        if row["action"] == "list":
            return f"list at {price}"
        if row["action"] == "lower":
            return f"mark down to {price}"
        if row["action"] == "give up":
            return "clear out"
        kept = f"keep at {self._money(row['asked_cents'])}"
        due = row.get("due")
        if pd.isna(due) or due > pd.Timestamp(self.study.as_of) + pd.Timedelta(weeks=_SOON_WEEKS):
            return kept
        return f"{kept}, then {self._next(row)}"

    def least(self, row: dict[Hashable, Any]) -> str:
        """The lowest offer to take for an item today."""
        return self._money(row["lowest_offer_cents"])

    def worth(self, row: dict[Hashable, Any]) -> str:
        """What an item still brings, in whole units of the currency."""
        return self._at_least(row["worth_cents"])

    def _at_least(self, cents: float) -> str:
        return f"under {self._whole(100)}" if cents < 100 else self._whole(cents)

    def _whole(self, cents: float) -> str:
        return money(float(cents), currency=self.study.currency)

    def now(self) -> pd.DataFrame:
        """What is to be done now: list, mark down, clear out; the most money first within each."""
        found = self.plan[self.plan["action"].isin(NOW)]
        order = found["action"].map({action: place for place, action in enumerate(NOW)})
        return found.assign(order=order).sort_values(["order", "worth_cents", "item_id"], ascending=[True, False, True])

    @functools.cached_property
    def plan(self) -> pd.DataFrame:
        """The plan, worth most first; no row where the books cannot say."""
        plan = self.study.price_plan
        if few_sales_sentence(self.study) or plan.empty:
            return pd.DataFrame(columns=list(_PLANNED))
        return plan.sort_values(["worth_cents", "item_id"], ascending=[False, True], kind="stable")

    @functools.cached_property
    def waits(self) -> Waiting:
        """How long the groups of the shop wait."""
        return waiting_page(self.study, self.by)

    def habits(self) -> Element:
        """How the seller prices now, how far up the books support a price, and what the plan rests on."""
        study = self.study
        if few_sales_sentence(study):
            return EMPTY
        known, wishes = study.knowledge, study.knowledge["wishes"]
        habit = Habit(**known["categories"][SHOP]["habit"])
        cuts = (
            f"mark them down by {habit.cut_share:.0%} after {habit.first_cut_weeks:.0f} weeks and again every "
            f"{habit.cut_weeks:.0f} weeks"
            if habit.cut_share
            else "hardly ever mark them down"
        )
        room = self._money(wishes["storage_cents"] * 52 / 12)
        whose = "as your overheads say" if wishes["storage_recorded"] else "as assumed, since no overhead of yours says"
        model, _ = study.selling
        told = model.coefficients()
        share = dict(zip(told["name"], told["data_share"], strict=True))
        return words(
            f"You list items at {habit.ratio:.2f} times what like items sell for, {cuts}, and clear them out after "
            f"{habit.patience_weeks:.0f} weeks. No list price here is above {known['grid'][1]:.2f} times, because too "
            f"few of your finished listings asked more. Room costs {room} a month for a {study.measures.room_words}, "
            f"{whose}. {self._gain()} The chance of a sale is learned from {count_of(sales_known(study), 'sale')} and "
            f"{model.weeks:,} weeks on sale: how fast items sell is {share['level']:.0%} data, how strongly price "
            f"moves it {share['pull']:.0%}, how many are never wanted {share['never wanted']:.0%}; the rest is assumed."
        )

    def patience(self, item: str = "") -> pd.DataFrame:
        """What comes of patience with one item: the one named, or the one in stock that is worth most."""
        held = self.plan[self.plan["action"].isin(["list", "lower", "hold"])]
        if held.empty:
            return pd.DataFrame(columns=_PATIENT)
        rows = self.study.patience
        found = rows[rows["item_id"] == (item or str(held["item_id"].iloc[0]))]
        return found.assign(chosen=found["way"] == PLANNED).reset_index(drop=True)

    def patience_picture(self) -> Any:
        """The same, drawn."""
        frame = self.patience()
        return plot_patience(frame, title=self._patience_title(frame), currency=self.study.currency)

    def patience_table(self) -> Element:
        """What each number of weeks would bring, in figures."""
        frame = self.patience()
        if frame.empty:
            return EMPTY
        shown = frame.assign(
            within=[_way(row) for row in frame.to_dict("records")],
            course=[self._course(row) for row in frame.to_dict("records")],
            least=[self._money(cents) if cents else NOTHING for cents in frame["lowest_offer_cents"]],
            hour=[self._hour(row) for row in frame.to_dict("records")],
        )
        headings = {"within": "Sell within", "course": "Ask", "least": "Lowest offer", "sold_share": "Chance"}
        headings["hour"] = "Brings, and per hour of work left"
        formats = {"sold_share": lambda share: "under 1%" if share < 0.01 else f"{share:.0%}"}
        note = (
            "What it brings is after fees, postage and packing, before your hours. The recommended wait is worth most "
            "once your minutes at your target, the room and the money tied up are paid. It ends where what is still "
            f"unsold would bring less than {self._money(self.study.knowledge['wishes']['wait_worth_cents'])} more. "
            f"Each week costs {self._money(frame['week_cents'].iloc[-1])} for room and the money tied up."
        )
        caption = f"{frame['title'].iloc[0]}: what waiting brings"
        return table(shown, caption=caption, headings=headings, formats=formats, note=note)

    def by_category(self) -> Element:
        """How each category's stock turned, and what its money and its room earned."""
        study = self.study
        headings = {
            "category": "Category",
            "stock_items": "In stock",
            "stock_cost_cents": "At cost",
            "stock_cubic_ft": study.measures.rooms_words.capitalize(),
            "sell_through": "Sell-through",
            "days_on_hand": "Days on hand",
            "gmroi": "Margin on stock, a year",
            "capital_return": "Return on money, a year",
            "net_per_cubic_ft_month": f"Net per {study.measures.room_words.replace(' ', '-')}-month",
        }
        formats: dict[str, Any] = {
            "stock_cost_cents": self._whole,
            "stock_cubic_ft": study.measures.room_number,
            "sell_through": lambda share: f"{share:.0%}",
            "days_on_hand": lambda days: NOTHING if days == float("inf") else f"{days:,.0f}",
            "gmroi": lambda ratio: f"{ratio:.2f}",
            "capital_return": lambda rate: f"{rate:,.0%}".replace("-", "−"),
            "net_per_cubic_ft_month": lambda dollars: show_cents(
                round(dollars * 100 / study.measures.rooms_of(1.0)), currency=study.currency
            ),
        }
        frame = stock_table(study.items, window=study.window(), as_of=study.as_of)
        scopes = [*((of_category(row["category"]), row) for row in frame.to_dict("records"))]
        return table(
            frame.sort_values("stock_cost_cents", ascending=False, kind="stable"),
            caption=f"Stock on {day_words(study.as_of)}, the most money first",
            headings=headings,
            formats=formats,
            note="The first three figures are of that day and count all items, those without a typical price too; the "
            f"ratios are of {span_name(study)}.",
            currency=study.currency,
            figures=[
                study.figure(name, scope, float(value))
                for scope, row in [*scopes, ("shop", frame.sum(numeric_only=True))]
                for name, value in (("things in stock", row["stock_items"]), ("stock at cost", row["stock_cost_cents"]))
            ],
        )

    def by_age(self) -> Element:
        """The stock by how long it has been held."""
        study = self.study
        frame = ageing_table(study.items, as_of=study.as_of, value_cents=study.prospects["value_cents"])
        frame["held"] = [
            f"over {int(begin) - 1} days" if pd.isna(end) else f"{int(begin)} to {int(end)} days"
            for begin, end in zip(frame["from_days"], frame["to_days"], strict=True)
        ]
        headings = {
            "held": "Held",
            "items": "Items",
            "cost_cents": "At cost",
            "cost_share": "of all",
            "cubic_ft": study.measures.rooms_words.capitalize(),
            "list_price_cents": "At first list price",
            "may_bring_cents": "May still bring",
        }
        formats: dict[str, Any] = dict.fromkeys(("cost_cents", "list_price_cents", "may_bring_cents"), self._whole)
        formats |= {"cost_share": lambda share: f"{share:.0%}", "cubic_ft": study.measures.room_number}
        named = {"items": "things in stock", "cost_cents": "stock at cost"}
        figures = [study.figure(name, "shop", frame[column].sum()) for column, name in named.items()]
        note = f"All {count_of(len(study.unsold_items()), 'item')} in stock."
        if study.given_up:
            note += f" Under May still bring, the {len(study.given_up):,} to clear out count at their clear-out value."
        return table(
            frame,
            caption=f"Stock by age on {day_words(study.as_of)}",
            headings=headings,
            formats=formats,
            note=note,
            currency=study.currency,
            figures=figures,
        )

    def cautions(self) -> Element:
        """What to beware of with what is in stock."""
        return cautions(self.study.unsold_items())

    def csv(self) -> str:
        """Every item in stock with what to do, as a table for a spreadsheet."""
        frame = self._told(self.plan.sort_values("item_id"))
        gone = self._kept_as_now(frame[frame["action"] == "give up"]).set_index("item_id")["worth_cents"]
        frame = frame.assign(saves_cents=-frame["item_id"].map(gone))
        # Nothing is asked for what is cleared out; what has no typical price stands there too.
        cleared = frame["action"] == "give up"
        if cleared.any():
            frame.loc[cleared, ["price_cents", "lowest_offer_cents", "markdown_cents"]] = np.nan
            frame.loc[cleared, "give_up_on"] = pd.Timestamp(self.study.as_of)
        unpriced = self._unpriced()[["item_id", "title", "category"]].assign(do="look up what like items sold for")
        frame = pd.concat([frame, unpriced], ignore_index=True).sort_values("item_id")
        dates = {"markdown_on": "markdown_on", "clear_out_on": "give_up_on"}
        shown = pd.DataFrame(
            {
                "item_id": frame["item_id"],
                "title": frame["title"],
                "category": frame["category"],
                "do": frame["do"],
                "ask": _dollars(frame, "price_cents"),
                "take_at_least": _dollars(frame, "lowest_offer_cents"),
                "then_ask": _dollars(frame, "markdown_cents"),
                "shipping_pays_from": _dollars(frame, "floor_cents"),
                **{said: pd.to_datetime(frame[name]).dt.date if name in frame else "" for said, name in dates.items()},
                "still_brings": _dollars(frame, "worth_cents"),
                "clearing_out_saves": _dollars(frame, "saves_cents"),
            }
        )
        return csv_text(list(shown), shown.astype(object).where(shown.notna(), "").astype(str).values.tolist())

    def _told(self, found: pd.DataFrame) -> pd.DataFrame:
        """Rows of the plan with what a table says of each."""
        rows = found.to_dict("records")
        return found.assign(
            item=[f"{row['title']} ({row['item_id']})" if row["title"] else row["item_id"] for row in rows],
            do=[self.action(row) for row in rows],
            asked=[self._money(row["asked_cents"]) for row in rows],
            least=[NOTHING if row["action"] == "give up" else self._money(row["lowest_offer_cents"]) for row in rows],
            then=[f"{self._money(row['asked_cents'])}, {self._next(row)}" for row in rows],
            brings=[NOTHING if row["action"] == "give up" else self.worth(row) for row in rows],
        )

    def _next(self, row: dict[Hashable, Any]) -> str:
        """What is to be done next with an item, and when."""
        if row["action"] == "give up":
            return NOTHING
        if pd.notna(row["markdown_on"]):
            return f"mark down to {self._money(row['markdown_cents'])} on {day_words(row['markdown_on'])}"
        return f"clear out on {day_words(row['give_up_on'])}"

    def soon(self) -> pd.DataFrame:
        """What is kept today, and marked down or cleared out within four weeks; the soonest first."""
        held = self.plan[self.plan["action"] == "hold"]
        if held.empty:
            return held
        due = held["markdown_on"].fillna(held["give_up_on"])
        held = held.assign(due=due)[due <= pd.Timestamp(self.study.as_of) + pd.Timedelta(weeks=_SOON_WEEKS)]
        return held.sort_values(["due", "item_id"], kind="stable")

    def _later(self) -> pd.DataFrame:
        """What is kept at its price for four weeks at least."""
        held = self.plan[self.plan["action"] == "hold"]
        return held[~held["item_id"].isin(self.soon()["item_id"])]

    def _unpriced(self) -> pd.DataFrame:
        """What is in stock and has no place in the plan, because nothing says what it may sell for."""
        unsold = self.study.unsold_items()
        if few_sales_sentence(self.study):
            return unsold.head(0)
        return unsold[~unsold["item_id"].isin(self.plan["item_id"])].sort_values(["category", "item_id"])

    def _brings(self, found: pd.DataFrame) -> str:
        they, paid = "it" if len(found) == 1 else "they", hourly(self.study.target, currency=self.study.currency)
        worth = self._whole(found["worth_cents"].sum())
        return f"{they} may still bring {worth} after costs and your work at {paid} an hour"

    def _held(self) -> str:
        """What the stock cost, and what it may still bring."""
        study, unsold = self.study, self.study.unsold_items()
        if unsold.empty:
            return ""
        cost = money(int(unsold["cost_cents"].sum()), currency=study.currency)
        if not study.items["sold_on"].notna().any():
            return f"They cost {cost}. Nothing has sold yet, so nobody can say what they may bring."
        return f"On {day_words(study.as_of)} your stock cost {cost}. {may_bring_sentence(study)}"

    def _patience_title(self, frame: pd.DataFrame) -> str:
        """What the recommended wait brings beside the next shorter one, as the table under it says."""
        ways = frame[frame["way"] != AS_NOW]
        if not ways["chosen"].any():
            return "What waiting brings"
        best = ways[ways["chosen"]].iloc[0]
        shorter = ways[ways["within_weeks"] < best["within_weeks"]]
        if shorter.empty:
            return "What waiting brings"
        last = shorter.iloc[-1]
        more = money(best["net_cents"] - last["net_cents"], currency=self.study.currency)
        return f"Waiting up to {_weeks(best)} brings {more} more than {_weeks(last)}"

    def _gain(self) -> str:
        """What the plan brings beside going on as before, for everything in stock."""
        if self.study.patience.empty:
            return ""
        sums = self.study.patience.groupby("way")[["net_cents", "work_min"]].sum()
        if not {AS_NOW, PLANNED} <= set(sums.index):
            return ""
        said = {
            way: f"{money(row['net_cents'], currency=self.study.currency)} for {row['work_min'] / 60:,.0f} hours"
            for way, row in sums.iterrows()
        }
        may = money(round(float(self.study.prospects["value_cents"].sum())), currency=self.study.currency)
        gain = money(stock_gain(self.study), currency=self.study.currency)
        hour = hourly(self.study.target, currency=self.study.currency)
        return (
            f"If you go on like that, your stock brings {said[AS_NOW]} in the end; by this plan, {said[PLANNED]}. With "
            f"an hour at {hour}, room and money tied up, the plan is worth {gain} more, what clearing out saves "
            "included. Both "
            "count until each item with a typical price has sold or is cleared out. What the stock may bring at the "
            f"top of the page, {may}, counts the next {self.study.horizon.days} days alone, at the pace and the prices "
            "of your past sales."
        )

    def _course(self, row: dict[Hashable, Any]) -> str:
        if not row["price_cents"]:
            return "not worth listing"
        ask = self._money(row["price_cents"])
        if pd.isna(row["markdown_on"]):
            return ask
        return f"{ask}, {self._money(row['markdown_cents'])} from {day_words(row['markdown_on'])}"

    def _hour(self, row: dict[Hashable, Any]) -> str:
        if not row["work_min"]:
            return NOTHING
        brings, hour = (
            money(float(cents), currency=self.study.currency)
            for cents in (row["net_cents"], row["net_cents"] / row["work_min"] * 60)
        )
        return f"{brings}, {hour}"

    def _money(self, cents: float) -> str:
        """A price as it is asked: cents where there are any."""
        if pd.isna(cents):
            return NOTHING
        return show_cents(round(float(cents)), currency=self.study.currency).removesuffix(".00")


def clear_out_record(study: Study) -> ClearOutRecord:
    """What came of the items that the plan would have cleared out at three earlier dates, and of the others."""
    rows = []
    needed = study.assumptions.whole("report.too_few_items")
    for months in _MONTHS_BACK:
        day = (pd.Timestamp(study.as_of) - pd.DateOffset(months=months)).date()
        sold = study.books.items["sold_on"].le(pd.Timestamp(day)).sum()
        if sold < needed:
            continue
        economics = item_economics(study.books, study.rules, study.assumptions, day)
        then = dataclasses.replace(study, as_of=day, month=f"{day:%Y-%m}", economics=economics, key="", giving=None)
        rows.append(came_of(then.price_plan, then.items, study.items).assign(made_on=pd.Timestamp(day)))
    columns = ["given_up", "things", "sold", "net_cents", "owner_min", "made_on"]
    return ClearOutRecord(pd.concat(rows) if rows else pd.DataFrame(columns=columns), study)


@dataclass(frozen=True)
class ClearOutRecord:
    """A back-test of clearing out: one row a date and verdict."""

    frame: pd.DataFrame
    study: Study

    def sentence(self) -> str:
        """Whether what was to be cleared out would have been worth keeping."""
        if self.frame.empty:
            return ""
        sums = self.frame.groupby("given_up")[["things", "sold", "net_cents", "owner_min"]].sum()
        gone = sums.loc[True]
        if not gone["things"]:
            return "At none of the earlier dates was there anything to clear out."
        dates = self.frame["made_on"].nunique()
        again = f", the same one up to {dates} times" if dates > 1 else ""
        text = (
            f"At {count_of(dates, 'earlier date')} the plan would have cleared out an item "
            f"{count_of(int(gone['things']), 'time')}{again}. {count_of(int(gone['sold']), 'time')} it sold later"
        )
        if not gone["owner_min"]:
            return f"{text}."
        hour = 60 * gone["net_cents"] / gone["owner_min"]
        target = self.study.assumptions.cents("hour.target")
        side = f"{'under' if hour < target else 'over'} your {money(target, currency=self.study.currency)} target"
        did = f"{'lost' if hour < 0 else 'brought'} {money(abs(hour), currency=self.study.currency)}"
        return f"{text}, and together they {did} for each extra hour of work, {side}."

    def in_short(self) -> str:
        """That earlier plans can be checked, though no forecast may have come due."""
        gone = self.frame[self.frame["given_up"].astype(bool)] if len(self.frame) else self.frame
        if not len(gone) or not gone["things"].sum():
            return ""
        return f"What came of {count_of(len(gone), 'earlier plan')} to clear out can be seen below."

    def table(self) -> Element:
        """The same by date, what was kept beside it."""
        if self.frame.empty:
            return EMPTY
        shown = self.frame.assign(plan=np.where(self.frame["given_up"], "clear out", "keep"))
        shown = shown.sort_values(["made_on", "given_up"], ascending=[True, False])
        shown["came"] = [f"{sold:,} of {things:,}" for sold, things in zip(shown["sold"], shown["things"], strict=True)]
        shown["hour"] = [
            money(60 * net / minutes, currency=self.study.currency) if minutes else NOTHING
            for net, minutes in zip(shown["net_cents"], shown["owner_min"], strict=True)
        ]
        headings = {
            "made_on": "Planned on",
            "plan": "The plan said",
            "came": "Sold since",
            "net_cents": "Brought since",
            "hour": "Per hour",
        }
        note = "Only money and work since that day count. An item can stand on more than one date."
        return table(
            shown,
            caption="What came of items to clear out, and of the others",
            headings=headings,
            note=note,
            currency=self.study.currency,
        )


#: How many months back the plans of the back-test are made.
_MONTHS_BACK = (9, 6, 3)


#: What a chart and a table of patience need.
_PATIENT: Final = ["title", "way", "within_weeks", "price_cents", "net_cents", "sold_share", "chosen"]


def _way(row: dict[Hashable, Any]) -> str:
    if row["way"] == AS_NOW:
        return "as you price now"
    return _weeks(row) + (" (recommended)" if row["chosen"] else "")


def _weeks(row: Any) -> str:
    return count_of(int(row["within_weeks"]), "week")


def _dollars(frame: pd.DataFrame, column: str) -> pd.Series:
    """Cents as a spreadsheet reads money."""
    if column not in frame:
        return pd.Series("", index=frame.index)
    return (frame[column].astype(np.float64) / 100).map("{:.2f}".format, na_action="ignore")
