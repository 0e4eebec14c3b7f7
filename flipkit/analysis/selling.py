"""Chance of a sale by price and week: a discrete-time hazard, pulled towards a stated prior.

The logarithm of the sales a week is a sum: the category's own level, its pull of the price
over the typical one, the weeks listed, a season, and whether the price was just lowered. The
likelihood is that of person-weeks with the complementary log-log link; the prior is normal; the
mode is found by Newton's steps. How much of each coefficient is data and how much prior is
told: one less the posterior variance over the prior one.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand, Offers
from flipkit.analysis.person_weeks import PersonWeeks
from flipkit.assumptions import Assumptions
from flipkit.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]

#: Coefficients that all categories share, in this order; then a level and a pull for each.
SHARED = ("level", "pull", "weeks", "log weeks", "season sine", "season cosine", "just lowered")
#: Offers as parts of the asking price.
OFFER_PARTS = (0.95, 0.90, 0.85, 0.80, 0.70)
_STEPS = 60


@dataclass(frozen=True)
class SellingPrior:
    """What is held about the chance of a sale before the books speak.

    Attributes
    ----------
    mean, spread : tuple of float
        Of the shared coefficients, in the order of ``SHARED``.
    category_level, category_pull : float
        Spreads of the categories' own deviations.
    offers_per_sale : tuple of float
        Offers of each of ``OFFER_PARTS`` for every sale at the asking price.
    offers_weight : float
        Sales that these weigh beside the books' own.
    """

    mean: tuple[float, ...]
    spread: tuple[float, ...]
    category_level: float
    category_pull: float
    offers_per_sale: tuple[float, ...]
    offers_weight: float


def selling_prior(assumptions: Assumptions) -> SellingPrior:
    """The prior as the assumptions say.

    Parameters
    ----------
    assumptions : Assumptions
        The group ``selling``.

    Returns
    -------
    SellingPrior
        The prior.

    Examples
    --------
    >>> from flipkit.assumptions import load_assumptions
    >>> selling_prior(load_assumptions()).mean[1]
    2.0
    """
    number = assumptions.number
    return SellingPrior(
        (
            float(np.log(number("selling.weekly_rate"))),
            number("selling.pull"),
            number("selling.fading"),
            0.0,
            0.0,
            0.0,
            0.0,
        ),
        (
            number("selling.weekly_rate_spread"),
            number("selling.pull_spread"),
            number("selling.fading_spread"),
            number("selling.early_spread"),
            number("selling.season_spread"),
            number("selling.season_spread"),
            number("selling.lowered_spread"),
        ),
        number("selling.category_spread"),
        number("selling.category_pull_spread"),
        tuple(number("selling.offers_per_sale") * part for part in (0.3, 0.25, 0.2, 0.15, 0.1)),
        number("selling.offers_weight"),
    )


@dataclass(frozen=True)
class SellingModel:
    """The fitted chance of a sale.

    Attributes
    ----------
    categories : tuple of str
        Those with coefficients of their own.
    mean : array, shape (coefficients,)
        The mode of the posterior.
    covariance : array, shape (coefficients, coefficients)
        Its curvature's inverse.
    prior_mean, prior_spread : array, shape (coefficients,)
        What was held before.
    offers : Offers
        Offers by part of the asking price.
    sales, weeks : int
        Sales at the asking price, and weeks on sale, behind it.
    """

    categories: tuple[str, ...]
    mean: Floats
    covariance: Floats
    prior_mean: Floats
    prior_spread: Floats
    offers: Offers
    sales: int
    weeks: int

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the coefficients."""
        own = [f"{what} of {name}" for what in ("level", "pull") for name in self.categories]
        return (*SHARED, *own)

    def level(self, category: str) -> tuple[float, float]:
        """Logarithm of the weekly rate at the typical price, first week, and its standard error."""
        return self._of("level", category)

    def pull(self, category: str) -> tuple[float, float]:
        """How strongly price moves the rate, and its standard error."""
        return self._of("pull", category)

    def demand(self, category: str, *, weeks: int, start: dt.date | None = None) -> Demand:
        """How buyers come for one thing of a category.

        Parameters
        ----------
        category : str
            The category; one without coefficients of its own takes the shop's.
        weeks : int
            Weeks on sale at most.
        start : date, optional
            First day on sale; without it no season.

        Returns
        -------
        Demand
            For one thing.
        """
        week = np.arange(weeks, dtype=np.float64)
        weekly = self.mean[2] * week + self.mean[3] * np.log1p(week)
        if start is not None:
            day = (start - dt.date(start.year, 1, 1)).days / 365.25 + 7 * week / 365.25
            weekly = weekly + self.mean[4] * np.sin(2 * np.pi * day) + self.mean[5] * np.cos(2 * np.pi * day)
        # A pull of nothing or less would ask for endless prices: no buyer is like that.
        pull = max(self.pull(category)[0], 0.2)
        return Demand(np.array([self.level(category)[0]]), np.array([pull]), weekly, self.offers)

    def coefficients(self) -> dict[str, list[object]]:
        """Every coefficient with its error, the prior, and how much of it is data.

        Returns
        -------
        dict of str to list
            Columns ``name``, ``estimate``, ``error``, ``prior``, ``prior_spread``, ``data_share``.
        """
        variance = np.diag(self.covariance)
        return {
            "name": list(self.names),
            "estimate": self.mean.tolist(),
            "error": np.sqrt(variance).tolist(),
            "prior": self.prior_mean.tolist(),
            "prior_spread": self.prior_spread.tolist(),
            "data_share": np.clip(1 - variance / self.prior_spread**2, 0.0, 1.0).tolist(),
        }

    def _of(self, what: str, category: str) -> tuple[float, float]:
        pick = np.zeros(self.mean.size)
        pick[SHARED.index(what)] = 1.0
        extra = 0.0
        if category in self.categories:
            offset = len(SHARED) + (0 if what == "level" else len(self.categories))
            pick[offset + self.categories.index(category)] = 1.0
        elif self.categories:
            extra = self.prior_spread[len(SHARED) + (0 if what == "level" else len(self.categories))] ** 2
        return float(pick @ self.mean), float(np.sqrt(pick @ self.covariance @ pick + extra))


def selling_model(weeks: PersonWeeks, categories: tuple[str, ...], *, prior: SellingPrior) -> SellingModel:
    """Fit the chance of a sale to person-weeks.

    Parameters
    ----------
    weeks : PersonWeeks
        The weeks on sale.
    categories : tuple of str
        Categories that get coefficients of their own.
    prior : SellingPrior
        What is held before.

    Returns
    -------
    SellingModel
        The mode with its curvature.

    Raises
    ------
    NotEnoughDataError
        If Newton's steps do not settle, which no finite data should cause.

    Examples
    --------
    >>> from flipkit.assumptions import load_assumptions
    >>> none = np.zeros(0)
    >>> whole, truth = none.astype(int), none.astype(bool)
    >>> empty = PersonWeeks(whole, none.astype(object), whole, none, none, truth, none, truth, none)
    >>> model = selling_model(empty, ("mugs",), prior=selling_prior(load_assumptions()))
    >>> round(float(np.exp(model.level("mugs")[0])), 3), round(max(model.coefficients()["data_share"]), 9)
    (0.07, 0.0)
    """
    own = len(categories)
    prior_mean = np.concatenate((prior.mean, np.zeros(2 * own)))
    prior_spread = np.concatenate((prior.spread, np.full(own, prior.category_level), np.full(own, prior.category_pull)))
    design = _design(weeks, categories)
    mean, covariance = _mode(design, weeks.exposure, weeks.sold, prior_mean, prior_spread)
    return SellingModel(
        tuple(categories),
        mean,
        covariance,
        prior_mean,
        prior_spread,
        _offers(weeks, prior),
        int(weeks.sold.sum()),
        int(weeks.sold.size),
    )


def _design(weeks: PersonWeeks, categories: tuple[str, ...]) -> Floats:
    place = {name: at for at, name in enumerate(categories)}
    own = np.zeros((weeks.week.size, len(categories)))
    code = np.array([place.get(str(name), -1) for name in weeks.category], dtype=np.int64)
    known = np.flatnonzero(code >= 0)
    own[known, code[known]] = 1.0
    angle = 2 * np.pi * weeks.year_part
    shared = np.column_stack(
        (
            np.ones(weeks.week.size),
            -weeks.log_ratio,
            weeks.week,
            np.log1p(weeks.week),
            np.sin(angle),
            np.cos(angle),
            weeks.cut,
        )
    )
    return np.concatenate((shared, own, own * -weeks.log_ratio[:, None]), axis=1)


def _mode(
    design: Floats, exposure: Floats, sold: npt.NDArray[np.bool_], prior_mean: Floats, prior_spread: Floats
) -> tuple[Floats, Floats]:
    """Newton's steps, halved where they go too far; the logarithm of the posterior is concave."""
    precision = 1 / prior_spread**2
    offset = np.log(np.maximum(exposure, 1e-9))
    beta = prior_mean.copy()

    def height(at: Floats) -> float:
        rate = np.exp(np.clip(design @ at + offset, -700, 30))
        gap = at - prior_mean
        sale = float(np.log(-np.expm1(-rate[sold])).sum())
        return sale - float(rate[~sold].sum()) - float(precision @ gap**2) / 2

    now = height(beta)
    for _ in range(_STEPS):
        rate = np.exp(np.clip(design @ beta + offset, -700, 30))
        # d log(1 - exp(-r)) / d log r = r / (exp(r) - 1)
        pull = rate / np.expm1(np.maximum(rate, 1e-300))
        slope = np.where(sold, pull, -rate)
        curve = np.where(sold, pull * (rate / -np.expm1(-np.maximum(rate, 1e-300)) - 1), rate)
        gradient = design.T @ slope - precision * (beta - prior_mean)
        hessian = (design * curve[:, None]).T @ design + np.diag(precision)
        step = np.linalg.solve(hessian, gradient)
        size = 1.0
        while (after := height(beta + size * step)) < now - 1e-9 and size > 1e-6:
            size /= 2
        beta = beta + size * step
        settled = after - now < 1e-10 and float(np.abs(size * step).max()) < 1e-7
        now = after
        if settled:
            return beta, np.asarray(np.linalg.inv(hessian), dtype=np.float64)
    raise NotEnoughDataError("person-weeks", need="a fit that settles", got=f"none in {_STEPS} steps")


def _offers(weeks: PersonWeeks, prior: SellingPrior) -> Offers:
    """Accepted offers for every sale at the asking price, a little prior and the books' own."""
    edges = [-np.inf, *((high + low) / 2 for high, low in zip(OFFER_PARTS[::-1], OFFER_PARTS[-2::-1], strict=False))]
    counts = np.histogram(weeks.offer_part, bins=[*edges, np.inf])[0][::-1]
    sales = float(weeks.sold.sum())
    held = prior.offers_weight
    per_sale = (held * np.asarray(prior.offers_per_sale) + counts) / (held + sales)
    return Offers(OFFER_PARTS, tuple(float(value) for value in per_sale))
