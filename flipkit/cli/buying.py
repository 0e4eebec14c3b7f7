"""The command for the shop aisle: the most to pay for a thing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import click

from flipkit.cli.answers import BOOKS, books_option, json_option, told
from flipkit.errors import AssumptionError
from flipkit.reports.answers import buying_words


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
