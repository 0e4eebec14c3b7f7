"""An offer today: take it, counter or wait, from the plans of the stock that a report left."""

from __future__ import annotations

import datetime as dt
import difflib
from collections import Counter
from collections.abc import Mapping
from typing import Any

from flipkit.errors import AssumptionError, NotEnoughDataError

#: An offer below this part of the lowest one to take is not worth a counter.
_SERIOUS = 0.5
#: What stands in a row of patience, in this order.
_PATIENCE = (
    *("way", "within_weeks", "ask_cents", "markdown_cents", "markdown_on"),
    *("lowest_offer_cents", "sold_share", "net_cents", "work_min", "worth_cents"),
)
#: What to say to an offer.
TAKE, COUNTER, WAIT = "take it", "counter", "wait"


def offer_answer(plans: Mapping[str, Any], item: str, offer_cents: int | None, *, on: dt.date) -> dict[str, Any]:
    """What to answer to an offer for a thing in stock, or its plan alone where none is named."""
    if plans["sales"] < plans["too_few"]:
        raise NotEnoughDataError("sales in the books", need=f"at least {plans['too_few']}", got=plans["sales"])
    name = _known(plans["things"], item)
    thing = plans["things"][name]
    steps, day = thing["steps"], on.isoformat()
    at = max([k for k, step in enumerate(steps) if step[0] <= day], default=0)
    begun, asked, lowest = steps[at]
    ended = asked == 0
    if ended:
        # What is given up anyway goes to whoever pays for its parting.
        lowest = thing["floor_cents"]
    known = {
        "item_id": name,
        "title": thing["title"],
        "currency": plans["currency"],
        "plan_as_of": plans["as_of"],
        "on": day,
        "asked_cents": thing.get("asked_cents"),
        "ask_cents": asked or None,
        "lowest_offer_cents": lowest,
        "since": begun,
        "until": steps[at + 1][0] if at + 1 < len(steps) else None,
        "given_up": ended,
        "next": [{"on": step[0], "ask_cents": step[1], "lowest_offer_cents": step[2]} for step in steps[at + 1 :]],
        "worth_cents": thing.get("worth_cents"),
        "sold_share": thing.get("sold_share"),
        "week_cents": thing.get("week_cents"),
        "patience": [dict(zip(_PATIENCE, row, strict=True)) for row in thing.get("patience", [])],
    }
    if offer_cents is None:
        return known
    if offer_cents <= 0:
        raise AssumptionError("offer", need="above 0", got=offer_cents / 100)
    answer, counter, enough = WAIT, None, None
    if lowest is not None and offer_cents >= lowest:
        answer = TAKE
    elif not ended:
        enough = next((step[0] for step in steps[at + 1 :] if step[1] and offer_cents >= step[2]), None)
        if offer_cents >= _SERIOUS * lowest:
            # Half way to what is asked, in whole units, and never below what is worth the wait.
            half = -(-(offer_cents + asked) // 200) * 100
            answer, counter = COUNTER, min(max(half, lowest), asked)
    return {**known, "offer_cents": offer_cents, "answer": answer, "counter_cents": counter, "enough_from": enough}


def _known(things: Mapping[str, Any], item: str) -> str:
    """The thing as the plans spell it."""
    called = Counter(thing["title"].casefold() for thing in things.values())
    same = {title: name for name, thing in things.items() if called[title := thing["title"].casefold()] == 1}
    same |= {name.casefold(): name for name in things}
    wanted = item.strip().casefold()
    if wanted in same:
        return same[wanted]
    near = difflib.get_close_matches(wanted, same, n=1, cutoff=0.7)
    mend = f"did you mean {same[near[0]]!r}?" if near else "it may have sold, or its typical price is not known"
    raise AssumptionError("item", need="one in stock on the report's day", got=item, mend=mend)
