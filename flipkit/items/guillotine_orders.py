"""Many blanks on many sheets by whole cuts: a set of sound orders tried, the best kept.

No claim that the answer is the best one: :mod:`flipkit.items.nesting` states what any answer
would need beside it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

from flipkit.items.guillotine import Cut, Kind, Spot

Rect = tuple[int, int, int, int]  # x, y, length, width
Pattern = tuple[list[Spot], list[Cut]]
Fit = Callable[[Rect, int, int], int]
Split = Callable[[Rect, int, int], bool]

_ORDERS: tuple[Callable[[Kind], tuple[int, int]], ...] = (
    lambda kind: (-kind.length * kind.width, -max(kind.length, kind.width)),
    lambda kind: (-max(kind.length, kind.width), -min(kind.length, kind.width)),
    lambda kind: (-min(kind.length, kind.width), -max(kind.length, kind.width)),
    lambda kind: (-kind.length - kind.width, -max(kind.length, kind.width)),
    lambda kind: (-kind.width, -kind.length),
    lambda kind: (-kind.length, -kind.width),
)
#: How to choose a free part: least area left, least short side left, least long side left.
_FITS: tuple[Fit, ...] = (
    lambda part, long, wide: part[2] * part[3] - long * wide,
    lambda part, long, wide: min(part[2] - long, part[3] - wide),
    lambda part, long, wide: max(part[2] - long, part[3] - wide),
)
#: Whether the first cut runs across the part: shorter rest, longer rest, larger part kept whole, always, never.
_SPLITS: tuple[Split, ...] = (
    lambda part, long, wide: part[2] - long < part[3] - wide,
    lambda part, long, wide: part[2] - long >= part[3] - wide,
    lambda part, long, wide: (part[2] - long) * part[3] > part[2] * (part[3] - wide),
    lambda part, long, wide: True,
    lambda part, long, wide: False,
)


def best_orders(
    kinds: Sequence[Kind], costs_cents: Sequence[int], sizes: Sequence[tuple[int, int]]
) -> dict[int, Pattern] | None:
    """The cheapest, then smallest, set of sheets that any of the orders fills.

    Parameters
    ----------
    kinds : sequence of Kind
        The pieces.
    costs_cents : sequence of int, shape (n,)
        Cost of each sheet. [cents]
    sizes : sequence of (int, int), shape (n,)
        Sheets. [0.001 in]

    Returns
    -------
    dict or None
        Sheet to its pieces and cuts; None where no order places everything.
    """
    areas = [length * width for length, width in sizes]
    every = range(len(sizes))
    sheet_orders = {
        tuple(sorted(every, key=lambda at: (costs_cents[at] / areas[at], areas[at], at))),
        tuple(sorted(every, key=lambda at: (costs_cents[at], areas[at], at))),
        tuple(sorted(every, key=lambda at: (-areas[at], costs_cents[at], at))),
    }
    best: tuple[int, int, dict[int, Pattern]] | None = None
    for sheets in sorted(sheet_orders):
        while True:
            found = _best_of(kinds, costs_cents, sizes, sheets)
            if found is None:
                break
            if best is None or found[:2] < best[:2]:
                best = found
            # The same again without the emptiest of its sheets, as long as that still holds everything.
            used = found[2]
            emptiest = min(used, key=lambda at: sum(s.length * s.width for s in used[at][0]) / areas[at])
            sheets = tuple(at for at in sheets if at in used and at != emptiest)
    return None if best is None else best[2]


def _best_of(
    kinds: Sequence[Kind], costs_cents: Sequence[int], sizes: Sequence[tuple[int, int]], sheets: Sequence[int]
) -> tuple[int, int, dict[int, Pattern]] | None:
    best: tuple[int, int, dict[int, Pattern]] | None = None
    for order, fit, split in itertools.product(_ORDERS, _FITS, _SPLITS):
        places = sorted(range(len(kinds)), key=lambda place: order(kinds[place]))
        queue = [place for place in places for _ in range(kinds[place].number)]
        found = _fill(kinds, queue, sizes, sheets, fit, split)
        if found is None:
            continue
        price = (sum(costs_cents[at] for at in found), sum(sizes[at][0] * sizes[at][1] for at in found))
        if best is None or price < best[:2]:
            best = (*price, found)
    return best


def _fill(
    kinds: Sequence[Kind],
    queue: Sequence[int],
    sizes: Sequence[tuple[int, int]],
    sheets: Sequence[int],
    fit: Fit,
    split: Split,
) -> dict[int, Pattern] | None:
    """One order: each piece into the best free part of the open sheets, else the next sheet is opened."""
    waiting = list(sheets)
    free: list[tuple[int, Rect]] = []
    found: dict[int, Pattern] = {}
    for place in queue:
        kind = kinds[place]
        ways = [(kind.length, kind.width, False)]
        if kind.turns and kind.length != kind.width:
            ways.append((kind.width, kind.length, True))
        while True:
            options = [
                (fit(part, long, wide), at, part, long, wide, turned)
                for at, part in free
                for long, wide, turned in ways
                if long <= part[2] and wide <= part[3]
            ]
            if options:
                break
            opened = next(
                (at for at in waiting if any(lo <= sizes[at][0] and w <= sizes[at][1] for lo, w, _ in ways)), None
            )
            if opened is None:
                return None
            waiting.remove(opened)
            free.append((opened, (0, 0, *sizes[opened])))
            found[opened] = ([], [])
        _, at, part, long, wide, turned = min(options)
        free.remove((at, part))
        x, y, length, width = part
        spots, cuts = found[at]
        spots.append(Spot(place, x, y, long, wide, turned))
        right, above = length - long, width - wide
        across = split(part, long, wide)
        if right:
            free.append((at, (x + long, y, right, width if across else wide)))
        if above:
            free.append((at, (x, y + wide, long if across else length, above)))
        first = Cut(x + long, y, x + long, y + width) if across else Cut(x, y + wide, x + length, y + wide)
        then = Cut(x, y + wide, x + long, y + wide) if across else Cut(x + long, y, x + long, y + wide)
        for cut, needed in ((first, right if across else above), (then, above if across else right)):
            if needed:
                cuts.append(cut)
    return {at: pattern for at, pattern in found.items() if pattern[0]}
