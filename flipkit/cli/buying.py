"""The command for the shop aisle: the most to pay for a thing, from what the last report left."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from flipkit.cli.answers import BOOKS, told
from flipkit.cli.buying_words import buying_words

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
    from flipkit.analysis.buying_answers import buying_answer
    from flipkit.analysis.knowledge_file import newest_knowledge, read_knowledge
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
