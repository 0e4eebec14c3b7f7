"""Fee schedules: what a marketplace takes, as dated blocks read from TOML.

A block has any of these tables; what it lacks costs nothing::

    [block.commission]      base, rate or tiers, tier_kind, minimum, cap, fixed, per
    [block.commission.category."film cameras"]   the same keys; what it leaves out is the commission's
    [block.per_order]       base, steps: an amount an order by the order's size
    [block.payment] [block.advertising] [block.international]   keys as commission
    [block.seller_level.NAME]   commission_off = "10 %", or keys as commission for a surcharge
    [block.listing]         fee, free_a_month, relist_every_days
    [block.refund]          share of each line that comes back, and a fee for the refund
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flipkit.money import PPM
from flipkit.rules.blocks import Keys, read_blocks
from flipkit.rules.charges import Charge, Steps, read_charge, read_named_charge, read_steps
from flipkit.rules.dated import Block, RuleSet

#: The lines of a bill, in the order of its columns.
LINES = ("commission", "per_order", "payment", "advertising", "listing", "international", "seller_level")
#: Shares of a line that a refund may bring back.
REFUNDABLE = ("commission", "per_order", "payment", "payment_fixed", "advertising", "international", "seller_level")


@dataclass(frozen=True)
class SellerLevel:
    """What a seller's standing changes.

    Parameters
    ----------
    commission_off_ppm : int
        Share of the commission that is let off. [parts per million]
    surcharge : Charge or None
        What is charged on top.
    """

    commission_off_ppm: int = 0
    surcharge: Charge | None = None


@dataclass(frozen=True)
class Listing:
    """What it costs to put a thing up, and to keep it up.

    Parameters
    ----------
    fee_cents : int
        For one listing period. [cents]
    free_a_month : int
        Listings, relistings counted, that cost nothing in each calendar month.
    relist_every_days : int
        Length of a listing period; 0 where a listing never expires. [days]
    """

    fee_cents: int
    free_a_month: int = 0
    relist_every_days: int = 0


@dataclass(frozen=True)
class Refund:
    """What comes back when a sale is refunded.

    Parameters
    ----------
    back_ppm : mapping
        Share of each line of ``REFUNDABLE`` that comes back on a full refund. [parts per million]
    fee_cents : int
        What the refund itself costs. [cents]
    """

    back_ppm: Mapping[str, int] = field(default_factory=dict)
    fee_cents: int = 0


@dataclass(frozen=True)
class FeeBlock(Block):
    """One dated block of a fee schedule.

    Parameters
    ----------
    rounded_once : bool
        Whether the fees of an item are rounded once, in total; else each line on its own.
    commission, payment, advertising, international : Charge or None
        The percentages.
    categories : mapping
        Commission of the categories that have their own.
    per_order : Steps or None
        The amount an order.
    seller_levels : mapping
        What each standing changes.
    listing : Listing or None
        What listing costs.
    refund : Refund
        What a refund brings back.
    """

    rounded_once: bool = False
    commission: Charge | None = None
    categories: Mapping[str, Charge] = field(default_factory=dict)
    per_order: Steps | None = None
    payment: Charge | None = None
    advertising: Charge | None = None
    international: Charge | None = None
    seller_levels: Mapping[str, SellerLevel] = field(default_factory=dict)
    listing: Listing | None = None
    refund: Refund = field(default_factory=Refund)


@dataclass(frozen=True)
class FeeSchedule(RuleSet[FeeBlock]):
    """What one marketplace takes, by date.

    Parameters
    ----------
    ships : bool
        Whether things sold there are posted; a stall's are carried away.
    """

    ships: bool = True


def read_fee_schedule(data: Mapping[str, Any], *, file: str) -> FeeSchedule:
    """A fee schedule from the content of its TOML file.

    Parameters
    ----------
    data : mapping
        What ``tomllib`` made of the file.
    file : str
        The file's name in errors.

    Returns
    -------
    FeeSchedule
        The schedule.

    Raises
    ------
    RuleTableError
        If anything in it is missing, unknown, out of range or contradicts itself.

    Examples
    --------
    >>> import tomllib
    >>> text = '''
    ... kind = "fees"
    ... name = "lantern"
    ... [[block]]
    ... from = 2025-01-01
    ... source = "demo"
    ... seen = "invented for the demo"
    ... commission = { base = ["goods"], rate = "11.8 %" }
    ... '''
    >>> read_fee_schedule(tomllib.loads(text), file="lantern.toml").dates
    ('from 2025-01-01',)
    """
    ships = [True]

    def header(top: Keys) -> None:
        ships[0] = top.flag("ships", True)

    name, blocks = read_blocks(data, file=file, kind="fees", make=_block, header=header)
    return FeeSchedule(kind="fees", name=name, file=file, blocks=blocks, ships=ships[0])


def _block(keys: Keys, common: dict[str, Any]) -> FeeBlock:
    once = keys.text("rounding", "each line", among=("each line", "once")) == "once"
    commission, categories = None, {}
    table = keys.table("commission")
    if table is not None:
        own = table.table("category")
        commission = read_charge(table)
        table.done()
        for word in own.names() if own else ():
            entry = own.table(word) if own else None
            if entry is not None:
                categories[word] = read_charge(entry, like=commission)
                if categories[word].per_order:
                    entry.fail("per", "order", "'item': a category's commission is taken of each item")
                entry.done()
    if commission is not None and commission.per_order and categories:
        keys.fail("commission.per", "order", "'item' where categories have commissions of their own")
    block = FeeBlock(
        **common,
        rounded_once=once,
        commission=commission,
        categories=categories,
        per_order=read_steps(keys),
        payment=read_named_charge(keys, "payment"),
        advertising=read_named_charge(keys, "advertising"),
        international=read_named_charge(keys, "international"),
        seller_levels=_levels(keys),
        listing=_listing(keys),
        refund=_refund(keys),
    )
    if block.advertising is not None and block.advertising.per_order:
        keys.fail("advertising.per", "order", "'item': advertising is taken of each item")
    if once and any(charge.per_order for charge in charges_of(block)):
        keys.fail("rounding", "once", "'each line' where a charge is per order")
    return block


def charges_of(block: FeeBlock) -> list[Charge]:
    """Every percentage of a block, those of categories and standings included.

    Parameters
    ----------
    block : FeeBlock
        The block.

    Returns
    -------
    list of Charge
        The charges.
    """
    named = [block.commission, block.payment, block.advertising, block.international, *block.categories.values()]
    named += [level.surcharge for level in block.seller_levels.values()]
    return [charge for charge in named if charge is not None]


def _levels(keys: Keys) -> dict[str, SellerLevel]:
    table = keys.table("seller_level")
    levels: dict[str, SellerLevel] = {}
    for name in table.names() if table else ():
        entry = table.table(name) if table else None
        if entry is None:
            continue
        off = entry.ppm("commission_off", 0)
        if off > PPM:
            entry.fail("commission_off", off / 10_000, "at most '100 %'")
        surcharge = read_charge(entry) if any(entry.has(key) for key in ("rate", "tiers", "fixed")) else None
        if not off and surcharge is None:
            entry.fail("commission_off", "nothing", "commission_off, or a rate for a surcharge")
        if surcharge is not None and surcharge.per_order:
            entry.fail("per", "order", "'item': a standing's surcharge is taken of each item")
        entry.done()
        levels[name] = SellerLevel(commission_off_ppm=off, surcharge=surcharge)
    return levels


def _listing(keys: Keys) -> Listing | None:
    table = keys.table("listing")
    if table is None:
        return None
    listing = Listing(
        fee_cents=table.cents("fee"),
        free_a_month=table.whole("free_a_month", 0),
        relist_every_days=table.whole("relist_every_days", 0, least=1),
    )
    table.done()
    return listing


def _refund(keys: Keys) -> Refund:
    table = keys.table("refund")
    if table is None:
        return Refund()
    back = {line: table.ppm(line, 0) for line in REFUNDABLE}
    for line, share in back.items():
        if share > PPM:
            table.fail(line, share / 10_000, "at most '100 %'")
    refund = Refund(back_ppm=back, fee_cents=table.cents("fee", 0))
    table.done()
    return refund
