"""flipkit: which kinds of second-hand items really pay per hour of work.

The names that a notebook uses. Each is imported when it is first asked for, so that a command
which needs one of them does not wait for the rest.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flipkit.errors import FlipkitError as FlipkitError

#: Exported name to the module that defines it.
_HOMES = {
    "Answer": "flipkit.face",
    "FlipkitError": "flipkit.errors",
    "activity_minutes": "flipkit.reports.elements",
    "ages_table": "flipkit.reports.tables",
    "assumption_panel": "flipkit.reports.panel",
    "assumptions_table": "flipkit.reports.tables",
    "bands_table": "flipkit.reports.tables",
    "bare_item": "flipkit.packing.parcel",
    "break_even_moves": "flipkit.reports.sizes",
    "break_even_sentence": "flipkit.reports.sentences",
    "bullets": "flipkit.reports.tables",
    "category_sentence": "flipkit.reports.sentences",
    "caution": "flipkit.reports.elements",
    "cautions": "flipkit.reports.tables",
    "changes_table": "flipkit.reports.prices",
    "compare_waiting": "flipkit.face",
    "dimensional_weight": "flipkit.face",
    "divisors_table": "flipkit.reports.sliders",
    "drawn": "flipkit.reports.packing_review",
    "fees": "flipkit.face",
    "fresh_table": "flipkit.reports.prices",
    "frontier_frame": "flipkit.reports.prices",
    "frontier_table": "flipkit.reports.prices",
    "frontier_title": "flipkit.reports.prices",
    "give_up_table": "flipkit.reports.prices",
    "goods_table": "flipkit.reports.year",
    "headline": "flipkit.reports.elements",
    "help_sentence": "flipkit.reports.hiring",
    "highest_price": "flipkit.face",
    "hiring_table": "flipkit.reports.hiring",
    "income_table": "flipkit.reports.year",
    "item_economics": "flipkit.economics.items",
    "item_rows": "flipkit.reports.elements",
    "labor_cost": "flipkit.face",
    "learnt_sentence": "flipkit.reports.prices",
    "limits_table": "flipkit.reports.hiring",
    "line_sums": "flipkit.reports.elements",
    "load_assumptions": "flipkit.assumptions",
    "load_rules": "flipkit.rules.tables",
    "log_sentence": "flipkit.reports.partners",
    "measured_trust": "flipkit.reports.trust",
    "methods_table": "flipkit.reports.tables",
    "mileage_table": "flipkit.reports.year",
    "month_sentence": "flipkit.reports.sentences",
    "net_price": "flipkit.face",
    "next_hours": "flipkit.reports.hours",
    "notes_table": "flipkit.reports.tables",
    "nothing_sold": "flipkit.reports.sentences",
    "offers_table": "flipkit.reports.prices",
    "oldest_stock": "flipkit.reports.elements",
    "open_study": "flipkit.reports.study",
    "packing_lessons": "flipkit.reports.packing_review",
    "partners_sentence": "flipkit.reports.partners",
    "partners_table": "flipkit.reports.partners",
    "plan_parcel": "flipkit.packing.parcel",
    "plot_break_even_moves": "flipkit.charts.returns",
    "plot_category_returns": "flipkit.charts.returns",
    "plot_days_listed": "flipkit.charts.stock",
    "plot_frontier": "flipkit.charts.stock",
    "plot_minutes": "flipkit.charts.returns",
    "plot_months": "flipkit.charts.returns",
    "plot_packing_lessons": "flipkit.charts.stock",
    "plot_price_bands": "flipkit.charts.returns",
    "plot_shares": "flipkit.charts.stock",
    "plot_size_comparison": "flipkit.charts.returns",
    "plot_sliders": "flipkit.reports.sliders",
    "plot_tornado": "flipkit.charts.sliders",
    "plot_waiting": "flipkit.charts.stock",
    "plot_waterfall": "flipkit.charts.returns",
    "pocket_note": "flipkit.reports.pocket",
    "pocket_sentence": "flipkit.reports.pocket",
    "pocket_sheet": "flipkit.reports.pocket",
    "preparer_caution": "flipkit.reports.year",
    "prices_sentence": "flipkit.reports.prices",
    "ranking_table": "flipkit.reports.tables",
    "read_books": "flipkit.books.read",
    "returns_table": "flipkit.reports.tables",
    "rules_table": "flipkit.reports.tables",
    "size_facts_table": "flipkit.reports.sizes",
    "size_sentence": "flipkit.reports.sizes",
    "sizes_table": "flipkit.reports.sizes",
    "sliders_sentence": "flipkit.reports.sliders",
    "stock_sentence": "flipkit.reports.sentences",
    "table": "flipkit.reports.elements",
    "trace_sentence": "flipkit.reports.sentences",
    "track_record": "flipkit.reports.forecasts",
    "true_hourly_return": "flipkit.face",
    "turnover_table": "flipkit.reports.tables",
    "verdict_list": "flipkit.reports.verdicts",
    "waiting": "flipkit.face",
    "waiting_page": "flipkit.reports.waiting",
    "waiting_table": "flipkit.reports.tables",
    "what_if": "flipkit.reports.what_if",
    "window_sentence": "flipkit.reports.sentences",
    "words": "flipkit.reports.tables",
    "year_sentence": "flipkit.reports.year",
}

__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"flipkit has no {name!r}; it has {', '.join(__all__)}")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*globals(), *__all__]
