"""Aggregated frames in, drawings out: one theme, one renderer, a reading in words for each.

The charts load altair, which takes most of a second; a name of this package loads its module when it
is first asked for, so that a command that draws nothing does not wait.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flipkit.charts.minutes import plot_minutes
    from flipkit.charts.months import plot_months
    from flipkit.charts.returns import plot_category_returns, plot_price_bands
    from flipkit.charts.selling import plot_days_listed
    from flipkit.charts.sizes import plot_size_comparison
    from flipkit.charts.waterfall import plot_waterfall

_HOMES = {
    "plot_category_returns": "returns",
    "plot_days_listed": "selling",
    "plot_minutes": "minutes",
    "plot_months": "months",
    "plot_price_bands": "returns",
    "plot_size_comparison": "sizes",
    "plot_waterfall": "waterfall",
}

__all__ = [
    "plot_category_returns",
    "plot_days_listed",
    "plot_minutes",
    "plot_months",
    "plot_price_bands",
    "plot_size_comparison",
    "plot_waterfall",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
