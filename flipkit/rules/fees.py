"""What a marketplace takes of an order, line by line, for one order or columns of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError, MoneyError
from flipkit.money import PPM, Cents, share_out_groups
from flipkit.rules import columns as cols
from flipkit.rules.charges import Charge
from flipkit.rules.charging import ChargeTable, base_amount, rounded_cents, shared_rounding, step_amount
from flipkit.rules.frames import as_frame, stacked
from flipkit.rules.schedules import LINES, FeeBlock, FeeSchedule

if TYPE_CHECKING:
    import pandas as pd


def order_fees(
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
) -> pd.DataFrame:
    """What a marketplace takes of each item sold, line by line.

    Parameters
    ----------
    schedule : FeeSchedule
        The marketplace's schedule; every row meets the block in force on its day.
    on : date or array of dates, shape (n,)
        Days of sale.
    goods_cents : int or array, shape (n,)
        What the buyer paid for the goods. [cents]
    shipping_cents : int or array, shape (n,)
        What the buyer paid for shipping. [cents]
    tax_cents : int or array, shape (n,)
        Tax that the marketplace collects from the buyer. [cents]
    category : str or array of str, shape (n,)
        Categories as the schedule names them; one that it does not name pays its general commission.
    order : array, shape (n,), optional
        Which order each item belongs to; items of an order share what is charged per order.
        Without it every row is an order of its own.
    international : bool or array, shape (n,)
        Whether the buyer is abroad.
    advertised : bool or array, shape (n,)
        Whether the sale came through an advertisement.
    advertising_ppm : int or array, shape (n,), optional
        The advertising rate that the seller chose, in place of the schedule's. [parts per million]
    seller_level : str or array of str, shape (n,), optional
        The seller's standing as the schedule names it.
    listing_cents : int or array, shape (n,)
        What listing the item cost, from ``listings.listing_fees``. [cents]

    Returns
    -------
    pandas.DataFrame
        One row an item, int64 columns ``commission_cents``, ``per_order_cents``, ``payment_cents``,
        ``advertising_cents``, ``listing_cents``, ``international_cents``, ``seller_level_cents``
        (negative for a discount) and ``total_cents``, their sum. [cents]

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MoneyError
        If an amount is not whole cents, or an option is unknown to the schedule.

    Examples
    --------
    >>> import datetime as dt
    >>> import tomllib
    >>> from flipkit.rules.schedules import read_fee_schedule
    >>> text = '''
    ... kind = "fees"
    ... name = "lantern"
    ... [[block]]
    ... from = 2025-01-01
    ... source = "demo"
    ... seen = "invented for the demo"
    ... commission = { base = ["goods", "shipping"], rate = "11.8 %" }
    ... payment = { base = ["goods", "shipping"], rate = "2.4 %", fixed = "0.25" }
    ... '''
    >>> lantern = read_fee_schedule(tomllib.loads(text), file="lantern.toml")
    >>> fees = order_fees(lantern, on=dt.date(2026, 9, 3), goods_cents=6400, shipping_cents=1250)
    >>> fees[["commission_cents", "payment_cents", "total_cents"]].iloc[0].tolist()
    [903, 209, 1112]
    """
    return as_frame(
        order_fee_lines(
            schedule,
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
    )


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
    """The same as ``order_fees`` as a dict of arrays, for callers that need no frame.

    Parameters
    ----------
    schedule, on, goods_cents, shipping_cents, tax_cents, category, order, international, advertised : see below
        As in ``order_fees``.
    advertising_ppm, seller_level, listing_cents : see below
        As in ``order_fees``.

    Returns
    -------
    dict of arrays, shape (n,)
        The columns of ``order_fees``. [cents]

    Raises
    ------
    RuleNotInForceError
        If a day has no block.
    MoneyError
        If an amount is not whole cents, or an option is unknown to the schedule.
    """
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
    held = _held(schedule)
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
    found = stacked([f"{line}_cents" for line in (*LINES, "total")], rows, np.int64)
    if cols.some(given["listing"]):
        found["listing_cents"][:] = given["listing"]

    def step(chunk: cols.Columns, here: slice) -> None:
        for number, at in cols.groups(chunk["block"]):
            part = chunk if at is None else {name: column[at] for name, column in chunk.items()}
            lines = _block_lines(held.blocks[number], part, per_order=None if order is None else False)
            where = slice(None) if at is None else at
            total = part["listing"]
            for line, cents in lines.items():
                found[f"{line}_cents"][here][where] = cents
                total = total + cents
            found["total_cents"][here][where] = total

    cols.in_chunks(rows, given, step)
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
        self.charges = {name: _one(getattr(block, name)) for name in ("payment", "advertising", "international")}
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


def _held(schedule: FeeSchedule) -> _Held:
    # Kept on the schedule itself, which is frozen to its users but not to this look-up.
    held = schedule.__dict__.get("_held")
    if held is None:
        held = _Held(schedule)
        object.__setattr__(schedule, "_held", held)
    return held


def _one(charge: Charge | None) -> ChargeTable | None:
    return None if charge is None else ChargeTable([charge])


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
        table, charge = held.charges[name], getattr(block, name)
        if table is not None and wanted(charge) and (name == "payment" or cols.some(given["international"])):
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
    charge, table = held.block.advertising, held.charges["advertising"]
    if not cols.some(advertised):
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
    for number, at in cols.groups(sums["block"]):
        part = sums if at is None else {name: column[at] for name, column in sums.items()}
        for line, cents in _block_lines(held.blocks[number], part, per_order=True).items():
            totals = np.zeros(names.size, dtype=np.int64)
            totals[slice(None) if at is None else at] = cents
            shares = share_out_groups(totals, code, given["goods"])
            found[f"{line}_cents"] += shares
            found["total_cents"] += shares


def _order_names(order: object, rows: int) -> npt.NDArray[Any]:
    names = np.asarray(order)
    if names.dtype == object:
        names = names.astype(str)
    return np.broadcast_to(names, (rows,))
