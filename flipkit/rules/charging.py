"""Charges applied to columns of amounts, exactly: numerators in millionths of a cent, rounded at the end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.money import LARGEST_CENTS, PPM, Cents
from flipkit.rules.charges import BASES, Charge, Steps

#: What a charge is before it is rounded: int64 millionths of a cent.
Numerators = npt.NDArray[np.int64]


class ChargeTable:
    """Some charges side by side, of which every row picks one.

    Parameters
    ----------
    charges : sequence of Charge or None
        The charges; None costs nothing.
    """

    def __init__(self, charges: Sequence[Charge | None]) -> None:
        self.single = all(charge == charges[0] for charge in charges)
        rows = charges[:1] if self.single else charges
        depth = max((len(charge.edges_cents) for charge in rows if charge), default=0)
        self.nothing = all(charge is None for charge in rows)
        self._bases = sorted({charge.base for charge in rows if charge})
        self._base = self._column([self._bases.index(charge.base) if charge else 0 for charge in rows])
        self._first = self._column([charge.rates_ppm[0] if charge else 0 for charge in rows])
        self._tiers = []
        for tier in range(depth):
            held = [charge if charge and tier < len(charge.edges_cents) else None for charge in rows]
            edge = [charge.edges_cents[tier] if charge else LARGEST_CENTS for charge in held]
            step = [charge.rates_ppm[tier + 1] - charge.rates_ppm[tier] if charge else 0 for charge in held]
            # A slice pays the step in the rate above its edge; a whole-amount tier pays it on everything.
            off = [
                charge.edges_cents[tier] * rise if charge and not charge.whole_amount else 0
                for charge, rise in zip(held, step, strict=True)
            ]
            self._tiers.append((self._column(edge), self._column(step), self._column(off)))
        self._floor = self._bound([charge.minimum_cents * PPM if charge else 0 for charge in rows], 0)
        cap = LARGEST_CENTS * PPM
        self._cap = self._bound([charge.cap_cents * PPM if charge else cap for charge in rows], cap)
        self._fixed = self._bound([charge.fixed_cents * PPM if charge else 0 for charge in rows], 0)

    def _column(self, values: Sequence[int]) -> Any:
        # A Python integer where there is one charge: numpy then needs no look-up a row.
        return int(values[0]) if self.single else np.array(values, dtype=np.int64)

    def _bound(self, values: Sequence[int], idle: int) -> Any:
        return None if all(value == idle for value in values) else self._column(values)

    def numerators(self, columns: dict[str, Cents], pick: npt.NDArray[np.int64] | None) -> Numerators:
        """What every row is charged, before rounding.

        Parameters
        ----------
        columns : dict
            Amounts by the names of ``BASES``. [cents]
        pick : array or None
            Which charge each row pays; None where there is but one.

        Returns
        -------
        array, shape (n,)
            int64. [millionths of a cent]
        """

        def of(column: Any) -> Any:
            return column if self.single else column[pick]

        base = self._amount(columns, pick)
        charged = base * of(self._first)
        for edge, step, off in self._tiers:
            # Few amounts are above an edge: only theirs is worked out again.
            above = (base > of(edge)).nonzero()[0]
            if above.size:
                charged[above] += base[above] * _at(of(step), above) - _at(of(off), above)
        if self._floor is not None:
            charged = np.maximum(charged, of(self._floor))
        if self._cap is not None:
            charged = np.minimum(charged, of(self._cap))
        if self._fixed is not None:
            charged = charged + of(self._fixed)
        return charged

    def _amount(self, columns: dict[str, Cents], pick: npt.NDArray[np.int64] | None) -> Cents:
        if not self._bases:
            return np.zeros_like(columns["goods"])
        if len(self._bases) == 1:
            return base_amount(columns, self._bases[0])
        every = np.stack([base_amount(columns, base) for base in self._bases])
        return every[self._base[pick], np.arange(every.shape[1])]


def _at(column: Any, rows: npt.NDArray[np.int64]) -> Any:
    return column if isinstance(column, int) else column[rows]


def base_amount(columns: dict[str, Cents], base: tuple[str, ...]) -> Cents:
    """The amount that a charge is taken of.

    Parameters
    ----------
    columns : dict
        Amounts by the names of ``BASES``. [cents]
    base : tuple of str
        Which of them add up.

    Returns
    -------
    array, shape (n,)
        int64. [cents]
    """
    total = columns[base[0]]
    for name in base[1:]:
        total = total + columns[name]
    return total


def step_amount(columns: dict[str, Cents], steps: Steps) -> Cents:
    """The amount an order, by the order's size.

    Parameters
    ----------
    columns : dict
        Amounts of the order by the names of ``BASES``. [cents]
    steps : Steps
        The steps.

    Returns
    -------
    array, shape (n,)
        int64. [cents]
    """
    base = base_amount(columns, steps.base)
    table = np.array(steps.amounts_cents, dtype=np.int64)
    if table.size == 1:
        return np.broadcast_to(table, base.shape)
    return stepped(table, steps.edges_cents, base)


def stepped(amounts: Cents, edges: Sequence[int], base: Cents) -> Cents:
    """The amount of the step that each base falls in, a base on an edge still in the step below.

    Parameters
    ----------
    amounts : array, shape (k + 1,)
        One amount a step. [cents]
    edges : sequence of int, length k
        Upper ends of all but the last. [cents]
    base : array, shape (n,)
        What is looked up. [cents]

    Returns
    -------
    array, shape (n,)
        int64. [cents]
    """
    # A handful of edges is compared quicker than searched.
    if len(edges) > 6:
        return amounts[np.searchsorted(np.array(edges, dtype=np.int64), base, side="left")]
    found = np.broadcast_to(amounts[0], base.shape)
    for edge, amount in zip(edges, amounts[1:], strict=True):
        found = np.where(base > edge, amount, found)
    return found


def rounded_cents(numerators: Numerators) -> Cents:
    """Numerators as whole cents, each rounded half up once, a negative one the mirror of the positive.

    Parameters
    ----------
    numerators : array, shape (n,)
        int64. [millionths of a cent]

    Returns
    -------
    array, shape (n,)
        int64. [cents]

    Examples
    --------
    >>> rounded_cents(np.array([1_500_000, 1_499_999, -1_500_000])).tolist()
    [2, 1, -2]
    """
    if not numerators.size or numerators.min() >= 0:
        return (numerators + PPM // 2) // PPM
    return np.sign(numerators) * ((np.abs(numerators) + PPM // 2) // PPM)


def shared_rounding(lines: dict[str, Numerators]) -> dict[str, Cents]:
    """Lines of a bill whose sum is rounded once, and shared over the lines by largest remainder.

    Parameters
    ----------
    lines : dict
        Each line's numerators, of one length. [millionths of a cent]

    Returns
    -------
    dict
        Each line in whole cents; their sum is the sum of the numerators rounded half up. [cents]

    Examples
    --------
    >>> found = shared_rounding({"a": np.array([500_000]), "b": np.array([500_000])})
    >>> int(found["a"][0]), int(found["b"][0])
    (1, 0)
    """
    names = list(lines)
    every = np.stack([lines[name] for name in names])
    floors = every // PPM
    left = rounded_cents(every.sum(axis=0)) - floors.sum(axis=0)
    order = np.argsort(-(every - floors * PPM), axis=0, kind="stable")
    rank = np.empty_like(order)
    np.put_along_axis(rank, order, np.arange(len(names))[:, None], axis=0)
    shared = floors + (rank < left)
    return dict(zip(names, shared, strict=True))


def same_base(block_base: tuple[str, ...]) -> tuple[str, ...]:
    """A base in the order of ``BASES``, so that equal bases compare equal.

    Parameters
    ----------
    block_base : tuple of str
        The base as written.

    Returns
    -------
    tuple of str
        The same, in order.
    """
    return tuple(name for name in BASES if name in block_base)
