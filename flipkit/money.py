"""Money as whole cents and rates as whole parts per million: read, take a percentage, share out, show.

Every amount is ``int64`` cents; a rate is a whole number of parts per million (``132_500`` is
13.25 %). Nothing here knows a float amount, so sums are exact in any order.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal, InvalidOperation

import numpy as np
import numpy.typing as npt

from flipkit.errors import MoneyError

Cents = npt.NDArray[np.int64]

PPM = 1_000_000
#: Largest amount that may meet a rate: amount x 1e6 ppm stays inside int64.
LARGEST_CENTS = 9_000_000_000_00
#: Largest rate: nine times the amount, far above any fee, and safe beside LARGEST_CENTS.
LARGEST_PPM = 9 * PPM

#: Longest text that an amount may be.
_LONGEST = 40
_AMOUNT = re.compile(r"(?P<whole>\d{1,3}(?:,\d{3})+|\d*)(?:\.(?P<part>\d*))?")
#: Signs of currencies, by their codes; of those that share a sign the likeliest first.
SYMBOLS = {
    "USD": "$", "CAD": "$", "AUD": "$", "NZD": "$", "SGD": "$", "HKD": "$", "MXN": "$", "EUR": "€", "GBP": "£",
    "JPY": "¥", "CNY": "¥", "SEK": "kr", "NOK": "kr", "DKK": "kr", "ISK": "kr", "PLN": "zł", "CZK": "Kč", "HUF": "Ft",
    "RON": "lei", "BRL": "R$", "INR": "₹", "KRW": "₩", "TRY": "₺", "UAH": "₴", "RUB": "₽",
}  # fmt: skip


def read_cents(text: object, *, name: str = "amount", currency: str = "USD") -> int:
    """Read an amount such as ``64``, ``64.00``, ``$1,234.50``, ``-3.20`` or ``(3.20)`` exactly.

    >>> read_cents("$1,234.50"), read_cents("(3.20)"), read_cents(64)
    (123450, -320, 6400)
    """
    need = "an amount such as 64.00, with at most two decimals"
    if isinstance(text, int) and abs(text) > LARGEST_CENTS:
        raise MoneyError(name, need=f"at most {show_cents(LARGEST_CENTS, currency=currency)}", got=text)
    body = (repr(float(text)) if isinstance(text, float) else str(text)).strip()
    if len(body) > _LONGEST:
        raise MoneyError(name, need=need, got=text)
    negative = False
    if body.startswith("(") and body.endswith(")"):
        negative, body = True, body[1:-1].strip()
    for mark in filter(None, (SYMBOLS.get(currency), currency)):
        body = body.replace(mark, "")
    if any(mark in body for mark in SYMBOLS.values()) or re.search(r"\b[A-Z]{3}\b", body):
        raise MoneyError(name, need=f"in {currency}", got=text, mend="convert it before it enters the books")
    body = body.strip().replace("−", "-")
    if body[:1] in ("+", "-"):
        negative, body = negative or body[0] == "-", body[1:].strip()
    match = _AMOUNT.fullmatch(body)
    if match is None or not (match["whole"] or match["part"]):
        raise MoneyError(name, need=need, got=text)
    exact = Decimal(f"{(match['whole'] or '0').replace(',', '')}.{match['part'] or '0'}") * 100
    if exact != exact.to_integral_value():
        raise MoneyError(name, need=need, got=text, mend="round it to a whole cent")
    if exact > LARGEST_CENTS:
        raise MoneyError(name, need=f"at most {show_cents(LARGEST_CENTS, currency=currency)}", got=text)
    return -int(exact) if negative else int(exact)


def read_ppm(text: object, *, name: str = "rate") -> int:
    """Read a rate such as ``13.25 %``, ``0.1325`` or ``13.25 percent`` as parts per million.

    A bare number is a fraction of one: ``0.1325``, not ``13.25``.

    >>> read_ppm("13.25 %"), read_ppm(0.029)
    (132500, 29000)
    """
    need = "a rate such as '13.25 %' or 0.1325"
    if isinstance(text, int) and abs(text) > LARGEST_PPM:
        raise MoneyError(name, need="between 0 and 9 (a bare number is a fraction of one)", got=text)
    body = (repr(float(text)) if isinstance(text, float) else str(text)).strip()
    # Few enough digits that no arithmetic rounds, a power small enough that none overflows.
    match = re.fullmatch(r"([\d.]{1,20}(?:e-?\d{1,2})?)\s*(%|percent)?", body)
    try:
        exact = Decimal(match.group(1)) * (PPM // 100 if match.group(2) else PPM) if match else None
    except InvalidOperation:
        exact = None
    if exact is None:
        raise MoneyError(name, need=need, got=text)
    if exact != exact.to_integral_value():
        raise MoneyError(name, need="a whole number of parts per million", got=text)
    if exact > LARGEST_PPM:
        raise MoneyError(name, need="between 0 and 9 (a bare number is a fraction of one)", got=text)
    return int(exact)


def percentage(amount_cents: npt.ArrayLike, rate_ppm: npt.ArrayLike) -> Cents:
    """A percentage of an amount in whole cents, rounded half up once, exactly.

    A negative amount gives the mirror image of the positive one, so that a refund takes back
    just what the sale paid.

    >>> int(percentage(6400, 132_500)), int(percentage(-6400, 132_500))
    (848, -848)
    """
    amount = np.asarray(amount_cents, dtype=np.int64)
    rate = np.asarray(rate_ppm, dtype=np.int64)
    if amount.size and np.abs(amount).max() > LARGEST_CENTS:
        raise MoneyError("amount_cents", need=f"within {LARGEST_CENTS} cents", got=int(np.abs(amount).max()))
    if rate.size and (rate.min() < 0 or rate.max() > LARGEST_PPM):
        raise MoneyError("rate_ppm", need=f"from 0 to {LARGEST_PPM} ppm", got=int(rate.max()))
    half_up = (np.abs(amount) * rate + PPM // 2) // PPM
    return np.sign(amount) * half_up


def share_out(total_cents: int, weights: npt.ArrayLike) -> Cents:
    """An amount shared over weights so that not a cent is lost or invented (largest remainder).

    >>> share_out(60_000_00, [30_000, 18_000, 27_000]).tolist()
    [2400000, 1440000, 2160000]
    >>> share_out(100, [1, 1, 1]).tolist()
    [34, 33, 33]
    """
    given = np.asarray(weights, dtype=np.float64)
    return share_out_groups(np.array([total_cents]), np.zeros(given.shape, dtype=np.int64), given)


def share_out_groups(totals_cents: npt.ArrayLike, group: npt.ArrayLike, weights: npt.ArrayLike) -> Cents:
    """Many amounts, each shared over the members of its own group, not a cent lost or invented.

    >>> share_out_groups([100, 7], [0, 0, 0, 1], [1, 1, 1, 5]).tolist()
    [34, 33, 33, 7]
    """
    totals = np.asarray(totals_cents, dtype=np.int64)
    code = np.asarray(group, dtype=np.int64)
    weight = np.asarray(weights, dtype=np.float64)
    if (wrong := weight[~(np.isfinite(weight) & (weight >= 0))]).size:
        raise MoneyError("weights", need="finite numbers of at least 0", got=float(wrong[0]))
    members = np.bincount(code, minlength=totals.size)
    if (totals[members == 0] != 0).any():
        raise MoneyError("group", need="at least one member to share with", got="an empty group with money")
    sums = np.bincount(code, weights=weight, minlength=totals.size)
    weight = np.where(sums[code] > 0, weight, 1.0)
    sums = np.where(sums > 0, sums, members)
    exact = np.abs(totals)[code] * (weight / sums[code])
    base = np.floor(exact).astype(np.int64)
    left = np.abs(totals) - np.bincount(code, weights=base, minlength=totals.size).astype(np.int64)
    # Rounded, so that equal weights tie exactly and the earlier member wins, whatever the noise.
    remainder = np.round(exact - base, 9)
    order = np.lexsort((np.arange(code.size), -remainder, code))
    starts = np.concatenate(([0], np.cumsum(members)[:-1]))
    rank = np.arange(code.size) - starts[code[order]]
    share = base.copy()
    share[order] += rank < left[code[order]]
    return np.sign(totals)[code] * share


def nearest_cent(cents: float) -> int:
    """A mean or a forecast of cents as whole cents, half up, away from zero as amounts are.

    >>> nearest_cent(2210.7), nearest_cent(-0.5), nearest_cent(2210)
    (2211, -1, 2210)
    """
    return int(math.copysign(math.floor(abs(cents) + 0.5), cents))


def show_cents(cents: int, *, currency: str = "USD", plus: bool = False) -> str:
    """An amount as text, with the currency's sign or code, thousands marks and a true minus."""
    sign = "−" if cents < 0 else "+" if plus and cents > 0 else ""
    whole, part = divmod(abs(int(cents)), 100)
    mark = SYMBOLS.get(currency, currency)
    return f"{sign}{mark}{' ' if mark[-1:].isalpha() else ''}{whole:,}.{part:02d}"
