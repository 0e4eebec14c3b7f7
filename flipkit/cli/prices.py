"""Commands about what others charge: a parcel's label, a sale's fees, the price that leaves a net."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, day_of, rules_folder, told
from flipkit.cli.charge_words import fee_words, parcel_words, protection_words

Command = Callable[..., None]

books_option = click.option("--books", type=BOOKS, help="Books whose rules folder counts; the demo shop's by default.")
on_option = click.option("--on", "on_text", default="", metavar="DATE", help="Day of the event; today by default.")
settings_option = click.option(
    "--set", "settings", multiple=True, metavar="KEY=VALUE", help="An assumption for this run alone."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, with units in its keys.")


@click.command()
@click.argument("sides")
@click.argument("weight")
@click.option("--zone", help="Zone of the buyer; without it the assumed mix of zones.")
@click.option("--card", "cards", multiple=True, help="Only this rate card; may be repeated.")
@click.option("--packaging", default="box", help="What it is packed in, as the carriers' rules name it.")
@click.option("--trim", "trim_in", type=click.FloatRange(0, 12), default=2.0, help="Inches that could be trimmed.")
@click.option("--declared", default="0", help="Declared value.")
@click.option("--signature", is_flag=True, help="The receiver signs.")
@books_option
@on_option
@json_option
def parcel(
    sides: str,
    weight: str,
    zone: str | None,
    cards: Sequence[str],
    packaging: str,
    trim_in: float,
    declared: str,
    signature: bool,
    books: Path | None,
    on_text: str,
    as_json: bool,
) -> None:
    """What carriers bill for a packed parcel: flipkit parcel 24x18x12in 9lb."""
    from flipkit.assumptions import load_assumptions
    from flipkit.money import read_cents
    from flipkit.rules.parcel_advice import parcel_answer, read_sides
    from flipkit.rules.tables import load_rules
    from flipkit.units import read_weight

    answer = parcel_answer(
        load_rules(rules_folder(books)),
        on=day_of(on_text),
        sides_in=read_sides(sides),
        weight_lb=read_weight(weight),
        zone=zone,
        zone_mix=None if zone else load_assumptions().zone_mix(),
        cards=cards,
        packaging=packaging,
        reach_in=trim_in,
        reach_lb=1.0 if trim_in else 0.0,
        declared_cents=read_cents(declared, name="--declared"),
        signature=signature,
    )
    told(answer, as_json, parcel_words)


def _sale_options(command: Command) -> Command:
    for option in (
        click.option("--shipping", default="0", help="What the buyer pays for shipping."),
        click.option("--label", default="0", help="What the label costs."),
        click.option("--costs", default="0", help="Whatever else the sale costs, the goods included."),
        click.option("--category", help="Category, where a venue charges by it."),
        click.option("--venue", "venues", multiple=True, help="Only this venue; may be repeated."),
        click.option("--international", is_flag=True, help="The buyer is abroad."),
        click.option("--advertised", is_flag=True, help="Sold through the venue's advertising."),
        click.option("--level", "seller_level", help="The seller's standing, as the venue names it."),
        click.option("--days", "days_listed", type=click.IntRange(min=0), help="Days listed, for listing fees."),
        click.option("--tax", "tax", default="0 %", help="Tax that the venue collects, such as 7 %."),
        books_option,
        on_option,
        json_option,
    ):
        command = option(command)
    return command


@click.command()
@click.argument("price")
@_sale_options
def fees(price: str, as_json: bool, **options: Any) -> None:
    """What each venue takes of a sale, line by line: flipkit fees 64 --shipping 12.50."""
    from flipkit.money import read_cents
    from flipkit.rules.fee_answers import fees_answer

    asked = _sale(**options)
    told(fees_answer(goods_cents=read_cents(price, name="price"), **asked), as_json, fee_words)


@click.command("net-price")
@click.argument("net")
@_sale_options
def net_price(net: str, as_json: bool, **options: Any) -> None:
    """The lowest price at each venue that leaves a wanted net: flipkit net-price 40 --label 11.30."""
    from flipkit.money import read_cents
    from flipkit.rules.fee_answers import price_answer

    asked = _sale(**options)
    told(price_answer(net_cents=read_cents(net, name="net"), **asked), as_json, fee_words)


@click.command()
@click.argument("value")
@click.option("--damage", default="2 %", help="Chance that it arrives damaged.")
@click.option("--loss", default="1 %", help="Chance that it is lost.")
@click.option("--signature-stops", default="50 %", help="Part of the losses that a signature prevents.")
@click.option("--card", "cards", multiple=True, help="Only this rate card; may be repeated.")
@books_option
@on_option
@json_option
def protect(
    value: str,
    damage: str,
    loss: str,
    signature_stops: str,
    cards: Sequence[str],
    books: Path | None,
    on_text: str,
    as_json: bool,
) -> None:
    """Whether to declare a value or ask for a signature: flipkit protect 180 --damage "3 %"."""
    from flipkit.money import read_cents, read_ppm
    from flipkit.rules.parcel_advice import protection_answer
    from flipkit.rules.tables import load_rules

    answer = protection_answer(
        load_rules(rules_folder(books)),
        on=day_of(on_text),
        value_cents=read_cents(value, name="value"),
        damage_ppm=read_ppm(damage, name="--damage"),
        loss_ppm=read_ppm(loss, name="--loss"),
        signature_stops_ppm=read_ppm(signature_stops, name="--signature-stops"),
        cards=cards,
    )
    told(answer, as_json, protection_words)


def _sale(
    books: Path | None, on_text: str, shipping: str, label: str, costs: str, tax: str, **rest: Any
) -> dict[str, Any]:
    """The options that a sale's commands share, as the rules take them."""
    from flipkit.money import read_cents, read_ppm
    from flipkit.rules.tables import load_rules

    return {
        "rules": load_rules(rules_folder(books)),
        "on": day_of(on_text),
        "shipping_cents": read_cents(shipping, name="--shipping"),
        "label_cents": read_cents(label, name="--label"),
        "costs_cents": read_cents(costs, name="--costs"),
        "tax_ppm": read_ppm(tax, name="--tax"),
        **rest,
    }
