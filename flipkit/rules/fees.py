"""What a marketplace takes: charges, dated schedules, listing fees and fees given back."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Required, TypedDict, Unpack

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, MoneyError
from flipkit.money import LARGEST_CENTS, PPM, Cents, share_out_groups
from flipkit.rules import blocks as cols
from flipkit.rules.blocks import Block, Keys, RuleSet, as_frame, read_blocks

if TYPE_CHECKING:
    import pandas as pd


# Charges: a percentage in tiers of a stated base, and amounts that step with an order's size.

#: What a percentage may be taken of.
BASES = ("goods", "shipping", "tax")


@dataclass(frozen=True)
class Charge:
    """A percentage of a stated base, in tiers, bounded, with a fixed amount on top."""

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
    """An amount an order, by the order's size."""

    base: tuple[str, ...]
    edges_cents: tuple[int, ...]
    amounts_cents: tuple[int, ...]


def read_named_charge(keys: Keys, name: str) -> Charge | None:
    """A charge from the table of its own name."""
    table = keys.table(name)
    if table is None:
        return None
    charge = read_charge(table)
    table.done()
    return charge


def read_charge(keys: Keys, like: Charge | None = None) -> Charge:
    """A charge from its table."""
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
    """Upper ends of steps, rising, all but the last having one."""
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
    """The amount an order from the table ``per_order``."""
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


# Charges applied to columns of amounts, exactly: numerators in millionths of a cent, rounded at the end.

#: What a charge is before it is rounded: int64 millionths of a cent.
Numerators = npt.NDArray[np.int64]


class ChargeTable:
    """Some charges side by side, of which every row picks one."""

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
        """What every row is charged, before rounding."""

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
    """The amount that a charge is taken of."""
    total = columns[base[0]]
    for name in base[1:]:
        total = total + columns[name]
    return total


def step_amount(columns: dict[str, Cents], steps: Steps) -> Cents:
    """The amount an order, by the order's size."""
    base = base_amount(columns, steps.base)
    return stepped(np.array(steps.amounts_cents, dtype=np.int64), steps.edges_cents, base)


def stepped(amounts: Cents, edges: Sequence[int], base: Cents) -> Cents:
    """The amount of the step that each base falls in, a base on an edge still in the step below."""
    return amounts[np.searchsorted(np.array(edges, dtype=np.int64), base, side="left")]


def rounded_cents(numerators: Numerators) -> Cents:
    """Numerators as whole cents, each rounded half up once, a negative one the mirror of the positive.

    >>> rounded_cents(np.array([1_500_000, 1_499_999, -1_500_000])).tolist()
    [2, 1, -2]
    """
    if not numerators.size or numerators.min() >= 0:
        return (numerators + PPM // 2) // PPM
    return np.sign(numerators) * ((np.abs(numerators) + PPM // 2) // PPM)


def shared_rounding(lines: dict[str, Numerators]) -> dict[str, Cents]:
    """Lines of a bill whose sum is rounded once, and shared over the lines by largest remainder.

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


# Fee schedules: what a marketplace takes, as dated blocks read from TOML.
#
# A block has any of these tables; what it lacks costs nothing::
#
#     [block.commission]      base, rate or tiers, tier_kind, minimum, cap, fixed, per
#     [block.commission.category."film cameras"]   the same keys; what it leaves out is the commission's
#     [block.per_order]       base, steps: an amount an order by the order's size
#     [block.payment] [block.advertising] [block.international]   keys as commission
#     [block.seller_level.NAME]   commission_off = "10 %", or keys as commission for a surcharge
#     [block.listing]         fee, free_a_month, relist_every_days
#     [block.refund]          share of each line that comes back, and a fee for the refund

#: The lines of a bill, in the order of its columns.
LINES = ("commission", "per_order", "payment", "advertising", "listing", "international", "seller_level")
#: Shares of a line that a refund may bring back.
REFUNDABLE = ("commission", "per_order", "payment", "payment_fixed", "advertising", "international", "seller_level")


@dataclass(frozen=True)
class SellerLevel:
    """What a seller's standing changes."""

    commission_off_ppm: int = 0
    surcharge: Charge | None = None


@dataclass(frozen=True)
class Listing:
    """What it costs to put a thing up, and to keep it up."""

    fee_cents: int
    free_a_month: int = 0
    relist_every_days: int = 0


@dataclass(frozen=True)
class Refund:
    """What comes back when a sale is refunded."""

    back_ppm: Mapping[str, int] = field(default_factory=dict)
    fee_cents: int = 0


@dataclass(frozen=True)
class FeeBlock(Block):
    """One dated block of a fee schedule."""

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
    """What one marketplace takes, by date."""

    ships: bool = True

    @cached_property
    def laid_out(self) -> _Held:
        """The charges of its blocks, laid out for look-up."""
        return _Held(self)


def read_fee_schedule(data: Mapping[str, Any], *, file: str) -> FeeSchedule:
    """A fee schedule from the content of its TOML file."""
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
        seller_levels=_order_levels(keys),
        listing=_listing(keys),
        refund=_refund(keys),
    )
    if block.advertising is not None and block.advertising.per_order:
        keys.fail("advertising.per", "order", "'item': advertising is taken of each item")
    if once and any(charge.per_order for charge in charges_of(block)):
        keys.fail("rounding", "once", "'each line' where a charge is per order")
    return block


def charges_of(block: FeeBlock) -> list[Charge]:
    """Every percentage of a block, those of categories and standings included."""
    named = [block.commission, block.payment, block.advertising, block.international, *block.categories.values()]
    named += [level.surcharge for level in block.seller_levels.values()]
    return [charge for charge in named if charge is not None]


def _order_levels(keys: Keys) -> dict[str, SellerLevel]:
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


# What a marketplace takes of an order, line by line, for one order or columns of them.


class SaleOptions(TypedDict, total=False):
    """What a marketplace may charge an order by, beside its amounts."""

    category: object
    international: object
    advertised: object
    advertising_ppm: npt.ArrayLike | None
    seller_level: object


class GivenOrders(SaleOptions, total=False):
    """What is known of orders, one value for all or one each."""

    on: Required[object]
    goods_cents: Required[npt.ArrayLike]
    shipping_cents: npt.ArrayLike
    tax_cents: npt.ArrayLike
    order: object
    listing_cents: npt.ArrayLike


def order_fees(schedule: FeeSchedule, **orders: Unpack[GivenOrders]) -> pd.DataFrame:
    """What a marketplace takes of each item sold, line by line."""
    return as_frame(order_fee_lines(schedule, **orders), orders)


def order_fee_lines(
    schedule: FeeSchedule,
    *,
    on: object,
    goods_cents: npt.ArrayLike,
    shipping_cents: npt.ArrayLike = 0,
    tax_cents: npt.ArrayLike = 0,
    category: object = None,
    order: object = None,
    international: object = False,
    advertised: object = False,
    advertising_ppm: npt.ArrayLike | None = None,
    seller_level: object = None,
    listing_cents: npt.ArrayLike = 0,
) -> dict[str, Cents]:
    """The same as ``order_fees`` as a dict of arrays, for callers that need no frame."""
    rows = cols.row_count(
        on=on,
        goods_cents=goods_cents,
        shipping_cents=shipping_cents,
        tax_cents=tax_cents,
        category=category,
        order=order,
        international=international,
        advertised=advertised,
        advertising_ppm=advertising_ppm,
        seller_level=seller_level,
        listing_cents=listing_cents,
    )
    held = schedule.laid_out
    given: cols.Columns = {
        "block": cols.blocks(schedule, on, rows),
        "goods": cols.amounts("goods_cents", goods_cents, rows),
        "shipping": cols.amounts("shipping_cents", shipping_cents, rows),
        "tax": cols.amounts("tax_cents", tax_cents, rows),
        "listing": cols.amounts("listing_cents", listing_cents, rows),
        "international": cols.flags("international", international, rows),
        "advertised": cols.flags("advertised", advertised, rows),
        "level": _levels(held, seller_level, rows),
    }
    if held.categories:
        given["category"] = cols.codes(category, rows, held.categories)[0]
    if advertising_ppm is not None:
        given["rate"] = _rates(advertising_ppm, rows)
    found = {f"{line}_cents": np.zeros(rows, dtype=np.int64) for line in (*LINES, "total")}
    found["listing_cents"] += given["listing"]

    for number, part, at in cols.by_number(given, "block"):
        total = part["listing"]
        for line, cents in _block_lines(held.blocks[number], part, per_order=None if order is None else False).items():
            found[f"{line}_cents"][at] = cents
            total = total + cents
        found["total_cents"][at] = total
    if order is not None:
        _add_order_lines(held, given, order, rows, found)
    return found


class _HeldBlock:
    """A block with its charges laid out for look-up."""

    def __init__(self, block: FeeBlock, categories: tuple[str, ...], levels: tuple[str, ...]) -> None:
        self.block = block
        # The code -1, a category that the schedule does not name, finds the last entry.
        by_category = (block.categories.get(word, block.commission) for word in categories)
        self.commission = ChargeTable([*by_category, block.commission])
        named = {name: getattr(block, name) for name in ("payment", "advertising", "international")}
        self.charges = {name: ChargeTable([charge]) for name, charge in named.items() if charge is not None}
        held = [block.seller_levels.get(name) for name in levels]
        self.level_off = np.array([*(level.commission_off_ppm if level else 0 for level in held), 0], dtype=np.int64)
        self.level_surcharge = ChargeTable([*(level.surcharge if level else None for level in held), None])
        self.level_known = np.array([*(level is not None for level in held), True])


class _Held:
    def __init__(self, schedule: FeeSchedule) -> None:
        self.name = schedule.title
        self.categories = tuple(sorted({word for block in schedule.blocks for word in block.categories}))
        self.levels = tuple(sorted({word for block in schedule.blocks for word in block.seller_levels}))
        self.blocks = [_HeldBlock(block, self.categories, self.levels) for block in schedule.blocks]


def _levels(held: _Held, seller_level: object, rows: int) -> npt.NDArray[np.int64]:
    codes, unknown = cols.codes(seller_level, rows, held.levels)
    if unknown:
        known = ", ".join(held.levels) or "none"
        raise MoneyError("seller_level", need=f"one that {held.name} names ({known})", got=unknown[0])
    return codes


def _rates(given: npt.ArrayLike, rows: int) -> Cents:
    rates = cols.amounts("advertising_ppm", given, rows)
    if rates.size and rates.max() > PPM:
        raise MoneyError("advertising_ppm", need=f"from 0 to {PPM} parts per million", got=int(rates.max()))
    return rates


def _block_lines(held: _HeldBlock, given: cols.Columns, *, per_order: bool | None) -> dict[str, Cents]:
    """The lines of rows under one block; ``per_order`` says which charges: those per order, the others, or all."""
    block = held.block

    def wanted(charge: Charge | None) -> bool:
        return charge is not None and (per_order is None or charge.per_order == per_order)

    exact: dict[str, Cents] = {}
    discount = None
    # Commissions of categories are never per order, so they go with the items where there is no general one.
    if wanted(block.commission) or (block.commission is None and block.categories and per_order is not True):
        exact["commission"] = held.commission.numerators(given, given.get("category"))
        if held.level_off.any():
            discount = rounded_cents(exact["commission"]) * held.level_off[given["level"]]
    for name in ("payment", "international"):
        table = held.charges.get(name)
        if table is not None and wanted(getattr(block, name)) and (name == "payment" or given["international"].any()):
            exact[name] = table.numerators(given, None)
    if "international" in exact:
        exact["international"] = np.where(given["international"], exact["international"], 0)
    if per_order is not True:
        advertising = _advertising(held, given)
        if advertising is not None:
            exact["advertising"] = advertising
        if not held.level_known.all() and not held.level_known[given["level"]].all():
            raise MoneyError("seller_level", need=f"one known to the block {block.described}", got="another block's")
        if not held.level_surcharge.nothing:
            exact["seller_level"] = held.level_surcharge.numerators(given, given["level"])
    if discount is not None:
        exact["seller_level"] = exact.get("seller_level", 0) - discount
    lines = shared_rounding(exact) if block.rounded_once and exact else {n: rounded_cents(x) for n, x in exact.items()}
    if block.per_order is not None and per_order is not False:
        lines["per_order"] = step_amount(given, block.per_order)
    return lines


def _advertising(held: _HeldBlock, given: cols.Columns) -> Cents | None:
    advertised = given["advertised"]
    charge, table = held.block.advertising, held.charges.get("advertising")
    if not advertised.any():
        return None
    if charge is None or table is None:
        need = f"false, since the block {held.block.described} has none"
        raise MoneyError("advertised", need=need, got=True)
    if "rate" in given:
        return np.where(advertised, base_amount(given, charge.base) * given["rate"], 0)
    return np.where(advertised, table.numerators(given, None), 0)


def _add_order_lines(
    held: _Held, given: cols.Columns, order: object, rows: int, found: dict[str, npt.NDArray[np.int64]]
) -> None:
    """Charges per order, worked out on each order's sums and shared over its items by what they sold for."""
    names, first, code = np.unique(_order_names(order, rows), return_index=True, return_inverse=True)
    code = code.reshape(-1)
    sums: cols.Columns = {name: column[first] for name, column in given.items()}
    for name in ("block", "international", "level"):
        if (given[name] != sums[name][code]).any():
            row = int(np.argmax(given[name] != sums[name][code]))
            raise MeasureError(
                "order", need=f"items alike in {'day' if name == 'block' else name}", got=str(names[code[row]])
            )
    for name in ("goods", "shipping", "tax"):
        sums[name] = np.zeros(names.size, dtype=np.int64)
        np.add.at(sums[name], code, given[name])
    for number, part, at in cols.by_number(sums, "block"):
        for line, cents in _block_lines(held.blocks[number], part, per_order=True).items():
            totals = np.zeros(names.size, dtype=np.int64)
            totals[at] = cents
            shares = share_out_groups(totals, code, given["goods"])
            found[f"{line}_cents"] += shares
            found["total_cents"] += shares


def _order_names(order: object, rows: int) -> npt.NDArray[Any]:
    names = np.asarray(order)
    if names.dtype == object:
        names = names.astype(str)
    return np.broadcast_to(names, (rows,))


# What it costs to put things up for sale and to keep them up: listing fees, free ones, relisting.


def listing_periods(schedule: FeeSchedule, *, listed_on: object, ended_on: object) -> npt.NDArray[np.int64]:
    """How many listing periods each thing has had, the first one and every relisting."""
    rows = cols.row_count(listed_on=listed_on, ended_on=ended_on)
    first = cols.days("listed_on", listed_on, rows)
    last = cols.days("ended_on", ended_on, rows)
    length = _listing_rule(schedule, "relist_every_days", first)
    days = (last - first).astype(np.int64)
    if (days < 0).any():
        row = int(np.argmax(days < 0))
        raise MeasureError("ended_on", need=f"not before {first[row]}", got=str(last[row]), where=f"row {row + 1}")
    # A period of N days that starts on day 0 is over on day N: the thing is put up again that day.
    return np.where(length > 0, 1 + days // np.maximum(length, 1), 1)


def _listing_rule(schedule: FeeSchedule, name: str, days: npt.NDArray[np.datetime64]) -> npt.NDArray[np.int64]:
    """A number of the listing rule in force on each day; 0 without one."""
    each = [getattr(block.listing, name) if block.listing else 0 for block in schedule.blocks]
    return np.array(each, dtype=np.int64)[cols.blocks(schedule, days, days.size)]


def listing_charges(
    schedule: FeeSchedule, *, listed_on: object, ended_on: object, free_a_month: int | None = None
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.datetime64], Cents]:
    """Every listing and relisting: which thing, on which day, what it cost.

    Give the shop's things all together: the free listings of a calendar month go to the earliest
    listings of the month, relistings counted, the earlier row first on one day.
    """
    periods = listing_periods(schedule, listed_on=listed_on, ended_on=ended_on)
    rows = periods.size
    first = cols.days("listed_on", listed_on, rows)
    length = _listing_rule(schedule, "relist_every_days", first)
    thing = np.repeat(np.arange(rows), periods)
    number = np.arange(thing.size) - np.repeat(np.cumsum(periods) - periods, periods)
    day = first[thing] + (number * length[thing]).astype("timedelta64[D]")
    fee, free = (_listing_rule(schedule, name, day) for name in ("fee_cents", "free_a_month"))
    if free_a_month is not None:
        free = np.full(day.size, free_a_month, dtype=np.int64)
    order = np.lexsort((thing, day))
    month = day[order].astype("datetime64[M]").view(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], month[1:] != month[:-1]))) if day.size else np.zeros(0, dtype=int)
    rank = np.arange(day.size) - np.repeat(starts, np.diff(np.append(starts, day.size)))
    paid = np.zeros(day.size, dtype=np.int64)
    paid[order] = np.where(rank < free[order], 0, fee[order])
    return thing, day, paid


def listing_fees(
    schedule: FeeSchedule, *, listed_on: object, ended_on: object, free_a_month: int | None = None
) -> Cents:
    """What listing each thing cost, each period at the fee of its own day."""
    thing, _, paid = listing_charges(schedule, listed_on=listed_on, ended_on=ended_on, free_a_month=free_a_month)
    found = np.zeros(cols.row_count(listed_on=listed_on, ended_on=ended_on), dtype=np.int64)
    np.add.at(found, thing, paid)
    return found


# What comes back of a marketplace's fees when a sale is refunded, and what stays.


def refunded_fees(
    schedule: FeeSchedule,
    *,
    sold_on: object,
    fees: Mapping[str, npt.ArrayLike],
    paid_cents: npt.ArrayLike,
    refund_cents: npt.ArrayLike,
    payment_fixed_cents: npt.ArrayLike | None = None,
) -> dict[str, Cents]:
    """What comes back of each line of a bill on a refund, in full or in part, by the rule of the day of sale.

    ``payment_fixed_cents`` is the part of the payment line that is its fixed amount, where an order shares one.
    """
    shape = np.broadcast_shapes(np.shape(paid_cents), np.shape(refund_cents))
    rows = int(np.prod(shape))
    paid, refund = (
        np.broadcast_to(np.asarray(x, dtype=np.int64), shape).reshape(-1) for x in (paid_cents, refund_cents)
    )
    wrong = (refund < 0) | (refund > paid)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise MoneyError("refund_cents", need=f"from 0 to the {paid[at]} cents that were paid", got=int(refund[at]))
    block = cols.blocks(schedule, sold_on, rows)

    def ruled(value: Callable[[FeeBlock], int]) -> Cents:
        return np.array([value(entry) for entry in schedule.blocks], dtype=np.int64)[block]

    fixed = (
        ruled(lambda entry: entry.payment.fixed_cents if entry.payment else 0)
        if payment_fixed_cents is None
        else np.broadcast_to(np.asarray(payment_fixed_cents, dtype=np.int64), rows)
    )
    back: dict[str, Cents] = {}
    charged_in_all = np.zeros(rows, dtype=np.int64)
    for line in LINES:
        charged = np.broadcast_to(np.asarray(fees.get(f"{line}_cents", 0), dtype=np.int64), rows)
        apart = np.minimum(fixed, charged) if line == "payment" else np.zeros(rows, dtype=np.int64)
        share = ruled(lambda entry, line=line: entry.refund.back_ppm.get(line, 0))  # type: ignore[misc]
        fixed_share = ruled(lambda entry: entry.refund.back_ppm.get("payment_fixed", 0))
        back[f"{line}_cents"] = _part(charged - apart, share, refund, paid) + _part(apart, fixed_share, refund, paid)
        charged_in_all += charged
    fee = np.where(refund > 0, ruled(lambda entry: entry.refund.fee_cents), 0)
    total = np.sum(list(back.values()), axis=0)
    found = {**back, "refund_fee_cents": fee, "back_cents": total - fee, "kept_cents": charged_in_all - total + fee}
    return {name: cents.reshape(shape) for name, cents in found.items()}


def _part(cents: Cents, share_ppm: Cents, refund_cents: Cents, paid_cents: Cents) -> Cents:
    """A share of a line in proportion to what is refunded, rounded half up once, exactly."""
    # Python's own integers: three factors may outgrow 64 bits, and refunds are few.
    whole, share, refund, paid = (
        np.asarray(x).astype(object) for x in (np.abs(cents), share_ppm, refund_cents, paid_cents)
    )
    below = PPM * np.where(paid > 0, paid, 1)
    return np.asarray(np.sign(cents) * ((2 * whole * share * refund + below) // (2 * below)), dtype=np.int64)
