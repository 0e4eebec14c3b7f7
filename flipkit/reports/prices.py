"""What to ask for everything in stock: prices to change, offers to take, when to give up."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flipkit.analysis.max_bid import SHOP, question
from flipkit.analysis.repricing import thing_frontier
from flipkit.analysis.returns import TOO_FEW
from flipkit.money import show_cents
from flipkit.reports.elements import Element, Said, table
from flipkit.reports.pocket import few_sales_sentence, sales_known
from flipkit.reports.sentences import count_of
from flipkit.reports.study import Study
from flipkit.reports.tables import words

#: Rows of a table that is not folded.
_MOST_ROWS = 15
#: Worth of a week sooner at which the example's frontier is drawn. [cents]
WEEK_CENTS = (0.0, 25.0, 50.0, 100.0, 150.0, 200.0, 300.0, 500.0, 800.0)
#: What the sentence says of each action, in this order.
_ACTIONS = {"list": "to list", "lower": "to lower", "hold": "to hold", "give up": "to give up"}


def prices_sentence(study: Study) -> str:
    """How many things are to be listed, lowered, held and given up.

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
    parts = [f"{counts[action]:,} {said}" for action, said in _ACTIONS.items() if action in counts]
    waiting = len(study.unsold_items()) - len(plan)
    rest = f" Of {waiting:,} more none is known yet." if waiting > 0 else ""
    return Said(
        f"Of {count_of(len(plan), 'thing')} in stock whose typical price is known: {', '.join(parts)}.{rest}",
        [study.figure("things in stock", "shop", len(plan) + max(waiting, 0))],
    )


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


def changes_table(study: Study) -> Element:
    """What to list and what to lower now.

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
        "sold_share": "Chance to sell",
    }
    return _shown(found, headings, "Prices to change", study)


def offers_table(study: Study, *, every: bool = False) -> Element:
    """What is held: the lowest offer to take this week, the next markdown, when to give up.

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
    found = found.assign(
        markdown=[_markdown(row, study) for row in found[["markdown_weeks", "markdown_cents"]].itertuples(index=False)]
    )
    headings = {
        "item_id": "Item",
        "title": "Title",
        "price_cents": "Ask",
        "lowest_offer_cents": "Lowest offer to take",
        "markdown": "Next markdown",
        "give_up_weeks": "Give up after weeks",
        "sold_share": "Chance to sell",
        "worth_cents": "Still worth",
    }
    if every:
        return _shown(found, headings, f"All {len(found):,} of them", study, fold=True, most=len(found))
    return _shown(found, headings, "Offers to take this week, what is worth most first", study)


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
        "typical_cents": "Like things sell for",
        "cost_cents": "It cost",
    }
    caption = f"To give up: {count_of(len(found), 'thing')} that cost {_money(found['cost_cents'].sum(), study)}"
    return _shown(found.sort_values("weeks_listed", ascending=False, kind="stable"), headings, caption, study)


def fresh_table(study: Study) -> Element:
    """What is asked for least beside what a like thing newly on sale would be listed at.

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
    held = plan[(plan["action"] == "hold") & (plan["fresh_cents"] > plan["asked_cents"])]
    if held.empty:
        return _none(study, "Nothing held is asked less for than a like thing newly on sale would be.")
    ratio = (held["asked_cents"] / held["fresh_cents"]).rename("ratio")
    found = held.assign(ratio=ratio).sort_values(["ratio", "item_id"], kind="stable")
    headings = {
        "item_id": "Item",
        "title": "Title",
        "weeks_listed": "Weeks listed",
        "asked_cents": "Asked now",
        "fresh_cents": "Newly listed",
        "typical_cents": "Like things sell for",
    }
    return _shown(found, headings, "Asked for least beside a like thing newly on sale", study)


def frontier_frame(study: Study) -> pd.DataFrame:
    """Money against weeks for one example: the thing in stock that is worth most.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    DataFrame
        One row a path: ``title``, ``week_cents``, ``weeks``, ``money_cents``, ``sold_share``,
        ``list_price_cents``, ``chosen``; none where nothing is held. [cents]
    """
    plan = _plan(study)
    held = plan[plan["action"].isin(["list", "lower", "hold"])]
    if held.empty:
        return pd.DataFrame(columns=["title", "weeks", "money_cents", "list_price_cents", "sold_share", "chosen"])
    one = held.sort_values(["worth_cents", "item_id"], ascending=[False, True]).iloc[0]
    known = study.knowledge
    category = str(one["category"]) if str(one["category"]) in known["categories"] else SHOP
    asked = question(known, category, price_cents=float(one["typical_cents"]), size=str(one["size_class"]))
    points = thing_frontier(asked, week_cents=WEEK_CENTS)
    frame = pd.DataFrame([point[:-1] for point in points], columns=list(points[0]._fields[:-1]))
    return frame.assign(title=one["title"] or one["item_id"], chosen=frame["week_cents"] == 0)


def frontier_title(frontier: pd.DataFrame) -> str:
    """Title of the frontier's chart.

    Parameters
    ----------
    frontier : DataFrame
        As ``frontier_frame`` gives it.

    Returns
    -------
    str
        The example's own title.
    """
    return str(frontier["title"].iloc[0]) if len(frontier) else "What hurry costs"


def frontier_table(study: Study, frontier: pd.DataFrame) -> Element:
    """The same in figures.

    Parameters
    ----------
    study : Study
        The numbers.
    frontier : DataFrame
        As ``frontier_frame`` gives it.

    Returns
    -------
    Element
        For a page.
    """
    if frontier.empty:
        return _none(study, "Nothing is held, so there is nothing to hurry.")
    headings = {
        "week_cents": "A week sooner is worth",
        "list_price_cents": "List at",
        "weeks": "Weeks",
        "sold_share": "Chance to sell",
        "money_cents": "Money",
    }
    caption = "From the proposed path to the most hurried one"
    return _shown(frontier, headings, caption, study)


def _plan(study: Study) -> pd.DataFrame:
    """The plan, worth most first; no row where the books cannot say."""
    plan = study.price_plan
    if few_sales_sentence(study) or plan.empty:
        return pd.DataFrame(columns=["item_id", "category", "action", "asked_cents", "fresh_cents", "worth_cents"])
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
) -> Element:
    formats = {
        "sold_share": lambda share: "under 1%" if share < 0.01 else f"{share:.0%}",
        "give_up_weeks": lambda weeks: f"{weeks:,.0f}",
        "weeks": lambda weeks: f"{weeks:,.1f}",
        "weeks_listed": lambda weeks: f"{weeks:,.0f}",
    }
    money = [name for name in headings if name.endswith("_cents")]
    shown = frame.head(most).copy()
    for name in money:
        # Whole cents, so that a half cent of the plan shows nowhere.
        shown[name] = np.rint(shown[name].astype(np.float64))
    if len(frame) > most:
        caption = f"{caption} (first {most} of {len(frame):,})"
    return table(shown, caption=caption, headings=headings, formats=formats, fold=fold, currency=study.currency)


def _markdown(row: tuple[float, float], study: Study) -> str:
    weeks, cents = row
    return "none" if np.isnan(weeks) else f"{_money(cents, study)} in {weeks:.0f} weeks"


def _money(cents: float, study: Study) -> str:
    return show_cents(round(float(cents)), currency=study.currency)
