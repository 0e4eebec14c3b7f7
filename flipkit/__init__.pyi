from .assumptions import load_assumptions as load_assumptions
from .books.read import read_books as read_books
from .charts.returns import (
    plot_break_even_moves as plot_break_even_moves,
    plot_category_returns as plot_category_returns,
    plot_minutes as plot_minutes,
    plot_price_bands as plot_price_bands,
    plot_size_comparison as plot_size_comparison,
    plot_waterfall as plot_waterfall,
)
from .charts.sliders import plot_tornado as plot_tornado
from .charts.stock import (
    plot_days_listed as plot_days_listed,
    plot_packing_lessons as plot_packing_lessons,
    plot_patience as plot_patience,
    plot_shares as plot_shares,
)
from .economics.items import item_economics as item_economics
from .errors import FlipkitError as FlipkitError
from .face import (
    check_books as check_books,
    columns as columns,
    compare_waiting as compare_waiting,
    dimensional_weight as dimensional_weight,
    fees as fees,
    highest_price as highest_price,
    labor_cost as labor_cost,
    labor_minutes as labor_minutes,
    net_price as net_price,
    packing_plan as packing_plan,
    parcel as parcel,
    postage as postage,
    protection as protection,
    true_hourly_return as true_hourly_return,
    waiting as waiting,
)
from .packing.parcel import bare_item as bare_item, plan_parcel as plan_parcel
from .reports.bulky import Bulky as Bulky
from .reports.buy import Buy as Buy
from .reports.category import category_page as category_page
from .reports.elements import (
    caution as caution,
    table as table,
)
from .reports.money import Money as Money
from .reports.packing import drawn as drawn, packing_page as packing_page
from .reports.panel import assumption_panel as assumption_panel
from .reports.sliders import (
    divisors_table as divisors_table,
    plot_sliders as plot_sliders,
)
from .reports.stock import Stock as Stock
from .reports.study import open_study as open_study
from .reports.tables import (
    assumptions_table as assumptions_table,
    bullets as bullets,
    notes_table as notes_table,
    rules_table as rules_table,
    words as words,
)
from .reports.this_month import ThisMonth as ThisMonth
from .reports.trust import CanWeTrustIt as CanWeTrustIt
from .reports.what_if import what_if as what_if
from .rules.tables import load_rules as load_rules

__all__: list[str]
