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

from flipkit.analysis.demand import LEAST_PULL, Demand, Offers, Possible, Wanting, possible_demand, wanting
from flipkit.analysis.hidden_demand import posterior_mode
from flipkit.analysis.person_weeks import PersonWeeks
from flipkit.analysis.selling_prior import OFFER_PARTS, OWN, SHARED, SellingPrior

Floats = npt.NDArray[np.float64]


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

    def pace(self, category: str, *, weeks: int) -> tuple[float, float]:
        """How unsure the rate is over the time on sale: fading misjudged is a pace misjudged.

        Parameters
        ----------
        category : str
            The category.
        weeks : int
            Weeks on sale at most.

        Returns
        -------
        error, with_pull : float
            Standard error of the logarithm of the rate in a middling week, and its covariance with the pull.
        """
        pick = self._paces((category,), np.zeros(1), weeks)[0]
        own = self.level(category)[1] ** 2 - self._variance(self._pick("level", category))
        error = float(np.sqrt(self._variance(pick) + own))
        return error, float(pick @ self.covariance @ self._pick("pull", category))

    def pace_covariance(self, categories: tuple[str, ...], log_ratio: npt.ArrayLike, *, weeks: int) -> Floats:
        """How the errors of the categories' rates go together: most of what one shop misjudges, it misjudges in all.

        Parameters
        ----------
        categories : tuple of str, k of them
            Categories with coefficients of their own.
        log_ratio : array, shape (k,)
            Logarithm of the asking price over the typical price in each.
        weeks : int
            Weeks on sale at most.

        Returns
        -------
        array, shape (k, k)
            Covariance of the logarithms of the rates at these prices in a middling week.
        """
        picks = self._paces(categories, np.asarray(log_ratio, dtype=np.float64), weeks)
        return np.asarray(picks @ self.covariance @ picks.T)

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

    def possible(self, category: str, typical_error: npt.ArrayLike, *, weeks: int) -> Possible:
        """What the demand of a thing of a category may be, as far as books and comparables leave it open.

        Parameters
        ----------
        category : str
            The category.
        typical_error : float or array, shape (n,)
            Standard error of the logarithm of the thing's typical price.
        weeks : int
            Weeks on sale at most.

        Returns
        -------
        Possible
            Beside the demand that ``demand`` gives.
        """
        pull, pull_error = self.pull(category)
        pace, with_pull = self.pace(category, weeks=weeks)
        # A typical price judged too low is a demand judged too low, by the pull.
        misjudged = max(pull, LEAST_PULL) * np.asarray(typical_error, dtype=np.float64)
        never = float(1 / (1 + np.exp(-self.never(category)[0])))
        spread = np.sqrt(self.appeal_spread**2 + pace**2 + misjudged**2)
        return possible_demand(never, spread, pull_error=pull_error, together=with_pull)

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
        pull = max(self.pull(category)[0], LEAST_PULL)
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

    def _paces(self, categories: tuple[str, ...], log_ratio: Floats, weeks: int) -> Floats:
        """What each coefficient adds to the logarithm of each category's rate at a price, in a middling week."""
        week = np.arange(weeks, dtype=np.float64)
        share = np.exp(self.mean[2] * week + self.mean[3] * np.log1p(week))
        share = share / share.sum()
        picks = []
        for category, ratio in zip(categories, log_ratio, strict=True):
            pick = self._pick("level", category) - ratio * self._pick("pull", category)
            pick[2], pick[3] = share @ week, share @ np.log1p(week)
            picks.append(pick)
        return np.stack(picks)

    def _variance(self, pick: Floats) -> float:
        return float(pick @ self.covariance @ pick)

    def _pick(self, what: str, category: str) -> Floats:
        """Coefficients whose sum a category's is: the shared one, and its own where it has one."""
        pick = np.zeros(self.mean.size)
        pick[SHARED.index(what)] = 1.0
        if category in self.categories:
            pick[len(SHARED) + OWN.index(what) * len(self.categories) + self.categories.index(category)] = 1.0
        return pick

    def _of(self, what: str, category: str) -> tuple[float, float]:
        pick, extra = self._pick(what, category), 0.0
        if category not in self.categories and self.categories:
            extra = float(self.prior_spread[len(SHARED) + OWN.index(what) * len(self.categories)] ** 2)
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
    >>> from flipkit.analysis.selling_prior import selling_prior
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
