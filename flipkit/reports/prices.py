"""What to ask for everything in stock: prices to change, offers to take, when to give up."""

from __future__ import annotations

import dataclasses
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from flipkit.analysis.max_bid import SHOP
from flipkit.analysis.pricing import Habit
from flipkit.analysis.repricing import AS_NOW, PLANNED, came_of
from flipkit.analysis.returns import TOO_FEW
from flipkit.economics.items import item_economics
from flipkit.money import show_cents
from flipkit.reports.elements import NOTHING, Element, Said, table
from flipkit.reports.pocket import few_sales_sentence, sales_known
from flipkit.reports.sentences import count_of, may_bring_sentence
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Rows of a table that is not folded.
_MOST_ROWS = 15
#: What the sentence says of each action, in this order.
_ACTIONS = {"list": "list {}", "lower": "mark down {}", "hold": "keep {} at today's price", "give up": "give up {}"}


def prices_sentence(study: Study) -> str:
    """How many things are to be listed, marked down, kept and given up.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One or two sentences.
    """
    few = few_sales_sentence(study)
    if few:
        return few
    plan = study.price_plan
    if plan.empty:
        return "Nothing is in stock whose typical price is known."
    counts = plan["action"].value_counts()
    parts = [said.format(f"{counts[action]:,}") for action, said in _ACTIONS.items() if action in counts]
    stock = len(study.unsold_items())
    waiting = stock - len(plan)
    rest = f" For {waiting:,} we don't know a typical price yet." if waiting > 0 else ""
    return Said(
        f"Of {count_of(stock, 'thing')} in stock: {', '.join(parts)}.{rest}",
        [study.figure("things in stock", "shop", stock)],
    )


def prices_note(study: Study) -> Said:
    """What the stock may bring, how the seller prices now, and what the plan rests on.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Said
        A short paragraph; what it rests on alone where the books hold too few sales.
    """
    if few_sales_sentence(study) or study.price_plan.empty:
        return Said(learnt_sentence(study))
    bring = may_bring_sentence(study)
    return Said(f"{bring} {habit_sentence(study)} {learnt_sentence(study)}", bring.figures)


def learnt_sentence(study: Study) -> str:
    """How much of the chance of a sale is learnt from the books and how much is assumed.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One or two sentences.
    """
    model, _ = study.selling
    told = model.coefficients()
    share = dict(zip(told["name"], told["data_share"], strict=True))
    return (
        f"The chance of a sale is learnt from {count_of(sales_known(study), 'sale')} and {model.weeks:,} weeks on "
        f"sale. How fast things sell is {share['level']:.0%} data, how strongly price moves it {share['pull']:.0%}, "
        f"how many are never wanted {share['never wanted']:.0%}; the rest is assumed."
    )


def habit_sentence(study: Study) -> str:
    """How the seller prices now and what that brings, how far up the books support a price, and what room costs.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        Five sentences.
    """
    known = study.knowledge
    habit = Habit(**known["categories"][SHOP]["habit"])
    cuts = (
        f"mark them down by {habit.cut_share:.0%} after {habit.first_cut_weeks:.0f} weeks and again every "
        f"{habit.cut_weeks:.0f} weeks"
        if habit.cut_share
        else "hardly ever mark them down"
    )
    wishes = known["wishes"]
    room = _money(wishes["storage_cents"] * 52 / 12, study)
    whose = "as your overheads say" if wishes["storage_recorded"] else "as assumed, since no overhead of yours says"
    return (
        f"You list things at {habit.ratio:.2f} times what like things sell for, {cuts}, and give up after "
        f"{habit.patience_weeks:.0f} weeks. No list price here is above {known['grid'][1]:.2f} times, because too few "
        f"of your finished listings asked more. Room costs {room} a month for a {study.measures.room_words}, {whose}."
        f"{_gain_words(study)}"
    )


def _gain_words(study: Study) -> str:
    """What the plan brings beside going on as before, for everything in stock."""
    sums = study.patience.groupby("way")[["net_cents", "work_min"]].sum()
    if not {AS_NOW, PLANNED} <= set(sums.index):
        return ""
    said = {
        way: f"{_money(row['net_cents'], study, whole=True)} for {row['work_min'] / 60:,.0f} hours of work"
        for way, row in sums.iterrows()
    }
    return (
        f" If you go on like that, your stock brings {said[AS_NOW]} in the end. By this plan it brings {said[PLANNED]}."
    )


def changes_table(study: Study) -> Element:
    """What to list and what to mark down now.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    plan = _plan(study)
    found = plan[plan["action"].isin(["list", "lower"])]
    if found.empty:
        return _none(study, "No price is to be changed now.")
    headings = {
        "item_id": "Item",
        "title": "Title",
        "asked_cents": "Asked now",
        "price_cents": "Ask",
        "lowest_offer_cents": "Lowest offer to take",
    }
    return _shown(found, headings, "Prices to change", study, note=_edge_words(found, study))


def offers_table(study: Study, *, every: bool = False) -> Element:
    """What is kept at its price: the lowest offer to take this week, and what is next on which day.

    Parameters
    ----------
    study : Study
        The numbers.
    every : bool
        All of them, folded, instead of those that are worth most.

    Returns
    -------
    Element
        For a page.
    """
    plan = _plan(study)
    found = plan[plan["action"].isin(["list", "lower", "hold"])]
    if found.empty:
        return _none(study, "Nothing on sale is worth holding, or nothing is on sale.")
    found = found.assign(next=[next_words(row, study) for row in found.to_dict("records")])
    headings = {
        "item_id": "Item",
        "title": "Title",
        "price_cents": "Ask",
        "lowest_offer_cents": "Lowest offer to take",
        "next": "Next",
    }
    if every:
        return _shown(found, headings, f"All {len(found):,} of them", study, fold=True, most=len(found))
    above = bool((found["lowest_offer_cents"] > found["markdown_cents"]).any())
    note = _WHY_ABOVE if above else ""
    return _shown(found, headings, "Offers to take this week, what is worth most first", study, note=note)


#: Why a lowest offer can stand above a markdown to come.
_WHY_ABOVE = (
    "A lowest offer can be above a later markdown. Until that day a buyer may still pay the full price, so waiting is "
    "worth more than the offer. The lowest offer falls as the day comes nearer."
)


def next_words(row: dict[Hashable, Any], study: Study) -> str:
    """What is to be done next with a thing, and when."""
    if pd.notna(row["markdown_on"]):
        return f"mark down to {_money(row['markdown_cents'], study)} on {day_words(row['markdown_on'])}"
    return f"give up on {day_words(row['give_up_on'])}"


def day_words(day: pd.Timestamp) -> str:
    """A day as tables show it.

    >>> day_words(pd.Timestamp("2026-10-31"))
    '31 Oct 2026'
    """
    return f"{day.day} {day:%b %Y}"


def give_up_table(study: Study) -> Element:
    """What is worth less than its room and its work at the target.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    plan = _plan(study)
    found = plan[plan["action"] == "give up"]
    if found.empty:
        return _none(study, "Nothing is to be given up now.")
    costs = study.items.set_index("item_id")["cost_cents"]
    found = found.assign(cost_cents=costs.reindex(found["item_id"]).to_numpy())
    headings = {
        "item_id": "Item",
        "title": "Title",
        "weeks_listed": "Weeks listed",
        "asked_cents": "Asked now",
        "cost_cents": "It cost",
    }
    caption = f"To give up: {count_of(len(found), 'thing')} that cost {_money(found['cost_cents'].sum(), study)}"
    found = found.sort_values(["weeks_listed", "item_id"], ascending=[False, True], kind="stable")
    return _shown(found, headings, caption, study, most=len(found))


def give_up_record(study: Study) -> GiveUpRecord:
    """What came of the things that the plan would have given up at three earlier dates, and of the others.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    GiveUpRecord
        The figures and their words.
    """
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
    return GiveUpRecord(pd.concat(rows) if rows else pd.DataFrame(columns=columns), study)


@dataclass(frozen=True)
class GiveUpRecord:
    """A back-test of giving up: one row a date and verdict."""

    frame: pd.DataFrame
    study: Study

    def sentence(self) -> str:
        """Whether what was to be given up would have been worth keeping."""
        if self.frame.empty:
            return "No earlier date has sales enough to plan the stock as of then."
        sums = self.frame.groupby("given_up")[["things", "sold", "net_cents", "owner_min"]].sum()
        gone = sums.loc[True]
        if not gone["things"]:
            return "At none of the earlier dates was anything to be given up."
        text = (
            f"At {count_of(self.frame['made_on'].nunique(), 'earlier date')} the plan gave up "
            f"{count_of(int(gone['things']), 'thing')}. You kept them: {int(gone['sold']):,} sold later"
        )
        if not gone["owner_min"]:
            return f"{text}."
        hour = 60 * gone["net_cents"] / gone["owner_min"]
        target = self.study.assumptions.cents("hour.target")
        side = f"{'under' if hour < target else 'over'} your {_money(target, self.study)} target"
        return f"{text}, and together they brought {_money(hour, self.study)} for each hour of further work, {side}."

    def table(self) -> Element:
        """The same by date, what was kept beside it."""
        if self.frame.empty:
            return words("There is nothing to compare yet.")
        shown = self.frame.assign(plan=np.where(self.frame["given_up"], "give up", "keep"))
        shown = shown.sort_values(["made_on", "given_up"], ascending=[True, False])
        shown["came"] = [f"{sold:,} of {things:,}" for sold, things in zip(shown["sold"], shown["things"], strict=True)]
        shown["hour"] = [
            _money(60 * net / minutes, self.study) if minutes else NOTHING
            for net, minutes in zip(shown["net_cents"], shown["owner_min"], strict=True)
        ]
        headings = {
            "made_on": "Planned on",
            "plan": "The plan said",
            "came": "Sold since",
            "net_cents": "Brought since",
            "hour": "For an hour",
        }
        note = "Only money and work since that day count. A thing can stand on more than one date."
        return table(
            shown,
            caption="What came of things to give up, and of the others",
            headings=headings,
            formats={"made_on": day_words},
            note=note,
            currency=self.study.currency,
        )


#: How many months back the plans of the back-test are made.
_MONTHS_BACK = (9, 6, 3)


def patience_frame(study: Study, item: str = "") -> pd.DataFrame:
    """What comes of patience with one thing: the one named, or the one in stock that is worth most.

    Parameters
    ----------
    study : Study
        The numbers.
    item : str
        Its item_id.

    Returns
    -------
    DataFrame
        One row a number of weeks, shortest first, the plan's with ``chosen`` true, and a last one for pricing as
        before; none where nothing is held. [cents]
    """
    plan = _plan(study)
    held = plan[plan["action"].isin(["list", "lower", "hold"])]
    if held.empty:
        return pd.DataFrame(columns=_NEEDED)
    chosen = item or str(held["item_id"].iloc[0])
    rows = study.patience
    found = rows[rows["item_id"] == chosen]
    return found.assign(chosen=found["way"] == PLANNED).reset_index(drop=True)


#: What a chart and a table of patience need.
_NEEDED = ["title", "way", "within_weeks", "price_cents", "net_cents", "sold_share", "chosen"]


def patience_title(frame: pd.DataFrame, study: Study) -> str:
    """What the recommended wait brings beside the next shorter one, as a chart's title.

    Parameters
    ----------
    frame : DataFrame
        As ``patience_frame`` gives it.
    study : Study
        The numbers.

    Returns
    -------
    str
        A few words.
    """
    ways = frame[frame["way"] != AS_NOW]
    shorter = ways[~ways["chosen"].astype(bool)]
    if shorter.empty:
        return "What waiting brings"
    best, last = ways[ways["chosen"]].iloc[0], shorter.iloc[-1]
    more = _money(best["worth_cents"] - last["worth_cents"], study, whole=True)
    return f"Waiting up to {_weeks(best)} brings {more} more than {last['within_weeks']:.0f}"


def patience_rows(study: Study, frame: pd.DataFrame) -> Element:
    """What each number of weeks would bring, in figures.

    Parameters
    ----------
    study : Study
        The numbers.
    frame : DataFrame
        As ``patience_frame`` gives it.

    Returns
    -------
    Element
        For a page.
    """
    if frame.empty:
        return _none(study, "Nothing is held, so there is nothing to hurry.")
    shown = frame.assign(
        within=[_way(row) for row in frame.to_dict("records")],
        course=[_course(row, study) for row in frame.to_dict("records")],
        least=[_money(cents, study) if cents else NOTHING for cents in frame["lowest_offer_cents"]],
        hour=[_hour(row, study) for row in frame.to_dict("records")],
    )
    headings = {
        "within": "Sell within",
        "course": "Ask",
        "least": "Lowest offer",
        "sold_share": "Chance",
        "hour": "Brings, for an hour",
    }
    formats = {"sold_share": lambda share: "under 1%" if share < 0.01 else f"{share:.0%}"}
    note = (
        "What it brings is after fees, label and packing, before your hours. The recommended wait is the one that is "
        "worth most once your minutes at your target, the room and the money tied up are paid."
    )
    return table(
        shown,
        caption=f"{frame['title'].iloc[0]}: what waiting brings",
        headings=headings,
        formats=formats,
        note=note,
        currency=study.currency,
    )


def _way(row: dict[Hashable, Any]) -> str:
    if row["way"] == AS_NOW:
        return "as you price now"
    return _weeks(row) + (" (recommended)" if row["chosen"] else "")


def _weeks(row: Any) -> str:
    return count_of(int(row["within_weeks"]), "week")


def _course(row: dict[Hashable, Any], study: Study) -> str:
    if not row["price_cents"]:
        return "not worth listing"
    ask = _money(row["price_cents"], study)
    if pd.isna(row["markdown_on"]):
        return ask
    return f"{ask}, {_money(row['markdown_cents'], study)} from {day_words(row['markdown_on'])}"


def _hour(row: dict[Hashable, Any], study: Study) -> str:
    if not row["work_min"]:
        return NOTHING
    hour = _money(row["net_cents"] / row["work_min"] * 60, study, whole=True)
    return f"{_money(row['net_cents'], study, whole=True)}, {hour}"


def _edge_words(found: pd.DataFrame, study: Study) -> str:
    """That a list price is the highest that the books support."""
    edge = int(found["at_edge"].sum())
    if not edge:
        return ""
    high = study.knowledge["grid"][1]
    return (
        f"{count_of(edge, 'list price')} here {'is' if edge == 1 else 'are'} the highest that your books support, "
        f"{high:.2f} times what like things sell for. More might bring more: too few of your listings asked it to tell."
    )


def _plan(study: Study) -> pd.DataFrame:
    """The plan, worth most first; no row where the books cannot say."""
    plan = study.price_plan
    if few_sales_sentence(study) or plan.empty:
        return pd.DataFrame(columns=["item_id", "category", "action", "asked_cents", "worth_cents"])
    return plan.sort_values(["worth_cents", "item_id"], ascending=[False, True], kind="stable")


def _none(study: Study, text: str) -> Element:
    """Why a table has no row: the books cannot say, or there is nothing to show."""
    return words(f"{TOO_FEW.capitalize()}." if few_sales_sentence(study) else text)


def _shown(
    frame: pd.DataFrame,
    headings: dict[str, str],
    caption: str,
    study: Study,
    *,
    fold: bool = False,
    most: int = _MOST_ROWS,
    note: str = "",
) -> Element:
    formats = {"weeks_listed": lambda weeks: f"{weeks:,.0f}"}
    money = [name for name in headings if name.endswith("_cents")]
    shown = frame.head(most).copy()
    for name in money:
        # Whole cents, so that a half cent of the plan shows nowhere.
        shown[name] = np.rint(shown[name].astype(np.float64))
    if len(frame) > most:
        caption = f"{caption} (first {most} of {len(frame):,})"
    return table(
        shown, caption=caption, headings=headings, formats=formats, fold=fold, note=note, currency=study.currency
    )


def _money(cents: float, study: Study, *, whole: bool = False) -> str:
    rounded = round(float(cents) / 100) * 100 if whole else round(float(cents))
    return show_cents(rounded, currency=study.currency).removesuffix(".00")
