"""What a small shop knows about buying, written by hand."""

from __future__ import annotations

import numpy as np

from flipkit.analysis.max_bid import SHOP

PRICES = (100, 1000, 5000, 20_000, 100_000)


def known_shop():
    """The knowledge as ``shop_knowledge`` would write it."""
    sizes = {
        "small": {"at_sale_cents": 250.0, "before_min": 45.0, "sale_min": 18.0, "post_min": 12.0, "volume_cuft": 0.4},
        "bulky": {"at_sale_cents": 2400.0, "before_min": 70.0, "sale_min": 50.0, "post_min": 40.0, "volume_cuft": 4.0},
    }
    for terms in sizes.values():
        terms |= {"refund_share": 0.03, "before_cents": 150.0, "week_cents": 5.0}
    kind = {
        "items": 80,
        "sold": 60,
        "typical_cents": 4000.0,
        "typical_spread": 0.4,
        "prices_cents": [2000, 4000, 9000],
        "demand": {
            "log_rate": [float(np.log(0.09))],
            "pull": [2.4],
            "weekly": (-0.015 * np.arange(52)).tolist(),
            "offer_parts": [0.9, 0.8],
            "offers_per_sale": [0.2, 0.1],
        },
        "pace_error": 0.15,
        "never_share": 0.08,
        "appeal_spread": 0.4,
        "size": "small",
        "size_shares": {"small": 0.95, "bulky": 0.05},
        "sizes": sizes,
        "venue": "posted",
        "fees": {
            "posted": [round(0.14 * price + 40) for price in PRICES],
            "dear": [round(0.24 * price + 40) for price in PRICES],
            "stall": [0 for _ in PRICES],
        },
        "venue_pace": {"posted": 1.0, "dear": 1.0, "stall": 0.5},
    }
    wishes = {"target_cents": 1600, "loss_limit": 0.4, "salvage": 0.1, "money_rate": 0.15}
    rules = {"half_life_days": 180.0, "other_condition": 0.5, "unknown_condition": 0.75, "outlier_spreads": 3.0}
    return {
        "version": 1,
        "too_few_items": 10,
        "wishes": {**wishes, "storage_cents": 11.5, "change_min": 3.0, "guess_error": 0.15},
        "comparable_rules": {**rules, "spread": 0.3, "spread_weight": 4.0},
        "grid": [0.3, 1.5, 0.03],
        "endings_cents": [],
        "fee_price_cents": list(PRICES),
        "collected": ["stall"],
        "categories": {"lamps": kind, SHOP: {**kind, "pace_error": 0.6}},
    }
