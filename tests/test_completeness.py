"""Whatever the books, the rules and the assumptions can say is changed once, and some output must move.

A column that nothing reads, a field of a rule that no fee follows, an assumption without effect: each is a promise
that is not kept. What is only kept stands in a list below, with the reason.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import hashlib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pytest

from flipkit.assumptions import Assumptions, load_assumptions
from flipkit.books import schema
from flipkit.books.check import statements_of
from flipkit.books.read import Books, read_books
from flipkit.economics.items import item_economics
from flipkit.errors import FlipkitError
from flipkit.packing.parcel import bare_item, plan_parcel
from flipkit.paths import demo_folder
from flipkit.reports.forecasts import month_forecasts
from flipkit.reports.money import Money
from flipkit.reports.packing import packing_page
from flipkit.reports.stock import Stock
from flipkit.reports.study import Study
from flipkit.reports.tables import rules_table
from flipkit.reports.waiting import waiting_page
from flipkit.reports.what_if import help_sentence, wage_limits, what_if
from flipkit.rules.fees import order_fees, read_fee_schedule
from flipkit.rules.net_price import fees_answer
from flipkit.rules.parcel_advice import parcel_answer, protection_answer
from flipkit.rules.parcels import billable, parcel_triggers
from flipkit.rules.postage import labels
from flipkit.rules.tables import Rules, load_rules
from tests.helpers.asked import every

DAY = dt.date(2026, 11, 14)
#: Columns that the books keep for their owner alone, and why.
KEPT_COLUMNS = {
    ("items", "note"): "the owner's own words",
    ("items", "quantity"): "acts as the books are read: a row becomes so many items (tests/books/test_quantity.py)",
    ("supplies", "supply"): "groups purchases, whatever the name; packing.toml finds it by the name",
    ("supplies", "quantity"): "acts where packing.toml names the supply (tests/economics/test_promises.py)",
    ("supplies", "unit"): "the same: a supply in two units is refused there (tests/packing/test_at_hand.py)",
    ("work", "count"): "for the owner: the minutes are shared over the things that they can have been for",
    ("lots", "date"): "for the owner: each thing of a lot has the day of its own purchase",
}
#: Fields of rules that move no amount, and why.
KEPT_FIELDS = {
    "fee_schedules.blocks.note": "says to a reader of the file what to know of the block",
    "parcels.blocks.note": "the same",
    "rate_cards.blocks.note": "the same",
    "mileage.blocks.note": "the same",
    "size_classes.blocks.note": "the same",
    "fee_schedules.blocks.advertising.per_order": "never set: the reader refuses it for advertising",
    "fee_schedules.blocks.categories.per_order": "never set: the reader refuses it for a category",
    "fee_schedules.blocks.seller_levels.surcharge.per_order": "the same for a standing",
    **{
        f"{kind}.{name}": reason
        for kind in ("mileage", "parcels", "rate_cards", "size_classes", "fee_schedules")
        for name, reason in (
            ("lasting", "set by a report, never by a table"),
            ("file", "names the table in messages"),
            ("blocks.lines", "the table's own lines, for the message that it ends"),
        )
        # A refusal names the file of a fee schedule and of a rate card.
        if (kind, name) not in (("fee_schedules", "file"), ("rate_cards", "file"))
    },
    "size_classes.parcel_rules": "the name of the rules, found as the tables are loaded",
    "sources.key": "the name by which rules refer to a source",
    "sources.where": "where a reader finds the source; shown beside the rule on demand only",
}
#: Assumptions that change no figure, and why.
KEPT_ASSUMPTIONS: dict[str, str] = {}


@dataclass(frozen=True)
class Shop:
    """What all figures are made from."""

    books: Books
    rules: Rules
    assumptions: Assumptions
    overrides: Mapping[str, object]

    @functools.cached_property
    def study(self) -> Study:
        economics = item_economics(self.books, self.rules, self.assumptions, DAY)
        return Study(self.books, self.rules, self.assumptions, DAY, "2026-10", economics, "")


BASE = {"report.resamples": 200, "report.too_few_items": 4}


def small_shop() -> Shop:
    """A part of the demo shop: enough of everything that the books can hold."""
    books = read_books(demo_folder())
    trip = books.items["trip_id"].str.extract(r"(\d+)")[0].fillna("3").astype(int)
    few = books.items["category"].isin(["board games", "table lamps", "framed prints"])
    items = books.items[((trip % 4 == 3) & few).to_numpy()]
    items = with_rare_columns(items)
    own = books.price_changes["item_id"].isin(items["item_id"])
    work = books.work[(books.work["item_id"].isin(items["item_id"]) | (books.work["item_id"] == "")).to_numpy()]
    # Nobody logged most of the packing, so that standard minutes stand in for it.
    work = work[((work["activity"] != "pack") | (work["item_id"] != "")).to_numpy()]
    books = dataclasses.replace(
        books,
        items=items,
        price_changes=books.price_changes[own],
        work=work.iloc[::3],
        supplies=books.supplies.iloc[::9],
    )
    assumptions = load_assumptions(books.assumptions_file, overrides=BASE)
    return Shop(books, rules_with_everything(), assumptions, BASE)


def rules_with_everything() -> Rules:
    """The demo's rules and a fee schedule that uses every field of its charges."""
    rules = load_rules(demo_folder() / "rules")
    schedule = read_fee_schedule(tomllib.loads(EVERYTHING), file="everything.toml")
    return dataclasses.replace(rules, fee_schedules={**rules.fee_schedules, "everything": schedule})


_CHARGE = """
base = ["goods", "shipping"]
tier_kind = "marginal"
tiers = [{ up_to = "50.00", rate = "10 %" }, { rate = "5 %" }]
minimum = "2.00"
cap = "30.00"
fixed = "0.30"
"""
EVERYTHING = f"""
kind = "fees"
name = "everything"
[[block]]
from = 2024-01-01
source = "demo"
seen = "invented for the demo"
[block.commission]{_CHARGE}
[block.commission.category."board games"]
rate = "8 %"
minimum = "3.00"
cap = "20.00"
fixed = "0.20"
[block.commission.category.jars]
tier_kind = "whole amount"
tiers = [{{ up_to = "20.00", rate = "9 %" }}, {{ rate = "4 %" }}]
[block.payment]{_CHARGE}
[block.advertising]{_CHARGE}
[block.international]{_CHARGE}
[block.seller_level.watched]{_CHARGE}
"""


def with_rare_things(items: pd.DataFrame) -> pd.DataFrame:
    """The items with sales and returns of every size, a venue without a schedule, a sale of which little is known."""
    items = items.copy()
    sold = list(items.index[items["sold_on"].notna() & (items["zone"] != "pickup")])
    sides = ((8, 6, 4, 2), (20, 14, 10, 8), (50, 20, 10, 30), (64, 34, 30, 80))
    measures = ["length_in", "width_in", "height_in", "weight_lb"]
    for at, size in enumerate(sides):
        back, late = sold[2 * at], sold[2 * at + 1]
        items.loc[[back, late], measures] = size
        items.loc[back, "returned_on"] = items.loc[back, "sold_on"] + pd.Timedelta(days=5)
        items.loc[late, "sold_on"] = pd.Timestamp(DAY) - pd.Timedelta(days=4)
    # One came back in the month of the report.
    items.loc[sold[0], ["sold_on", "returned_on"]] = pd.Timestamp(2026, 10, 20), pd.Timestamp(2026, 10, 25)
    bare = sold[-3:]
    items.loc[bare, ["fees_paid_cents", "label_paid_cents", "materials_paid_cents"]] = pd.NA
    items.loc[bare, "zone"] = ""
    items.loc[bare[0], "venue"] = "the fair"
    items.loc[bare[1], "category"] = "globes"
    items.loc[bare[1], measures] = np.nan
    return items


def with_rare_columns(items: pd.DataFrame) -> pd.DataFrame:
    """The items with what few books record: tax, protection, fees given back."""
    sold = items["sold_on"].notna()
    posted = sold & (items["zone"] != "pickup") & items["label_paid_cents"].isna()
    items = with_rare_things(items)
    told = {
        "tax_paid_cents": (sold & items["fees_paid_cents"].isna(), 300),
        "fees_refunded_cents": (sold & (items["refund_cents"].fillna(0) > 0), 100),
        "declared_value_cents": (posted & (np.arange(len(items)) % 2 == 0), 30_000),
        "protection_paid_cents": (sold & items["label_paid_cents"].notna(), 250),
    }
    return items.assign(**{name: items[name].mask(where, cents) for name, (where, cents) in told.items()})


def _economics(shop: Shop) -> object:
    # What is only copied from the books has moved nothing yet.
    items = shop.study.items
    computed = [
        name for name in items if name.endswith(("_cents", "_min", "_origin")) or name in ("status", "days_held")
    ]
    return items[computed], shop.study.economics.labor.learned, shop.study.left_out


def _money(shop: Shop) -> object:
    study = shop.study
    page = Money(study)
    shown = (page.shares(), page.goods_table(), page.income_table(), page.mileage_table(), Stock(study).by_category())
    return study.months, study.bridges, [table.text for table in shown]


def _returns(shop: Shop) -> object:
    study = shop.study
    return study.sold_returns, study.bought_returns, study.ranking, study.size_returns, study.price_bands


def _checked(shop: Shop) -> object:
    study = shop.study
    waits = [waiting_page(study, by=by).table for by in ("category", "source")]
    return statements_of(shop.books, 4), rules_table(study).text, waits


def _rule_answers(shop: Shop) -> object:
    orders: dict[str, Any] = {"goods_cents": [900, 4_800, 73_000, 2_500], "shipping_cents": [500, 1_150, 9_000, 0]}
    orders |= {"order": ["a", "a", "b", "c"], "category": ["board games", "jars", "jars", "board games"]}
    orders |= {"tax_cents": 400, "international": True, "advertised": True, "seller_level": "watched"}
    found: list[object] = [*_panel(shop.rules), order_fees(shop.rules.fee_schedules["everything"], on=DAY, **orders)]
    for on in (DAY, dt.date(2026, 3, 2), dt.date(2025, 3, 3), dt.date(2027, 2, 1)):
        for goods, shipping in ((900, 500), (4_800, 1_150), (73_000, 9_000), (1_250_000, 0)):
            for level in (None, *_levels(shop.rules)):
                for kind in (None, *_kinds(shop.rules)):
                    asked: dict[str, Any] = {"seller_level": level, "category": kind, "tax_ppm": 82_500}
                    asked |= {"international": True, "advertised": True, "days_listed": 95}
                    found.append(
                        _said(fees_answer, shop.rules, on=on, goods_cents=goods, shipping_cents=shipping, **asked)
                    )
        for sides, weight in (
            ((9, 6, 3), 0.4),
            ((20, 16, 11), 9.5),
            ((50, 12, 7), 21),
            ((61, 33, 31), 74),
            ((110, 9, 9), 12),
        ):
            for packaging in ("box", "soft pack", "cylinder"):
                for zone in ("2", "7"):
                    more: dict[str, Any] = {"zone": zone, "packaging": packaging, "declared_cents": 90_000}
                    more |= {"nonrectangular": packaging == "cylinder", "signature": True, "reach_in": 2.0}
                    found.append(_said(parcel_answer, shop.rules, on=on, sides_in=sides, weight_lb=weight, **more))
        for value in (4_000, 90_000, 700_000):
            risks = {"damage_ppm": 20_000, "loss_ppm": 5_000, "signature_stops_ppm": 600_000}
            found.append(_said(protection_answer, shop.rules, on=on, value_cents=value, **risks))
    return found


def _panel(rules: Rules) -> Iterator[object]:
    """What every set of parcel rules bills and every card asks, over sizes, packagings, zones and days."""
    sizes = ((9, 6, 3), (20, 16, 11), (44, 12, 7), (40, 14, 12), (50, 31, 9), (61, 33, 31), (100, 9, 9), (30, 25, 24))
    packagings = ("box", "soft pack", "cylinder")
    kinds = [(*size, packaging, zone) for size in sizes for packaging in packagings for zone in "258"]
    sides = np.array([kind[:3] for kind in kinds], dtype=np.float64)
    given: dict[str, Any] = dict(zip(("length_in", "width_in", "height_in"), sides.T, strict=True))
    given |= {"weight_lb": sides.prod(axis=1) / 400 + 0.4, "zone": [kind[4] for kind in kinds]}
    given |= {"packaging": [kind[3] for kind in kinds]}
    odd = {**given, "nonrectangular": np.arange(len(kinds)) % 2 == 1}
    for name, own in sorted(rules.parcels.items()):
        for block in own.blocks:
            for rates in ("", *block.dimensional.divisor_for):
                yield name, _said(billable, own, on=block.starts, rates=rates, **odd)
            yield name, _said(parcel_triggers, own, on=block.starts, dimensions_entered=False, **given)
    for name, card in sorted(rules.rate_cards.items()):
        asked = {**odd, "declared_cents": 30_000, "signature": True, "residential": True}
        yield name, _said(labels, card, rules.rules_of(card), on=DAY, **asked)


def _said(answer: Callable[..., object], *given: object, **more: object) -> object:
    """An answer, or the words of its refusal."""
    try:
        return answer(*given, **more)
    except FlipkitError as refused:
        return str(refused)


def _levels(rules: Rules) -> list[str]:
    return sorted(
        {name for one in rules.fee_schedules.values() for block in one.blocks for name in block.seller_levels}
    )


def _kinds(rules: Rules) -> list[str]:
    return sorted({name for one in rules.fee_schedules.values() for block in one.blocks for name in block.categories})


def _pages(shop: Shop) -> object:
    study = shop.study
    found = [help_sentence(study), wage_limits(study), study.break_even, study.size_gaps]
    return [*found, packing_page(study).answer().text, packing_page(study).frame, study.prospects]


def _packing(shop: Shop) -> object:
    things = (
        ("vase", "9x9x12", "4 lb", "delicate"),
        ("print", "40x30x2", "9 lb", "moderately delicate"),
        ("rod", "60x4x4", "3 lb", "rugged"),
        ("engine", "24x20x18", "68 lb", "moderately rugged"),
        ("book", "9x6x1", "1 lb", "rugged"),
    )
    said: list[object] = []
    for title, sides, weight, fragility in things:
        item = bare_item(title, sides, weight, fragility=fragility)
        said.append(_said(lambda one=item: plan_parcel(one, on=DAY, settings=shop.overrides).answer()))
    return said


def _buying(shop: Shop) -> object:
    study = shop.study
    return study.knowledge, study.decisions, study.price_plan, study.hours


def _what_if(shop: Shop) -> object:
    return what_if(shop.study).answer().text, what_if(shop.study).bars


def _forecasts(shop: Shop) -> object:
    return month_forecasts(shop.study)


#: From quick to slow: what has moved early is not looked for late.
STAGES = (_economics, _money, _returns, _checked, _pages, _buying, _forecasts)


def digest(value: object) -> str:
    """A digest of any output, by what it says."""
    return hashlib.sha256(_spelled(value).encode()).hexdigest()


def _spelled(value: object) -> str:
    if isinstance(value, pd.DataFrame | pd.Series):
        return repr(value.to_dict("list") if isinstance(value, pd.DataFrame) else value.tolist())
    if isinstance(value, np.ndarray):
        return repr(value.tolist())
    if dataclasses.is_dataclass(value):
        return "|".join(_spelled(getattr(value, field.name)) for field in dataclasses.fields(value))
    if isinstance(value, Mapping):
        return "|".join(f"{name}={_spelled(one)}" for name, one in value.items())
    return "|".join(map(_spelled, value)) if isinstance(value, tuple | list) else repr(value)


@functools.cache
def base() -> Shop:
    return small_shop()


@functools.cache
def base_digest(stage: Callable[[Shop], object]) -> str:
    return digest(stage(base()))


def moved_by(change: Callable[[Shop], Shop], stages: tuple[Callable[[Shop], object], ...] = STAGES) -> str:
    """The first output that a change moves; a refusal of the changed shop counts, since it is read."""
    try:
        changed = change(base())
        for stage in stages:
            if digest(stage(changed)) != base_digest(stage):
                return stage.__name__
    except (FlipkitError, LookupError, ValueError) as refused:
        return f"refused: {refused}"
    return ""


# Columns of the books.


def _other(values: pd.Series, kind: str) -> pd.Series:
    """Each cell of a column another value of its kind."""
    if pd.api.types.is_datetime64_any_dtype(values):
        return values + pd.Timedelta(days=-40)
    if pd.api.types.is_numeric_dtype(values):
        return (values * 3 + 2).astype(values.dtype)
    words = sorted(set(values) - {""})
    if len(words) > 1:
        place = {word: words[(at + 1) % len(words)] for at, word in enumerate(words)}
        return values.map(lambda word: place.get(word, words[0]))
    return values.map(lambda word: f"{word} other" if word else "other")


COLUMNS = [(table.name, column.frame_name, column.kind) for table in schema.TABLES for column in table.columns]


def _with_others(*columns: tuple[str, str, str]) -> Callable[[Shop], Shop]:
    """The shop with each cell of some columns another."""

    def change(shop: Shop) -> Shop:
        books = shop.books
        for table, column, kind in columns:
            frame = getattr(books, table)
            books = dataclasses.replace(books, **{table: frame.assign(**{column: _other(frame[column], kind)})})
        return dataclasses.replace(shop, books=books)

    return change


ACTING = [one for one in COLUMNS if one[:2] not in KEPT_COLUMNS]


@pytest.mark.parametrize("one", ACTING, ids=[f"{t}-{c}" for t, c, _ in ACTING])
def test_a_column_that_changes_moves_something(one):
    assert moved_by(_with_others(one)), f"{one[0]}.{one[1]} is read and moves nothing"


def test_the_columns_that_are_only_kept_move_nothing():
    """All of them changed at once: a look at each through every stage takes seconds."""
    kept = [one for one in COLUMNS if one[:2] in KEPT_COLUMNS]
    assert len(kept) == len(KEPT_COLUMNS)
    assert not moved_by(_with_others(*kept)), "one of these columns acts: take it off the list of what is only kept"


# Assumptions.


def _otherwise(key: str, held: Assumptions) -> list[object]:
    """Other values of an assumption, to be tried in turn."""
    entry = held.entries[key]
    value = entry.value
    if entry.kind == "text":
        return [*_TEXTS.get(key, ()), f"{value} other"]
    number = float(value)
    if entry.kind == "rate":
        share = number / 1e6
        if key == "report.confidence":
            return ["90 %"]
        return [f"{100 * share / 2:.4f} %" if share else "5 %", f"{min(100 * share * 1.5 + 5, 100):.4f} %"]
    if entry.kind == "whole":
        return [*_WHOLE.get(key, ()), int(number) + 3, max(int(number) - 2, 1), int(number) * 3 + 1]
    if entry.kind == "money":
        return [f"{number / 100 * 1.7 + 1:.2f}"]
    return [f"{number * 1.4 + 0.05:.4f}", f"{number * 0.5:.4f}", f"{number * 3 + 1:.4f}", f"{number * 0.1:.4f}"]


#: Other numbers to try first.
_WHOLE: dict[str, tuple[int, ...]] = {"report.window_months": (6,)}
#: Other words that an assumption in words can be.
_TEXTS: dict[str, tuple[str, ...]] = {
    "postage.rate_cards": tuple(sorted(load_rules(demo_folder() / "rules").rate_cards)),
    "trip.share_by": ("cost", "item"),
    "suppose.wage_for": ("everybody",),
    "pricing.endings": ("0", "99"),
    "pricing.room_words": ("no such word", "insurance"),
    "packing.packer": ("helper",),
    "packing.closure": ("full seam", "centre"),
    "packing.cutting": ("free",),
    "packing.flutes_upright": ("no",),
    "packing.over_united": ("refuse",),
    "packing.rough": ("yes",),
    "packing.strength": ("carriers' working guide",),
    "parcel.size_when_unknown": ("bulky", "small"),
}


#: What must be set beside an assumption for it to matter.
_BESIDE: dict[str, dict[str, object]] = {
    "minutes.practised_after": {"minutes.learning": "80 %"},
    "minutes.learning": {"minutes.practised_after": 60},
}


def _rest_of_the_mix(key: str, value: object, shop: Shop) -> dict[str, object]:
    """The other zones' shares, so that all of them still make a whole."""
    if not key.startswith("postage.zone_mix."):
        return {}
    held = {
        name: float(e.value) for name, e in shop.assumptions.entries.items() if name.startswith("postage.zone_mix.")
    }
    rest = 1_000_000 - float(str(value).removesuffix("%")) * 10_000
    others = sum(share for name, share in held.items() if name != key)
    shares = {name: round(share / others * rest) for name, share in held.items() if name != key}
    last = max(shares, key=lambda name: shares[name])
    shares[last] += round(rest) - sum(shares.values())
    return {name: f"{share / 10_000:.4f} %" for name, share in shares.items()}


#: Assumptions whose least figure is a price path or a plan for hours, a second or more each.
_LONG = ("buying.", "comparables.", "pricing.", "selling.", "sourcing.", "what_if.", "packing.", "parcel.", "label.")
_KEYS = sorted(load_assumptions().entries)


@pytest.mark.parametrize("key", [pytest.param(key, marks=[every] if key.startswith(_LONG) else []) for key in _KEYS])
def test_an_assumption_that_changes_moves_something(key):
    tried = []
    for value in _otherwise(key, base().assumptions):

        def change(shop: Shop, value: object = value) -> Shop:
            overrides = {**shop.overrides, **_BESIDE.get(key, {}), key: value, **_rest_of_the_mix(key, value, shop)}
            held = load_assumptions(shop.books.assumptions_file, overrides=overrides)
            return dataclasses.replace(shop, assumptions=held, overrides=overrides)

        first = {
            "packing": (_packing,),
            "help": (_packing,),
            "parcel": (_economics, _packing),
            "what_if": (_what_if,),
        }.get(key.split(".", 1)[0], ())
        stages = (*first, *STAGES)
        moved = moved_by(change, stages)
        if moved and not moved.startswith("refused"):
            assert key not in KEPT_ASSUMPTIONS
            return
        tried.append((value, moved))
    assert key in KEPT_ASSUMPTIONS, f"{key} moves nothing: {tried}"


# Fields of the rule blocks: every leaf of a kind changed at once.


def _leaves(value: object, path: str) -> Iterator[str]:
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from _leaves(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from _leaves(one, path)
    elif isinstance(value, tuple | list):
        for one in value:
            yield from _leaves(one, path)
    elif value is not None:
        yield path.removeprefix(".")


def _changed(value: Any, path: str, wanted: str, way: Callable[[Any], Any]) -> Any:
    """The value with each leaf at a path changed."""
    here = path.removeprefix(".")
    if here != wanted and not wanted.startswith(f"{here}.") and here:
        return value
    if dataclasses.is_dataclass(value):
        parts = {}
        for field in dataclasses.fields(value):
            old = getattr(value, field.name)
            new = _changed(old, f"{path}.{field.name}", wanted, way)
            if new is not old:
                parts[field.name] = new
        return dataclasses.replace(value, **parts) if parts else value
    if isinstance(value, Mapping):
        return {name: _changed(one, path, wanted, way) for name, one in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(_changed(one, path, wanted, way) for one in value)
    return way(value) if value is not None and here == wanted else value


def _ways(value: object) -> list[Callable[[Any], Any]]:
    if isinstance(value, bool):
        return [lambda one: not one]
    if isinstance(value, np.ndarray):
        return [lambda one: one * 2]
    if isinstance(value, int | float):
        return [
            lambda one: type(one)(one * 3 + 1),
            lambda one: type(one)(one * 0.5),
            lambda one: type(one)(one * 1.05 + 1),
            lambda one: type(one)(one * 0.05),
            lambda one: type(one)(one + 250),
        ]
    if isinstance(value, dt.date):
        return [lambda one: one + dt.timedelta(days=75), lambda one: one - dt.timedelta(days=400)]
    return [lambda one: f"{one} other", lambda one: "goods", lambda one: "ship", lambda one: "up", lambda one: "tube"]


@functools.cache
def _fields() -> list[str]:
    # The rules that the size classes ask are one of the parcels' sets.
    return sorted(
        path for path in set(_leaves(rules_with_everything(), "")) if not path.startswith("size_classes.rules.")
    )


def _first(value: object, path: str, wanted: str) -> object:
    found: list[object] = []
    _changed(value, path, wanted, lambda one: found.append(one) or one)
    return found[0]


@every
@pytest.mark.parametrize("field", _fields())
def test_a_field_of_a_rule_that_changes_moves_something(field):
    rules = base().rules
    tried = []
    for way in _ways(_first(rules, "", field)):
        try:
            other = _changed(rules, "", field, way)
        except (FlipkitError, ValueError, TypeError) as refused:
            tried.append(f"cannot be built: {refused}")
            continue
        stages = (_checked, _rule_answers, _economics, _money, _pages, _returns)
        moved = moved_by(lambda shop, other=other: dataclasses.replace(shop, rules=other), stages)
        if moved:
            assert field not in KEPT_FIELDS, "this field acts: take it off the list of what is only kept"
            return
    assert field in KEPT_FIELDS, f"{field} moves nothing: {tried}"


def test_the_answers_of_the_rules_are_seldom_refusals():
    answers = [one[1] if isinstance(one, tuple) else one for one in _rule_answers(base())]
    refused = [one for one in answers if isinstance(one, str)]
    assert len(refused) < len(answers) / 10, refused[:3]


def test_what_is_only_kept_is_there():
    assert {f"{table}.{column}" for table, column, _ in COLUMNS} >= {".".join(pair) for pair in KEPT_COLUMNS}
    assert len(set(_fields()) & set(KEPT_FIELDS)) > 10
    assert set(load_assumptions().entries) >= set(KEPT_ASSUMPTIONS)
    assert all(re.search(r"[a-z]{3}", reason) for reason in (*KEPT_COLUMNS.values(), *KEPT_FIELDS.values()))
