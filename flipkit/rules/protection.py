"""Declared value and signature: what they cost in steps, and when they are worth it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MoneyError
from flipkit.money import PPM, Cents, percentage
from flipkit.rules.blocks import Keys
from flipkit.rules.charging import stepped


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
    amounts = np.array([*rule.amounts_cents, rule.amounts_cents[-1]], dtype=np.int64)
    cost = stepped(amounts, rule.edges_cents, declared)
    if rule.then_each_cents:
        over = np.maximum(declared - rule.edges_cents[-1], 0)
        cost = cost + -(-over // rule.then_each_cents) * rule.then_amount_cents
    cost = np.where(declared > 0, cost, 0)
    return np.where(declared > rule.maximum_cents, -1, cost)


def protection_choices(
    declared_value: DeclaredValue | None,
    signature_cents: Mapping[str, int],
    *,
    value_cents: int,
    damage_ppm: int,
    loss_ppm: int,
    signature_stops_ppm: int,
) -> list[dict[str, Any]]:
    """Ways to protect a parcel, with their cost and the loss still to be expected, the best first.

    A way costs its fee and what it leaves open: the chance of damage or loss times the value that is
    not covered. It is worth its fee when that is below the loss it takes away.

    Parameters
    ----------
    declared_value : DeclaredValue or None
        What declaring a value costs; None where it cannot be declared.
    signature_cents : mapping
        Price of each kind of signature. [cents]
    value_cents : int
        What the contents would cost the seller. [cents]
    damage_ppm : int
        Chance of damage. [parts per million]
    loss_ppm : int
        Chance of loss, or of a parcel that is said not to have arrived. [parts per million]
    signature_stops_ppm : int
        Share of such losses that a signature prevents. [parts per million]

    Returns
    -------
    list of dict
        ``protection``, ``fee_cents``, ``covered_cents`` (value covered), ``expected_loss_cents`` (still open),
        ``cost_cents`` (both together), ``saves_cents`` (against no protection) and ``break_even_chance`` (the chance
        of damage and loss, or for a signature of loss, at which the fee is just paid back; None where there is no fee
        or no chance would do).

    Raises
    ------
    MoneyError
        If a chance is not between 0 and 1,000,000, or together they exceed it.

    Examples
    --------
    >>> rule = DeclaredValue((100_00, 300_00), (0, 3_45), 100_00, 1_15, 50_000_00)
    >>> ways = protection_choices(
    ...     rule, {"plain": 3_10}, value_cents=400_00, damage_ppm=15_000, loss_ppm=5_000, signature_stops_ppm=500_000
    ... )
    >>> [(way["protection"], way["cost_cents"]) for way in ways]
    [('declared value', 460), ('none', 600), ('declared value and plain signature', 770), ('plain signature', 835)]
    """
    chances = {"damage_ppm": damage_ppm, "loss_ppm": loss_ppm, "signature_stops_ppm": signature_stops_ppm}
    for name, share in {**chances, "damage_ppm + loss_ppm": damage_ppm + loss_ppm}.items():
        if not 0 <= share <= PPM:
            raise MoneyError(name, need=f"from 0 to {PPM} parts per million", got=share)
    free = min(declared_value.free_cents, value_cents) if declared_value is not None else 0
    covers = [("", 0, free)]
    if declared_value is not None and value_cents > free:
        declared = min(value_cents, declared_value.maximum_cents)
        covers.append(("declared value", int(declared_value_cents(declared_value, declared_cents=declared)), declared))
    ways: list[dict[str, Any]] = []
    for cover, fee, covered in covers:
        for kind, price in (("", 0), *signature_cents.items()):
            stopped = int(percentage(loss_ppm, signature_stops_ppm)) if kind else 0
            loss = int(percentage(value_cents - covered, damage_ppm + loss_ppm - stopped))
            names = [name for name in (cover, f"{kind} signature" if kind else "") if name]
            # What a fee buys, were the chance a certainty: the cover that it adds, or the losses that it stops.
            bought = 0.0
            if cover and not kind:
                bought = float(covered - free)
            elif kind and not cover:
                bought = (value_cents - free) * signature_stops_ppm / PPM
            ways.append(
                {
                    "protection": " and ".join(names) or "none",
                    "fee_cents": fee + price,
                    "covered_cents": covered,
                    "expected_loss_cents": loss,
                    "cost_cents": fee + price + loss,
                    "break_even_chance": (fee + price) / bought if 0 < fee + price <= bought else None,
                }
            )
    bare = ways[0]["cost_cents"]
    for way in ways:
        way["saves_cents"] = bare - way["cost_cents"]
    return sorted(ways, key=lambda way: (way["cost_cents"], way["fee_cents"]))
