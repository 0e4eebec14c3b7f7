"""How fast buyers come for a thing, week by week and price by price, as the pricing needs it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Offers:
    """Offers below the asking price, counted beside the sales at it."""

    parts: tuple[float, ...] = ()
    per_sale: tuple[float, ...] = ()


#: Nobody writes: only sales at the asking price.
NO_OFFERS = Offers()
#: A pull of nothing or less would ask for endless prices: no buyer is like that.
LEAST_PULL = 0.2


@dataclass(frozen=True)
class Wanting:
    """How much things of a kind are wanted: levels beside the median, and their shares."""

    level: Floats
    share: Floats

    def unsold(self, chances: Floats) -> Floats:
        """Share still unsold once a thing of the median level has met so many chances."""
        return np.asarray((self.share * np.exp(-self.level * chances[..., None])).sum(axis=-1))


def wanting(never_share: float, spread: float, *, nodes: int = 9) -> Wanting:
    """Levels of a logarithmic normal beside things that nobody wants."""
    place, weight = np.polynomial.hermite_e.hermegauss(nodes)
    level = np.exp(spread * place)
    share = (1 - never_share) * weight / weight.sum()
    return Wanting(np.concatenate(([0.0], level)), np.concatenate(([never_share], share)))


@dataclass(frozen=True)
class Demand:
    """Sales a week at the asking price, of one or many things, for one or many possibilities.

    The rate is exp(log_rate - pull * log(price / typical) + weekly[w]); the chance of a sale in
    a week is 1 - exp(-rate).
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
        """Sales in a week that adds nothing, at prices over the typical one."""
        return np.asarray(np.exp(self.log_rate[..., None] - self.pull[..., None] * log_ratio))

    def week_factor(self, week: int) -> Floats:
        """What a week multiplies the rates by."""
        return np.asarray(np.exp(np.atleast_1d(self.weekly[..., week])))

    def part(self, rows: slice | npt.NDArray[np.int64]) -> Demand:
        """The demand of some of the things."""
        weekly = self.weekly if self.weekly.ndim == 1 else self.weekly[rows]
        return Demand(self.log_rate[rows], self.pull[rows], weekly, self.offers)

    @classmethod
    def joined(cls, parts: Sequence[Demand]) -> Demand:
        """Things with weeks of their own under one another, who are offered alike."""
        rate, pull, weekly = (
            np.concatenate([getattr(part, name) for part in parts]) for name in ("log_rate", "pull", "weekly")
        )
        return cls(rate, pull, weekly, parts[0].offers)

    def as_dict(self) -> dict[str, Any]:
        """Plain lists, for a file."""
        return {
            "log_rate": self.log_rate.tolist(),
            "pull": self.pull.tolist(),
            "weekly": self.weekly.tolist(),
            "offer_parts": list(self.offers.parts),
            "offers_per_sale": list(self.offers.per_sale),
        }


@dataclass(frozen=True)
class Possible:
    """What the demand of a thing may be: possibilities beside the middling one, and how likely each is."""

    level: Floats
    pull: Floats
    share: Floats

    def moved(self, demand: Demand) -> Demand:
        """The demand of each thing by every possibility, the possibilities first."""
        rate = demand.log_rate + np.log(np.maximum(np.atleast_2d(self.level), 1e-300)).T
        pull = np.maximum(demand.pull + np.atleast_2d(self.pull).T, LEAST_PULL)
        return Demand(rate, pull, demand.weekly, demand.offers)

    def rows(self, rows: slice | npt.NDArray[np.int64]) -> Possible:
        """The possibilities of some of the things."""
        return Possible(*(part if part.ndim == 1 else part[rows] for part in (self.level, self.pull, self.share)))

    @classmethod
    def joined(cls, parts: Sequence[Possible]) -> Possible:
        """Those of things that each have their own, under one another."""
        whole = [[np.broadcast_to(each, one.level.shape) for each in (one.level, one.pull, one.share)] for one in parts]
        return cls(*(np.concatenate(column) for column in zip(*whole, strict=True)))


#: Nothing is unsure: the middling demand itself.
SURE = Possible(np.ones(1), np.zeros(1), np.ones(1))


def possible_demand(
    never_share: float,
    spread: npt.ArrayLike,
    *,
    pull_error: float = 0.0,
    together: float = 0.0,
    levels: int = 4,
    pulls: int = 2,
) -> Possible:
    """Possibilities where level and pull are normal about the middling one, beside things that nobody wants."""
    place, weight = np.polynomial.hermite_e.hermegauss(levels)
    steep, often = np.polynomial.hermite_e.hermegauss(pulls if pull_error > 0 else 1)
    slope = together / pull_error if pull_error > 0 else 0.0
    # What of the level's spread is left once the pull is known.
    rest = np.sqrt(np.maximum(np.asarray(spread, dtype=np.float64) ** 2 - slope**2, 0.0))
    log = rest[..., None, None] * place + slope * steep[:, None]
    share = (1 - never_share) * (often / often.sum())[:, None] * (weight / weight.sum())
    level = np.exp(log).reshape(*log.shape[:-2], -1)
    pull = np.repeat(pull_error * steep, levels)
    return Possible(
        np.concatenate((np.zeros((*level.shape[:-1], 1)), level), axis=-1),
        np.concatenate(([0.0], pull)),
        np.concatenate(([never_share], share.ravel())),
    )


def demand_from(kept: Mapping[str, Any]) -> Demand:
    """Demand as ``Demand.as_dict`` wrote it.

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
