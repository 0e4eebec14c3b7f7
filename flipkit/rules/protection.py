"""Declared value and signature: what they cost in steps, and when they are worth it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flipkit.money import Cents
from flipkit.rules.reading import Keys


@dataclass(frozen=True)
class DeclaredValue:
    """What a declared value costs: an amount up to each edge, then so much for every further step or part.

    Parameters
    ----------
    edges_cents : tuple of int
        Upper end of each step; a value on the edge is still in it. [cents]
    amounts_cents : tuple of int
        What each step costs. [cents]
    then_each_cents : int
        Length of every further step; 0 where nothing above the last edge can be declared. [cents]
    then_amount_cents : int
        What every further step, or part of one, adds. [cents]
    maximum_cents : int
        Most that can be declared. [cents]
    """

    edges_cents: tuple[int, ...]
    amounts_cents: tuple[int, ...]
    then_each_cents: int
    then_amount_cents: int
    maximum_cents: int

    @property
    def free_cents(self) -> int:
        """The value that is covered without charge. [cents]"""
        free = 0
        for edge, amount in zip(self.edges_cents, self.amounts_cents, strict=True):
            free = edge if amount == 0 else free
        return free


def read_declared_value(keys: Keys) -> DeclaredValue:
    """Steps of declared value from a table with ``steps``, ``then_each``, ``then_amount`` and ``maximum``.

    Parameters
    ----------
    keys : Keys
        The table.

    Returns
    -------
    DeclaredValue
        The steps.

    Raises
    ------
    RuleTableError
        If the edges do not rise or a key is missing.
    """
    entries = keys.tables("steps")
    edges: list[int] = []
    amounts: list[int] = []
    if not entries:
        keys.fail("steps", "nothing", "at least one step with up_to and amount")
    for entry in entries:
        edge = entry.cents("up_to")
        if edges and edge <= edges[-1]:
            entry.fail("up_to", f"{edge / 100:.2f}", f"more than {edges[-1] / 100:.2f}, the entry before")
        edges.append(edge)
        amounts.append(entry.cents("amount"))
        if len(amounts) > 1 and amounts[-1] < amounts[-2]:
            entry.fail("amount", f"{amounts[-1] / 100:.2f}", f"at least {amounts[-2] / 100:.2f}, the entry before")
        entry.done()
    each = keys.cents("then_each", 0)
    if keys.has("then_each") and not each:
        keys.fail("then_each", "0.00", "an amount above 0.00")
    maximum = keys.cents("maximum") if each else keys.cents("maximum", edges[-1])
    if maximum < edges[-1] or (maximum > edges[-1] and not each):
        keys.fail("maximum", f"{maximum / 100:.2f}", f"the last edge {edges[-1] / 100:.2f}, or then_each above it")
    found = DeclaredValue(
        edges_cents=tuple(edges),
        amounts_cents=tuple(amounts),
        then_each_cents=each,
        then_amount_cents=keys.cents("then_amount") if each else 0,
        maximum_cents=maximum,
    )
    keys.done()
    return found


def declared_value_cents(rule: DeclaredValue, *, declared_cents: npt.ArrayLike) -> Cents:
    """What declaring a value costs.

    Parameters
    ----------
    rule : DeclaredValue
        The steps in force.
    declared_cents : int or array, shape (n,)
        The values; nothing declared costs nothing. [cents]

    Returns
    -------
    array, shape (n,)
        The cost, int64; -1 where so much cannot be declared. [cents]

    Examples
    --------
    >>> rule = DeclaredValue((100_00, 300_00), (0, 3_45), 100_00, 1_15, 50_000_00)
    >>> declared_value_cents(rule, declared_cents=[0, 100_00, 300_00, 301_00]).tolist()
    [0, 0, 345, 460]
    """
    declared = np.asarray(declared_cents, dtype=np.int64)
    edges = np.array(rule.edges_cents, dtype=np.int64)
    amounts = np.array([*rule.amounts_cents, rule.amounts_cents[-1]], dtype=np.int64)
    cost = amounts[np.searchsorted(edges, declared, side="left")]
    if rule.then_each_cents:
        over = np.maximum(declared - edges[-1], 0)
        cost = cost + -(-over // rule.then_each_cents) * rule.then_amount_cents
    cost = np.where(declared > 0, cost, 0)
    return np.where(declared > rule.maximum_cents, -1, cost)
