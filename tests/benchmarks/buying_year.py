"""A year of paying exactly the highest price worth paying, in simulated shops with known truth.

A shop's books of two years teach the kit; then finds come, each with a few comparables. One seller pays the highest
price for everything that the kit lets him buy, the hardest test: every dollar too much shows. He lists and marks down
as before. Another pays what is allowed to who lists as recommended, and does so. A third buys at the tag where that is
not above the price. Buyers may turn away faster beyond the usual price, which the fit does not assume. What a find
brings is its mean under the truth.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.max_bid import best_price, highest_price, question
from flipkit.analysis.sale_hazard import SellingModel
from flipkit.analysis.shop_knowledge import shop_knowledge, shop_model
from flipkit.assumptions import Assumptions
from flipkit.books.schema import ACTIVITIES
from flipkit.rules import parcels
from flipkit.rules.tables import load_rules
from flipkit.simulation.shops import Draws, Kind, PlainCharges
from tests.benchmarks.price_habits import LIKE_SPREAD, MARKUP, TODAY, World, past_books, world
from tests.benchmarks.scenarios import Scenario
from tests.helpers.path_worth import pace_covariance

Floats = npt.NDArray[np.float64]

#: What an hour is to bring, and the work of changing a price.
HOUR_CENTS = 1200.0
CHANGE_MIN = 3.0
#: A find's share of the trip, and of its minutes.
TRIP_CENTS = 150.0
FIND_MIN = 12.0
_SPREAD = 0.3
#: What the mean of the minutes is over their median.
_MEAN = float(np.exp(_SPREAD**2 / 2))


NO_OVERHEADS = pd.DataFrame({"month": pd.to_datetime([]), "what": [], "amount_cents": []})


@dataclass(frozen=True)
class _Shop:
    """What ``shop_knowledge`` asks of a study."""

    items: pd.DataFrame
    books: Any
    assumptions: Assumptions
    rules: Any = field(default_factory=lambda: dataclasses.replace(load_rules(), fee_schedules={}))
    as_of: dt.date = TODAY


def year_assumptions(overrides: dict[str, str]) -> dict[str, str]:
    """Assumptions that say what the simulated charges are.

    >>> year_assumptions({})["fees.assumed_rate"]
    '15 %'
    """
    plain = PlainCharges()
    fees = {
        "hour.target": f"{HOUR_CENTS / 100:.2f}",
        "pricing.change": f"{CHANGE_MIN:g}",
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
    books = SimpleNamespace(
        comparables=like, price_changes=changes, overheads=NO_OVERHEADS, shop=SimpleNamespace(currency="USD")
    )
    shop = _Shop(_economics(items, worlds, draws), books, assumptions)
    learnt = shop_model(shop)
    return shop_knowledge(shop, learnt), learnt[0]


def truly(each: World, price: Floats, value_cents: float) -> tuple[float, float, float, Floats, Floats]:
    """Mean net before the cost, minutes, weeks, and each net with its chance, of a find asked so much week by week."""
    kind = each.kind
    reach = kind.minutes
    posting = reach.get("pack", 0.0) + reach.get("post", 0.0) + 0.6 * reach.get("messages", 0.0)
    before = sum(reach.get(name, 0.0) for name in ("research", "clean", "photograph", "write", "store"))
    back = (kind.return_share + kind.damage_share) * reach.get("returns", 0.0)
    offers = zip(each.offers.parts, each.offers.per_sale, strict=True)
    taken = [(1.0, 1.0), *((part, often) for part, often in offers if part >= 0.8)]
    part, often = np.array(taken).T
    met = np.cumsum(each.rates(price / value_cents, np.arange(price.size)) * often.sum())
    left = np.exp(-each.wanted.level[:, None] * np.concatenate(([0.0], met)))
    still = each.wanted.share @ left
    chance = ((still[:-1] - still[1:])[:, None] * (often / often.sum())).ravel()
    # World.net takes the work of a sale at its medians off; here it stands in the hours.
    net = each.net(price[:, None] * part).ravel() + posting * HOUR_CENTS / 60 - TRIP_CENTS
    sold = 1 - float(still[-1])
    moved = float((still[1:-1] * (np.diff(price) != 0)).sum())
    minutes = _MEAN * (FIND_MIN + before + sold * (posting + back)) + CHANGE_MIN * moved
    nets, chances = np.append(net, -TRIP_CENTS), np.append(chance, still[-1])
    return float(chances @ nets), minutes, float(still[:-1].sum()), nets, chances


def buying_year(
    scenario: Scenario,
    *,
    shops: int,
    finds: int,
    past_things: int,
    comparables: int,
    assumptions: Assumptions,
    seed: int,
    faster: float = 0.0,
) -> pd.DataFrame:
    """What a year of buying by the highest price earns an hour, in several shops of a scenario."""
    worlds = [
        world(
            kind,
            hour_cents=HOUR_CENTS,
            storage_cuft_month_cents=float(assumptions.cents("pricing.storage")),
            trip_spread=scenario.shop.trip_spread,
            faster=faster,
        )
        for kind in scenario.shop.kinds
    ]
    rows = []
    for copy in range(shops):
        draws = Draws(seed + 104_729 * copy)
        knowledge, model = _learnt(worlds, past_things, assumptions, draws)
        bought = [_find(each, knowledge, comparables, assumptions, draws) for each in worlds for _ in range(finds)]
        rows.append(_year(pd.DataFrame(bought), model, assumptions.whole("pricing.weeks")))
    return pd.DataFrame(rows)


def _find(
    each: World, knowledge: dict[str, Any], comparables: int, assumptions: Assumptions, draws: Draws
) -> dict[str, Any]:
    kind, money = each.kind, assumptions.share("pricing.money")
    log_value = kind.price_spread * draws.normal("find", 1)[0]
    value = 100 * kind.price_usd * np.exp(log_value)
    tag = 100 * kind.cost_usd * np.exp(kind.cost_follows * log_value + kind.cost_spread * draws.normal("tag", 1)[0])
    like = value * np.exp(LIKE_SPREAD * draws.normal("like find", comparables))
    asked = question(knowledge, kind.name, comparables_cents=[float(price) for price in like])
    now, best = highest_price(asked), best_price(asked)
    week = np.arange(kind.give_up_weeks)
    first = value * MARKUP * np.exp(kind.markup_spread * draws.normal("markup find", 1)[0])
    ways = {
        "": (now, first * (1 - kind.markdown_share) ** (week // kind.markdown_weeks)),
        "best_": (best, asked.typical_cents * np.exp(best.way.log_ratio[0, : int(best.way.weeks[0])])),
    }
    found: dict[str, Any] = {"kind": kind.name, "tag": tag, "binding": now.binding}
    for name, (one, price) in ways.items():
        net, minutes, weeks, nets, chances = truly(each, price, value)
        lost = nets - one.highest_cents < -assumptions.cents("buying.loss_from")
        found |= {
            f"{name}highest": one.highest_cents,
            f"{name}net": net,
            f"{name}minutes": minutes,
            f"{name}tied": money * weeks / 52,
            f"{name}lost": float(chances[lost].sum()),
        }
    likely = now.likely
    return found | {
        "price_error": likely.price_error_cents,
        "pace_error": likely.pace_error_cents,
        "log_ratio": np.log(max(now.list_cents, 1) / asked.typical_cents),
    }


def _year(finds: pd.DataFrame, model: SellingModel, weeks: int) -> dict[str, float]:
    def hourly(part: pd.DataFrame, cost: str, way: str = "") -> float:
        if not len(part):
            return float("nan")
        net = part[f"{way}net"] - part[cost] * (1 + part[f"{way}tied"])
        return float(net.sum() / 100 / (part[f"{way}minutes"].sum() / 60))

    best = finds[finds["best_highest"] > 0]
    # Where the chance of a loss sets the price it lies below the target's, and an hour brings more.
    meant = finds[(finds["highest"] > 0) & (finds["binding"] == "target")]
    paid = finds[finds["highest"] > 0]
    tagged = finds[(finds["highest"] > 0) & (finds["tag"] <= finds["highest"])]
    # A price misjudged is one find's own luck. A pace misjudged is a kind's, and goes with that
    # of the other kinds as the fit says: pull and fading are mostly learned of all together.
    kinds = paid.groupby("kind")[["pace_error", "log_ratio"]].agg({"pace_error": "sum", "log_ratio": "mean"})
    stated = float("nan")
    if len(paid):
        pace = pace_covariance(model, tuple(kinds.index), kinds["log_ratio"].to_numpy(), weeks=weeks)
        shared = kinds["pace_error"].to_numpy() / np.sqrt(np.diag(pace))
        stated = float(np.sqrt((paid["price_error"] ** 2).sum() + shared @ pace @ shared))
    hours = paid["minutes"].sum() / 60
    return {
        "bought": len(paid) / len(finds),
        "hourly": hourly(paid, "highest"),
        "target_hourly": hourly(meant, "highest"),
        "target_share": len(meant) / max(len(paid), 1),
        "lost": float(paid["lost"].mean()) if len(paid) else float("nan"),
        "worst_lost": float(paid["lost"].max()) if len(paid) else float("nan"),
        "best_bought": len(best) / len(finds),
        "best_hourly": hourly(best, "best_highest", "best_"),
        "best_lost": float(best["best_lost"].mean()) if len(best) else float("nan"),
        "error": 2 * stated / 100 / hours if hours else float("nan"),
        "tag_bought": len(tagged) / len(finds),
        "tag_hourly": hourly(tagged, "tag"),
        "all_hourly": hourly(finds, "tag"),
    }
