"""What comes back of a marketplace's fees when a sale is refunded, and what stays."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from flipkit.errors import MoneyError
from flipkit.money import PPM
from flipkit.rules.schedules import LINES, FeeSchedule


def refunded_fees(
    schedule: FeeSchedule,
    *,
    sold_on: dt.date,
    fees: Mapping[str, int],
    paid_cents: int,
    refund_cents: int,
) -> dict[str, int]:
    """What comes back of each line of a bill on a refund, in full or in part, by the rule of the day of sale.

    Parameters
    ----------
    schedule : FeeSchedule
        The marketplace's schedule.
    sold_on : datetime.date
        Day of sale.
    fees : mapping
        The bill: the columns of ``fees.order_fees`` for one order. [cents]
    paid_cents : int
        What the buyer had paid, goods and shipping. [cents]
    refund_cents : int
        What the buyer gets back of it. [cents]

    Returns
    -------
    dict
        For every line what comes back (``commission_cents`` and so on), ``refund_fee_cents`` (what the refund
        costs), ``back_cents`` (the sum that comes back, less that fee) and ``kept_cents`` (what the marketplace
        keeps of the bill, that fee included). [cents]

    Raises
    ------
    RuleNotInForceError
        If the day has no block.
    MoneyError
        If more is refunded than was paid.

    Examples
    --------
    >>> import tomllib
    >>> from flipkit.rules.schedules import read_fee_schedule
    >>> text = '''
    ... kind = "fees"
    ... name = "lantern"
    ... [[block]]
    ... from = 2025-01-01
    ... source = "demo"
    ... seen = "invented for the demo"
    ... commission = { rate = "10 %" }
    ... payment = { rate = "3 %", fixed = "0.30" }
    ... refund = { commission = "100 %", payment = "100 %", payment_fixed = "0 %" }
    ... '''
    >>> lantern = read_fee_schedule(tomllib.loads(text), file="lantern.toml")
    >>> bill = {"commission_cents": 500, "payment_cents": 180}
    >>> back = refunded_fees(lantern, sold_on=dt.date(2025, 2, 1), fees=bill, paid_cents=5000, refund_cents=5000)
    >>> back["commission_cents"], back["payment_cents"], back["kept_cents"]
    (500, 150, 30)
    """
    if not 0 <= refund_cents <= paid_cents:
        raise MoneyError("refund_cents", need=f"from 0 to the {paid_cents} cents that were paid", got=refund_cents)
    block = schedule.at(sold_on)
    rule = block.refund
    back: dict[str, int] = {}
    for line in LINES:
        charged = int(fees.get(f"{line}_cents", 0))
        fixed = 0
        if line == "payment" and block.payment is not None:
            fixed = min(block.payment.fixed_cents, charged)
        part = _part(charged - fixed, rule.back_ppm.get(line, 0), refund_cents, paid_cents)
        back[f"{line}_cents"] = part + _part(fixed, rule.back_ppm.get("payment_fixed", 0), refund_cents, paid_cents)
    fee = rule.fee_cents if refund_cents else 0
    total = sum(back.values())
    charged = sum(int(fees.get(f"{line}_cents", 0)) for line in LINES)
    return {**back, "refund_fee_cents": fee, "back_cents": total - fee, "kept_cents": charged - total + fee}


def _part(cents: int, share_ppm: int, refund_cents: int, paid_cents: int) -> int:
    """A share of a line in proportion to what is refunded, rounded half up once, exactly."""
    if not paid_cents:
        return 0
    sign, whole = (-1, -cents) if cents < 0 else (1, cents)
    above = whole * share_ppm * refund_cents
    below = PPM * paid_cents
    return sign * ((2 * above + below) // (2 * below))
