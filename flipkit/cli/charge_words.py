"""The answers about charges as lines of text."""

from __future__ import annotations

from typing import Any

from flipkit.cli.answers import columns
from flipkit.money import show_cents

_LINES = ("commission", "per_order", "payment", "advertising", "listing", "international", "seller_level")
_PARTS = ("base", "surcharge", "fuel", "signature", "protection")
#: Trims shown before the rest is counted.
_MOST_TRIMS = 6


def parcel_words(answer: dict[str, Any]) -> list[str]:
    """What carriers bill for a parcel.

    Parameters
    ----------
    answer : dict
        As ``rules.parcel_answers.parcel_answer`` gives it.

    Returns
    -------
    list of str
        Lines.
    """
    sides = " x ".join(f"{answer[f'{side}_in']:g}" for side in ("length", "width", "height"))
    lines = [
        f"{sides} in, {answer['weight_lb']:g} lb on the scale, on {answer['on']}",
        f"length plus girth {answer['length_plus_girth_in']:g} in, united {answer['united_in']:g} in, "
        f"{answer['volume_cu_in']:,.0f} cu in" + (f", {answer['size_class']}" if answer.get("size_class") else ""),
    ]
    for carrier in answer["carriers"]:
        lines += ["", *_carrier_words(carrier)]
    return lines


def _carrier_words(carrier: dict[str, Any]) -> list[str]:
    unit = "kg" if "billable_kg" in carrier else "lb"
    name = carrier["carrier"] + (f", {carrier['rates']} rates" if carrier["rates"] else "")
    billed = f"{name}: billed at {carrier[f'billable_{unit}']:g} {unit}"
    if carrier["space_pays"]:
        billed += f", for its space ({carrier[f'scale_{unit}']:g} {unit} by the scale)"
    if carrier["over_maximum"]:
        billed += "; over this carrier's maximum"
    lines = [f"{billed} (rule {carrier['block']}, {carrier['seen']})"]
    for trigger in carrier["triggers"]:
        lines.append(f"  {_trigger_words(trigger)}")
    for card in carrier.get("cards", []):
        lines += [f"  {line}" for line in _card_words(card)]
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
    tail = "" if trigger["applies"] else "; not charged beside a larger one"
    minimum = next((trigger[key] for key in trigger if key.startswith("minimum_billable_")), 0)
    if minimum:
        tail += f"; billed at {minimum:g} at least"
    return f"{name}: {why}{tail}"


def _card_words(card: dict[str, Any]) -> list[str]:
    rows, refused = [], []
    for service in card["services"]:
        if service["refused"]:
            refused.append(f"  {service['service']}: {service['refused']}")
            continue
        parts = ", ".join(
            f"{part} {show_cents(service[f'{part}_cents'])}" for part in _PARTS if service.get(f"{part}_cents")
        )
        price = show_cents(service["total_cents"])
        if service.get("low_cents") != service.get("high_cents"):
            price += f" on average, {show_cents(service['low_cents'])} to {show_cents(service['high_cents'])}"
        rows.append([f"  {service['service']}", price, f"({parts})"])
    lines = [f"rate card {card['card']}, zone {card['zone']} ({card['block']}):", *columns(rows), *refused]
    later = card.get("entered_by_weight_alone")
    if later and later["below_billable"]:
        lines.append(
            f"  entered by its scale weight alone it would cost {show_cents(later['bought_cents'])} now and likely "
            f"{show_cents(later['adjustment_cents'])} more later"
        )
    trims = card.get("trims", [])
    for trim in trims[:_MOST_TRIMS]:
        what = f"{trim['by_lb']:g} lb less" if "by_lb" in trim else _trimmed(trim)
        lines.append(f"  {what} saves {show_cents(trim['saves_cents'])}: {trim['why']}")
    if len(trims) > _MOST_TRIMS:
        lines.append(f"  and {len(trims) - _MOST_TRIMS} more ways to trim; --json lists them")
    return lines


def _trimmed(trim: dict[str, Any]) -> str:
    sides = " x ".join(f"{trim[f'{side}_in']:g}" for side in ("length", "width", "height"))
    return f"{trim['by_in']:g} in less {trim['trim'].replace(' and ', ', ')}, to {sides} in,"


def fee_words(answer: dict[str, Any]) -> list[str]:
    """What each venue takes of a sale and leaves.

    Parameters
    ----------
    answer : dict
        As ``rules.fee_answers.fees_answer`` or ``price_answer`` gives it.

    Returns
    -------
    list of str
        Lines.
    """
    lines = []
    for venue in answer["venues"]:
        head = f"{venue['venue']}: "
        if "price_cents" in venue:
            head += f"a price of {show_cents(venue['price_cents'])} leaves {show_cents(venue['net_cents'])}"
        else:
            head += f"leaves {show_cents(venue['net_cents'])}"
        lines.append(f"{head} (rule {venue['block']}, {venue['seen']})")
        rows = [
            [f"  {line.replace('_', ' ')}", show_cents(venue[f"{line}_cents"])]
            for line in _LINES
            if venue[f"{line}_cents"]
        ]
        lines += columns([*rows, ["  fees in all", show_cents(venue["total_cents"])]])
    lines += [f"{venue['venue']}: left out: {venue['why']}" for venue in answer["left_out"]]
    return lines or ["no venue has a fee schedule in force on that day"]


def protection_words(answer: dict[str, Any]) -> list[str]:
    """Each way to protect a parcel, the cheapest in the long run first.

    Parameters
    ----------
    answer : dict
        As ``rules.parcel_answers.protection_answer`` gives it.

    Returns
    -------
    list of str
        Lines.
    """
    lines = [f"worth {show_cents(answer['value_cents'])}: fee and expected loss of each way, the cheapest first"]
    for card in answer["cards"]:
        lines.append(f"rate card {card['card']}:")
        rows = [["  way", "fee", "expected loss", "in all", "pays from a chance of"]]
        for way in card["ways"]:
            even = way["break_even_chance"]
            rows.append(
                [
                    f"  {way['protection']}",
                    show_cents(way["fee_cents"]),
                    show_cents(way["expected_loss_cents"]),
                    show_cents(way["cost_cents"]),
                    "–" if even is None else f"{even:.1%}",
                ]
            )
        lines += columns(rows)
    return lines
