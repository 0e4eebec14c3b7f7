"""What a price path is worth from its first day to its last, and how kinds' paces err together: yardsticks alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from flipkit.analysis.pricing import Outcomes, PriceSettings, worth_by_week
from flipkit.analysis.sale_hazard import SellingModel


def expected_value_cents(
    found: Outcomes, settings: PriceSettings, *, storage_cents: npt.ArrayLike, end_cents: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """What outcomes are worth on the first day, by the same rules as the best path's value."""
    worth = worth_by_week(found, settings, storage_cents=storage_cents).sum(axis=-1)
    waits = found.still - found.chance.sum(axis=-1)
    # Who is on sale at the end of a week but not at the beginning of the next is given up then.
    onward = np.concatenate((found.still[..., 1:], np.zeros_like(waits[..., :1])), axis=-1)
    keep = settings.keep ** np.arange(1, waits.shape[-1] + 1)
    given_up = 1.0 - found.still[..., 0] + ((waits - onward) * keep).sum(axis=-1)
    return np.asarray(worth + np.asarray(end_cents, dtype=np.float64) * given_up)


def pace_covariance(
    model: SellingModel, categories: tuple[str, ...], log_ratio: npt.ArrayLike, *, weeks: int
) -> npt.NDArray[np.float64]:
    """How the errors of the categories' rates go together: most of what one shop misjudges, it misjudges in all."""
    picks = model._paces(categories, np.asarray(log_ratio, dtype=np.float64), weeks)
    return np.asarray(picks @ model.covariance @ picks.T)
