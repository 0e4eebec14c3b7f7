"""Commands about prices: labels, fees, the price for a wanted net, what to answer to an offer."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import BOOKS, books_option, day_of, json_option, own_table, refuse, rules_folder, say, told
from flipkit.reports.answers import fee_words, offer_words, parcel_words, protection_words, voice_of

# Commands about what others charge: a parcel's label, a sale's fees, the price that leaves a net.

Command = Callable[..., None]

rules_of_books = books_option("the demo shop's rules")
on_option = click.option("--on", "on_text", default="", metavar="DATE", help="Day to answer for; by default today.")


@click.command()
@click.argument("sides")
@click.argument("weight")
@click.option("--zone", metavar="ZONE", help="Zone of the buyer; by default the assumed mix of zones.")
@click.option("--card", "cards", multiple=True, metavar="NAME", help="Use only this rate card; repeatable.")
@click.option("--packaging", default="box", metavar="WORD", help="What it is packed in, in the words of the rules.")
@click.option("--trim", metavar="LENGTH", help="Most to trim off a side; by default 2in or 5cm, 0 for none.")
@click.option("--declared", default="0", metavar="AMOUNT", help="Value that you declare.")
@click.option("--signature", is_flag=True, help="The receiver must sign.")
@rules_of_books
@on_option
@json_option
def parcel(
    sides: str,
    weight: str,
    zone: str | None,
    cards: Sequence[str],
    packaging: str,
    trim: str | None,
    declared: str,
    signature: bool,
    books: Path | None,
    on_text: str,
    as_json: bool,
) -> None:
    """Show what each carrier bills for a packed parcel of these SIDES and this WEIGHT.

    Example: flipkit parcel 24x18x12in 9lb --zone 5
    """
    from flipkit.assumptions import load_assumptions
    from flipkit.money import read_cents
    from flipkit.rules.parcel_advice import parcel_answer, read_sides
    from flipkit.rules.tables import load_rules
    from flipkit.units import read_length, read_weight

    voice = voice_of(books)
    said = voice.measures
    reach_in = read_length(trim or ("5 cm" if said.metric else "2 in"), unit=said.side_unit, name="--trim")
    answer = parcel_answer(
        load_rules(rules_folder(books)),
        on=day_of(on_text),
        sides_in=read_sides(sides, unit=said.side_unit),
        weight_lb=read_weight(weight, unit=said.mass_unit),
        zone=zone,
        zone_mix=None if zone else load_assumptions().zone_mix(),
        cards=cards,
        packaging=packaging,
        reach_in=reach_in,
        reach_lb=1.0 if reach_in else 0.0,
        declared_cents=read_cents(declared, name="--declared", currency=voice.currency),
        signature=signature,
    )
    told(answer, as_json, functools.partial(parcel_words, voice=voice))
    if not any(carrier.get("cards") for carrier in answer["carriers"]):
        say(f"No rate card, so no price of a label: {own_table(books, 'rate_cards')}", err=True)


def _sale_options(command: Command) -> Command:
    # The last one put on stands first in the help.
    for option in reversed(
        (
            click.option("--shipping", default="0", metavar="AMOUNT", help="What the buyer pays for shipping."),
            click.option("--label", default="0", metavar="AMOUNT", help="What the label costs you."),
            click.option(
                "--costs", default="0", metavar="AMOUNT", help="All other costs of the sale, the goods included."
            ),
            click.option("--category", metavar="NAME", help="Category, for venues that charge by it."),
            click.option("--venue", "venues", multiple=True, metavar="NAME", help="Use only this venue; repeatable."),
            click.option("--international", is_flag=True, help="The buyer is abroad."),
            click.option("--advertised", is_flag=True, help="The venue's advertising made the sale."),
            click.option("--level", "seller_level", metavar="WORD", help="Your seller level, in the venue's words."),
            click.option("--days", "days_listed", type=click.IntRange(min=0), help="Days listed, for listing fees."),
            click.option("--tax", "tax", default="0 %", metavar="PERCENT", help="Sales tax that the venue collects."),
            rules_of_books,
            on_option,
            json_option,
        )
    ):
        command = option(command)
    return command


@click.command()
@click.argument("price")
@_sale_options
def fees(price: str, as_json: bool, **options: Any) -> None:
    """Show what each venue takes of a sale at this PRICE, line by line.

    Example: flipkit fees 64 --shipping 12.50
    """
    from flipkit.rules.net_price import fees_answer

    _told_sale(fees_answer, "goods_cents", price, "price", as_json, options)


@click.command("net-price")
@click.argument("net")
@_sale_options
def net_price(net: str, as_json: bool, **options: Any) -> None:
    """Find the lowest price at each venue that leaves you this NET.

    Example: flipkit net-price 40 --label 11.30
    """
    from flipkit.rules.net_price import price_answer

    _told_sale(price_answer, "net_cents", net, "net", as_json, options)


@click.command()
@click.argument("item")
@click.argument("amount", required=False)
@click.option(
    "--from", "source", type=BOOKS, help="A pack or its stock.json; by default the newest pack of your books."
)
@books_option("the demo shop's")
@on_option
@json_option
def offer(item: str, amount: str | None, source: Path | None, books: Path | None, on_text: str, as_json: bool) -> None:
    """Say whether to take an offer, counter it or wait; without an AMOUNT, show the plan for the item.

    Example: flipkit offer A-0042 45
    """
    from flipkit.analysis.knowledge_file import PLANS, newest_knowledge, read_plans
    from flipkit.analysis.offers import offer_answer
    from flipkit.money import read_cents

    plans = read_plans(source or newest_knowledge(books, PLANS))
    cents = None if amount is None else read_cents(amount, name="offer", currency=plans["currency"])
    told(offer_answer(plans, item, cents, on=day_of(on_text)), as_json, offer_words)


@click.command()
@click.argument("value")
@click.option("--damage", default="2 %", show_default=True, metavar="PERCENT", help="Chance that it arrives damaged.")
@click.option("--loss", default="1 %", show_default=True, metavar="PERCENT", help="Chance that it gets lost.")
@click.option(
    "--signature-stops",
    default="50 %",
    show_default=True,
    metavar="PERCENT",
    help="Share of the losses that a signature prevents.",
)
@click.option("--card", "cards", multiple=True, metavar="NAME", help="Use only this rate card; repeatable.")
@rules_of_books
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
    """Say whether to declare the VALUE of a parcel or to ask for a signature.

    Example: flipkit protect 180 --damage "3 %"
    """
    from flipkit.money import read_cents, read_ppm
    from flipkit.rules.parcel_advice import protection_answer
    from flipkit.rules.tables import load_rules

    voice = voice_of(books)
    answer = protection_answer(
        load_rules(rules_folder(books)),
        on=day_of(on_text),
        value_cents=read_cents(value, name="value", currency=voice.currency),
        damage_ppm=read_ppm(damage, name="--damage"),
        loss_ppm=read_ppm(loss, name="--loss"),
        signature_stops_ppm=read_ppm(signature_stops, name="--signature-stops"),
        cards=cards,
    )
    if not answer["cards"]:
        refuse(f"no rate card has a fee for that: {own_table(books, 'rate_cards')}")
    told(answer, as_json, functools.partial(protection_words, voice=voice))


def _told_sale(
    answer: Callable[..., dict[str, Any]], key: str, amount: str, name: str, as_json: bool, options: dict[str, Any]
) -> None:
    """Answer about one sale, with the options that its commands share as the rules take them."""
    from flipkit.money import read_cents, read_ppm
    from flipkit.rules.tables import load_rules

    books = options.pop("books")
    voice = voice_of(books)
    asked: dict[str, Any] = {
        "rules": load_rules(rules_folder(books)),
        "on": day_of(options.pop("on_text")),
    }
    for part in ("shipping", "label", "costs"):
        asked[f"{part}_cents"] = read_cents(options.pop(part), name=f"--{part}", currency=voice.currency)
    asked["tax_ppm"] = read_ppm(options.pop("tax"), name="--tax")
    asked[key] = read_cents(amount, name=name, currency=voice.currency)
    said = answer(**asked, **options)
    if not (said["venues"] or said["left_out"]):
        refuse(f"no venue has a fee schedule: {own_table(books, 'fees')}")
    told(said, as_json, functools.partial(fee_words, voice=voice))
