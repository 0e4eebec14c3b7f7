"""The best price path of a seller who knows the demand, hidden differences between things included.

Things of a kind differ in how much they are wanted, which nobody sees; that one has not sold
yet says that it is likely one of the less wanted. The best path then depends on the chances
already given, which is one more state of the backward induction. The kit itself does without
it; this is the yardstick that its paths are measured against.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand, Wanting
from flipkit.analysis.pricing import GIVE_UP, PriceSettings, PriceTable

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def knowing_paths(
    demand: Demand,
    wanted: Wanting,
    table: PriceTable,
    settings: PriceSettings,
    *,
    storage_cents: float,
    end_cents: float,
    chances: Floats,
) -> tuple[Ints, Floats, Floats]:
    """Best paths by week, price and the chances already given."""
    found = [
        _one(
            demand.part(slice(at, at + 1)),
            wanted,
            table.part(slice(at, at + 1)),
            settings,
            storage_cents,
            end_cents,
            chances,
        )
        for at in range(table.price_cents.shape[0])
    ]
    return tuple(np.concatenate(parts) for parts in zip(*found, strict=True))  # type: ignore[return-value]


def _one(
    demand: Demand,
    wanted: Wanting,
    table: PriceTable,
    settings: PriceSettings,
    storage: float,
    end: float,
    chances: Floats,
) -> tuple[Ints, Floats, Floats]:
    prices = table.price_cents.shape[1]
    first, size, grid = table.asked, prices - table.asked, chances.size
    rates = demand.price_rates(table.log_ratio[:, first:])[0]
    net = table.net_cents[0, first:]
    offers = [table.net_cents[0, first - step : prices - step] for step in table.offer_steps]
    often = demand.offers.per_sale
    unsold = wanted.unsold(chances)
    value = np.full((grid, size), end)
    action = np.empty((settings.weeks, grid, size), dtype=np.int16)
    taken = np.empty((settings.weeks, grid, size), dtype=np.int8)
    column = np.arange(size)
    for week in range(settings.weeks - 1, -1, -1):
        base = rates * demand.week_factor(week)[0]
        best = np.full((grid, size), -np.inf)
        count, total = 1.0, net.copy()
        # Offers stand in falling order: taking one means taking all better ones.
        for many in range(len(offers) + 1):
            if many:
                count = count + often[many - 1]
                total = total + often[many - 1] * offers[many - 1]
            after = chances[:, None] + base * count
            stay = wanted.unsold(after) / unsold[:, None]
            wait = settings.keep * _between(chances, value, after) - storage
            held = (1 - stay) * total / count + stay * wait
            better = held > best
            best = np.where(better, held, best)
            taken[week] = np.where(better, many, taken[week] if many else 0)
        peak = np.maximum.accumulate(best, axis=1)
        target = np.maximum.accumulate(np.where(best == peak, column, 0), axis=1)
        changed = peak - (0.0 if week == 0 else settings.change_cents)
        move = changed > best
        value = np.where(move, changed, best)
        action[week] = np.where(move, target, column)
        stop = value < end
        value = np.where(stop, end, value)
        action[week] = np.where(stop, GIVE_UP, action[week])
    place = np.full((1, settings.weeks), GIVE_UP, dtype=np.int64)
    lowest = np.zeros((1, settings.weeks))
    at, met = size - 1, 0.0
    for week in range(settings.weeks):
        node = int(np.abs(chances - met).argmin())
        chosen = int(action[week, node, at])
        if chosen == GIVE_UP:
            break
        at = chosen
        many = int(taken[week, node, at])
        place[0, week] = at + first
        step = table.offer_steps[many - 1] if many else 0
        lowest[0, week] = table.price_cents[0, max(at + first - step, 0)]
        met += float(rates[at] * demand.week_factor(week)[0]) * (1 + sum(often[:many]))
    return place, lowest, value[0, -1:]


def _between(chances: Floats, value: Floats, at: Floats) -> Floats:
    """Values between the grid's chances, by straight lines, for each price's own column."""
    upper = np.clip(np.searchsorted(chances, at), 1, chances.size - 1)
    low, high = chances[upper - 1], chances[upper]
    part = np.clip((at - low) / (high - low), 0.0, 1.0)
    column = np.arange(value.shape[1])
    return np.asarray(value[upper - 1, column] * (1 - part) + value[upper, column] * part)
