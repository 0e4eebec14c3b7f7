"""Time of packing plans for anything from 1 to 108 in.

Run it by hand: ``python -m tests.benchmarks.bench_packing``. The goal: every plan in under a
second, the first one of a process too (imports aside). Processor seconds, which other work on the
machine does not stretch; the clock's stand beside them.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flipkit.packing.plan import packing_plan, rate_card_labels
from flipkit.packing.styles import PackItem
from flipkit.rules.tables import load_rules
from tests.helpers.packing_stock import ASSUMED, DAY, LABELS, RULES, STOCK
from tests.packing.test_judgement import wrong

PLANS = 400


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Processor seconds, seconds by the clock, and what came out."""
    start, clock = time.process_time(), time.perf_counter()
    found = work()
    return time.process_time() - start, time.perf_counter() - clock, found


def plans() -> None:
    """Random items, the longest side even on a logarithm from 1 to 108 in."""
    draw = random.Random(20261125)  # noqa: S311 - cases, not secrets
    demo = load_rules(Path(__file__).resolve().parents[2] / "data_demo" / "rules")
    card = demo.rate_cards["network"]
    priced = rate_card_labels(card, demo.rules_of(card), on=DAY, zone=5)
    for name, labels in (("price list", LABELS), ("rate card", priced)):
        spent, answered = [], 0
        for _ in range(PLANS):
            sides = [108 ** draw.random() for _ in range(3)]
            fragility = draw.choice(list(RULES.cushions.fragility))
            item = PackItem("x", "thing", *sides, weight_lb=0.1 + 60 * draw.random() ** 3, fragility=fragility)
            cpu, clock, plan = timed(
                lambda item=item, labels=labels: packing_plan(
                    item, STOCK, labels=labels, rules=RULES, assumptions=ASSUMED
                )
            )
            spent.append((cpu, clock))
            answered += plan.best is not None
        cpu, clock = (max(one[at] for one in spent) for at in (0, 1))
        mean = sum(one[0] for one in spent) / PLANS
        print(  # noqa: T201
            f"plans by {name}: {PLANS} items, {answered} answered, the rest with reasons; first {spent[0][0]:.3f} s, "
            f"mean {mean:.3f} s, longest {cpu:.3f} s ({clock:.3f} s by the clock)"
        )


def judgement(things: int = 2000) -> None:
    """What does not hold of random things: cost against fragility, value and any stated padding."""
    broken = [found for seed in range(things) for found in wrong(random.Random(seed))]  # noqa: S311
    print(f"judgement: {things} things, {len(broken)} properties broken {broken[:5]}")  # noqa: T201


if __name__ == "__main__":
    plans()
    judgement(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
