"""Price paths under doubt: against every other path, against the sure path, and what doubt does to them."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from flipkit.analysis.demand import LEAST_PULL, SURE, Demand, Offers, Possible, possible_demand
from flipkit.analysis.pricing import (
    GIVE_UP,
    PriceGrid,
    PriceSettings,
    best_paths,
    path_outcomes,
    price_table,
    weighed_paths,
)
from tests.helpers.path_worth import expected_value_cents

OFFERS = Offers((0.9, 0.75), (0.3, 0.2))


def one(*, rate=0.12, pull=2.4, weeks=26, fading=0.02, offers=OFFERS, n=1):
    return Demand(np.full(n, math.log(rate)), np.full(n, pull), -fading * np.arange(weeks), offers)


def priced(demand, typical=(4000,), low=0.4, high=1.9, step=0.05):
    return price_table(typical, lambda price: 0.86 * price - 700, demand, grid=PriceGrid(low, high, step))


def worth(place, lowest, demand, possible, table, settings, **cost):
    """Mean over the possibilities, the slow and plain way."""
    cost = {"storage_cents": 0.0, "end_cents": 0.0, **cost}
    shares = np.broadcast_to(possible.share, (len(place), possible.pull.size))
    total, moved = np.zeros(len(place)), possible.moved(demand)
    for at in range(possible.pull.size):
        alone = Demand(moved.log_rate[at], moved.pull[at], moved.weekly, moved.offers)
        total += shares[:, at] * expected_value_cents(path_outcomes(place, lowest, alone, table), settings, **cost)
    together = expected_value_cents(path_outcomes(place, lowest, moved, table), settings, **cost)
    np.testing.assert_allclose((shares.T * together).sum(axis=0), total)
    return total


@pytest.mark.parametrize(("keep", "change", "storage", "end"), [(1.0, 0, 0, 0), (0.97, 40, 25, 150), (0.9, 5, 0, 700)])
@pytest.mark.parametrize("possible", [possible_demand(0.3, 0.8), possible_demand(0.1, 0.5, pull_error=0.9)])
def test_no_other_path_is_worth_more(keep, change, storage, end, possible):
    """All non-rising paths of four weeks over five prices."""
    demand = one(rate=0.4, weeks=4, fading=0.1, offers=Offers())
    table = priced(demand, (3000,), 0.6, 1.4, 0.2)
    settings = PriceSettings(4, keep=keep, change_cents=change)
    cost = {"storage_cents": storage, "end_cents": end}
    best = weighed_paths(demand, possible, table, settings, **cost)
    paths = [
        path
        for path in itertools.product(range(GIVE_UP, table.price_cents.shape[1]), repeat=4)
        if all(later <= now for now, later in itertools.pairwise(path))
    ]
    tried = [
        worth(np.array([path]), np.full((1, 4), np.inf), demand, possible, table, settings, **cost) for path in paths
    ]
    own = worth(best.place, np.full((1, 4), np.inf), demand, possible, table, settings, **cost)
    assert best.value_cents[0] == pytest.approx(own[0])
    assert own[0] == pytest.approx(max(tried)[0], rel=1e-3)


def test_without_doubt_it_is_the_sure_path():
    demand = one(n=3)
    table = priced(demand, (1500, 4000, 12_000))
    settings = PriceSettings(26, keep=0.996, change_cents=60)
    cost = {"storage_cents": np.array([5.0, 20.0, 80.0]), "end_cents": np.array([30.0, 0.0, 400.0])}
    sure, weighed = (
        best_paths(demand, table, settings, **cost),
        weighed_paths(demand, SURE, table, settings, **cost),
    )
    assert weighed.value_cents == pytest.approx(sure.value_cents, rel=1e-9)
    assert (weighed.place == sure.place).all()


@pytest.mark.parametrize("change", [0, 150])
def test_the_value_found_backward_is_the_worth_found_forward(change):
    demand = one(n=3)
    table = priced(demand, (1500, 4000, 12_000))
    settings = PriceSettings(26, keep=0.996, change_cents=change)
    possible = possible_demand(0.2, np.array([0.3, 0.6, 0.9]), pull_error=0.5, together=0.05)
    cost = {"storage_cents": np.array([5.0, 20.0, 80.0]), "end_cents": np.array([30.0, 0.0, 400.0])}
    paths = weighed_paths(demand, possible, table, settings, **cost)
    # Offers to take are said in whole dollars, which can cost a hair.
    found = worth(paths.place, paths.lowest_offer_cents, demand, possible, table, settings, **cost)
    assert found == pytest.approx(paths.value_cents, rel=2e-3)


@pytest.mark.parametrize(("never", "spread", "pull_error"), [(0.05, 0.4, 0.0), (0.6, 0.4, 0.0), (0.1, 0.8, 0.7)])
def test_it_is_worth_more_on_average_than_the_path_made_for_the_middling_thing(never, spread, pull_error):
    demand = one(weeks=52, n=2)
    table = priced(demand, (2500, 9000))
    settings = PriceSettings(52, keep=0.997, change_cents=75)
    possible = possible_demand(never, spread, pull_error=pull_error, levels=9, pulls=5)
    plain = best_paths(demand, table, settings, storage_cents=25)
    weighed = weighed_paths(
        demand, possible_demand(never, spread, pull_error=pull_error), table, settings, storage_cents=25
    )
    first, second = (
        worth(path.place, path.lowest_offer_cents, demand, possible, table, settings, storage_cents=25)
        for path in (plain, weighed)
    )
    assert (second > first).all()


def test_a_thing_already_asked_for_is_never_raised_and_unlikely_ones_are_given_up_sooner():
    demand = one(weeks=52, n=2)
    table = priced(demand, (4000, 4000))
    start = np.array([12, 12])
    new = possible_demand(0.2, 0.5)
    # The second has met three chances in vain.
    left = new.share * np.exp(-new.level * np.array([[0.0], [3.0]]))
    waited = Possible(np.broadcast_to(new.level, left.shape), new.pull, left / left.sum(axis=1, keepdims=True))
    paths = weighed_paths(demand, waited, table, PriceSettings(52, change_cents=75), storage_cents=60, start=start)
    assert (paths.place <= 12).all()
    fresh, old = paths.weeks_to_give_up
    assert old < fresh
    assert paths.value_cents[1] < paths.value_cents[0]


@pytest.mark.worked
def test_possibilities_have_the_spread_and_the_covariance_that_they_stand_for():
    found = possible_demand(0.25, 0.6, pull_error=0.5, together=0.12)
    share, log = found.share[1:] / 0.75, np.log(found.level[1:])
    # Two and four places of a normal have its variance exactly: 0.6^2 of the level, 0.5^2 of the pull.
    assert found.share[0] == 0.25
    assert share @ log**2 == pytest.approx(0.36)
    assert share @ found.pull[1:] ** 2 == pytest.approx(0.25)
    assert share @ (log * found.pull[1:]) == pytest.approx(0.12)
    flat = possible_demand(0.0, 0.1, pull_error=5.0).moved(one())
    assert flat.pull.min() == LEAST_PULL


def test_more_freedom_is_never_worth_less_and_dearer_room_never_more():
    """Over 40 seeded things: a higher price to choose, a longer time, room that costs less."""
    random = np.random.default_rng(11)
    n = 40
    demand = Demand(np.log(random.uniform(0.02, 0.3, n)), random.uniform(0.8, 4.0, n), -0.02 * np.arange(40.0), OFFERS)
    typical, possible = random.uniform(800, 20_000, n), possible_demand(0.2, 0.5, pull_error=0.4)

    def value(high=1.4, weeks=40, storage=20.0):
        table = price_table(typical, lambda price: 0.86 * price - 700, demand, grid=PriceGrid(0.4, high, 0.05))
        return weighed_paths(demand, possible, table, PriceSettings(weeks), storage_cents=storage).value_cents

    usual = value()
    # Steps of the two grids do not fall together, and a path is sought along the one before.
    near = 0.003 * usual + 1
    for freer in (value(high=1.4 * np.exp(0.25)), value(storage=5.0)):
        assert (freer >= usual - near).all()
    for bound in (value(high=1.4 * np.exp(-0.25)), value(weeks=13), value(storage=60.0)):
        assert (bound <= usual + near).all()


def test_things_planned_together_have_the_paths_that_each_has_alone():
    """Forty-five seeded things of three kinds: different waits, levels and prices asked already, more than a chunk."""
    random = np.random.default_rng(7)
    n, weeks = 45, 30
    last = np.array([8, 17, 30])[np.arange(n) % 3]
    weekly = np.where(np.arange(weeks) < last[:, None], -0.02 * np.arange(weeks), -np.inf)
    demand = Demand(random.uniform(-3, -1.5, n), np.full(n, 2.2), weekly, OFFERS)
    possible = Possible.joined([possible_demand(0.2, np.full(15, 0.3 * k), pull_error=0.2 * k) for k in (1, 2, 3)])
    table = priced(demand, random.uniform(1500, 9000, n))
    start = random.integers(table.asked, table.price_cents.shape[1], n)
    cost = {"storage_cents": random.uniform(0, 60, n)}
    together = weighed_paths(demand, possible, table, PriceSettings(weeks, change_cents=60), start=start, **cost)
    for at in range(n):
        here, settings = np.array([at]), PriceSettings(int(last[at]), change_cents=60)
        alone = weighed_paths(
            replace(demand.part(here), weekly=weekly[here, : last[at]]),
            possible.rows(here),
            table.part(here),
            settings,
            start=start[here],
            storage_cents=cost["storage_cents"][here],
        )
        np.testing.assert_array_equal(together.place[at, : last[at]], alone.place[0])
        np.testing.assert_array_equal(together.lowest_offer_cents[at, : last[at]], alone.lowest_offer_cents[0])
        assert (together.place[at, last[at] :] == GIVE_UP).all()
        assert together.value_cents[at] == pytest.approx(alone.value_cents[0], rel=1e-9, abs=1e-6)
