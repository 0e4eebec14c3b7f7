"""Tables of prices by weight and zone, as published cards print them."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from flipkit.errors import MoneyError, RuleTableError
from flipkit.money import Cents, read_cents
from flipkit.units import SNAP

_PRICE = re.compile(r"\d{1,7}\.\d\d")
_WEIGHT = re.compile(r"(\d+(?:\.\d+)?)\s*(oz|lb|kg)?")


@dataclass(frozen=True, eq=False)
class PriceTable:
    """Prices by weight and zone.

    Parameters
    ----------
    zones : tuple of str
        The columns.
    weights : array, shape (r,)
        Upper end of each row, rising. [units of weight]
    cents : array, shape (r, z)
        Prices, int64; -1 where not offered. [cents]
    oversized : array, shape (z,), or None
        Prices of an oversized parcel whatever its weight. [cents]
    """

    zones: tuple[str, ...]
    weights: npt.NDArray[np.float64]
    cents: Cents
    oversized: Cents | None

    @cached_property
    def beyond(self) -> Cents:
        """The prices with a row and a column of -1 beyond them, flat. [cents]"""
        return np.pad(self.cents, ((0, 1), (0, 1)), constant_values=-1).reshape(-1)

    @cached_property
    def reach(self) -> npt.NDArray[np.float64]:
        """The weights with 0 beyond them. [units of weight]"""
        return np.append(self.weights, 0.0)

    @cached_property
    def _step(self) -> float:
        """The coarsest step that every weight is a multiple of: a whole unit, a half, an ounce; 0 for none."""
        steps = (step for step in (1.0, 0.5, 0.25, 0.0625) if not (self.weights % step).any())
        return next(steps, 0.0) if self.weights[-1] <= 1000 else 0.0

    @cached_property
    def _row_of_step(self) -> npt.NDArray[np.int64]:
        """Row of the table for each whole number of steps, the row beyond after the last."""
        count = round(self.weights[-1] / self._step)
        return np.searchsorted(self.weights, np.arange(count + 2) * self._step - SNAP, side="left").astype(np.int64)

    def rows(self, weights: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        """The row that each weight pays, the row beyond where it is heavier than all.

        Parameters
        ----------
        weights : array, shape (n,)
            What is billed. [units of weight]

        Returns
        -------
        array, shape (n,)
            The rows.
        """
        if not self._step:
            return np.searchsorted(self.weights, weights - SNAP, side="left").astype(np.int64)
        exact = (weights - SNAP) if self._step == 1.0 else (weights - SNAP) / self._step
        steps = exact.astype(np.int64)
        # Rounded up: the cut, and one more where something was cut off.
        steps += steps < exact
        return self._row_of_step.take(steps, mode="clip")


def read_price_table(text: str, *, file: str) -> PriceTable:
    r"""A table of prices from the text of its CSV file.

    Parameters
    ----------
    text : str
        Rows of weights, columns of zones.
    file : str
        The file's name in errors.

    Returns
    -------
    PriceTable
        The prices.

    Raises
    ------
    RuleTableError
        If the header is another, a weight does not rise, or a price is none.

    Examples
    --------
    >>> table = read_price_table("weight,1,2\n8 oz,4.10,4.20\n1,5.00,\n", file="light.csv")
    >>> table.weights.tolist(), table.cents.tolist()
    ([0.5, 1.0], [[410, 420], [500, -1]])
    """
    rows = list(csv.reader(io.StringIO(text.lstrip("\ufeff"))))
    if not rows or not rows[0] or rows[0][0].strip() != "weight" or len(rows[0]) < 2:
        found = ",".join(rows[0]) if rows else "nothing"
        raise RuleTableError(file, block="line 1", key="header", found=found, needed="weight, then a column a zone")
    zones = tuple(zone.strip() for zone in rows[0][1:])
    if len(set(zones)) != len(zones) or "" in zones:
        raise RuleTableError(file, block="line 1", key="header", found=", ".join(zones), needed="every zone once")
    weights: list[float] = []
    prices: list[list[int]] = []
    oversized: Cents | None = None
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        place = f"line {line}"
        if len(row) != len(zones) + 1:
            raise RuleTableError(file, block=place, found=f"{len(row)} cells", needed=f"{len(zones) + 1} cells")
        cells = [_cell(cell, file, place, zone) for cell, zone in zip(row[1:], zones, strict=True)]
        if row[0].strip() == "oversized":
            oversized = np.array(cells, dtype=np.int64)
            continue
        match = _WEIGHT.fullmatch(row[0].strip())
        if match is None or float(match[1]) <= 0:
            raise RuleTableError(file, block=place, key="weight", found=row[0], needed="a weight such as 3 or '4 oz'")
        weight = float(match[1]) / (16.0 if match[2] == "oz" else 1.0)
        if weights and weight <= weights[-1]:
            raise RuleTableError(file, block=place, key="weight", found=row[0], needed=f"more than {weights[-1]:g}")
        weights.append(weight)
        prices.append(cells)
    if not weights:
        raise RuleTableError(file, found="no row with a price", needed="at least one row")
    return PriceTable(
        zones=zones, weights=np.array(weights), cents=np.array(prices, dtype=np.int64), oversized=oversized
    )


def _cell(cell: str, file: str, place: str, zone: str) -> int:
    text = cell.strip()
    if _PRICE.fullmatch(text):
        return int(text[:-3]) * 100 + int(text[-2:])
    if text in ("", "-"):
        return -1
    try:
        cents = read_cents(text)
    except MoneyError as problem:
        raise RuleTableError(file, block=place, key=f"zone {zone}", found=cell, needed=str(problem.need)) from None
    if cents < 0:
        raise RuleTableError(file, block=place, key=f"zone {zone}", found=cell, needed="an amount of at least 0.00")
    return cents
