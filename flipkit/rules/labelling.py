"""Labels of many parcels: each row under the blocks of its day, and a missing zone over a mix of zones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from flipkit.errors import MeasureError
from flipkit.money import PPM, Cents, share_out
from flipkit.rules import columns as cols
from flipkit.rules.charging import shared_rounding
from flipkit.rules.frames import stacked
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.rate_cards import UNKNOWN, RateCard
from flipkit.rules.services import LINES, cheapest

#: Words of a column, by the number that its rows carry.
Words = dict[str, list[str]]
#: The service of a label over a mix of zones that the services share among them.
BY_ZONE = "by zone"


def priced(
    card: RateCard, rules: ParcelRules, given: cols.Columns, options: dict[str, Any]
) -> tuple[cols.Columns, Words]:
    """Labels of rows whose zones are all known.

    Parameters
    ----------
    card : RateCard
        The card.
    rules : ParcelRules
        The rule set.
    given : dict of arrays, shape (n,)
        As ``services.cheapest`` takes them, with ``pair``, the number of both blocks.
    options : dict
        The options of ``services.cheapest``.

    Returns
    -------
    columns : dict of arrays, shape (n,)
        The columns of a label, with numbers for ``service`` and ``refused``.
    words : dict
        What the numbers stand for.
    """
    rows = given["zone_code"].size
    held = stacked([f"{line}_cents" for line in (*LINES, "total")], rows, np.int64)
    heavy = stacked(["dimensional_lb", "billable_lb"], rows, np.float64)
    # Words are few: rows carry their numbers until the end.
    chosen = np.zeros(rows, dtype=np.int16)
    refused = np.zeros(rows, dtype=np.int16)
    wordings = [""]

    def step(chunk: cols.Columns, here: slice) -> None:
        for number, at in cols.groups(chunk["pair"]):
            part = chunk if at is None else {name: column[at] for name, column in chunk.items()}
            first, second = divmod(number, len(rules.blocks))
            where = slice(None) if at is None else at
            pick, stopped = cheapest(card, rules, card.blocks[first], rules.blocks[second], part, **options)
            for name, column in held.items():
                column[here][where] = pick[name]
            for name, weight in heavy.items():
                weight[here][where] = pick[name]
            chosen[here][where] = pick["service"]
            for text, at_rows in stopped:
                refused[here][at_rows if at is None else at[at_rows]] = _number(wordings, text)

    cols.in_chunks(rows, given, step)
    chosen[chosen < 0] = len(card.service_names)
    words = {"service": [*card.service_names, ""], "refused": wordings}
    return {"service": chosen, **heavy, **held, "refused": refused}, words


def _number(wordings: list[str], text: str) -> int:
    if text not in wordings:
        wordings.append(text)
    return wordings.index(text)


def mixed(
    card: RateCard, rules: ParcelRules, given: cols.Columns, zone_mix: Mapping[str, float], options: dict[str, Any]
) -> tuple[cols.Columns, Words]:
    """Labels of rows of which some have no zone: the mean over a mix of zones, with the cheapest and the dearest.

    Parameters
    ----------
    card, rules, given, options : see below
        As in ``priced``.
    zone_mix : mapping
        Weight of each zone.

    Returns
    -------
    columns : dict of arrays, shape (n,)
        The columns of a label, ``low_cents`` and ``high_cents`` included.
    words : dict
        What the numbers of ``service`` and ``refused`` stand for.

    Raises
    ------
    MeasureError
        If a zone of the mix is none of the card's.
    """
    shares = zone_shares(card, zone_mix)
    blank = np.flatnonzero(given["zone_code"] == UNKNOWN)
    known = np.flatnonzero(given["zone_code"] != UNKNOWN)
    found, words = priced(card, rules, {name: column[known] for name, column in given.items()}, options)
    rows = given["zone_code"].size
    result: cols.Columns = {}
    for name, values in found.items():
        result[name] = np.zeros(rows, dtype=values.dtype)
        result[name][known] = values
    for name in ("low_cents", "high_cents"):
        result[name] = result["total_cents"].copy()
    words["service"].append(BY_ZONE)
    if not blank.size:
        return result, words
    part = {name: column[blank] for name, column in given.items()}
    each = {}
    for zone in shares:
        part["zone_code"] = np.full(blank.size, card.zones.index(zone), dtype=np.int64)
        each[zone] = priced(card, rules, part, options)
    lines: dict[str, Cents] = {}
    for line in (f"{line}_cents" for line in LINES):
        lines[line] = np.stack([each[zone][0][line] * share for zone, share in shares.items()]).sum(axis=0)
    mean = shared_rounding(lines)
    totals = np.stack([label["total_cents"] for label, _ in each.values()])
    likeliest = each[max(shares, key=lambda zone: shares[zone])][0]
    service = likeliest["service"].copy()
    refused = np.zeros(blank.size, dtype=np.int16)
    reasons = np.stack(
        [
            np.array([_number(words["refused"], text) for text in own["refused"]], dtype=np.int16)[label["refused"]]
            for label, own in each.values()
        ]
    )
    # Refused alike to every zone of the mix, it is not the zone's doing.
    alike = (reasons == reasons[0]).all(axis=0)
    refused[alike] = reasons[0][alike]
    for place, (zone, (label, _)) in enumerate(each.items()):
        service[label["service"] != service] = words["service"].index(BY_ZONE)
        for code in np.unique(reasons[place][~alike]):
            if code:
                stopped = (reasons[place] == code) & (refused == 0) & ~alike
                refused[stopped] = _number(words["refused"], f"zone {zone}: {words['refused'][code]}")
    idle = refused > 0
    service[idle] = words["service"].index("")
    for name, values in mean.items():
        result[name][blank] = np.where(idle, 0, values)
    result["total_cents"][blank] = np.where(idle, 0, sum(mean.values()))
    result["low_cents"][blank] = np.where(idle, 0, totals.min(axis=0))
    result["high_cents"][blank] = np.where(idle, 0, totals.max(axis=0))
    for name in ("dimensional_lb", "billable_lb"):
        result[name][blank] = likeliest[name]
    result["service"][blank], result["refused"][blank] = service, refused
    return result, words


def zone_shares(card: RateCard, zone_mix: Mapping[str, float]) -> dict[str, int]:
    """A mix of zones as whole parts per million that sum to a million, zones without a share left out.

    Parameters
    ----------
    card : RateCard
        The card whose zones they are.
    zone_mix : mapping
        Weight of each zone, in any unit.

    Returns
    -------
    dict
        Share of each zone. [parts per million]

    Raises
    ------
    MeasureError
        If a zone is none of the card's, or nothing has a weight.
    """
    for zone in zone_mix:
        if zone not in card.zones:
            raise MeasureError("zone_mix", need=f"zones of {card.title} ({', '.join(card.zones)})", got=zone)
    weights = [float(weight) for weight in zone_mix.values()]
    if not any(weight > 0 for weight in weights):
        raise MeasureError("zone_mix", need="a weight above 0 for some zone", got=dict(zone_mix))
    shares = share_out(PPM, weights).tolist()
    return {zone: share for zone, share in zip(zone_mix, shares, strict=True) if share}
