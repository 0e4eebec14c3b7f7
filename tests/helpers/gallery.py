"""A page with every chart of the kit on invented figures, for a browser to draw."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from flipkit.analysis.survival import days_to_sale, survival_table
from flipkit.charts.returns import (
    plot_category_returns,
    plot_minutes,
    plot_price_bands,
    plot_size_comparison,
    plot_waterfall,
)
from flipkit.charts.stock import plot_days_listed
from flipkit.pack.page import render_page
from flipkit.reports.elements import caution, headline, table

NAN = math.nan
RETURNS = pd.DataFrame(
    [
        ("stoneware", 38, 41.3, 33.1, 50.2, "above the target"),
        ("film cameras and lenses", 52, 36.0, 27.5, 45.8, "above the target"),
        ("table lamps", 44, 28.4, 19.9, 37.7, "may be above or below the target"),
        ("board games", 71, 18.7, 15.1, 22.6, "below the target"),
        ('sewing machines </script> <!-- & "parts"', 12, -4.2, -14.0, 5.6, "below the target"),
        ("wool blankets", 4, 61.0, NAN, NAN, "too few to tell"),
    ],
    columns=["category", "items", "hourly", "low", "high", "verdict"],
)
BANDS = RETURNS.head(4).assign(
    from_cents=[0, 0, 5000, 5000], below_cents=[5000, 5000, None, None], size_class=["small", "bulky"] * 2
)
LINES = pd.DataFrame(
    [("sold price", 412000), ("refunds", -9100), ("labels", -61233), ("cost of goods", -98000), ("net", 243667)],
    columns=["line", "amount_cents"],
)
ACTIVITIES = ["find", "research", "clean", "photograph", "write", "store", "messages", "pack", "post", "returns"]
MINUTES = pd.DataFrame(
    [
        (kind, activity, 3.0 + 2 * k * scale)
        for kind, scale in (("small", 1), ("bulky", 3))
        for k, activity in enumerate(ACTIVITIES)
    ],
    columns=["category", "activity", "minutes_per_item"],
)
SIZES = pd.DataFrame(
    {
        "size_class": ["small", "bulky", "oversize"],
        "items": [202, 70, 4],
        "verdict": ["above the target", "below the target", "too few to tell"],
        "hourly": [31.0, 14.0, 8.0],
        "low": [27.0, 6.0, NAN],
        "high": [36.0, 22.0, NAN],
        "net_per_sale_cents": [1830.0, 3920.0, 2100.0],
        "minutes_per_sale": [36.0, 140.0, 160.0],
        "days_to_sale": [31.0, 71.0, NAN],
        "days_low": [27.0, 50.0, NAN],
        "days_high": [37.0, 100.0, NAN],
    }
)


def waiting():
    """Days on sale of 120 things, two in three sold, and the median."""
    draw = np.random.default_rng(7)
    days, sold = np.ceil(draw.exponential(60, 120)), draw.random(120) < 0.67
    return survival_table(days, sold, confidence=0.95), days_to_sale(days, sold).days


def drawings():
    """One of every chart."""
    curve, median = waiting()
    return [
        plot_category_returns(RETURNS, 25.0, confidence=0.95),
        plot_price_bands(BANDS, 25.0),
        plot_waterfall(LINES),
        plot_minutes(MINUTES),
        plot_size_comparison(SIZES, confidence=0.95),
        plot_days_listed(curve, median=median),
    ]


def gallery_page() -> str:
    """The page, as the runner would make it of an executed notebook."""
    wide = table(pd.DataFrame({f"column_{k}_cents": [1234567] * 3 for k in range(14)}), caption="A wide table")
    sums = ["$3", "–", "$1,004", "−$12", "$110", "$20", *["$5"] * 8]
    rows = pd.DataFrame(
        {"thing": [f"thing {k}" for k in range(len(sums))], "sum": sums, "kind": "a", "day": "1 Oct 2026"}
    )
    long = table(RETURNS, caption="Returns", fold=True)
    shown = [
        headline("An hour earned $21.40.", note="95% interval $17 to $26."),
        *drawings(),
        wide,
        table(rows, caption="A long table"),
        long,
        caution("Lift with two."),
    ]
    outputs = [new_output("display_data", data=thing._repr_mimebundle_()) for thing in shown]
    plain = new_output("stream", name="stdout", text="a line of plain output that is long " * 8)
    cells = [
        new_markdown_cell("# Every chart\n\nInvented figures: $5 and $6.\n\n| a | b |\n|---|---|\n| 1 | 2 |"),
        new_code_cell("", outputs=[*outputs, plain]),
    ]
    return render_page(new_notebook(cells=cells))
