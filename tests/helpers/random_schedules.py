"""Fee schedules drawn at random, of every shape that a table can have."""

from __future__ import annotations

import datetime as dt
from typing import Any

from hypothesis import strategies as st

from flipkit.rules.fees import read_fee_schedule

BASES = [["goods"], ["goods", "shipping"], ["goods", "shipping", "tax"]]
OPTIONS: dict[str, Any] = {"category": None, "international": False, "advertised": False, "seller_level": None}


def money(cents: int) -> str:
    return f"{cents // 100}.{cents % 100:02d}"


def rates(most: int) -> st.SearchStrategy[str]:
    """Percentages up to ``most`` hundredths of a percent."""
    return st.integers(0, most).map(lambda hundredths: f"{hundredths / 100:.2f} %")


@st.composite
def charges(draw: Any, *, most: int, whole: bool) -> dict[str, Any]:
    charge: dict[str, Any] = {"base": draw(st.sampled_from(BASES))}
    edges = draw(st.lists(st.integers(1, 45_000), max_size=3, unique=True).map(sorted))
    if edges:
        charge["tier_kind"] = draw(st.sampled_from(["marginal", "whole amount"] if whole else ["marginal"]))
        ends: list[int | None] = [*edges, None]
        charge["tiers"] = [
            {"rate": draw(rates(most)), **({} if edge is None else {"up_to": money(edge)})} for edge in ends
        ]
    else:
        charge["rate"] = draw(rates(most))
    minimum = draw(st.sampled_from([0, 0, 50, 300]))
    charge["minimum"] = money(minimum)
    if draw(st.booleans()):
        charge["cap"] = money(minimum + draw(st.integers(0, 4_000)))
    charge["fixed"] = money(draw(st.sampled_from([0, 0, 25, 49])))
    return charge


@st.composite
def schedules(draw: Any, *, rounding: str = "", jumps: bool = True) -> Any:
    """A schedule of one block, and the options of a sale that touch all of it."""
    block: dict[str, Any] = {
        "from": dt.date(2000, 1, 1),
        "source": "demo",
        "seen": "invented for the demo",
        "rounding": rounding or draw(st.sampled_from(["each line", "once"])),
        "commission": draw(charges(most=1500, whole=jumps)),
    }
    options = dict(OPTIONS)
    if draw(st.booleans()):
        block["payment"] = draw(charges(most=500, whole=False))
    if draw(st.booleans()):
        block["advertising"] = draw(charges(most=800, whole=False))
        options["advertised"] = True
    if draw(st.booleans()):
        block["international"] = draw(charges(most=300, whole=False))
        options["international"] = True
    if jumps and draw(st.booleans()):
        edges = draw(st.lists(st.integers(1, 45_000), min_size=1, max_size=2, unique=True).map(sorted))
        ends: list[int | None] = [*edges, None]
        steps = [
            {"amount": money(draw(st.integers(0, 90))), **({} if edge is None else {"up_to": money(edge)})}
            for edge in ends
        ]
        block["per_order"] = {"base": draw(st.sampled_from(BASES)), "steps": steps}
    standing = draw(st.sampled_from(["", "off", "on"]))
    if standing == "off":
        block["seller_level"] = {"mine": {"commission_off": draw(rates(2500).filter(lambda rate: rate != "0.00 %"))}}
    elif standing == "on":
        block["seller_level"] = {"mine": draw(charges(most=600, whole=False))}
    if standing:
        options["seller_level"] = "mine"
    schedule = read_fee_schedule({"kind": "fees", "name": "random", "block": [block]}, file="random.toml")
    return schedule, options
