"""A year of buying by the highest price worth paying, in simulated shops with known truth.

A shop's books of two years teach the kit; then finds come, each with a few comparables. What a
find brings when it is sold as the kit says is its mean under the truth. One seller pays the
highest price for everything that the kit lets him buy, the hardest test: every dollar too much
shows. Another buys at the tag where that is not above it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.demand import Demand
from flipkit.analysis.max_bid import Question, best_sale, highest_price, question
from flipkit.analysis.pricing import PricePaths, PriceTable, path_outcomes
from flipkit.analysis.sale_hazard import SellingModel
from flipkit.analysis.shop_knowledge import shop_knowledge, shop_model
from flipkit.assumptions import Assumptions
from flipkit.books.schema import ACTIVITIES
from flipkit.rules import parcels
from flipkit.rules.tables import load_rules
from flipkit.simulation.demo import Scenario
from flipkit.simulation.shops import Draws, Kind, PlainCharges
from tests.benchmarks.price_habits import LIKE_SPREAD, TODAY, World, past_books, world

Floats = npt.NDArray[np.float64]

#: A find's share of the trip, and of its minutes.
TRIP_CENTS = 150.0
FIND_MIN = 12.0
_SPREAD = 0.3
#: What the mean of the minutes is over their median.
_MEAN = float(np.exp(_SPREAD**2 / 2))


@dataclass(frozen=True)
class _Shop:
    """What ``shop_knowledge`` asks of a study."""

    items: pd.DataFrame
    books: Any
    assumptions: Assumptions
    rules: Any = field(default_factory=lambda: SimpleNamespace(fee_schedules={}))
    as_of: dt.date = TODAY


def year_assumptions(overrides: dict[str, str]) -> dict[str, str]:
    """Assumptions that say what the simulated charges are.

    >>> year_assumptions({})["fees.assumed_rate"]
    '15 %'
    """
    plain = PlainCharges()
    fees = {
        "fees.assumed_rate": f"{plain.fee_ppm / 10_000:g} %",
        "fees.assumed_per_order": f"{plain.per_order_cents / 100:.2f}",
        "stock.salvage": "0 %",
    }
    return {**fees, **overrides}


def _economics(items: pd.DataFrame, worlds: list[World], draws: Draws) -> pd.DataFrame:
    """The lines and minutes of each thing of the past, as a seller who writes everything down has them."""
    n = len(items)
    kinds = {each.kind.name: each for each in worlds}
    of = [kinds[str(name)].kind for name in items["category"]]
    frame = items.copy()
    sold = frame["sold_on"].notna().to_numpy()
    label = np.array([_label(kind) for kind in of])
    luck = draws.uniform("after the sale", n)
    back = np.array([kind.return_share for kind in of])
    harm = back + np.array([kind.damage_share for kind in of])
    part = np.where(luck < back, 1.0, np.where(luck < harm, 0.7, 0.0)) * sold
    lines = {
        "label": label,
        "shipping_charged": np.array([kind.shipping_share for kind in of]) * label,
        "materials": np.array([100 * kind.materials_usd for kind in of]),
        "refund": part * frame["sold_price_cents"].to_numpy(),
    }
    for name, value in lines.items():
        frame[f"{name}_cents"] = np.rint(value * sold)
    for name in ("label_adjustment", "protection", "hired", "expected_loss", "overhead"):
        frame[f"{name}_cents"] = 0
    frame["trip_cents"] = TRIP_CENTS
    when = {"messages": sold * 0.6, "pack": sold, "post": sold, "returns": part > 0}
    for name in ACTIVITIES:
        median = np.array([FIND_MIN if name == "find" else kind.minutes.get(name, 0.0) for kind in of])
        frame[f"{name}_min"] = median * np.exp(_SPREAD * draws.normal(f"min {name}", n)) * when.get(name, 1.0)
    sides = np.array([kind.sides_in for kind in of], dtype=np.float64)
    frame["volume_cuft"] = sides.prod(axis=1) / 1728
    frame["size_class"] = parcels.size_class(
        load_rules().size_classes,
        on=TODAY,
        length_in=sides[:, 0],
        width_in=sides[:, 1],
        height_in=sides[:, 2],
        weight_lb=np.array([kind.weight_lb for kind in of]),
    )
    end = frame["sold_on"].fillna(frame["gone_on"]).fillna(pd.Timestamp(TODAY))
    frame["days_listed"] = (end - frame["listed_on"]).dt.days.astype(np.float64)
    frame["days_held"] = frame["days_listed"]
    frame["venue"], frame["zone"] = np.where(sold, "any", ""), np.where(sold, "5", "")
    return frame


def _label(kind: Kind) -> float:
    return float(PlainCharges().labels_cents([0], ["5"], np.array([kind.sides_in]), np.array([kind.weight_lb]))[0])


def knowledge_of(worlds: list[World], *, things: int, assumptions: Assumptions, draws: Draws) -> dict[str, Any]:
    """What the kit knows after two years of such a shop's books."""
    return _learnt(worlds, things, assumptions, draws)[0]


def _learnt(
    worlds: list[World], things: int, assumptions: Assumptions, draws: Draws
) -> tuple[dict[str, Any], SellingModel]:
    """What the kit knows, and the chance of a sale behind it."""
    items, changes, like = past_books(worlds, things=things, draws=draws)
    none = pd.DataFrame({"month": pd.to_datetime([]), "what": [], "amount_cents": []})
    shop_of = SimpleNamespace(currency="USD")
    books = SimpleNamespace(comparables=like, price_changes=changes, overheads=none, shop=shop_of)
    shop = _Shop(_economics(items, worlds, draws), books, assumptions)
    learnt = shop_model(shop)
    return shop_knowledge(shop, learnt), learnt[0]


def truly(
    each: World,
    value_cents: float,
    asked: Question,
    *,
    hour_cents: float,
    sale: tuple[PricePaths, PriceTable] | None = None,
) -> tuple[float, float, float]:
    """Mean net before the cost, mean minutes and mean cost factor of a find, sold as the kit says."""
    kind = each.kind
    paths, table = best_sale(asked) if sale is None else sale
    truth = each.demand(np.array([value_cents / asked.typical_cents]), weeks=asked.demand.weeks)
    reach = kind.minutes
    posting = reach.get("pack", 0.0) + reach.get("post", 0.0) + 0.6 * reach.get("messages", 0.0)
    before = sum(reach.get(name, 0.0) for name in ("research", "clean", "photograph", "write", "store"))
    back = (kind.return_share + kind.damage_share) * reach.get("returns", 0.0)
    net = minutes = weeks = 0.0
    for level, share in zip(each.wanted.level, each.wanted.share, strict=True):
        moved = Demand(truth.log_rate + np.log(max(level, 1e-300)), truth.pull, truth.weekly, truth.offers)
        # The truth's offers stand at the same parts of the price as the kit's.
        outcome = path_outcomes(paths.place, paths.lowest_offer_cents, moved, table)
        # World.net takes the work of a sale at its medians off; here it stands in the hours.
        left = each.net(outcome.price_cents) + posting * hour_cents / 60
        sold = float(outcome.sold_share[0])
        net += share * (float((outcome.chance * left).sum()) - TRIP_CENTS)
        minutes += share * (
            _MEAN * (FIND_MIN + before + sold * (posting + back)) + asked.change_min * float(outcome.changes[0])
        )
        weeks += share * float(outcome.weeks[0])
    return net, minutes, weeks


def buying_year(
    scenario: Scenario,
    *,
    shops: int,
    finds: int,
    past_things: int,
    comparables: int,
    assumptions: Assumptions,
    seed: int,
) -> pd.DataFrame:
    """What a year of buying by the highest price earns an hour, in several shops of a scenario."""
    hour = float(assumptions.cents("hour.target"))
    storage = float(assumptions.cents("pricing.storage"))
    worlds = [
        world(kind, hour_cents=hour, storage_cuft_month_cents=storage, trip_spread=scenario.shop.trip_spread)
        for kind in scenario.shop.kinds
    ]
    rows = []
    for copy in range(shops):
        draws = Draws(seed + 104_729 * copy)
        knowledge, model = _learnt(worlds, past_things, assumptions, draws)
        bought = [
            _find(each, knowledge, comparables, hour, assumptions.share("pricing.money"), draws)
            for each in worlds
            for _ in range(finds)
        ]
        rows.append(_year(pd.DataFrame(bought), model, assumptions.whole("pricing.weeks")))
    return pd.DataFrame(rows)


def _find(
    each: World, knowledge: dict[str, Any], comparables: int, hour: float, money: float, draws: Draws
) -> dict[str, Any]:
    kind = each.kind
    log_value = kind.price_spread * draws.normal("find", 1)[0]
    value = 100 * kind.price_usd * np.exp(log_value)
    tag = 100 * kind.cost_usd * np.exp(kind.cost_follows * log_value + kind.cost_spread * draws.normal("tag", 1)[0])
    like = value * np.exp(LIKE_SPREAD * draws.normal("like find", comparables))
    asked = question(knowledge, kind.name, comparables_cents=[float(price) for price in like])
    sale = best_sale(asked)
    found = highest_price(asked, sale)
    net, minutes, weeks = truly(each, value, asked, hour_cents=hour, sale=sale)
    return {
        "kind": kind.name,
        "tag": tag,
        "highest": found.highest_cents,
        "net": net,
        "minutes": minutes,
        "tied": money * weeks / 52,
        "price_error": found.price_error_cents,
        "pace_error": found.pace_error_cents,
        "log_ratio": np.log(max(found.list_cents, 1) / asked.typical_cents),
    }


def _year(finds: pd.DataFrame, model: SellingModel, weeks: int) -> dict[str, float]:
    def hourly(part: pd.DataFrame, cost: str) -> float:
        if not len(part):
            return float("nan")
        net = part["net"] - part[cost] * (1 + part["tied"])
        return float(net.sum() / 100 / (part["minutes"].sum() / 60))

    paid = finds[finds["highest"] > 0]
    tagged = finds[(finds["highest"] > 0) & (finds["tag"] <= finds["highest"])]
    # A price misjudged is one find's own luck. A pace misjudged is a kind's, and goes with that
    # of the other kinds as the fit says: pull and fading are mostly learned of all together.
    kinds = paid.groupby("kind")[["pace_error", "log_ratio"]].agg({"pace_error": "sum", "log_ratio": "mean"})
    stated = float("nan")
    if len(paid):
        pace = model.pace_covariance(tuple(kinds.index), kinds["log_ratio"].to_numpy(), weeks=weeks)
        shared = kinds["pace_error"].to_numpy() / np.sqrt(np.diag(pace))
        stated = float(np.sqrt((paid["price_error"] ** 2).sum() + shared @ pace @ shared))
    hours = paid["minutes"].sum() / 60
    return {
        "bought": len(paid) / len(finds),
        "hourly": hourly(paid, "highest"),
        "error": 2 * stated / 100 / hours if hours else float("nan"),
        "tag_bought": len(tagged) / len(finds),
        "tag_hourly": hourly(tagged, "tag"),
        "all_hourly": hourly(finds, "tag"),
    }
