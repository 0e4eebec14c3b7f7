"""Charges: a percentage in tiers of a stated base, and amounts that step with an order's size."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from flipkit.money import LARGEST_CENTS
from flipkit.rules.blocks import Keys

#: What a percentage may be taken of.
BASES = ("goods", "shipping", "tax")


@dataclass(frozen=True)
class Charge:
    """A percentage of a stated base, in tiers, bounded, with a fixed amount on top.

    Parameters
    ----------
    base : tuple of str
        Which of ``BASES`` add up to the amount it is taken of.
    edges_cents : tuple of int
        Upper end of every tier but the last, which has none; an amount on the edge is still in the tier. [cents]
    rates_ppm : tuple of int
        One rate a tier. [parts per million]
    whole_amount : bool
        Whether the whole amount pays the rate of the tier it falls in; else each slice pays its own.
    minimum_cents, cap_cents : int
        Bounds of the percentage. [cents]
    fixed_cents : int
        What is added after the bounds. [cents]
    per_order : bool
        Whether it is worked out once on the order and shared over its items; else on each item.
    """

    base: tuple[str, ...]
    edges_cents: tuple[int, ...]
    rates_ppm: tuple[int, ...]
    whole_amount: bool = False
    minimum_cents: int = 0
    cap_cents: int = LARGEST_CENTS
    fixed_cents: int = 0
    per_order: bool = False


@dataclass(frozen=True)
class Steps:
    """An amount an order, by the order's size.

    Parameters
    ----------
    base : tuple of str
        What adds up to the order's size.
    edges_cents : tuple of int
        Upper end of every step but the last. [cents]
    amounts_cents : tuple of int
        One amount a step. [cents]
    """

    base: tuple[str, ...]
    edges_cents: tuple[int, ...]
    amounts_cents: tuple[int, ...]


def read_named_charge(keys: Keys, name: str) -> Charge | None:
    """A charge from the table of its own name.

    Parameters
    ----------
    keys : Keys
        The block.
    name : str
        Name of the table.

    Returns
    -------
    Charge or None
        The charge; None where the block has no such table.

    Raises
    ------
    RuleTableError
        If it is malformed.
    """
    table = keys.table(name)
    if table is None:
        return None
    charge = read_charge(table)
    table.done()
    return charge


def read_charge(keys: Keys, like: Charge | None = None) -> Charge:
    """A charge from its table.

    Parameters
    ----------
    keys : Keys
        The table.
    like : Charge or None
        What fills in for the keys that the table leaves out.

    Returns
    -------
    Charge
        The charge.

    Raises
    ------
    RuleTableError
        If a key is out of range, or keys contradict each other.
    """
    base = keys.texts("base", like.base if like else ("goods",), among=BASES)
    per = keys.text("per", None, among=("item", "order"))
    charge = Charge(
        base=base,
        edges_cents=like.edges_cents if like else (),
        rates_ppm=like.rates_ppm if like else (0,),
        whole_amount=like.whole_amount if like else False,
        minimum_cents=keys.cents("minimum", like.minimum_cents if like else 0),
        cap_cents=keys.cents("cap", like.cap_cents if like else LARGEST_CENTS),
        fixed_cents=keys.cents("fixed", like.fixed_cents if like else 0),
        per_order=per == "order" if per else (like.per_order if like else False),
    )
    if charge.cap_cents < charge.minimum_cents:
        keys.fail("cap", charge.cap_cents / 100, f"at least the minimum {charge.minimum_cents / 100:.2f}")
    if keys.has("rate") and keys.has("tiers"):
        keys.fail("tiers", "both rate and tiers", "one of the two")
    if keys.has("tiers"):
        kind = keys.text("tier_kind", among=("marginal", "whole amount"))
        tiers = keys.tables("tiers")
        edges = read_edges(keys, "tiers", tiers)
        rates = tuple(tier.ppm("rate") for tier in tiers)
        for tier in tiers:
            tier.done()
        charge = dataclasses.replace(charge, edges_cents=edges, rates_ppm=rates, whole_amount=kind == "whole amount")
    elif keys.has("rate"):
        charge = dataclasses.replace(charge, edges_cents=(), rates_ppm=(keys.ppm("rate"),), whole_amount=False)
    elif like is None and not charge.fixed_cents and not charge.minimum_cents:
        keys.fail("rate", "nothing", "a rate such as '13.25 %', or tiers")
    return charge


def read_edges(keys: Keys, key: str, entries: list[Keys]) -> tuple[int, ...]:
    """Upper ends of steps, rising, all but the last having one.

    Parameters
    ----------
    keys : Keys
        The table that holds the steps, for errors.
    key : str
        Under which key.
    entries : list of Keys
        The steps.

    Returns
    -------
    tuple of int
        The edges. [cents]

    Raises
    ------
    RuleTableError
        If they do not rise, or the last has one, or another has none.
    """
    if not entries:
        keys.fail(key, [], "at least one entry")
    edges: list[int] = []
    for number, entry in enumerate(entries, start=1):
        last = number == len(entries)
        if last and entry.has("up_to"):
            entry.fail("up_to", "an upper end", "none in the last entry, which takes all that is left")
        edge = None if last else entry.cents("up_to")
        if edge is None:
            continue
        if edges and edge <= edges[-1]:
            entry.fail("up_to", f"{edge / 100:.2f}", f"more than {edges[-1] / 100:.2f}, the entry before")
        edges.append(edge)
    return tuple(edges)


def read_steps(keys: Keys) -> Steps | None:
    """The amount an order from the table ``per_order``.

    Parameters
    ----------
    keys : Keys
        The block.

    Returns
    -------
    Steps or None
        The steps; None where the block has no such table.

    Raises
    ------
    RuleTableError
        If the edges do not rise, or an amount is missing.
    """
    table = keys.table("per_order")
    if table is None:
        return None
    base = table.texts("base", BASES, among=BASES)
    if table.has("amount") == table.has("steps"):
        table.fail("amount", "both or neither of amount and steps", "one of the two")
    if table.has("amount"):
        steps = Steps(base=base, edges_cents=(), amounts_cents=(table.cents("amount"),))
    else:
        entries = table.tables("steps")
        edges = read_edges(table, "steps", entries)
        steps = Steps(base=base, edges_cents=edges, amounts_cents=tuple(entry.cents("amount") for entry in entries))
        for entry in entries:
            entry.done()
    table.done()
    return steps
