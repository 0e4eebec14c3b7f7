"""Chance of a sale by price and week: a discrete-time hazard, pulled towards a stated prior.

The logarithm of the sales a week is a sum: the category's own level, its pull of the price
over the typical one, the weeks listed, a season, and whether the price was just lowered. Beside
it stands that things of a category differ in ways that no column tells: some nobody wants at
any price, the others are wanted more or less. Leaving that out makes buyers look as if they
grew tired and as if prices hardly mattered, for what has waited long is mostly what few want.
The prior is normal. How much of each coefficient is data and how much prior is told: one less
the posterior variance over the prior one.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flipkit.analysis.demand import Demand, Offers, Wanting, wanting
from flipkit.analysis.hidden_demand import posterior_mode
from flipkit.analysis.person_weeks import PersonWeeks
from flipkit.assumptions import Assumptions

Floats = npt.NDArray[np.float64]

#: Coefficients that all categories share, in this order; then the deviations of each.
SHARED = ("level", "pull", "weeks", "log weeks", "season sine", "season cosine", "just lowered", "never wanted")
#: What each category has of its own beside it.
OWN = ("level", "pull", "never wanted")
#: Offers as parts of the asking price.
OFFER_PARTS = (0.95, 0.90, 0.85, 0.80, 0.70)
#: How the offers of the prior fall on these.
OFFER_MIX = (0.3, 0.25, 0.2, 0.15, 0.1)


@dataclass(frozen=True)
class SellingPrior:
    """What is held about the chance of a sale before the books speak.

    Attributes
    ----------
    mean, spread : tuple of float
        Of the shared coefficients, in the order of ``SHARED``.
    category : tuple of float
        Spreads of the categories' own deviations, in the order of ``OWN``.
    appeal_spread : float
        Spread of the logarithm of how much things of a category are wanted.
    offers_per_sale : tuple of float
        Offers of each of ``OFFER_PARTS`` for every sale at the asking price.
    offers_weight : float
        Sales that these weigh beside the books' own.
    """

    mean: tuple[float, ...]
    spread: tuple[float, ...]
    category: tuple[float, ...]
    appeal_spread: float
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
    2.6
    """
    number = assumptions.number
    never = assumptions.share("selling.never")
    return SellingPrior(
        (
            float(np.log(number("selling.weekly_rate"))),
            number("selling.pull"),
            number("selling.fading"),
            0.0,
            0.0,
            0.0,
            0.0,
            float(np.log(never / (1 - never))),
        ),
        (
            number("selling.weekly_rate_spread"),
            number("selling.pull_spread"),
            number("selling.fading_spread"),
            number("selling.early_spread"),
            number("selling.season_spread"),
            number("selling.season_spread"),
            number("selling.lowered_spread"),
            number("selling.never_spread"),
        ),
        (
            number("selling.category_spread"),
            number("selling.category_pull_spread"),
            number("selling.category_never_spread"),
        ),
        number("selling.appeal_spread"),
        tuple(number("selling.offers_per_sale") * part for part in OFFER_MIX),
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
    at_asking : float
        Share of the sales that were at the asking price.
    appeal_spread : float
        Spread of the logarithm of how much things of a category are wanted.
    sales, weeks : int
        Sales, and weeks on sale, behind it.
    """

    categories: tuple[str, ...]
    mean: Floats
    covariance: Floats
    prior_mean: Floats
    prior_spread: Floats
    offers: Offers
    at_asking: float
    appeal_spread: float
    sales: int
    weeks: int

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the coefficients."""
        own = [f"{what} of {name}" for what in OWN for name in self.categories]
        return (*SHARED, *own)

    def level(self, category: str) -> tuple[float, float]:
        """Logarithm of the weekly sales, offers included, of a middling thing at the typical price; its error."""
        return self._of("level", category)

    def pull(self, category: str) -> tuple[float, float]:
        """How strongly price moves the rate, and its standard error."""
        return self._of("pull", category)

    def never(self, category: str) -> tuple[float, float]:
        """Share of the things that nobody wants, as the logarithm of its odds, and its standard error."""
        return self._of("never wanted", category)

    def wanted(self, category: str) -> Wanting:
        """How much things of a category are wanted.

        Parameters
        ----------
        category : str
            The category.

        Returns
        -------
        Wanting
            Levels beside the middling thing's, and their shares.
        """
        return wanting(float(1 / (1 + np.exp(-self.never(category)[0]))), self.appeal_spread)

    def demand(self, category: str, *, weeks: int, start: dt.date | None = None) -> Demand:
        """How buyers come for one middling thing of a category.

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
        level = self.level(category)[0] + np.log(self.at_asking)
        return Demand(np.array([level]), np.array([pull]), weekly, self.offers)

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
        offset = len(SHARED) + OWN.index(what) * len(self.categories)
        if category in self.categories:
            pick[offset + self.categories.index(category)] = 1.0
        elif self.categories:
            extra = float(self.prior_spread[offset] ** 2)
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
        If the fit does not settle, which no finite data should cause.

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
    prior_mean = np.concatenate((prior.mean, np.zeros(len(OWN) * own)))
    prior_spread = np.concatenate((prior.spread, np.repeat(prior.category, own)))
    member = _membership(weeks, categories)
    item, first = np.unique(weeks.item, return_index=True)
    never_columns = [SHARED.index("never wanted"), *range(len(SHARED) + 2 * own, len(SHARED) + 3 * own)]
    level = wanting(0.0, prior.appeal_spread)
    mean, covariance = posterior_mode(
        _design(weeks, member),
        np.log(np.maximum(weeks.exposure, 1e-9)),
        first,
        np.logical_or.reduceat(weeks.sold, first) if item.size else np.zeros(0, dtype=bool),
        np.concatenate((np.ones((item.size, 1)), member[first]), axis=1),
        np.array(never_columns),
        Wanting(level.level[1:], level.share[1:]),
        prior_mean,
        prior_spread,
    )
    offers, at_asking = _offers(weeks, prior)
    return SellingModel(
        tuple(categories),
        mean,
        covariance,
        prior_mean,
        prior_spread,
        offers,
        at_asking,
        prior.appeal_spread,
        int(weeks.sold.sum()),
        int(weeks.sold.size),
    )


def week_rates(model: SellingModel, weeks: PersonWeeks) -> Floats:
    """Sales expected in each week on sale of a thing of middling liking.

    Parameters
    ----------
    model : SellingModel
        The fit.
    weeks : PersonWeeks
        The weeks; a category without coefficients of its own takes the shop's.

    Returns
    -------
    array, shape (rows,)
        The rates.
    """
    design = _design(weeks, _membership(weeks, model.categories))
    return np.asarray(weeks.exposure * np.exp(design @ model.mean))


def _membership(weeks: PersonWeeks, categories: tuple[str, ...]) -> Floats:
    """One column a category: whether the week is of it."""
    place = {name: at for at, name in enumerate(categories)}
    own = np.zeros((weeks.week.size, len(categories)))
    code = np.array([place.get(str(name), -1) for name in weeks.category], dtype=np.int64)
    known = np.flatnonzero(code >= 0)
    own[known, code[known]] = 1.0
    return own


def _design(weeks: PersonWeeks, member: Floats) -> Floats:
    """What each coefficient multiplies in the logarithm of the rate; the never wanted have no place in it."""
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
            np.zeros(weeks.week.size),
        )
    )
    return np.concatenate((shared, member, member * -weeks.log_ratio[:, None], np.zeros_like(member)), axis=1)


def _offers(weeks: PersonWeeks, prior: SellingPrior) -> tuple[Offers, float]:
    """Offers for every sale at the asking price, a little prior and the books' own; the sales' share at it."""
    edges = [-np.inf, *((high + low) / 2 for high, low in zip(OFFER_PARTS[::-1], OFFER_PARTS[-2::-1], strict=False))]
    counts = np.histogram(weeks.offer_part, bins=[*edges, np.inf])[0][::-1]
    sales = float(weeks.sold.sum()) - weeks.offer_part.size
    held = prior.offers_weight
    per_sale = (held * np.asarray(prior.offers_per_sale) + counts) / (held + sales)
    at_asking = (held + sales) / (held + sales + weeks.offer_part.size)
    return Offers(OFFER_PARTS, tuple(float(value) for value in per_sale)), float(at_asking)
