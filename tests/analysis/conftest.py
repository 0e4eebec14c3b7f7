"""Small hand-written economics frames for the analysis tests."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

MONEY = ("sold_price", "shipping_charged", "refund", "marketplace_fee", "label", "label_adjustment", "protection")
MONEY += ("materials", "cost", "trip", "hired", "overhead", "expected_loss")
ACTIVITIES = ("find", "research", "clean", "photograph", "write", "store", "messages", "pack", "post", "returns")
DATES = ("bought_on", "listed_on", "sold_on", "returned_on", "gone_on")
#: One ordinary sold item; a row of a test says only what is different.
PLAIN = {"category": "lamps", "trip_id": "t1", "status": "sold", "size_class": "small", "days_listed": 20.0}
PLAIN |= {"length_in": 12.0, "width_in": 12.0, "height_in": 12.0, "list_price_cents": 4000, "sold_price_cents": 4000}
PLAIN |= {"bought_on": "2026-01-05", "listed_on": "2026-01-10", "sold_on": "2026-01-30"}
PLAIN |= {"returned_on": None, "gone_on": None}

WINDOW = (dt.date(2026, 1, 1), dt.date(2026, 12, 31))


def make_economics(rows):
    """Rows of a frame as item_economics gives it: net is made from its lines unless a row says it."""
    full = []
    for at, row in enumerate(rows):
        item = {"item_id": f"i{at}", **PLAIN, **row}
        for name in MONEY:
            item.setdefault(f"{name}_cents", 0)
        for name in ACTIVITIES:
            item.setdefault(f"{name}_min", 3.0)
        costs = sum(item[f"{name}_cents"] for name in MONEY[2:])
        item.setdefault("net_cents", item["sold_price_cents"] + item["shipping_charged_cents"] - costs)
        item.setdefault("owner_min", sum(item[f"{name}_min"] for name in ACTIVITIES))
        item.setdefault("hired_min", 0.0)
        item.setdefault("days_held", item["days_listed"] if np.isfinite(item["days_listed"]) else 0.0)
        full.append(item)
    frame = pd.DataFrame(full)
    for name in DATES:
        frame[name] = pd.to_datetime(frame[name])
    return frame


@pytest.fixture
def economics():
    return make_economics


@pytest.fixture
def window():
    return WINDOW


def drawn_shop(seed, *, trips=60, items=240, wait_days=60, categories=("lamps", "games", "tools")):
    """A seeded shop: log-normal prices, unsold items among the late ones."""
    random = np.random.default_rng(seed)
    trip = random.integers(0, trips, items)
    category = random.choice(categories, items)
    listed = pd.Timestamp("2026-01-01") + pd.to_timedelta(trip * 3, unit="D")
    wait = random.exponential(wait_days, items).astype(int)
    as_of = pd.Timestamp("2026-08-01")
    seen = (as_of - listed).days.to_numpy()
    sold = wait <= seen
    price = np.round(4000 * np.exp(0.5 * random.standard_normal(items))).astype(int)
    return make_economics(
        {
            "category": str(category[i]),
            "trip_id": f"t{trip[i]:03d}",
            "status": "sold" if sold[i] else "for sale",
            "size_class": ("small", "medium", "bulky")[random.integers(0, 3)],
            "bought_on": listed[i],
            "listed_on": listed[i],
            "sold_on": listed[i] + pd.Timedelta(days=int(wait[i])) if sold[i] else None,
            "days_listed": float(wait[i] if sold[i] else seen[i]),
            "list_price_cents": int(price[i] * 1.1),
            "sold_price_cents": int(price[i]) if sold[i] else 0,
            "cost_cents": 900,
            "marketplace_fee_cents": int(price[i] * 0.13) if sold[i] else 0,
            "pack_min": 12.0 if sold[i] else 0.0,
            "post_min": 5.0 if sold[i] else 0.0,
            "messages_min": 4.0 if sold[i] else 0.0,
            "returns_min": 0.0,
        }
        for i in range(items)
    )


@pytest.fixture
def shop():
    return drawn_shop
