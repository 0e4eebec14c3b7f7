"""How fast buyers come for a thing, week by week and price by price, as the pricing needs it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Offers:
    """Offers below the asking price, counted beside the sales at it.

    Attributes
    ----------
    parts : tuple of float
        Offers as parts of the asking price, falling.
    per_sale : tuple of float
        How many of each come for every sale at the asking price.
    """

    parts: tuple[float, ...] = ()
    per_sale: tuple[float, ...] = ()


#: Nobody writes: only sales at the asking price.
NO_OFFERS = Offers()


@dataclass(frozen=True)
class Wanting:
    """How much things of a kind are wanted: levels beside the median, and their shares."""

    level: Floats
    share: Floats

    def unsold(self, chances: Floats) -> Floats:
        """Share still unsold once a thing of the median level has met so many chances.

        Parameters
        ----------
        chances : array
            Sum of the weekly rates so far.

        Returns
        -------
        array
            The share.
        """
        return np.asarray((self.share * np.exp(-self.level * chances[..., None])).sum(axis=-1))


def wanting(never_share: float, spread: float, *, nodes: int = 9) -> Wanting:
    """Levels of a logarithmic normal beside things that nobody wants.

    Parameters
    ----------
    never_share : float
        Share that nobody wants.
    spread : float
        Spread of the others' logarithm; their median is 1.
    nodes : int
        How many levels stand for them.

    Returns
    -------
    Wanting
        The levels.

    Examples
    --------
    >>> found = wanting(0.1, 0.4)
    >>> round(float(found.share.sum()), 9), float(found.level[0])
    (1.0, 0.0)
    """
    place, weight = np.polynomial.hermite_e.hermegauss(nodes)
    level = np.exp(spread * place)
    share = (1 - never_share) * weight / weight.sum()
    return Wanting(np.concatenate(([0.0], level)), np.concatenate(([never_share], share)))


@dataclass(frozen=True)
class Demand:
    """Sales a week at the asking price, of one or many things.

    The rate is exp(log_rate - pull * log(price / typical) + weekly[w]); the chance of a sale in
    a week is 1 - exp(-rate).

    Attributes
    ----------
    log_rate : array, shape (n,)
        Logarithm of the sales in the first week at the typical price.
    pull : array, shape (n,)
        How much the logarithm of the rate falls for each unit of the price's logarithm.
    weekly : array, shape (weeks,) or (n, weeks)
        What each week on sale adds to the logarithm: fading and season.
    offers : Offers
        Offers below the asking price.
    """

    log_rate: Floats
    pull: Floats
    weekly: Floats
    offers: Offers = NO_OFFERS

    @property
    def weeks(self) -> int:
        """How many weeks are known."""
        return int(self.weekly.shape[-1])

    def price_rates(self, log_ratio: Floats) -> Floats:
        """Sales in a week that adds nothing, at prices over the typical one.

        Parameters
        ----------
        log_ratio : array, shape (n, prices)
            Logarithm of price over typical price.

        Returns
        -------
        array, shape (n, prices)
            The rates.
        """
        return np.asarray(np.exp(self.log_rate[:, None] - self.pull[:, None] * log_ratio))

    def week_factor(self, week: int) -> Floats:
        """What a week multiplies the rates by.

        Parameters
        ----------
        week : int
            Weeks listed, 0 the first.

        Returns
        -------
        array, shape (1,) or (n,)
            The factor.
        """
        return np.asarray(np.exp(np.atleast_1d(self.weekly[..., week])))

    def part(self, rows: slice) -> Demand:
        """The demand of some of the things.

        Parameters
        ----------
        rows : slice
            Which.

        Returns
        -------
        Demand
            Theirs.
        """
        weekly = self.weekly if self.weekly.ndim == 1 else self.weekly[rows]
        return Demand(self.log_rate[rows], self.pull[rows], weekly, self.offers)

    def rows(self, rows: npt.NDArray[np.int64]) -> Demand:
        """The demand of things named one by one.

        Parameters
        ----------
        rows : array of int
            Which.

        Returns
        -------
        Demand
            Theirs.
        """
        weekly = self.weekly if self.weekly.ndim == 1 else self.weekly[rows]
        return Demand(self.log_rate[rows], self.pull[rows], weekly, self.offers)

    def as_dict(self) -> dict[str, Any]:
        """Plain lists, for a file.

        Returns
        -------
        dict
            What ``demand_from`` reads.
        """
        return {
            "log_rate": self.log_rate.tolist(),
            "pull": self.pull.tolist(),
            "weekly": self.weekly.tolist(),
            "offer_parts": list(self.offers.parts),
            "offers_per_sale": list(self.offers.per_sale),
        }


def demand_from(kept: Mapping[str, Any]) -> Demand:
    """Demand as ``Demand.as_dict`` wrote it.

    Parameters
    ----------
    kept : mapping
        The lists.

    Returns
    -------
    Demand
        The demand.

    Examples
    --------
    >>> one = Demand(np.array([-2.3]), np.array([2.0]), np.zeros(4))
    >>> demand_from(one.as_dict()).weeks
    4
    """
    return Demand(
        np.asarray(kept["log_rate"], dtype=np.float64),
        np.asarray(kept["pull"], dtype=np.float64),
        np.asarray(kept["weekly"], dtype=np.float64),
        Offers(tuple(kept["offer_parts"]), tuple(kept["offers_per_sale"])),
    )
