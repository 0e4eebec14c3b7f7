"""What is held about the chance of a sale before the books speak: the prior of ``selling``, from the assumptions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flipkit.assumptions import Assumptions

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
