from .assumptions import load_assumptions as load_assumptions
from .books.read import read_books as read_books
from .charts.returns import (
    plot_break_even_moves as plot_break_even_moves,
    plot_category_returns as plot_category_returns,
    plot_minutes as plot_minutes,
    plot_months as plot_months,
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
    plot_waiting as plot_waiting,
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
from .reports.elements import (
    activity_minutes as activity_minutes,
    caution as caution,
    headline as headline,
    item_rows as item_rows,
    line_sums as line_sums,
    oldest_stock as oldest_stock,
    table as table,
)
from .reports.forecasts import track_record as track_record
from .reports.hiring import help_sentence as help_sentence, hiring_table as hiring_table, limits_table as limits_table
from .reports.hours import next_hours as next_hours
from .reports.packing_review import drawn as drawn, packing_lessons as packing_lessons
from .reports.panel import assumption_panel as assumption_panel
from .reports.partners import (
    log_sentence as log_sentence,
    partners_sentence as partners_sentence,
    partners_table as partners_table,
)
from .reports.pocket import pocket_note as pocket_note, pocket_sentence as pocket_sentence, pocket_sheet as pocket_sheet
from .reports.prices import (
    changes_table as changes_table,
    give_up_record as give_up_record,
    give_up_table as give_up_table,
    offers_table as offers_table,
    patience_frame as patience_frame,
    patience_rows as patience_rows,
    patience_title as patience_title,
    prices_note as prices_note,
    prices_sentence as prices_sentence,
)
from .reports.sentences import (
    break_even_sentence as break_even_sentence,
    category_sentence as category_sentence,
    month_sentence as month_sentence,
    nothing_sold as nothing_sold,
    stock_sentence as stock_sentence,
    trace_sentence as trace_sentence,
    window_sentence as window_sentence,
)
from .reports.sizes import (
    break_even_moves as break_even_moves,
    size_facts_table as size_facts_table,
    size_sentence as size_sentence,
    sizes_table as sizes_table,
)
from .reports.sliders import (
    divisors_table as divisors_table,
    plot_sliders as plot_sliders,
    sliders_sentence as sliders_sentence,
)
from .reports.study import open_study as open_study
from .reports.tables import (
    ages_table as ages_table,
    assumptions_table as assumptions_table,
    bands_table as bands_table,
    bullets as bullets,
    cautions as cautions,
    methods_table as methods_table,
    months_table as months_table,
    notes_table as notes_table,
    ranking_table as ranking_table,
    returns_table as returns_table,
    rules_table as rules_table,
    turnover_table as turnover_table,
    waiting_table as waiting_table,
    words as words,
)
from .reports.trust import measured_trust as measured_trust
from .reports.verdicts import verdict_list as verdict_list
from .reports.waiting import waiting_page as waiting_page
from .reports.what_if import what_if as what_if
from .reports.year import (
    bridge_table as bridge_table,
    goods_table as goods_table,
    income_table as income_table,
    mileage_table as mileage_table,
    preparer_caution as preparer_caution,
    year_sentence as year_sentence,
)
from .rules.tables import load_rules as load_rules

__all__: list[str]
