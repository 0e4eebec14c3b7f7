"""The command that plans a parcel: the cheapest safe way to send an item."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from flipkit.cli.answers import BOOKS, day_of, refuse, say, settings_of, told
from flipkit.cli.prices import books_option, json_option, on_option, settings_option


@click.command()
@click.argument("sides")
@click.argument("weight")
@click.option("--title", default="the item", help="What it is, for cautions.")
@click.option("--fragility", default="moderately delicate", help="Its class, as the cushioning table names it.")
@click.option("--value", default="0", help="What it is worth; what is lost if it breaks.")
@click.option("--upright", is_flag=True, help="Its height must stay upright.")
@click.option("--round", "round_section", is_flag=True, help="Round along its longest side, or can be rolled.")
@click.option("--notch", default="", help="Shaped like an L: the empty corner of its box, its sides in the same order.")
@click.option("--pickup", is_flag=True, help="The buyer can collect it.")
@click.option("--zone", help="Zone of the buyer; without it the assumed mix of zones.")
@click.option("--card", help="Rate card; by default the cheapest of the assumed ones counts.")
@click.option("--stock", "stock_file", type=BOOKS, help="TOML file of what is at hand; packing.toml of the books.")
@click.option("--trials", is_flag=True, help="Also try other cushioning, other wages.")
@click.option("--drawing", type=BOOKS, help="Write the cut and fold drawings into this HTML file.")
@settings_option
@books_option
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
    """How to pack a bare item, or why not to: flipkit packing 20x14x10in 9lb --fragility delicate."""
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
    )
    tried = parcel.trials() if trials else []
    told(parcel.answer(), as_json, lambda _: [*parcel.reading(), *parcel.padding_table(), *tried])
    if drawing is not None:
        if not drawing.resolve().parent.is_dir():
            refuse(f"--drawing must be a file in a folder that exists, got {drawing}")
        drawing.write_text(drawings_page(parcel), encoding="utf-8")
        say(f"drawings in {drawing}", err=True)
    if parcel.plan.best is None:
        sys.exit(2)
