"""Draws repeat, keep apart, and have the distributions that they say."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flipkit.simulation.shops import Draws


def test_a_stream_goes_on_and_a_fresh_one_repeats() -> None:
    draws = Draws(3)
    first, second = draws.uniform("a", 4), draws.uniform("a", 4)
    assert not np.array_equal(first, second)
    assert np.array_equal(np.concatenate([first, second]), Draws(3).uniform("a", 8))


def test_streams_do_not_move_each_other() -> None:
    draws = Draws(3)
    draws.uniform("b", 1000)
    assert np.array_equal(draws.uniform("a", 4), Draws(3).uniform("a", 4))


@pytest.mark.worked
def test_raw_bits_become_numbers_as_stated() -> None:
    # The top 52 bits over 2**52, half a step up: of the raw value 2**63 that is 1/2 + 2**-53.
    raw = np.random.PCG64(np.random.SeedSequence([3, 3904355907])).random_raw(2)
    expected = [((int(value) >> 12) + 0.5) / 2**52 for value in raw]
    assert Draws(3).uniform("a", 2).tolist() == expected


@pytest.mark.worked
def test_moments() -> None:
    # Standard errors at 200,000 draws: mean of a uniform .289/447 = .0006, of a normal and of an
    # exponential 1/447 = .0022; four of each.
    draws, n = Draws(11), 200_000
    uniform, normal, waiting = draws.uniform("u", n), draws.normal("n", n), draws.waiting("w", n)
    assert uniform.min() > 0
    assert uniform.max() < 1
    assert abs(uniform.mean() - 0.5) < 0.0026
    assert abs(normal.mean()) < 0.009
    assert abs(normal.var() - 1) < 0.013
    assert abs(waiting.mean() - 1) < 0.009


@pytest.mark.worked
def test_counts_are_poisson() -> None:
    # P(0) = exp(-1.5) = .2231, P(3) = exp(-1.5) 1.5**3 / 6 = .1255; standard errors near .0009.
    counts = Draws(5).counts("c", np.full(200_000, 1.5))
    assert abs((counts == 0).mean() - math.exp(-1.5)) < 0.004
    assert abs((counts == 3).mean() - math.exp(-1.5) * 1.5**3 / 6) < 0.004
    assert abs(counts.mean() - 1.5) < 0.011


def test_choice_and_whole_stay_inside() -> None:
    draws = Draws(2)
    assert set(draws.choice("c", [1, 0, 2], 500).tolist()) == {0, 2}
    assert set(draws.whole("w", -1, 1, 500).tolist()) == {-1, 0, 1}
