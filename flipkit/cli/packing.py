"""The command that plans a parcel: the cheapest safe way to send an item."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, day_of, json_option, refuse, say, settings_of, settings_option, told
from flipkit.cli.prices import on_option, rules_of_books
from flipkit.errors import PackError


@click.command()
@click.argument("sides")
@click.argument("weight")
@click.option("--title", default="the item", metavar="TEXT", help="What it is, so that the right cautions show.")
@click.option(
    "--fragility",
    default="moderately delicate",
    show_default=True,
    metavar="CLASS",
    help="How fragile it is, in the words of the cushioning table.",
)
@click.option("--value", default="0", metavar="AMOUNT", help="What it is worth, so what you lose if it breaks.")
@click.option("--upright", is_flag=True, help="It must stay upright.")
@click.option("--round", "round_section", is_flag=True, help="It is round along its longest side, or can be rolled.")
@click.option(
    "--notch", default="", metavar="SIDES", help="For an L shape: the empty corner of its box, sides in the same order."
)
@click.option("--pickup", is_flag=True, help="The buyer can collect it.")
@click.option("--zone", metavar="ZONE", help="Zone of the buyer; by default the assumed mix of zones.")
@click.option("--card", metavar="NAME", help="Rate card to use; by default the cheapest of the assumed ones.")
@click.option(
    "--stock", "stock_file", type=BOOKS, help="File of the boxes and cushioning you have; by default packing.toml."
)
@click.option("--trials", is_flag=True, help="Also try other cushioning and other wages.")
@click.option("--drawing", type=BOOKS, help="Write drawings of where to cut and fold into this HTML file.")
@settings_option
@rules_of_books
@on_option
@json_option
def packing(
    sides: str,
    weight: str,
    title: str,
    fragility: str,
    value: str,
    upright: bool,
    round_section: bool,
    notch: str,
    pickup: bool,
    zone: str | None,
    card: str | None,
    stock_file: Path | None,
    trials: bool,
    drawing: Path | None,
    settings: tuple[str, ...],
    books: Path | None,
    on_text: str,
    as_json: bool,
) -> None:
    """Say how to pack an unpacked item of these SIDES and this WEIGHT, or why not to ship it.

    Example: flipkit packing 20x14x10in 9lb --fragility delicate
    """
    from flipkit.books.write import staged
    from flipkit.packing.parcel import bare_item, drawings_page, plan_parcel

    item = bare_item(
        title,
        sides,
        weight,
        fragility=fragility,
        value=value,
        upright=upright,
        round_section=round_section,
        pickup=pickup,
        notch=notch,
    )
    parcel = plan_parcel(
        item,
        books=books or "",
        on=day_of(on_text),
        zone=zone or "",
        card=card or "",
        stock_file=stock_file,
        settings=settings_of(settings),
        **_learned(books),
    )
    tried = parcel.trials() if trials else []
    told(parcel.answer(), as_json, lambda _: [*parcel.reading(), *parcel.padding_table(), *tried])
    if drawing is not None:
        if not drawing.resolve().parent.is_dir():
            refuse(f"--drawing must be a file in a folder that exists, got {drawing}")
        with staged(drawing.resolve().parent) as stage:
            stage.write(drawing.name, drawings_page(parcel))
        say(f"Wrote the drawings into {drawing}", err=True)
    if parcel.plan.best is None:
        sys.exit(2)


def _learned(books: Path | None) -> dict[str, Any]:
    """What the newest report learned of packing: minutes by size class, and materials; nothing without a report."""
    from flipkit.analysis.knowledge_file import newest_knowledge, read_knowledge
    from flipkit.analysis.max_bid import SHOP

    try:
        knowledge = read_knowledge(newest_knowledge(books))
    except PackError:
        return {}
    sizes = knowledge["categories"][SHOP]["sizes"]
    minutes = {size: terms["pack_min"] for size, terms in sizes.items() if "pack_min" in terms}
    return {"learned_min": minutes, "materials_taught": knowledge.get("materials_taught", 1.0)}
