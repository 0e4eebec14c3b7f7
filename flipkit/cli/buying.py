"""The command for the shop aisle: the most to pay for a thing."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, books_option, columns, json_option, told
from flipkit.errors import AssumptionError

# The answer in the shop aisle as lines of text, the one that matters first.

#: Inputs named as what the price hangs on.
_MOST_DRIVERS = 4
#: Later prices that are named.
_MOST_STEPS = 3
#: Comparables of which less than this share is left are doubted aloud; of which less than the other, ignored.
_DOUBTED, _IGNORED = 0.9, 0.05

Money = Callable[[int], str]


def buying_words(answer: dict[str, Any]) -> list[str]:
    """The most to pay and why."""
    from flipkit.money import show_cents

    money = functools.partial(show_cents, currency=answer["currency"])
    lines = [_verdict(answer, money), _recommended(answer, money), *_two_limits(answer, money)]
    lines += [_course(answer, money, "As you price now"), *_doubts(answer, money)]
    if "at_cost" in answer:
        lines += ["", *_cost_words(answer["at_cost"], money)]
    moving = [one for one in answer["drivers"] if one["highest_at_first_cents"] != one["highest_at_second_cents"]]
    if moving:
        lines += ["", "What would change it (the most to pay then):"]
    lines += columns(
        [
            [
                f"  {one['input']} {one['moved']}".replace(" -", " −"),
                f"{money(one['highest_at_first_cents'])} and {money(one['highest_at_second_cents'])}",
            ]
            for one in moving[:_MOST_DRIVERS]
        ]
    )
    lines += ["", *_venue_words(answer, money)]
    if "parts" in answer:
        parts = answer["parts"]
        better = "sold in parts" if parts["better"] == "parts" else "kept whole"
        lines.append(
            f"Better {better}: to reach the target, pay at most {money(parts['parts_for_target_cents'])} to sell it in "
            f"parts, {money(parts['whole_for_target_cents'])} to sell it whole."
        )
    return lines


def _verdict(answer: dict[str, Any], money: Money) -> str:
    thing = f"{answer['category']}, {answer['size_class']}, like things sell for {money(answer['typical_cents'])}"
    if not answer["highest_cents"]:
        return f"Leave it ({thing})."
    return f"Pay {money(answer['highest_cents'])} at most ({thing})."


def _recommended(answer: dict[str, Any], money: Money) -> str:
    """The second answer: if it is listed as recommended."""
    best = answer["recommended"]
    place = f" at {best['venue']}{' (collected)' if best['collected'] else ''}" if best["venue"] else ""
    if not best["highest_cents"]:
        return "Even if you list it in the best way and place, it is not worth buying."
    return (
        f"If you list it{place} as recommended: {money(best['highest_cents'])} at most. {_steps(best, money)} It then "
        f"sells {best['sold_share']:.0%} of the time, after {best['expected_weeks']:.0f} weeks; it earns less if "
        "buyers turn away from high prices faster than so far."
    )


def _steps(course: dict[str, Any], money: Money) -> str:
    later = [f"{money(step['price_cents'])} from week {step['week'] + 1}" for step in course["price_path"][1:]]
    named = [*later[:_MOST_STEPS], *(["and so on"] if len(later) > _MOST_STEPS else [])]
    return f"List it at {money(course['list_cents'])}{'; then ' + ', '.join(named) if named else ''}."


def _two_limits(answer: dict[str, Any], money: Money) -> list[str]:
    target, limit = money(answer["target_cents_per_hour"]), f"{answer['loss_limit_share']:.0%}"
    counts = {"target": "", "loss": "", "price": ""} | {answer["binding"]: " This limit decides."}
    lost = f" of {money(answer['loss_from_cents'])} or more" if answer["loss_from_cents"] else ""
    lines = [
        f"The most to pay for {target} an hour: {_at_most(answer['for_target_cents'], money)} (probably between "
        f"{_at_most(answer['for_target_low_cents'], money)} and {_at_most(answer['for_target_high_cents'], money)}; "
        f"80% interval).{counts['target']}",
        f"The most to pay for a {limit} chance of a loss{lost}: {_at_most(answer['for_loss_cents'], money)}."
        f"{counts['loss']}",
    ]
    if answer["binding"] == "price":
        lines.append("Never pay more than like things sell for. This limit decides.")
    return lines


def _at_most(cents: int, money: Money) -> str:
    return money(cents) if cents > 0 else "nothing"


def _course(answer: dict[str, Any], money: Money, how: str) -> str:
    return (
        f"{how}: {_steps(answer, money)} It sells {answer['sold_share']:.0%} of the time, at "
        f"{money(answer['mean_sale_cents'])} on average, after {answer['expected_weeks']:.0f} weeks on sale. It takes "
        f"{answer['owner_min']:.0f} minutes of your work."
    )


def _doubts(answer: dict[str, Any], money: Money) -> list[str]:
    found = []
    if answer["judged_by"] != answer["category"]:
        known = ", ".join(answer["known_categories"])
        found.append(
            f"Your books have no {answer['category']!r}, so this goes by the {answer['judged_by']}. They have {known}."
        )
    elif answer["decision"]:
        found.append(f"This month's decision on {answer['judged_by']}: {answer['decision']}")
    if answer["too_few_to_tell"]:
        sales = answer["sales_in_books"]
        found.append(
            f"Too few to tell: {sales} sale{'' if sales == 1 else 's'} of such things, so the rest is assumed."
        )
    if answer["typical_from"] == "books":
        found.append(
            "You gave no price, so this goes by what such things sold for. Give one with --price or --comparable."
        )
    if answer["typical_from"] == "comparables and price":
        found.append(f"Your price and the comparables count together: {money(answer['typical_cents'])}.")
    if step := answer["fee_step"]:
        found.append(
            f"At {step['venue']} the fee jumps by {money(step['fee_rise_cents'])} just above "
            f"{money(step['price_cents'])}, so one that sells for a little more can be worth less."
        )
    return found + _comparable_doubts(answer, money)


def _comparable_doubts(answer: dict[str, Any], money: Money) -> list[str]:
    """What is odd about the comparables or the price."""
    found = []
    groups = answer.get("groups_cents")
    if groups:
        found.append(
            f"The comparables are two groups, about {money(groups[0])} and about {money(groups[1])}. Find out which "
            "one yours belongs to: the range covers both."
        )
    if answer.get("outliers_cents"):
        found.append(
            f"Far from the others, so they count less: {', '.join(money(one) for one in answer['outliers_cents'])}."
        )
    trust = answer.get("comparables_trust_share", 1.0)
    if trust < _DOUBTED:
        usual, seen = money(answer["usual_cents"]), money(answer["comparables_middle_cents"])
        rest = "they don't count" if trust < _IGNORED else "they count less"
        found.append(
            f"Caution: {answer['judged_by']} sell for about {usual} in your books, and the comparables say {seen}. So "
            f"{rest}. Is a decimal point misplaced, or is this another kind of thing?"
        )
    if answer.get("guess_is_far"):
        found.append(
            f"Caution: {answer['judged_by']} sell for about {money(answer['usual_cents'])} in your books. Is the price "
            "right?"
        )
    if answer.get("typed_again"):
        found.append(
            "You gave the same price more than once, so it counts as one sale: give the days if they were several "
            "(--comparable '60 2026-10-02')."
        )
    return found


def _cost_words(judged: dict[str, Any], money: Money) -> list[str]:
    hourly = judged["cents_per_hour"]
    earns = "money for almost no work" if hourly is None else f"{money(hourly)} an hour"
    verdict = "buy" if judged["worth_it"] else "leave it"
    if judged["worth_it_if_recommended"] and not judged["worth_it"]:
        verdict = "leave it, unless you list it as recommended"
    lines = [
        f"At {money(judged['cost_cents'])}: {verdict}. As you price now it would bring {earns} and lose money "
        f"{judged['loss_chance_share']:.0%} of the time."
    ]
    if judged["turning_typical_cents"] is not None:
        lines.append(f"This changes if like things sell for {money(judged['turning_typical_cents'])}.")
    if "more_comparables_to_turn" in judged:
        more, chance = judged["more_comparables_to_turn"], f"{judged['more_comparables_chance_share']:.0%}"
        lines.append(
            f"However many comparables you find, the chance that they change this stays below {chance}."
            if more is None
            else f"{more} more comparable{'' if more == 1 else 's'} would change this with a chance of {chance}."
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
        word, gap = "Selling locally", local["highest_cents"] - posted["highest_cents"]
        if gap < 0:
            word, gap = "Posting it", -gap
        lines.append(
            f"{word} is better: you can pay {money(gap)} more."
            if gap
            else "Sell it locally or post it: you can pay the same."
        )
    return lines


# The command for the shop aisle: the most to pay for a thing, from what the last report left.


@click.command()
@click.argument("category")
@click.option("--price", metavar="AMOUNT", help="What you think like things sell for.")
@click.option(
    "--comparable",
    "comparables",
    multiple=True,
    metavar="SALE",
    help="A price that a like thing sold for, with its day and condition if you know them: '60 2026-10-02 good'; "
    "repeatable.",
)
@click.option("--condition", default="", metavar="WORD", help="Its condition, in the words of the comparables.")
@click.option("--size", default="", metavar="CLASS", help="Size class when packed: small, medium, bulky or oversize.")
@click.option("--weight", metavar="WEIGHT", help="Packed weight, such as 9lb; by default the usual one of such things.")
@click.option("--cost", metavar="AMOUNT", help="The asking price, to hear whether it is worth that.")
@click.option("--venue", default="", metavar="NAME", help="Where you will sell it; by default where most of them sold.")
@click.option("--target", metavar="AMOUNT", help="What an hour should bring; by default the last report's target.")
@click.option("--loss", "loss", metavar="PERCENT", help="Highest chance of losing money that you accept, such as 40 %.")
@click.option(
    "--at-sale",
    metavar="AMOUNT",
    help="What its label and packing cost you beyond the shipping charged ('flipkit parcel' tells it); by default the "
    "usual cost of such things.",
)
@click.option(
    "--part", "parts", multiple=True, metavar="AMOUNT", help="What one part would sell for alone; repeatable."
)
@click.option("--apart", "apart_min", type=click.FloatRange(0), default=0.0, help="Minutes to take it apart.")
@click.option(
    "--from", "source", type=BOOKS, help="A pack or its knowledge.json; by default the newest pack of your books."
)
@books_option("the demo shop's")
@json_option
def buy(
    category: str,
    price: str | None,
    comparables: Sequence[str],
    condition: str,
    size: str,
    weight: str | None,
    cost: str | None,
    venue: str,
    target: str | None,
    loss: str | None,
    at_sale: str | None,
    parts: Sequence[str],
    apart_min: float,
    source: Path | None,
    books: Path | None,
    as_json: bool,
) -> None:
    """Find the most to pay for a thing of this CATEGORY.

    Example: flipkit buy cookware --price 60 --size small
    """
    from flipkit.analysis.knowledge_file import newest_knowledge, read_knowledge
    from flipkit.analysis.max_bid import buying_answer, sales_compared
    from flipkit.money import read_cents, read_ppm
    from flipkit.units import read_weight

    knowledge = read_knowledge(source or newest_knowledge(books))
    answer = buying_answer(
        knowledge,
        category,
        price_cents=None if price is None else read_cents(price, name="--price"),
        **sales_compared(knowledge, [_comparable(one) for one in comparables], condition),
        size=size,
        weight_lb=None if weight is None else read_weight(weight, name="--weight"),
        venue=venue,
        cost_cents=None if cost is None else read_cents(cost, name="--cost"),
        target_cents=None if target is None else read_cents(target, name="--target"),
        loss_limit=None if loss is None else read_ppm(loss, name="--loss") / 1e6,
        at_sale_cents=None if at_sale is None else read_cents(at_sale, name="--at-sale"),
        parts_cents=[read_cents(one, name="--part") for one in parts],
        apart_min=apart_min,
    )
    told(answer, as_json, buying_words)


def _comparable(text: str) -> tuple[int, dt.date | None, str]:
    """A price, then perhaps a day and a condition.

    >>> _comparable("60 2026-10-02 good"), _comparable("$45")
    ((6000, datetime.date(2026, 10, 2), 'good'), (4500, None, ''))
    """
    from flipkit.money import read_cents

    words = text.replace(",", " , ").split(" , ") if ", " in text else [text]
    price, *rest = " ".join(words).split()
    day = next((one for one in rest if one[:4].isdigit()), None)
    try:
        when = dt.date.fromisoformat(day) if day else None
    except ValueError:
        raise AssumptionError("--comparable", need="a price, a day such as 2026-10-02, a condition", got=text) from None
    return read_cents(price, name="--comparable"), when, " ".join(one for one in rest if one != day)
