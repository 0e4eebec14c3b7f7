"""What is answered in the seller's words: a parcel, a sale's fees, an offer, protection, the most to pay."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flipkit.errors import count_of

if TYPE_CHECKING:
    from flipkit.units import Measures

# How a shop says money and measures; what is answered is said by commands and by the face of notebooks alike.

Money = Callable[[int], str]


@dataclass(frozen=True)
class Voice:
    """How a shop says money and measures."""

    currency: str
    measures: Measures

    def money(self, cents: int) -> str:
        """An amount in the shop's currency."""
        from flipkit.money import show_cents

        return show_cents(cents, currency=self.currency)


def voice_of(books: Path | None) -> Voice:
    """The voice of some books; dollars, inches and pounds where none are named."""
    from flipkit.books.cells import Units
    from flipkit.books.record import units_of
    from flipkit.units import Measures

    units = units_of(books) if books is not None and books.exists() else Units()
    return Voice(units.currency, Measures(units.length, units.weight))


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows of text with their columns aligned.

    >>> columns([["label", "$12.00"], ["fuel", "$1.00"]])
    ['label  $12.00', 'fuel    $1.00']
    """
    if not rows:
        return []
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if at == 0 else cell.rjust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


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
    return lines or ["No venue has a fee schedule for that day."]


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


def _patience_reason(answer: dict[str, Any], money: Money) -> str:
    """Why the recommended wait is recommended."""
    hurried = [row for row in answer["patience"] if row["way"] == "within"]
    best = next((row for row in answer["patience"] if row["way"] == "planned"), None)
    if best is None or not best["ask_cents"]:
        return ""
    weeks, said = count_of(best["within_weeks"], "week"), []
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


def _offer_answer(answer: dict[str, Any], money: Money) -> str:
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


def _patience_words(row: dict[str, Any], money: Money) -> list[str]:
    weeks = count_of(row["within_weeks"], "week")
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


# The answer in the shop aisle as lines of text, the one that matters first.

#: Inputs named as what the price hangs on.
_MOST_DRIVERS = 4
#: Later prices that are named.
_MOST_STEPS = 3
#: Comparables of which less than this share is left are doubted aloud; of which less than the other, ignored.
_DOUBTED, _IGNORED = 0.9, 0.05


def buying_words(answer: dict[str, Any]) -> list[str]:
    """The most to pay and why."""
    from flipkit.money import show_cents

    money = functools.partial(show_cents, currency=answer["currency"])
    lines = [_verdict(answer, money), _recommended(answer, money), *_two_limits(answer, money)]
    if answer["decision"] and answer["as_decided"]:
        lines.insert(0, answer["decision"])
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
    elif answer["decision"] and not answer["as_decided"]:
        found.append(f"This month's decision on {answer['judged_by']}: {answer['decision']}")
    if answer["too_few_to_tell"]:
        sales = count_of(answer["sales_in_books"], "sale")
        found.append(f"Too few to tell: {sales} of such things, so the rest is assumed.")
    if answer["typical_from"] == "books":
        found.append(
            "You gave no price, so this is for one that sells for what such items usually do. Give yours with --price "
            "or --comparable."
        )
    if answer["by_sales"]:
        found.append(by_sales_sentence(answer["judged_by"]))
    if answer["typical_from"] == "comparables and price":
        found.append(f"Your price and the comparables count together: {money(answer['typical_cents'])}.")
    if step := answer["fee_step"]:
        found.append(
            f"At {step['venue']} the fee jumps by {money(step['fee_rise_cents'])} just above "
            f"{money(step['price_cents'])}, so one that sells for a little more can be worth less."
        )
    return found + _comparable_doubts(answer, money)


def by_sales_sentence(kinds: str) -> str:
    """What kinds without a list price and a comparable go by.

    >>> by_sales_sentence("lamps")[:52]
    'You gave no list price and no comparable for lamps: '
    """
    return (
        f"You gave no list price and no comparable for {kinds}: their prices are what they sold for, and how fast they "
        "sell is assumed."
    )


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
            else f"{count_of(more, 'more comparable')} would change this with a chance of {chance}."
        )
    return lines


def _venue_words(answer: dict[str, Any], money: Money) -> list[str]:
    rows = []
    for one in answer["venues"]:
        how = "collected" if one["collected"] else "shipped"
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
            word, gap = "Shipping it", -gap
        lines.append(
            f"{word} is better: you can pay {money(gap)} more."
            if gap
            else "Sell it locally or ship it: you can pay the same."
        )
    return lines
