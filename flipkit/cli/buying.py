"""The command for the shop aisle: the most to pay for a thing."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, columns, told
from flipkit.money import show_cents

# The answer in the shop aisle as lines of text, the one that matters first.

#: Inputs named as what the price hangs on.
_MOST_DRIVERS = 4

Money = Callable[[int], str]


def buying_words(answer: dict[str, Any]) -> list[str]:
    """The most to pay and why."""
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


# The command for the shop aisle: the most to pay for a thing, from what the last report left.

#: Where reports leave their packs, below the folder that the command is started in.
PACKS = "packs"


@click.command()
@click.argument("category")
@click.option("--price", help="What like things sell for, as you think.")
@click.option("--comparable", "comparables", multiple=True, help="What a like thing sold for; may be repeated.")
@click.option("--size", default="", help="Size class when packed: small, medium, bulky or oversize.")
@click.option("--weight", help="Packed weight, such as 9lb; by default as such things mostly weigh.")
@click.option("--cost", help="What is asked for it: is it worth that?")
@click.option("--venue", default="", help="Where it is to be sold; by default where such things mostly sold.")
@click.option("--target", help="What an hour should bring; by default as the last report assumed.")
@click.option("--loss", "loss", help="Chance of losing money not to be passed, such as 40 %.")
@click.option(
    "--at-sale",
    help="What its label and packing cost beyond the shipping charged, by its own size and weight ('flipkit parcel'); "
    "by default as such things mostly cost.",
)
@click.option("--part", "parts", multiple=True, help="What a part of it would sell for alone; may be repeated.")
@click.option("--apart", "apart_min", type=click.FloatRange(0), default=0.0, help="Minutes to take it apart.")
@click.option("--from", "source", type=BOOKS, help="A pack or its knowledge.json; by default the newest in packs.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, with units in its keys.")
def buy(
    category: str,
    price: str | None,
    comparables: Sequence[str],
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
    as_json: bool,
) -> None:
    """The most to pay for a thing of CATEGORY: flipkit buy cookware --price 60 --size small."""
    from flipkit.analysis.knowledge_file import newest_knowledge, read_knowledge
    from flipkit.analysis.max_bid import buying_answer
    from flipkit.money import read_cents, read_ppm
    from flipkit.units import read_weight

    answer = buying_answer(
        read_knowledge(source or newest_knowledge(Path(PACKS))),
        category,
        price_cents=None if price is None else read_cents(price, name="--price"),
        comparables_cents=[read_cents(one, name="--comparable") for one in comparables],
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
