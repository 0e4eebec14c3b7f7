"""Ask random things of the highest price and count what contradicts itself: ``python -m
tests.benchmarks.bench_highest_price KNOWLEDGE``.

``KNOWLEDGE`` is a pack's ``knowledge.json``. Of each property so many random things are asked: the ceiling never falls
when the price that like things bring rises, the highest price considered is lifted or a venue is added, and never
rises with weight, minutes or the target. Both answers are asked, as priced now and as recommended. Where a fee
schedule or a rate card has a step the ceiling may move by it: such cases are counted apart, with the step named.
"""

from __future__ import annotations

import argparse
import copy
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from flipkit.analysis.knowledge_file import read_knowledge
from flipkit.analysis.max_bid import SHOP, Question, best_price, fee_step, highest_price, question, recommended

Knowledge = dict[str, Any]
#: Both answers to a question, before and after a change that must not lower them.
Pair = tuple[tuple[int, int], tuple[int, int]]


def both(asked: Question) -> tuple[int, int]:
    """The ceilings as priced now and as recommended at the same venue. [cents]"""
    return highest_price(asked).highest_cents, best_price(asked).highest_cents


def _price(knowledge: Knowledge, asked: dict[str, Any], up: float) -> Pair:
    dearer = {**asked, "price_cents": asked["price_cents"] * up}
    return both(question(knowledge, **asked)), both(question(knowledge, **dearer))


def _cap(knowledge: Knowledge, asked: dict[str, Any], up: float) -> Pair:
    one = question(knowledge, **asked)
    lifted = replace(one, grid=replace(one.grid, high=one.grid.high * up))
    return both(one), both(lifted)


def _venue(knowledge: Knowledge, asked: dict[str, Any], up: float) -> Pair:
    """A venue is added: without it the thing can be sold at the others alone."""
    kinds = knowledge["categories"]
    kind = kinds[asked["category"]]
    added = sorted(set(kind["fees"]) - {kind["venue"]})[0]
    fewer = {**kind, "fees": {name: fees for name, fees in kind["fees"].items() if name != added}}
    without = {**knowledge, "categories": {**kinds, asked["category"]: fewer}}
    if added in knowledge["collected"]:
        # What is collected now would have to be sold elsewhere: that is another change.
        without = {**without, "collected": [name for name in knowledge["collected"] if name != added] or ["nowhere"]}
        for known in (without, knowledge):
            for size in known["categories"][asked["category"]]["sizes"].values():
                size["collected"] = 0.0
    rest = {name: value for name, value in asked.items() if name != "venue"}
    less, more = (recommended(known, **rest).highest_cents for known in (without, knowledge))
    return (less, less), (more, more)


def _weight(knowledge: Knowledge, asked: dict[str, Any], up: float) -> Pair:
    light = {**asked, "weight_lb": 1.0 + 40.0 * (up - 1)}
    heavy = {**asked, "weight_lb": min(light["weight_lb"] * (1 + 3 * up), 149.0)}
    return both(question(knowledge, **heavy)), both(question(knowledge, **light))


def _minutes(knowledge: Knowledge, asked: dict[str, Any], up: float) -> Pair:
    one = question(knowledge, **asked)
    terms = replace(one.terms, before_min=one.terms.before_min * up, sale_min=one.terms.sale_min * up)
    return both(replace(one, terms=terms)), both(one)


def _target(knowledge: Knowledge, asked: dict[str, Any], up: float) -> Pair:
    one = question(knowledge, **asked)
    return both(replace(one, target_cents=one.target_cents * up)), both(one)


PROPERTIES: dict[str, Callable[[Knowledge, dict[str, Any], float], Pair]] = {
    "never falls as the price rises": _price,
    "never falls as the highest price considered is lifted": _cap,
    "never falls as a venue is added": _venue,
    "never rises with weight": _weight,
    "never rises with minutes": _minutes,
    "never rises with the target": _target,
}


def violations(
    knowledge: Knowledge, name: str, *, askings: int, random: np.random.Generator
) -> list[tuple[dict[str, Any], float, Pair]]:
    """The askings that break a property, with what was asked, the change, and the ceilings before and after."""
    knowledge = copy.deepcopy(knowledge)
    for kind in knowledge["categories"].values():
        for terms in kind["sizes"].values():
            terms.setdefault("weight_lb", 5.0)
            terms.setdefault("pound_cents", 40.0)
    kinds = [each for each in knowledge["categories"] if each != SHOP]
    found = []
    for _ in range(askings):
        category = str(random.choice(kinds))
        kind = knowledge["categories"][category]
        asked = {
            "category": category,
            "price_cents": float(np.exp(random.uniform(np.log(500), np.log(80_000)))),
            "size": str(random.choice(sorted(kind["sizes"]))),
            "venue": str(random.choice(["", *kind["fees"]])),
            "loss_limit": float(random.uniform(0.05, 0.6)),
            "target_cents": float(random.uniform(0, 4000)),
        }
        up = float(1 + random.exponential(0.2))
        less, more = PROPERTIES[name](knowledge, asked, up)
        if less[0] > more[0] or less[1] > more[1]:
            found.append((asked, up, (less, more)))
    return found


def main() -> None:
    given = argparse.ArgumentParser()
    given.add_argument("knowledge", type=Path)
    given.add_argument("--askings", type=int, default=1000)
    given.add_argument("--seed", type=int, default=1)
    options = given.parse_args()
    knowledge = read_knowledge(options.knowledge)
    for name in PROPERTIES:
        broken = violations(knowledge, name, askings=options.askings, random=np.random.default_rng(options.seed))
        steps = [fee_step(knowledge, knowledge["categories"][asked["category"]]) for asked, _, _ in broken]
        at = f", {len(steps)} of them with a step, such as {steps[0]}" if all(steps) and steps else ""
        sys.stdout.write(f"{name}: {len(broken)} of {options.askings:,} askings break it{at}\n")
        for asked, up, pair in broken[:3]:
            sys.stdout.write(f"  {asked} x {up:.3f}: {pair}\n")


if __name__ == "__main__":
    main()
