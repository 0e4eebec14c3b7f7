"""Time of packing plans for anything from 1 to 108 in, time and waste of nestings.

Run it by hand: ``python -m tests.benchmarks.bench_packing``. The goals: every plan in under a
second, the first one of a process too (imports aside); nesting of up to eight blanks exact, of
more blanks within a stated bound. Processor seconds, which other work on the machine does not
stretch; the clock's stand beside them.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flipkit.packing.at_hand import Sheet
from flipkit.packing.blanks import Blank, nest
from flipkit.packing.plan import packing_plan, rate_card_labels
from flipkit.packing.styles import PackItem
from flipkit.rules.tables import load_rules
from tests.helpers.packing_stock import ASSUMED, DAY, LABELS, RULES, STOCK

PLANS, NESTS, LARGE = 400, 60, 60


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


def nests() -> None:
    """Eight blanks on three sheets, tight."""
    for cutting in ("guillotine", "free"):
        draw = random.Random(5)  # noqa: S311 - cases, not secrets
        spent, possible = [], 0
        for _ in range(NESTS):
            sheets = [
                Sheet(f"s{i}", draw.randint(20, 40), draw.randint(14, 30), "C", "", draw.choice((0, 100)), 1)
                for i in range(3)
            ]
            room = sum(one.length_in * one.width_in for one in sheets) * draw.uniform(0.6, 0.95) / 8
            blanks = []
            for i in range(8):
                long = draw.uniform(0.6, 1.6) * room**0.5
                blanks.append(Blank(f"b{i}", "", round(long, 1), round(room / long * draw.uniform(0.8, 1.2), 1)))
            cpu, _, found = timed(lambda b=blanks, s=sheets, c=cutting: nest(b, s, cutting=c))
            spent.append(cpu)
            possible += found is not None
        mean = sum(spent) / NESTS
        print(  # noqa: T201
            f"{cutting} nesting, 8 blanks on up to 3 sheets: {possible} of {NESTS} fit; "
            f"mean {mean:.3f} s, longest {max(spent):.3f} s"
        )


def large() -> None:
    """More than eight blanks: sheet used beside what any answer needs."""
    draw = random.Random(11)  # noqa: S311 - cases, not secrets
    shares, waste, spent = [], [], []
    for _ in range(LARGE):
        blanks = [
            Blank(f"b{i}", "", round(draw.uniform(5, 32), 1), round(draw.uniform(4, 24), 1))
            for i in range(draw.randint(9, 40))
        ]
        sheets = [Sheet("full", 96, 48, "C", "", 650, 15), Sheet("half", 48, 48, "C", "", 350, 15)]
        cpu, _, found = timed(lambda b=blanks, s=sheets: nest(b, s))
        spent.append(cpu)
        shares.append(found.sheet_in2 / found.least_sheet_in2)
        waste.append(found.waste_share)
    print(  # noqa: T201
        f"nesting of 9 to 40 blanks: sheet used / least that any answer needs: mean {sum(shares) / LARGE:.3f}, "
        f"largest {max(shares):.3f}; waste mean {sum(waste) / LARGE:.1%}; longest {max(spent):.3f} s"
    )


if __name__ == "__main__":
    plans()
    nests()
    large()
