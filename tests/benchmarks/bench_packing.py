"""Time of packing plans for anything from 1 to 108 in, their properties, and the figures of awkward things.

Run it by hand: ``python -m tests.benchmarks.bench_packing [time|judgement|tables|like] [THINGS [FIRST_SEED]]``. The
goal: a warm plan within 30 ms, the first one of a process within a second (imports aside). Processor seconds, which
other work on the machine does not stretch; the clock's stand beside them. ``like [PLANS]`` makes the table of plans by
which economics reckons what packing takes, and measures it on things that are not in it.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats.qmc import Sobol

from flipkit.economics import costs
from flipkit.economics.costs import MEASURES, materials_like_plans
from flipkit.money import show_cents
from flipkit.packing.at_hand import starter_stock
from flipkit.packing.instructions import decision
from flipkit.packing.parcel import bare_item, plan_parcel
from flipkit.packing.plan import packing_plan
from flipkit.packing.styles import STYLES, PackItem
from tests.helpers.packing_stock import ASSUMED, LABELS, LONG_AND_FLAT, RULES, STOCK, by_cards, packed_things
from tests.packing.test_judgement import wrong

PLANS = 200
PLANS_KEPT = Path(costs.__file__).with_name("plans.csv")


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Processor seconds, seconds by the clock, and what came out."""
    start, clock = time.process_time(), time.perf_counter()
    found = work()
    return time.process_time() - start, time.perf_counter() - clock, found


def plans(count: int = PLANS) -> None:
    """Random items, the longest side even on a logarithm from 1 to 108 in."""
    draw = random.Random(20261125)  # noqa: S311 - cases, not secrets
    mix = by_cards(ASSUMED.zone_mix())
    for name, stock, labels in (("price list", STOCK, LABELS), ("two rate cards to all zones", starter_stock(), mix)):
        spent, answered = [], 0
        for _ in range(count):
            sides = [108 ** draw.random() for _ in range(3)]
            fragility = draw.choice(list(RULES.cushions.fragility))
            value = draw.choice((0, 2000, 8000, 32500))
            item = PackItem("x", "thing", *sides, 0.1 + 60 * draw.random() ** 3, fragility, value)
            cpu, clock, plan = timed(
                lambda item=item, stock=stock, labels=labels: packing_plan(
                    item, stock, labels=labels, rules=RULES, assumptions=ASSUMED
                )
            )
            spent.append((cpu, clock))
            answered += plan.best is not None
        cpu, clock = (max(one[at] for one in spent[1:]) for at in (0, 1))
        mean = sum(one[0] for one in spent[1:]) / (count - 1)
        print(  # noqa: T201
            f"plans by {name}: {count} items, {answered} answered, the rest with reasons; first {spent[0][0]:.3f} s, "
            f"then mean {mean:.3f} s, longest {cpu:.3f} s ({clock:.3f} s by the clock)"
        )


def judgement(things: int = 2000, first: int = 0) -> None:
    """What does not hold of random things: cost against fragility, value and any stated padding."""
    seeds = range(first, first + things)
    broken = [f"seed {seed}: {found}" for seed in seeds for found in wrong(random.Random(seed))]  # noqa: S311
    print(f"judgement: {things} things from seed {first}, {len(broken)} properties broken {broken[:5]}")  # noqa: T201


#: Sides, weight, whether round, and the fragilities and values asked about.
AWKWARD = (
    ("56x20x3in", "9 lb", False, ("rugged", "moderately delicate", "delicate"), ("20", "80", "325", "1000")),
    ("36x36x1in", "8 lb", False, ("moderately delicate",), ("80",)),
    ("40x30x3in", "14 lb", False, ("moderately delicate",), ("80",)),
    ("59x24x5in", "20 lb", False, ("moderately delicate",), ("80", "325")),
    ("50x4x4in", "4 lb", True, ("moderately rugged",), ("80",)),
    ("1x1x1in", "2 oz", False, ("rugged",), ("20",)),
)


def tables() -> None:
    """What awkward things take to pack and post, and how long the answer takes."""
    for sides, weight, is_round, kinds, values in AWKWARD:
        print(f"\n{sides}, {weight}")  # noqa: T201
        for kind in kinds:
            for value in values:
                item = bare_item("thing", sides, weight, fragility=kind, value=value, round_section=is_round)
                cpu, _, parcel = timed(lambda item=item: plan_parcel(item, on="2026-11-27"))
                best, post = parcel.plan.best, decision(parcel.plan)[0]
                if best is None:
                    print(f"  {kind:20} ${value:>5}  no way")  # noqa: T201
                    continue
                way = best.draft.padding
                pad = "none" if way is None or way.cushion is None else f"{way.cushion.name} {way.faces}/{way.edges}"
                spent = show_cents(best.total_cents - best.damage_cents)
                print(  # noqa: T201
                    f"  {kind:20} ${value:>5}  {'post' if post else 'do not post':12} {STYLES[best.draft.style]:42} "
                    f"{pad:26} {spent:>9} + {show_cents(best.damage_cents):>7} = {show_cents(best.total_cents):>9}  "
                    f"{best.chance:6.1%}  {cpu:.2f} s"
                )


def like_plans(count: int = 6144) -> None:
    """The table of plans whose parcels stand for a shop's, written anew, and how far off other things are by it."""
    household = {"long_in": (3, 48), "wide": 0.25, "high": 0.12}
    # The sixth share once said how fragile a thing was; those that were as fragile as is usual are kept.
    household_things = (points := Sobol(6, rng=7).random(count))[points[:, 5] * 7 < 4]
    long_things = Sobol(6, rng=8).random(count * 4 // 3)
    plans = np.vstack([packed_things(household_things, **household), packed_things(long_things, **LONG_AND_FLAT)])
    usual = ASSUMED.cents("packing.value") / 100, ASSUMED.cents("materials.assumed.medium") / 100
    rows = [
        f"{','.join(f'{side:.1f}' for side in sides)},{weight:.2f},{worth / usual[0]:.2f},{taken / usual[1]:.3f}"
        for *sides, weight, worth, taken in plans.tolist()
    ]
    PLANS_KEPT.write_text("\n".join([",".join((*MEASURES, "worth_over_usual", "materials_over_medium")), *rows, ""]))
    for seed, spans in ((0, {}), (1, {}), (2, {}), (3, {}), (4, LONG_AND_FLAT), (5, LONG_AND_FLAT)):
        *known, worth, taken = packed_things(np.random.default_rng(seed).random((50, 6)), **spans).T
        posted = pd.DataFrame(dict(zip(MEASURES, known, strict=True))).assign(measures_origin="recorded")
        reckoned = materials_like_plans(posted, worth * 100, ASSUMED) / 100
        off = np.abs(reckoned / taken - 1)
        print(  # noqa: T201
            f"materials like those of {len(rows)} plans, of {taken.size} other things: off by {np.median(off):.1%} at "
            f"the median, {np.quantile(off, 0.9):.0%} for one in ten, in sum {reckoned.sum() / taken.sum():.3f}"
        )


if __name__ == "__main__":
    asked = {"time": plans, "judgement": judgement, "tables": tables, "like": like_plans}
    things = [int(text) for text in sys.argv[1:] if text.isdigit()]
    for name in [text for text in sys.argv[1:] if text in asked] or list(asked):
        takes = {"tables": 0, "judgement": 2}.get(name, 1)
        asked[name](*things[:takes])  # type: ignore[operator]
