"""Commands about prices: labels, fees, the price for a wanted net, what to answer to an offer."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from flipkit.cli.answers import (
    BOOKS,
    Voice,
    books_option,
    columns,
    day_of,
    json_option,
    own_table,
    refuse,
    rules_folder,
    say,
    told,
    voice_of,
)

# The answers about charges as lines of text.

_LINES = ("commission", "per_order", "payment", "advertising", "listing", "international", "seller_level")
_PARTS = ("base", "surcharge", "fuel", "signature", "protection")
#: Trims shown before the rest is counted.
_MOST_TRIMS = 6


def parcel_words(answer: dict[str, Any], voice: Voice | None = None) -> list[str]:
    """What carriers bill for a parcel; in dollars, inches and pounds where no shop's voice is given."""
    voice = voice or voice_of(None)
    said = voice.measures
    sides = said.span(*(answer[f"{side}_in"] for side in ("length", "width", "height")), spec="g")
    room = said.hollow(answer["volume_cu_in"] / 1_728) if said.metric else f"{answer['volume_cu_in']:,.0f} cu in"
    lines = [
        f"{sides}, {said.mass(answer['weight_lb'], spec='g')} on the scale, on {answer['on']}",
        f"length plus girth {said.span(answer['length_plus_girth_in'], spec='g')}, united "
        f"{said.span(answer['united_in'], spec='g')}, {room}"
        + (f", {answer['size_class']}" if answer.get("size_class") else ""),
    ]
    for carrier in answer["carriers"]:
        lines += ["", *_carrier_words(carrier, voice)]
    return lines


def _carrier_words(carrier: dict[str, Any], voice: Voice) -> list[str]:
    unit = "kg" if "billable_kg" in carrier else "lb"
    name = carrier["carrier"] + (f", {carrier['rates']} rates" if carrier["rates"] else "")
    billed = f"{name}: billed at {carrier[f'billable_{unit}']:g} {unit}"
    if carrier["space_pays"]:
        billed += f" because of its space (it weighs {carrier[f'scale_{unit}']:g} {unit})"
    if carrier["over_maximum"]:
        billed += "; this is over the carrier's maximum"
    lines = [f"{billed} (rule {carrier['block']}, {carrier['seen']})"]
    for trigger in carrier["triggers"]:
        lines.append(f"  {_trigger_words(trigger)}")
    for card in carrier.get("cards", []):
        lines += [f"  {line}" for line in _card_words(card, voice)]
    return lines


def _trigger_words(trigger: dict[str, Any]) -> str:
    name = trigger["surcharge"].replace("_", " ")
    unit = next((key.removeprefix("value_") for key in trigger if key.startswith("value_")), "")
    if unit:
        shown = unit.replace("_", " ")
        why = (
            f"{trigger['measure'].replace('_', ' ')} {trigger[f'value_{unit}']:,g} {shown}, "
            f"over {trigger[f'threshold_{unit}']:,g}"
        )
    else:
        why = str(trigger.get("word", trigger["measure"]))
    tail = "" if trigger["applies"] else "; not charged, because a larger surcharge is"
    minimum = next((trigger[key] for key in trigger if key.startswith("minimum_billable_")), 0)
    if minimum:
        tail += f"; billed as at least {minimum:g}"
    return f"{name}: {why}{tail}"


def _card_words(card: dict[str, Any], voice: Voice) -> list[str]:
    rows, refused = [], []
    for service in card["services"]:
        if service["refused"]:
            refused.append(f"  {service['service']}: {service['refused']}")
            continue
        parts = ", ".join(
            f"{part} {voice.money(service[f'{part}_cents'])}" for part in _PARTS if service.get(f"{part}_cents")
        )
        price = voice.money(service["total_cents"])
        if service.get("low_cents") != service.get("high_cents"):
            price += f" on average, {voice.money(service['low_cents'])} to {voice.money(service['high_cents'])}"
        rows.append([f"  {service['service']}", price, f"({parts})"])
    lines = [f"rate card {card['card']}, zone {card['zone']} ({card['block']}):", *columns(rows), *refused]
    later = card.get("entered_by_weight_alone")
    if later and later["below_billable"]:
        lines.append(
            f"  if you enter only its scale weight, you pay {voice.money(later['bought_cents'])} now and probably "
            f"{voice.money(later['adjustment_cents'])} more later"
        )
    trims = card.get("trims", [])
    for trim in trims[:_MOST_TRIMS]:
        what = _trimmed(trim, voice)
        lines.append(f"  {what} saves {voice.money(trim['saves_cents'])}: {trim['why']}")
    if len(trims) > _MOST_TRIMS:
        lines.append(f"  and {len(trims) - _MOST_TRIMS} more ways to trim; --json lists them")
    return lines


def _trimmed(trim: dict[str, Any], voice: Voice) -> str:
    said = voice.measures
    if "by_lb" in trim:
        return f"{said.mass(trim['by_lb'], spec='g')} less"
    sides = said.span(*(trim[f"{side}_in"] for side in ("length", "width", "height")), spec="g")
    return f"{said.span(trim['by_in'], spec='g')} less {trim['trim'].replace(' and ', ', ')}, to {sides},"


def fee_words(answer: dict[str, Any], voice: Voice) -> list[str]:
    """What each venue takes of a sale and leaves."""
    lines = []
    for venue in answer["venues"]:
        head = f"{venue['venue']}: "
        if "price_cents" in venue:
            head += f"a price of {voice.money(venue['price_cents'])} leaves {voice.money(venue['net_cents'])}"
        else:
            head += f"leaves {voice.money(venue['net_cents'])}"
        lines.append(f"{head} (rule {venue['block']}, {venue['seen']})")
        rows = [
            [f"  {line.replace('_', ' ')}", voice.money(venue[f"{line}_cents"])]
            for line in _LINES
            if venue[f"{line}_cents"]
        ]
        lines += columns([*rows, ["  total fees", voice.money(venue["total_cents"])]])
    lines += [f"{venue['venue']} is left out: {venue['why']}" for venue in answer["left_out"]]
    return lines


def _venues_told(answer: dict[str, Any], voice: Voice, books: Path | None, as_json: bool) -> None:
    """Print what venues take; without any, say where a fee schedule goes."""
    if not (answer["venues"] or answer["left_out"]):
        refuse(f"no venue has a fee schedule: {own_table(books, 'fees')}")
    told(answer, as_json, functools.partial(fee_words, voice=voice))


def offer_words(answer: dict[str, Any]) -> list[str]:
    """What to answer to an offer, what the plan for the thing is, and what patience brings."""
    money = functools.partial(_whole_money, answer["currency"])
    name = f"{answer['title'] or answer['item_id']} ({answer['item_id']})"
    lines = [name]
    lowest = answer["lowest_offer_cents"]
    if "offer_cents" in answer:
        lines.append(_offer_answer(answer, money))
    if answer["given_up"]:
        lines.append(f"The plan is to clear it out. That was due on {_day_words(answer['since'])}.")
    else:
        until = f" until {_day_words(answer['until'])}" if answer["until"] else ""
        asked = answer["asked_cents"]
        now = f"Ask {money(answer['ask_cents'])}" + (
            f" ({money(asked)} now)" if asked not in {None, answer["ask_cents"]} else ""
        )
        lines.append(f"{now}. The lowest offer to take is {money(lowest)}{until}.")
        step = next((one for one in answer["next"] if one["ask_cents"] != answer["ask_cents"]), None)
        if step:
            then = f"mark it down to {money(step['ask_cents'])}" if step["ask_cents"] else "clear it out"
            why = ""
            if step["ask_cents"] and step["ask_cents"] < lowest:
                why = " Until then a buyer may still pay the full price, so a lower offer is not worth taking yet."
            lines.append(f"On {_day_words(step['on'])}, {then}.{why}")
    lines.append(f"This plan is from the report of {_day_words(answer['plan_as_of'])}.")
    if "offer_cents" not in answer and answer["patience"]:
        lines += [
            "",
            *columns(
                [["sell within", "ask", "lowest offer", "chance", "brings", "per hour"]]
                + [_patience_words(row, money) for row in answer["patience"]]
            ),
        ]
        lines += [reason] if (reason := _patience_reason(answer, money)) else []
    return lines


def _patience_reason(answer: dict[str, Any], money: Callable[[int], str]) -> str:
    """Why the recommended wait is recommended."""
    hurried = [row for row in answer["patience"] if row["way"] == "within"]
    best = next((row for row in answer["patience"] if row["way"] == "planned"), None)
    if best is None or not best["ask_cents"]:
        return ""
    weeks, said = "1 week" if best["within_weeks"] == 1 else f"{best['within_weeks']} weeks", []
    shorter = [row for row in hurried if row["within_weeks"] < best["within_weeks"]]
    longer = [row for row in hurried if row["within_weeks"] > best["within_weeks"]]
    if shorter:
        more = money(round((best["worth_cents"] - shorter[-1]["worth_cents"]) / 100) * 100)
        said.append(
            f"Waiting up to {weeks} brings {more} more than {shorter[-1]['within_weeks']} would, after paying "
            "for your minutes, the room and the money tied up."
        )
    if answer["week_cents"] is not None:
        said.append(f"Each week costs {money(round(answer['week_cents']))} for room and the money tied up.")
    if longer:
        said.append(f"Waiting up to {longer[-1]['within_weeks']} weeks would hardly bring more.")
    return " ".join(said)


def _offer_answer(answer: dict[str, Any], money: Callable[[int], str]) -> str:
    offer, lowest = money(answer["offer_cents"]), answer["lowest_offer_cents"]
    if answer["answer"] == "take it":
        return f"Take the {offer}: an offer of {money(lowest)} or more is worth more than waiting."
    if lowest is None:
        return f"Refuse the {offer}: no price that you could ask pays for its label and your work."
    short = money(lowest - answer["offer_cents"])
    if answer["given_up"]:
        return f"Refuse the {offer}: it is {short} short of what its fees, its label and your work take."
    later = answer["enough_from"]
    tail = f" If it is still here on {_day_words(later)}, {offer} will be enough." if later else ""
    if answer["answer"] == "counter":
        return f"Counter at {money(answer['counter_cents'])}: {offer} is {short} too little today.{tail}"
    return f"Wait: {offer} is {short} less than waiting is worth.{tail}"


def _patience_words(row: dict[str, Any], money: Callable[[int], str]) -> list[str]:
    weeks = "1 week" if row["within_weeks"] == 1 else f"{row['within_weeks']} weeks"
    way = {"as now": "as you price now", "planned": f"{weeks} (recommended)"}
    ask = money(row["ask_cents"]) if row["ask_cents"] else "not worth listing"
    if row["markdown_on"]:
        ask += f", {money(row['markdown_cents'])} from {_day_words(row['markdown_on'])}"
    hour = round(row["net_cents"] / row["work_min"] * 60 / 100) * 100 if row["work_min"] else 0
    return [
        way.get(row["way"], weeks),
        ask,
        money(row["lowest_offer_cents"]),
        f"{row['sold_share']:.0%}",
        money(round(row["net_cents"] / 100) * 100),
        money(hour),
    ]


def _day_words(text: str) -> str:
    day = dt.date.fromisoformat(text)
    return f"{day.day} {day:%b %Y}"


def _whole_money(currency: str, cents: int) -> str:
    from flipkit.money import show_cents

    return show_cents(cents, currency=currency).removesuffix(".00")


def protection_words(answer: dict[str, Any], voice: Voice) -> list[str]:
    """Each way to protect a parcel, the cheapest in the long run first."""
    lines = [f"Value {voice.money(answer['value_cents'])}: cost and average loss of each way, the cheapest first"]
    for card in answer["cards"]:
        lines.append(f"rate card {card['card']}:")
        rows = [["  way", "fee", "average loss", "total", "worth it from a chance of"]]
        for way in card["ways"]:
            even = way["break_even_chance"]
            rows.append(
                [
                    f"  {way['protection']}",
                    voice.money(way["fee_cents"]),
                    voice.money(way["expected_loss_cents"]),
                    voice.money(way["cost_cents"]),
                    "–" if even is None else f"{even:.1%}",
                ]
            )
        lines += columns(rows)
    return lines


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
    for option in (
        click.option("--shipping", default="0", metavar="AMOUNT", help="What the buyer pays for shipping."),
        click.option("--label", default="0", metavar="AMOUNT", help="What the label costs you."),
        click.option("--costs", default="0", metavar="AMOUNT", help="All other costs of the sale, the goods included."),
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
    from flipkit.money import read_cents
    from flipkit.rules.net_price import fees_answer

    voice = voice_of(options["books"])
    asked = _sale(voice, **options)
    answer = fees_answer(goods_cents=read_cents(price, name="price", currency=voice.currency), **asked)
    _venues_told(answer, voice, options["books"], as_json)


@click.command("net-price")
@click.argument("net")
@_sale_options
def net_price(net: str, as_json: bool, **options: Any) -> None:
    """Find the lowest price at each venue that leaves you this NET.

    Example: flipkit net-price 40 --label 11.30
    """
    from flipkit.money import read_cents
    from flipkit.rules.net_price import price_answer

    voice = voice_of(options["books"])
    asked = _sale(voice, **options)
    answer = price_answer(net_cents=read_cents(net, name="net", currency=voice.currency), **asked)
    _venues_told(answer, voice, options["books"], as_json)


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


def _sale(
    voice: Voice, books: Path | None, on_text: str, shipping: str, label: str, costs: str, tax: str, **rest: Any
) -> dict[str, Any]:
    """The options that a sale's commands share, as the rules take them."""
    from flipkit.money import read_cents, read_ppm
    from flipkit.rules.tables import load_rules

    return {
        "rules": load_rules(rules_folder(books)),
        "on": day_of(on_text),
        "shipping_cents": read_cents(shipping, name="--shipping", currency=voice.currency),
        "label_cents": read_cents(label, name="--label", currency=voice.currency),
        "costs_cents": read_cents(costs, name="--costs", currency=voice.currency),
        "tax_ppm": read_ppm(tax, name="--tax"),
        **rest,
    }
