"""What the label of each draft would cost: one call for all of them, whatever prices the labels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.rules.parcel_rules import ParcelRules
from flipkit.rules.postage import label_columns
from flipkit.rules.rate_cards import RateCard

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LabelPrices:
    """Labels of some parcels.

    Attributes
    ----------
    cents : array, shape (n,)
        Price; 0 where refused. [cents]
    billable_lb : array, shape (n,)
        Weight that is billed; NaN where the pricing does not say. [lb]
    service : sequence of str, shape (n,)
        Service chosen; empty where refused or unsaid.
    refused : sequence of str, shape (n,)
        Why no service takes it; empty where one does.
    """

    cents: npt.NDArray[np.int64]
    billable_lb: Floats
    service: Sequence[str]
    refused: Sequence[str]


class Labels(Protocol):
    """Anything that prices labels, arrays in and arrays out."""

    def __call__(
        self,
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        """Prices of the parcels' labels."""


def rate_card_labels(
    card: RateCard,
    rules: ParcelRules,
    *,
    on: dt.date,
    zone: str | int,
    declared_cents: int = 0,
    signature: bool | str = False,
    residential: bool = True,
    service: str | None = None,
) -> Labels:
    """Labels by a rate card: the cheapest service that takes the parcel, or one service.

    Parameters
    ----------
    card : RateCard
        The carrier's prices.
    rules : ParcelRules
        The rule set that the card goes with.
    on : datetime.date
        Day of posting.
    zone : str or int
        Zone of the buyer.
    declared_cents : int
        Declared value. [cents]
    signature : bool or str
        Whether, or how, the receiver signs.
    residential : bool
        Whether people live there.
    service : str, optional
        The service; without it the cheapest.

    Returns
    -------
    Labels
        What :func:`flipkit.items.packing.packing_plan` asks for.
    """

    def price(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        found = label_columns(
            card,
            rules,
            on=on,
            zone=zone,
            length_in=length_in,
            width_in=width_in,
            height_in=height_in,
            weight_lb=weight_lb,
            declared_cents=declared_cents,
            signature=signature,
            residential=residential,
            service=service,
            packaging=np.array(packaging, dtype=object),
            nonrectangular=np.array(nonrectangular, dtype=bool),
        )
        refused = [str(reason) for reason in found["refused"]]
        return LabelPrices(found["total_cents"], found["billable_lb"], [str(s) for s in found["service"]], refused)

    return price


def mixed_labels(parts: Sequence[tuple[float, Labels]]) -> Labels:
    """Expected labels where the buyer's zone is not known yet: prices weighted by how likely each zone is.

    Parameters
    ----------
    parts : sequence of (float, Labels)
        Share of each zone, summing to one, and its labels.

    Returns
    -------
    Labels
        Mean price in whole cents, half up; refused where any zone with a share refuses. The
        billable weight and service are those of the likeliest zone.

    Raises
    ------
    MeasureError
        If the shares do not sum to one.

    Examples
    --------
    >>> near, far = simple_labels(lambda *_: 900), simple_labels(lambda *_: 1500)
    >>> one = np.array([12.0])
    >>> mixed_labels([(0.25, near), (0.75, far)])(one, one, one, one, ["box"], [False]).cents.tolist()
    [1350]
    """
    total = sum(share for share, _ in parts)
    if abs(total - 1.0) > 1e-9 or min(share for share, _ in parts) < 0:
        raise MeasureError("shares", need="at least 0 each and 1 together", got=total)
    known = [(share, labels) for share, labels in parts if share > 0]

    def price(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        given = (length_in, width_in, height_in, weight_lb, packaging, nonrectangular)
        found = [(share, labels(*given)) for share, labels in known]
        mean = sum(share * one.cents for share, one in found)
        likeliest = max(found, key=lambda pair: pair[0])[1]
        refused = [
            next((one.refused[row] for _, one in found if one.refused[row]), "")
            for row in range(len(likeliest.refused))
        ]
        cents = np.floor(np.round(mean, 6) + 0.5).astype(np.int64)
        return LabelPrices(
            cents=np.where([bool(reason) for reason in refused], 0, cents),
            billable_lb=likeliest.billable_lb,
            service=likeliest.service,
            refused=refused,
        )

    return price


def cheapest_labels(cards: Mapping[str, Labels]) -> Labels:
    """Labels by several rate cards, each parcel by the one that takes it most cheaply.

    Parameters
    ----------
    cards : mapping of str to Labels
        Name of each card and its labels.

    Returns
    -------
    Labels
        The lowest price of each parcel, its service with the card's name before it; refused, with
        every card's reason, where none takes it.

    Examples
    --------
    >>> near, far = simple_labels(lambda *_: 900), simple_labels(lambda *_: "too long")
    >>> one = np.array([12.0])
    >>> found = cheapest_labels({"a": far, "b": near})(one, one, one, one, ["box"], [False])
    >>> found.cents.tolist(), found.service
    ([900], ['b'])
    """

    def price(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        given = (length_in, width_in, height_in, weight_lb, packaging, nonrectangular)
        found = {name: labels(*given) for name, labels in cards.items()}
        none = np.iinfo(np.int64).max
        prices = np.array(
            [np.where([bool(reason) for reason in one.refused], none, one.cents) for one in found.values()]
        )
        best = prices.argmin(axis=0)
        names = list(found)
        rows = range(best.size)
        taken = prices.min(axis=0) < none
        chosen = [found[names[best[row]]] for row in rows]
        return LabelPrices(
            cents=np.where(taken, prices.min(axis=0), 0),
            billable_lb=np.array([one.billable_lb[row] for row, one in enumerate(chosen)]),
            service=[f"{names[best[row]]} {chosen[row].service[row]}".strip() if taken[row] else "" for row in rows],
            refused=[
                "" if taken[row] else "; ".join(f"{name}: {one.refused[row]}" for name, one in found.items())
                for row in rows
            ],
        )

    return price


def simple_labels(price: Callable[[float, float, float, float], int | str]) -> Labels:
    """Labels by a plain function of one parcel, for a price list kept elsewhere.

    Parameters
    ----------
    price : callable
        From length, width, height in inches and weight in pounds to whole cents, or to a text that
        says why it is not taken.

    Returns
    -------
    Labels
        What :func:`flipkit.items.packing.packing_plan` asks for.

    Examples
    --------
    >>> labels = simple_labels(lambda length, width, height, weight: 950 if weight < 20 else "too heavy")
    >>> one = np.array([12.0, 12.0])
    >>> found = labels(one, one, one, np.array([5.0, 25.0]), ["box", "box"], [False, False])
    >>> found.cents.tolist(), found.refused
    ([950, 0], ['', 'too heavy'])
    """

    def every(
        length_in: Floats,
        width_in: Floats,
        height_in: Floats,
        weight_lb: Floats,
        packaging: Sequence[str],
        nonrectangular: Sequence[bool],
    ) -> LabelPrices:
        rows = zip(length_in.tolist(), width_in.tolist(), height_in.tolist(), weight_lb.tolist(), strict=True)
        found = [price(*row) for row in rows]
        return LabelPrices(
            cents=np.array([0 if isinstance(one, str) else int(one) for one in found], dtype=np.int64),
            billable_lb=np.full(len(found), np.nan),
            service=[""] * len(found),
            refused=[one if isinstance(one, str) else "" for one in found],
        )

    return every
