"""The answer in the shop aisle as lines of text, the one that matters first."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from flipkit.cli.answers import columns
from flipkit.money import show_cents

#: Inputs named as what the price hangs on.
_MOST_DRIVERS = 4

Money = Callable[[int], str]


def buying_words(answer: dict[str, Any]) -> list[str]:
    """The most to pay and why.

    Parameters
    ----------
    answer : dict
        As ``analysis.buying_answers.buying_answer`` gives it.

    Returns
    -------
    list of str
        Lines.
    """
    money = functools.partial(show_cents, currency=answer["currency"])
    lines = [_verdict(answer, money), *_two_limits(answer, money), _course(answer, money), *_doubts(answer, money)]
    if "at_cost" in answer:
        lines += ["", *_cost_words(answer["at_cost"], money)]
    lines += ["", "What the price hangs on (highest price then):"]
    lines += columns(
        [
            [
                f"  {one['input']} {one['moved']}".replace(" -", " −"),
                f"{money(one['highest_at_first_cents'])} and {money(one['highest_at_second_cents'])}",
            ]
            for one in answer["drivers"][:_MOST_DRIVERS]
        ]
    )
    lines += ["", *_venue_words(answer, money)]
    if "parts" in answer:
        parts = answer["parts"]
        better = "sold in parts" if parts["better"] == "parts" else "kept whole"
        lines.append(
            f"Better {better}: for the target it may cost {money(parts['parts_for_target_cents'])} in parts, "
            f"{money(parts['whole_for_target_cents'])} whole."
        )
    return lines


def _verdict(answer: dict[str, Any], money: Money) -> str:
    thing = f"{answer['category']}, {answer['size_class']}, like things sell for {money(answer['typical_cents'])}"
    if not answer["highest_cents"]:
        return f"Leave it ({thing})."
    return f"Pay {money(answer['highest_cents'])} at most ({thing})."


def _two_limits(answer: dict[str, Any], money: Money) -> list[str]:
    target, limit = money(answer["target_cents_per_hour"]), f"{answer['loss_limit_share']:.0%}"
    counts = {"target": "", "loss": ""} | {answer["binding"]: ", which counts"}
    return [
        f"For {target} an hour: {_at_most(answer['for_target_cents'], money)} (80 times of 100 between "
        f"{_at_most(answer['for_target_low_cents'], money)} and {_at_most(answer['for_target_high_cents'], money)})"
        f"{counts['target']}.",
        f"For a chance of loss of {limit}: {_at_most(answer['for_loss_cents'], money)}{counts['loss']}.",
    ]


def _at_most(cents: int, money: Money) -> str:
    return money(cents) if cents > 0 else "nothing"


def _course(answer: dict[str, Any], money: Money) -> str:
    if not answer["list_cents"]:
        return "No price would pay for the work of selling it."
    later = [f"{money(step['price_cents'])} from week {step['week'] + 1}" for step in answer["price_path"][1:]]
    return (
        f"List it at {money(answer['list_cents'])}{'; then ' + ', '.join(later) if later else ''}. It sells with a "
        f"chance of {answer['sold_share']:.0%}, at {money(answer['mean_sale_cents'])} on average, after "
        f"{answer['expected_weeks']:.0f} weeks on sale; it takes {answer['owner_min']:.0f} minutes of your work."
    )


def _doubts(answer: dict[str, Any], money: Money) -> list[str]:
    found = []
    if answer["judged_by"] != answer["category"]:
        found.append(f"The books know no {answer['category']!r}: judged by the {answer['judged_by']}.")
    if answer["overview_says_stop"]:
        found.append(
            f"The overview says stop for {answer['judged_by']}: what you bought of them so far most likely missed your "
            f"target. A price here counts on this one selling for what is said."
        )
    if answer["too_few_to_tell"]:
        sales = answer["sales_in_books"]
        found.append(f"Too few to tell: {sales} sale{'' if sales == 1 else 's'} of such things; the rest is assumed.")
    if answer["typical_from"] == "books":
        found.append("No price was given, so what such things sold for counts: name one with --price or --comparable.")
    if answer.get("outliers_cents"):
        found.append(f"Far from the others, so damped: {', '.join(money(one) for one in answer['outliers_cents'])}.")
    return found


def _cost_words(judged: dict[str, Any], money: Money) -> list[str]:
    hourly = judged["cents_per_hour"]
    earns = "no hour's work to speak of" if hourly is None else f"{money(hourly)} an hour"
    lines = [
        f"At {money(judged['cost_cents'])}: {'buy' if judged['worth_it'] else 'leave it'}; it would bring {earns}, "
        f"and lose money with a chance of {judged['loss_chance_share']:.0%}."
    ]
    if judged["turning_typical_cents"] is not None:
        lines.append(f"It turns where like things sell for {money(judged['turning_typical_cents'])}.")
    if "more_comparables_to_turn" in judged:
        more, chance = judged["more_comparables_to_turn"], f"{judged['more_comparables_chance_share']:.0%}"
        lines.append(
            f"No number of comparables that you could find would turn it with a chance of {chance}."
            if more is None
            else f"{more} more comparable{'' if more == 1 else 's'} would turn it with a chance of {chance} or more."
        )
    return lines


def _venue_words(answer: dict[str, Any], money: Money) -> list[str]:
    rows = []
    for one in answer["venues"]:
        how = "collected" if one["collected"] else "posted"
        rows.append(
            [
                f"  {one['venue']} ({how})",
                f"{_at_most(one['highest_cents'], money)} at most",
                f"{one['expected_weeks']:.0f} weeks",
                f"sells {one['sold_share']:.0%}",
            ]
        )
    lines = ["Where to sell it, the best first:", *columns(rows)]
    best = {kind: next((one for one in answer["venues"] if one["collected"] == kind), None) for kind in (True, False)}
    local, posted = best[True], best[False]
    if local and posted and (local["highest_cents"] or posted["highest_cents"]):
        word, gap = "Local", local["highest_cents"] - posted["highest_cents"]
        if gap < 0:
            word, gap = "Posted", -gap
        lines.append(
            f"{word} is better: it allows {money(gap)} more." if gap else "Local or posted: both allow as much."
        )
    return lines
