"""What the author of a notebook types: questions in plain numbers, units, lists or Series.

An argument may be a number, text with a unit, a pint quantity, a list, an array or a Series. What comes back is
of the like: a Series keeps its index, a quantity is converted, and what cannot be understood is refused.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pandas as pd

from flipkit.assumptions import SIZES, Assumptions, load_assumptions, parsed_settings
from flipkit.errors import AssumptionError, MeasureError, MoneyError
from flipkit.money import read_cents, read_ppm, show_cents
from flipkit.units import in_unit, is_quantity, read_flag, read_length, read_minutes, read_weight, unit_registry

if TYPE_CHECKING:
    from flipkit.reports.answers import Voice
    from flipkit.reports.study import Study
    from flipkit.rules.tables import Rules

#: One value or many of them, in any of the forms that the face takes.
Given: TypeAlias = Any
#: Whose rules and assumptions count: a study, a folder or a workbook of books; empty: the demo shop's.
Shop: TypeAlias = "Study | Path | str"
#: Lines of an answer that its short form shows.
_SHORT = 8
#: Rows of an answer that JupyterLab shows.
_ROWS = 20
#: Columns of values that are not a Series.
_ARRAYS = pd.Index | np.ndarray | pd.api.extensions.ExtensionArray
#: What stands for a group that is blank, as on the pages.
UNKNOWN = "not recorded"


class Figure(float):
    """One number that shows its unit, and reckons as any number does."""

    unit: str

    def __new__(cls, value: float, unit: str) -> Figure:
        """The number with its unit."""
        figure = super().__new__(cls, value)
        figure.unit = unit
        return figure

    def __getnewargs__(self) -> tuple[float, str]:  # type: ignore[override]
        return float(self), self.unit

    def __repr__(self) -> str:
        return show_cents(round(self * 100)) if self.unit == "$" else f"{float(self):,.6g} {self.unit}"

    def _repr_html_(self) -> str:
        return f"<strong>{escape(repr(self))}</strong>"


@dataclass(frozen=True, eq=False, repr=False)
class Answer:
    """An answer in words (``lines``), as a ``frame`` with units in its columns, and as named ``figures``."""

    lines: tuple[str, ...]
    frame: pd.DataFrame
    figures: Mapping[str, Any] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        if name not in self.figures:
            known = ", ".join(sorted(self.figures)) or "none; see .frame"
            raise AssumptionError("figure", need=f"one of {known}", got=name)
        return self.figures[name]

    def __repr__(self) -> str:
        left = len(self.lines) - _SHORT
        more = [f"({left} more in .lines)"] if left > 0 else []
        return "\n".join([*self.lines[:_SHORT], *more])

    def _repr_html_(self) -> str:
        from flipkit.reports.elements import table

        shown = self.frame.head(_ROWS)
        if not isinstance(shown.index, pd.RangeIndex):
            names = [name or "row" for name in shown.index.names]
            shown = shown.reset_index(names=[f"{name} " if name in shown else name for name in names])
        left = len(self.frame) - len(shown)
        words = "".join(f"<p>{escape(line)}</p>" for line in repr(self).split("\n"))
        return words + table(shown, note=f"{left:,} more rows in .frame" if left else "").html


# How arguments are read: each one becomes a column, all of one length and in one order.


@dataclass(frozen=True)
class _Asked:
    """Arguments as columns of one length, with what the answer is to look like."""

    columns: pd.DataFrame
    kind: str

    def back(self, values: np.ndarray[Any, np.dtype[Any]], unit: str, name: str) -> Any:
        """Values of the like of what was given."""
        if self.kind == "series":
            return pd.Series(np.asarray(values), index=self.columns.index, name=name)
        if self.kind == "quantity":
            held = np.asarray(values, dtype=np.float64)
            return unit_registry().Quantity(held if held.size > 1 else float(held[0]), unit)
        if self.kind == "array":
            return np.asarray(values)
        return [float(one) for one in values] if self.kind == "list" else Figure(float(values[0]), unit)


def _gather(**asked: tuple[Given, Callable[[str, object], Any]]) -> _Asked:
    """Every argument read, one by one, and laid beside the others."""
    found: dict[str, Any] = {}
    kinds: set[str] = set()
    index: pd.Index | None = None
    rows: int | None = None
    for name, (given, read) in asked.items():
        if is_quantity(given):
            kinds.add("quantity")
            given = list(given) if np.ndim(given.magnitude) else given
        if isinstance(given, np.ndarray) and given.ndim != 1:
            if given.ndim:
                raise MeasureError(name, need="one value or one row of them", got=f"an array of shape {given.shape}")
            given = given.item()
        if isinstance(given, pd.Series):
            given = given if index is None else _aligned(name, given, index)
            index = given.index
            kinds.add("series")
        if isinstance(given, pd.Series | list | tuple | range | _ARRAYS):
            kinds.add("array" if isinstance(given, _ARRAYS) else "list")
            if rows is not None and len(given) != rows:
                raise MeasureError(name, need=f"one value or {rows} of them", got=f"{len(given)} values")
            rows = len(given)
            found[name] = [read(name, one) for one in given]
        else:
            found[name] = read(name, given)
    held = {
        name: value if isinstance(value, list) else [value] * (1 if rows is None else rows)
        for name, value in found.items()
    }
    first = next((kind for kind in ("series", "array", "quantity", "list") if kind in kinds), "one")
    return _Asked(pd.DataFrame(held, index=index), first)


def _aligned(name: str, given: pd.Series, index: pd.Index) -> pd.Series:
    if given.index.equals(index):
        return given
    if not (given.index.is_unique and index.is_unique and set(given.index) == set(index)):
        raise MeasureError(name, need="the same index as the Series beside it", got=list(given.index[:3]))
    return given.reindex(index)


def _cents(name: str, value: object) -> int:
    if is_quantity(value):
        raise MoneyError(name, need="an amount such as 64.00", got=str(value))
    return read_cents(value, name=name)


def _price(name: str, value: object) -> int:
    cents = _cents(name, value)
    if cents < 0:
        raise MoneyError(name, need="at least 0.00", got=value)
    return cents


def _inches(name: str, value: object) -> float:
    return _above(name, read_length(value, name=name), value)


def _pounds(name: str, value: object) -> float:
    return _above(name, read_weight(value, name=name), value)


def _minutes(name: str, value: object, *, unit: str = "min") -> float:
    if isinstance(value, dt.timedelta) and not pd.isna(value):
        value, unit = value / dt.timedelta(minutes=1), "min"
    return read_minutes(value, unit=unit, name=name)


def _hours(name: str, value: object) -> float:
    return _minutes(name, value, unit="hour") / 60


def _days(name: str, value: object) -> float:
    if is_quantity(value):
        value = float(in_unit(value, "day", name=name))
    if isinstance(value, str) and value.strip().removesuffix("days").strip().replace(".", "", 1).isdigit():
        value = float(value.strip().removesuffix("days"))
    if isinstance(value, pd.Timedelta | dt.timedelta) and not pd.isna(value):
        value = value / dt.timedelta(days=1)
    if not isinstance(value, int | float | np.integer | np.floating) or isinstance(value, bool) or not value >= 0:
        raise MeasureError(name, need="days of at least 0 for every thing", got=value)
    return float(value)


def _label(name: str, value: object) -> str:
    text = "" if _blank(value) else str(value).strip()
    return text or UNKNOWN


def _above(name: str, measure: float, got: object) -> float:
    if measure <= 0:
        raise MeasureError(name, need="above 0", got=got)
    return measure


def _blank(value: object) -> bool:
    return (
        value is None
        or value is pd.NA
        or value is pd.NaT
        or (isinstance(value, float | np.floating) and value != value)
    )


def _sides(length: Given, width: Given, height: Given) -> dict[str, tuple[Given, Callable[[str, object], Any]]]:
    """Three sides, from one text such as ``24x18x12 in``, many of them, or three arguments."""
    from flipkit.rules.parcel_advice import read_sides

    if (width is None) != (height is None):
        raise MeasureError("sides", need="three sides, or one text such as 24x18x12 in", got=(length, width, height))
    if width is None:
        if isinstance(length, str):
            length, width, height = read_sides(length)
        elif isinstance(length, tuple) or (is_quantity(length) and np.ndim(length.magnitude) == 1):
            if len(length) != 3:
                raise MeasureError("sides", need="three sides", got=str(length))
            length, width, height = length
        elif isinstance(length, pd.Series | np.ndarray | list):
            texts = list(length)
            for text in texts:
                if not isinstance(text, str):
                    raise MeasureError("sides", need="texts such as 24x18x12 in", got=text)
            each = list(zip(*(read_sides(text) for text in texts), strict=True)) or [(), (), ()]
            index = length.index if isinstance(length, pd.Series) else None
            made = [pd.Series(side, index=index) if index is not None else np.array(side) for side in each]
            length, width, height = (list(one) for one in made) if isinstance(length, list) else made
        else:
            raise MeasureError("sides", need="three sides, or one text such as 24x18x12 in", got=length)
    return {"length_in": (length, _inches), "width_in": (width, _inches), "height_in": (height, _inches)}


# Whose rules and assumptions count, and on which day.


def _rules(books: Shop) -> Rules:
    from flipkit.rules.tables import load_rules

    if not isinstance(books, str | Path):
        return books.rules
    folder = _home(books) / "rules"
    return load_rules(folder if folder.is_dir() else None)


def _assumed(books: Shop, settings: str = "") -> Assumptions:
    overrides = parsed_settings(settings)
    if not isinstance(books, str | Path):
        return books.assumptions.changed(overrides, currency=books.currency)
    own = _home(books) / "assumptions.toml"
    return load_assumptions(own if own.is_file() else None, overrides=overrides)


def _voice(books: Shop) -> Voice:
    """How the shop that is asked about says money and measures; the demo shop where none is named."""
    from flipkit.reports.answers import Voice, voice_of

    if not isinstance(books, str | Path):
        return Voice(books.currency, books.measures)
    return voice_of(Path(books) if str(books) else None)


def _home(books: Path | str) -> Path:
    from flipkit.paths import demo_folder

    place = Path(books) if str(books) else demo_folder()
    if not place.exists():
        raise AssumptionError("books", need="a folder or a workbook that exists", got=str(books))
    return place.parent if place.is_file() else place


def _day(on: dt.date | str) -> dt.date:
    if isinstance(on, dt.datetime):
        return on.date()
    if isinstance(on, dt.date):
        return on
    try:
        return dt.date.fromisoformat(on) if on else dt.date.today()
    except (TypeError, ValueError):
        raise AssumptionError("on", need="a day such as 2026-11-14", got=on) from None


def _ints(column: pd.Series) -> np.ndarray[Any, np.dtype[np.int64]]:
    return np.asarray(column, dtype=np.int64)


def _stacked(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat(frames, ignore_index=all(isinstance(frame.index, pd.RangeIndex) for frame in frames))


# What a sale leaves.


def fees(
    price: Given,
    *,
    shipping: Given = 0,
    label: Given = 0,
    costs: Given = 0,
    tax: float | str = 0.0,
    venue: str = "",
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    seller_level: str | None = None,
    on: dt.date | str = "",
    books: Shop = "",
) -> Answer:
    """What each venue takes of a sale, line by line, and what it leaves.

    Parameters
    ----------
    price, shipping, label, costs : number, text, list, array or Series, shape (n,)
        What the buyer pays for the goods and for shipping; the label; whatever else it costs. [dollars]
    tax : float or str
        Tax that the venue collects on goods and shipping: ``0.07`` or ``"7 %"``.
    venue : str
        Only this venue; empty: each whose schedule is in force.
    category, seller_level : str, optional
        What a venue charges by.
    international, advertised : bool
        Whether the buyer is abroad; whether the venue's advertising sold it.
    on : date or str
        Day of the sale; empty: today.
    books : Study, Path or str
        Whose fee schedules count; empty: the demo shop's.

    Returns
    -------
    Answer
        ``frame`` has a row a venue and price, with the index of a Series: ``venue``, the lines of
        the fee, ``total_cents`` and ``net_cents``. [cents]

    Raises
    ------
    MoneyError
        If an amount cannot be read, or the venue is not known.
    RuleNotInForceError
        If the named venue has no block on the day.

    Examples
    --------
    >>> fees(64, shipping=12.5, venue="lantern", on="2026-09-03")
    lantern takes $9.62 of $76.50 and leaves $66.88
    """
    from flipkit.money import percentage
    from flipkit.rules.fees import order_fees
    from flipkit.rules.net_price import schedules_asked

    asked = _gather(price=(price, _price), shipping=(shipping, _price), label=(label, _price), costs=(costs, _price))
    given, day, voice = asked.columns, _day(on), _voice(books)
    frames, lines = [], []
    for schedule in schedules_asked(_rules(books), [venue] if venue else [], day):
        # A venue that posts nothing, such as a stall, has no shipping and no label.
        posted = given.assign(shipping=given["shipping"] * schedule.ships, label=given["label"] * schedule.ships)
        paid = posted["price"] + posted["shipping"]
        taken = order_fees(
            schedule,
            on=day,
            goods_cents=posted["price"],
            shipping_cents=posted["shipping"],
            tax_cents=percentage(_ints(paid), read_ppm(tax, name="tax")),
            category=category,
            international=international,
            advertised=advertised,
            seller_level=seller_level,
        )
        head = {"venue": schedule.name, "goods_cents": posted["price"], "shipping_cents": posted["shipping"]}
        part = pd.concat([pd.DataFrame(head, index=given.index), taken], axis=1)
        part["net_cents"] = paid - taken["total_cents"] - posted["label"] - posted["costs"]
        frames.append(part)
        sums = (int(one.sum()) for one in (taken["total_cents"], paid, part["net_cents"]))
        fee, whole, net = map(voice.money, sums)
        many = f" over {len(part):,} sales" if len(part) > 1 else ""
        lines.append(f"{schedule.name} takes {fee} of {whole} and leaves {net}{many}")
    if not frames:
        columns = ["venue", "goods_cents", "shipping_cents", "total_cents", "net_cents"]
        return Answer(("no venue has a fee schedule in force on that day",), given.iloc[:0].reindex(columns=columns))
    return Answer(tuple(lines), _stacked(frames))


def net_price(
    net: Given,
    *,
    shipping: float | str = 0,
    label: float | str = 0,
    costs: float | str = 0,
    tax: float | str = 0.0,
    venue: str = "",
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    seller_level: str | None = None,
    on: dt.date | str = "",
    books: Shop = "",
) -> Answer:
    """The lowest price at each venue that leaves a wanted net, exact to the cent.

    Parameters
    ----------
    net : number, text, list, array or Series, shape (n,)
        What is to be left. [dollars]
    shipping, label, costs : float or str
        What the buyer pays for shipping; the label; whatever else it costs. [dollars]
    tax : float or str
        Tax that the venue collects on goods and shipping: ``0.07`` or ``"7 %"``.
    venue : str
        Only this venue; empty: each whose schedule is in force.
    category, seller_level : str, optional
        What a venue charges by.
    international, advertised : bool
        Whether the buyer is abroad; whether the venue's advertising sold it.
    on : date or str
        Day of the sale; empty: today.
    books : Study, Path or str
        Whose fee schedules count; empty: the demo shop's.

    Returns
    -------
    Answer
        ``frame`` has a row a venue and net, with the index of a Series: ``venue``,
        ``wanted_net_cents``, ``price_cents``. A venue that no price suits is named in ``lines``. [cents]

    Raises
    ------
    MoneyError
        If an amount cannot be read, or no price at the named venue leaves the net.

    Examples
    --------
    >>> net_price(40, label=11.30, venue="lantern", on="2026-09-03")
    lantern: a price of $58.82 leaves $40.00
    """
    from flipkit.rules.net_price import price_for_net, schedules_asked

    asked, day, voice = _gather(net=(net, _cents)), _day(on), _voice(books)
    each = _gather(shipping=(shipping, _price), label=(label, _price), costs=(costs, _price)).columns.iloc[0]
    frames, lines = [], []
    for schedule in schedules_asked(_rules(books), [venue] if venue else [], day):
        try:
            found = price_for_net(
                schedule,
                on=day,
                net_cents=_ints(asked.columns["net"]),
                shipping_cents=int(each["shipping"]) * schedule.ships,
                costs_cents=int(each["label"]) * schedule.ships + int(each["costs"]),
                tax_ppm=read_ppm(tax, name="tax"),
                category=category,
                international=international,
                advertised=advertised,
                seller_level=seller_level,
            )
        except MoneyError as problem:
            if venue:
                raise
            lines.append(f"{schedule.name}: left out: {problem}")
            continue
        held = {"venue": schedule.name, "wanted_net_cents": asked.columns["net"], "price_cents": found}
        frames.append(pd.DataFrame(held, index=asked.columns.index))
        lines += [
            f"{schedule.name}: a price of {voice.money(price)} leaves {voice.money(left)}"
            for price, left in zip(found.tolist(), asked.columns["net"], strict=True)
        ]
    none = pd.DataFrame(columns=["venue", "wanted_net_cents", "price_cents"])
    return Answer(tuple(lines), _stacked(frames) if frames else none)


# What a parcel weighs, costs and risks.


def dimensional_weight(
    length: Given,
    width: Given = None,
    height: Given = None,
    *,
    carrier: str = "post",
    on: dt.date | str = "",
    books: Shop = "",
) -> Any:
    """Weight billed for the space that a parcel fills, by the carrier's rule of the day.

    Each side becomes whole inches as the rule says, and the volume above the rule's threshold is
    divided by its divisor; any part of a pound counts [1]_.

    Parameters
    ----------
    length, width, height : number, text, quantity, list, array or Series, shape (n,)
        Outside of the packed parcel, in any order; or the first alone as ``24x18x12 in``, a tuple
        of three, or many such texts. [in]
    carrier : str
        Name of the parcel rules.
    on : date or str
        Day of shipping; empty: today.
    books : Study, Path or str
        Whose rules count; empty: the demo shop's.

    Returns
    -------
    Figure, list, array, Series or Quantity
        Of the like of what was given; 0 where the threshold exempts the parcel. [lb]

    Raises
    ------
    MeasureError
        If a side is not a length above zero, or the carrier is not known.

    References
    ----------
    .. [1] ``postal-manual-123`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> dimensional_weight("18x14x12 in", on="2026-08-01")
    22 lb
    """
    asked = _gather(**_sides(length, width, height))
    found = _billed(asked.columns.assign(weight_lb=1.0), carrier, _day(on), _rules(books))
    return asked.back(found["dimensional_lb"].to_numpy(), "lb", "dimensional_lb")


def _billed(sides: pd.DataFrame, carrier: str, on: dt.date, rules: Rules) -> pd.DataFrame:
    from flipkit.rules.parcels import billable

    if carrier not in rules.parcels:
        raise MeasureError("carrier", need=f"one of {', '.join(sorted(rules.parcels))}", got=carrier)
    return billable(rules.parcels[carrier], on=on, **{str(name): side for name, side in sides.items()})


def parcel(
    sides: Given,
    weight: Given,
    *,
    zone: str = "",
    carrier: str = "",
    on: dt.date | str = "",
    books: Shop = "",
) -> Answer:
    """What carriers bill for a packed parcel, what its label costs and what an inch less saves.

    Parameters
    ----------
    sides : text, tuple, quantity, list, array or Series, shape (n,)
        ``24x18x12 in``, a tuple of three, or many such texts. [in]
    weight : number, text, quantity, list, array or Series, shape (n,)
        On the scale. [lb]
    zone : str
        Zone of the buyer; empty: the assumed mix of zones.
    carrier : str
        Only this carrier; empty: each in force that has a rate card.
    on : date or str
        Day of shipping; empty: today.
    books : Study, Path or str
        Whose rules count; empty: the demo shop's.

    Returns
    -------
    Answer
        ``frame`` has a row a carrier and parcel, with the index of a Series: ``carrier``, measures,
        ``dimensional_lb``, ``billable_lb`` and which surcharges apply. For one parcel ``lines``
        tells prices and trims too, and ``figures`` holds them.

    Raises
    ------
    MeasureError
        If a side or the weight is not a measure above zero, or the carrier is not known.

    Examples
    --------
    >>> parcel("24x18x12 in", "9 lb", zone="4", carrier="post", on="2026-09-03").frame["billable_lb"].tolist()
    [38.0]
    """
    from flipkit.reports.answers import parcel_words
    from flipkit.rules.parcel_advice import parcel_answer

    given = _gather(**_sides(sides, None, None), weight_lb=(weight, _pounds)).columns
    day, rules, voice = _day(on), _rules(books), _voice(books)
    carded = dict.fromkeys(card.parcel_rules for card in rules.rate_cards.values())
    names = [carrier] if carrier else [name for name in (carded or rules.parcels) if rules.parcels[name].covers(day)]
    frames = [_billed(given, name, day, rules) for name in names]
    for name, frame in zip(names, frames, strict=True):
        frame.insert(0, "carrier", name)
    table = _stacked(frames)
    if len(given) > 1:
        lines = [
            f"{name}: {len(given):,} parcels, billed {voice.measures.mass(billed, spec=',g')} in all"
            for name, billed in zip(names, (frame["billable_lb"].sum() for frame in frames), strict=True)
        ]
        return Answer(tuple(lines), table)
    one = given.iloc[0]
    answer = parcel_answer(
        rules,
        on=day,
        sides_in=[one["length_in"], one["width_in"], one["height_in"]],
        weight_lb=one["weight_lb"],
        carriers=[carrier] if carrier else (),
        zone=zone or None,
        zone_mix=None if zone else _assumed(books).zone_mix(),
        reach_in=2.0,
        reach_lb=1.0,
    )
    return Answer(tuple(parcel_words(answer, voice)), table, answer)


def postage(
    sides: Given,
    weight: Given,
    *,
    zone: Given = "",
    card: str = "",
    declared: Given = 0,
    signature: bool = False,
    on: dt.date | str = "",
    books: Shop = "",
) -> Answer:
    """What the cheapest label of a parcel costs by each rate card, part by part.

    Parameters
    ----------
    sides : text, tuple, quantity, list, array or Series, shape (n,)
        ``24x18x12 in``, a tuple of three, or many such texts. [in]
    weight : number, text, quantity, list, array or Series, shape (n,)
        On the scale. [lb]
    zone : str, int, list, array or Series, shape (n,)
        Zone of the buyer; empty: the assumed mix of zones.
    card : str
        Only this rate card; empty: each in force.
    declared : number, text, list, array or Series, shape (n,)
        Declared value. [dollars]
    signature : bool
        Whether the receiver signs.
    on : date or str
        Day of shipping; empty: today.
    books : Study, Path or str
        Whose rate cards count; empty: the demo shop's.

    Returns
    -------
    Answer
        ``frame`` has a row a card and parcel, with the index of a Series: ``card``, ``service``,
        ``billable_lb``, the parts of the price, ``total_cents`` and ``refused``. [cents]

    Raises
    ------
    MeasureError
        If a measure, the zone or the card cannot be understood.

    Examples
    --------
    >>> postage("12x9x6 in", "3 lb", zone=4, card="post", on="2026-09-03")
    post: $9.75 by ground, billed at 3 lb
    """
    from flipkit.rules.postage import labels

    read = {"weight_lb": (weight, _pounds), "zone": (zone, _zone), "declared_cents": (declared, _price)}
    given = _gather(**_sides(sides, None, None), **read).columns
    day, rules, voice = _day(on), _rules(books), _voice(books)
    if card and card not in rules.rate_cards:
        raise MeasureError("card", need=f"one of {', '.join(sorted(rules.rate_cards)) or 'none'}", got=card)
    mix = _assumed(books).zone_mix() if (given["zone"] == "").any() else None
    frames, lines = [], []
    for name, held in rules.rate_cards.items():
        if (card and name != card) or (not card and not held.covers(day)):
            continue
        asked: dict[str, Any] = {str(column): values for column, values in given.items()}
        found = labels(held, rules.rules_of(held), on=day, zone_mix=mix, signature=signature, **asked)
        found.insert(0, "card", name)
        frames.append(found)
        lines += [
            f"{name}: {row['refused']}"
            if row["refused"]
            else f"{name}: {voice.money(row['total_cents'])} by {row['service']}, "
            f"billed at {voice.measures.mass(row['billable_lb'], spec='g')}"
            for row in found.to_dict("records")
        ]
    if not frames:
        columns = ["card", "service", "billable_lb", "total_cents", "refused"]
        return Answer(("no rate card is in force on that day",), given.iloc[:0].reindex(columns=columns))
    return Answer(tuple(lines), _stacked(frames))


def _zone(name: str, value: object) -> str:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return "" if _blank(value) else str(value).strip()


def protection(
    value: Given,
    *,
    damage: float | str = "2 %",
    loss: float | str = "1 %",
    signature_stops: float | str = "50 %",
    card: str = "",
    on: dt.date | str = "",
    books: Shop = "",
) -> Answer:
    """Whether to declare a value or ask for a signature: fee and expected loss of each way.

    Parameters
    ----------
    value : number, text, list, array or Series, shape (n,)
        What is lost if it does not arrive whole. [dollars]
    damage, loss, signature_stops : float or str
        Chance that it arrives damaged, that it is lost, and the part of the losses that a signature prevents.
    card : str
        Only this rate card; empty: each in force.
    on : date or str
        Day of shipping; empty: today.
    books : Study, Path or str
        Whose rate cards count; empty: the demo shop's.

    Returns
    -------
    Answer
        ``frame`` has a row a card, value and way, the cheapest way first, with the index of a
        Series: ``protection``, ``fee_cents``, ``expected_loss_cents``, ``cost_cents``. [cents]

    Raises
    ------
    MoneyError
        If the value or a chance cannot be read.

    Examples
    --------
    >>> protection(180, card="post", on="2026-09-03").frame.loc[0, "protection"]
    'none'
    """
    from flipkit.rules.parcel_advice import protection_answer

    given = _gather(value=(value, _price)).columns
    chances = {"damage_ppm": damage, "loss_ppm": loss, "signature_stops_ppm": signature_stops}
    read = {name: read_ppm(text, name=name.removesuffix("_ppm")) for name, text in chances.items()}
    rules, day, voice = _rules(books), _day(on), _voice(books)
    rows, places, lines = [], [], []
    for place, cents in given["value"].items():
        cards = [card] if card else ()
        for one in protection_answer(rules, on=day, value_cents=int(cents), cards=cards, **read)["cards"]:
            best = one["ways"][0]
            cost = f"{voice.money(best['cost_cents'])} with the loss to expect"
            lines.append(f"{one['card']}, worth {voice.money(int(cents))}: {best['protection']} ({cost})")
            rows += [{"card": one["card"], "value_cents": int(cents), **way} for way in one["ways"]]
            places += [place] * len(one["ways"])
    frame = pd.DataFrame(rows)
    return Answer(tuple(lines), frame if isinstance(given.index, pd.RangeIndex) else frame.set_axis(places))


def packing_plan(
    sides: Given,
    weight: Given,
    *,
    title: str = "the item",
    fragility: str = "moderately delicate",
    value: float | str = 0,
    upright: bool = False,
    round_section: bool = False,
    pickup: bool = False,
    zone: str = "",
    on: dt.date | str = "",
    books: Path | str = "",
    settings: str = "",
) -> Answer:
    """The cheapest safe way to pack one bare item, with its cautions.

    Parameters
    ----------
    sides : text, tuple or quantity
        ``20x14x10 in`` or a tuple of three; the height as it stands last. [in]
    weight : number, text or quantity
        Of the bare item. [lb]
    title : str
        What it is, for cautions.
    fragility : str
        Its class, as the cushioning table names it.
    value : float or str
        What is lost if it arrives broken. [dollars]
    upright, round_section, pickup : bool
        Whether it must stay upright, is round along its longest side, can be collected.
    zone : str
        Zone of the buyer; empty: the assumed mix of zones.
    on : date or str
        Day of packing; empty: today.
    books : Path or str
        Whose stock, rules and assumptions count; empty: the demo shop's.
    settings : str
        Assumptions for this question, as ``KEY=VALUE`` with semicolons between.

    Returns
    -------
    Answer
        ``lines`` are the steps, each caution after its own; ``frame`` has a row a way, the
        cheapest first, with its parts in cents; ``figures`` hold the whole plan.

    Raises
    ------
    MeasureError
        If a side, the weight or a name cannot be understood, or several items are given.

    Examples
    --------
    >>> packing_plan("12x9x6 in", "4 lb", zone="4", on="2026-09-03").frame["total_cents"].is_monotonic_increasing
    True
    """
    from flipkit.packing.parcel import plan_parcel
    from flipkit.packing.styles import PackItem

    given = _gather(**_sides(sides, None, None), weight_lb=(weight, _pounds), value_cents=(value, _price)).columns
    if len(given) > 1:
        raise MeasureError("sides", need="those of one item", got=f"{len(given)} items")
    one: dict[str, Any] = {str(name): values.iloc[0].item() for name, values in given.items()}
    shape: dict[str, Any] = {"upright": upright, "round_section": round_section, "pickup": pickup}
    item = PackItem(item_id="", title=title, fragility=fragility, **one, **shape)
    made = plan_parcel(item, books=books, on=_day(on), zone=zone, settings=settings)
    answer = made.answer()
    ways = [way for way in (answer["best"], *answer["others"]) if way]
    flat = [
        {name: held for name, held in way.items() if held is not None and not isinstance(held, dict | list)}
        for way in ways
    ]
    return Answer(tuple(made.reading()), pd.DataFrame(flat), answer)


# What work takes and costs.


def labor_minutes(activity: Given, size: Given = "medium", *, books: Shop = "", settings: str = "") -> Any:
    """Standard minutes of an activity for a thing of a size class, allowance included.

    Parameters
    ----------
    activity : str, list, array or Series, shape (n,)
        ``find``, ``research``, ``clean``, ``photograph``, ``write``, ``store``, ``messages``,
        ``pack``, ``post`` or ``returns``.
    size : str, list, array or Series, shape (n,)
        ``small``, ``medium``, ``bulky`` or ``oversize``.
    books : Study, Path or str
        Whose assumptions count; empty: the demo shop's.
    settings : str
        Assumptions for this question, as ``KEY=VALUE`` with semicolons between.

    Returns
    -------
    Figure, list, array or Series
        Of the like of what was given. [min]

    Raises
    ------
    AssumptionError
        If the activity or the size class is not known.

    Examples
    --------
    >>> labor_minutes("pack", "bulky", settings="minutes.pack.bulky=40; minutes.allowance=10 %")
    44 min
    """
    from flipkit.books.schema import ACTIVITIES

    assumptions = _assumed(books, settings)
    asked = _gather(activity=(activity, _one_of(ACTIVITIES)), size=(size, _one_of(SIZES)))
    pace = 1 + assumptions.share("minutes.allowance")
    pairs = zip(asked.columns["activity"], asked.columns["size"], strict=True)
    found = [assumptions.number(f"minutes.{activity}.{size}") * pace for activity, size in pairs]
    return asked.back(np.array(found), "min", "labor_min")


def _one_of(known: Sequence[str]) -> Callable[[str, object], str]:
    def read(name: str, value: object) -> str:
        if not isinstance(value, str) or value.strip().casefold() not in known:
            raise AssumptionError(name, need=f"one of {', '.join(known)}", got=value)
        return value.strip().casefold()

    return read


def labor_cost(minutes: Given, wage: Given, *, burden: float | str = 0.0) -> Any:
    """What work costs at a wage, to the cent.

    Parameters
    ----------
    minutes : number, text, quantity, list, array or Series, shape (n,)
        The work: ``45``, ``"1 h 20 min"``. [min]
    wage : number, text, list, array or Series, shape (n,)
        Pay of an hour. [dollars per hour]
    burden : float or str
        Taxes and insurance on top of the wage: ``0.0765`` or ``"7.65 %"``.

    Returns
    -------
    Figure, list, array or Series
        Of the like of what was given. [dollars]

    Raises
    ------
    MeasureError
        If the minutes cannot be read.
    MoneyError
        If the wage or the burden cannot be read.

    Examples
    --------
    >>> labor_cost(45, wage=16), labor_cost("1 h 20 min", wage=16, burden="7.65 %")
    ($12.00, $22.97)
    """
    from flipkit.economics.hiring import hired_costs

    asked = _gather(minutes=(minutes, _minutes), wage=(wage, _price))
    rate = read_ppm(burden, name="burden")
    cents = hired_costs(asked.columns["minutes"], wage_cents=_ints(asked.columns["wage"]), burden_ppm=rate)
    # Money has no unit in pint: a quantity of time gives plain dollars.
    kind = {"quantity": "one" if len(cents) == 1 else "array"}.get(asked.kind, asked.kind)
    return _Asked(asked.columns, kind).back(cents / 100, "$", "labor_cost_dollars")


# What to pay, how long things wait, what an hour earns.


def highest_price(
    category: str, price: Given = None, *, size: str = "", weight: Given = None, venue: str = "", books: Shop = ""
) -> Answer:
    """The most to pay for a thing of a category, from what the books teach.

    Parameters
    ----------
    category : str
        The kind of thing.
    price : number, text, list, array or Series, shape (n,), optional
        What like things sell for; by default what the books say. [dollars]
    size : str
        Size class when packed; empty: as such things mostly are.
    weight : number, text, quantity, list, array or Series, shape (n,), optional
        Packed weight; by default as such things mostly weigh. [lb]
    venue : str
        Where it is to be sold; empty: where such things mostly sold.
    books : Study, Path or str
        Whose books teach; empty: the demo shop's. A study that is open already answers sooner.

    Returns
    -------
    Answer
        ``frame`` has a row a price, with the index of a Series: ``category``, ``typical_cents``,
        ``highest_cents``, ``for_target_cents``, ``for_loss_cents``. For one price ``figures``
        holds all that counts.

    Raises
    ------
    AssumptionError
        If the category, the size class or the venue is not known.
    MoneyError
        If a price cannot be read.

    Examples
    --------
    >>> highest_price("hand tools", 60).frame["typical_cents"].tolist()
    [6000]
    """
    from flipkit.analysis.max_bid import buying_answer
    from flipkit.reports.answers import buying_words
    from flipkit.reports.study import open_study

    asked = _gather(
        price=(price, lambda name, one: None if price is None else _price(name, one)),
        weight=(weight, lambda name, one: None if weight is None else _pounds(name, one)),
    ).columns
    if not isinstance(category, str):
        raise AssumptionError("category", need="the kind of thing, such as lamps", got=category)
    study = open_study(books) if isinstance(books, str | Path) else books
    answers = [
        buying_answer(study.knowledge, category, price_cents=cents, weight_lb=pounds, size=size, venue=venue)
        for cents, pounds in zip(_plain(asked["price"]), _plain(asked["weight"]), strict=True)
    ]
    columns = ["category", "typical_cents", "highest_cents", "for_target_cents", "for_loss_cents"]
    frame = pd.DataFrame(answers, index=asked.index)[columns]
    if len(answers) == 1:
        return Answer(tuple(buying_words(answers[0])), frame, answers[0])
    return Answer(tuple(buying_words(answer)[0] for answer in answers), frame)


def _plain(column: pd.Series) -> list[Any]:
    """Values of a column as Python has them, so that they go into JSON."""
    return [None if _blank(value) else value for value in column.tolist()]


def waiting(days: Given, sold: Given, *, confidence: float = 0.95) -> Answer:
    """Days to sale from plain columns, the unsold counted for as long as they have waited.

    Kaplan and Meier's estimate [1]_.

    Parameters
    ----------
    days : list, array or Series, shape (n,)
        Days on sale of each thing, up to its sale or to today. [days]
    sold : list, array or Series, shape (n,)
        Whether it sold: 0 or 1, true or false, yes or no, or the day of its sale, blank while unsold.
    confidence : float
        How often the interval is meant to hold the truth.

    Returns
    -------
    Answer
        ``figures`` hold ``median_days`` with ``low_days`` and ``high_days`` (NaN where not
        reached), ``listed`` and ``sold``; ``frame`` is the curve, a row a day.

    Raises
    ------
    MeasureError
        If a value of ``days`` is missing or negative, or one of ``sold`` cannot be understood.

    References
    ----------
    .. [1] ``freireich-gehan`` in ``rules/data/sources.toml`` has the worked figures.

    Examples
    --------
    >>> waiting([5, 8, 8, 12], ["2026-01-05", "2026-01-08", "", None])
    half sold by day 8 (interval 5 to not reached); 2 of 4 sold
    """
    from flipkit.analysis.survival import days_to_sale, survival_table

    _require_confidence(confidence)
    given = _gather(days=(days, _days), sold=(sold, read_flag)).columns
    half = days_to_sale(given["days"], given["sold"], confidence=confidence)
    figures = {"median_days": half.days, "low_days": half.low, "high_days": half.high}
    figures |= {"listed": len(given), "sold": int(given["sold"].sum())}
    interval = f" (interval {_reached(half.low)} to {_reached(half.high)})" if half.low == half.low else ""
    line = (
        f"{_half_words(half.days)}{interval}; {figures['sold']} of {len(given)} sold" if len(given) else "none listed"
    )
    curve = survival_table(given["days"], given["sold"], confidence=confidence)
    return Answer((line,), curve.rename(columns={"low": "low_share", "high": "high_share"}), figures)


def _half_words(days: float) -> str:
    return f"half sold by day {days:,g}" if days == days else "half not sold yet"


def _reached(days: float) -> str:
    return f"{days:,g}" if days == days else "not reached"


def _require_confidence(confidence: float) -> None:
    if isinstance(confidence, str) or not 0 < confidence < 1:
        raise AssumptionError("confidence", need="between 0 and 1", got=confidence)


def compare_waiting(days: Given, sold: Given, groups: Given, *, confidence: float = 0.95, too_few: int = 10) -> Answer:
    """Which groups sell sooner than the rest, the unsold counted; by the log-rank test.

    Parameters
    ----------
    days : list, array or Series, shape (n,)
        Days on sale of each thing, up to its sale or to today. [days]
    sold : list, array or Series, shape (n,)
        Whether it sold: 0 or 1, true or false, yes or no, or the day of its sale, blank while unsold.
    groups : list, array or Series, shape (n,)
        The group of each thing; a blank one is ``not recorded``.
    confidence : float
        How often an interval is meant to hold the truth.
    too_few : int
        Groups of fewer things are shown and not compared.

    Returns
    -------
    Answer
        ``frame`` has a row a group, the soonest first: counts, ``mean_days``, ``half_days``,
        ``corrected`` (p-value, Holm) and ``verdict``; ``figures`` hold ``chi_square`` and
        ``p_value`` of all groups at once, NaN where fewer than two are large enough.

    Raises
    ------
    MeasureError
        If a value of ``days`` or ``sold`` cannot be understood.

    Examples
    --------
    >>> found = compare_waiting([*range(1, 25, 2), *range(9, 45, 3)], [1] * 24, ["quick"] * 12 + ["slow"] * 12)
    >>> found.frame[["group", "verdict"]].values.tolist()
    [['quick', 'sooner than the rest'], ['slow', 'later than the rest']]
    """
    from flipkit.analysis.survival import common_days, compared, waiting_table

    _require_confidence(confidence)
    asked = _gather(days=(days, _days), sold=(sold, read_flag), group=(groups, _label))
    given = asked.columns.assign(given_up=False)
    table = waiting_table(given, within_days=common_days(given, too_few=too_few), confidence=confidence)
    tests = compared(given, confidence=confidence, too_few=too_few)
    each = tests.each[["group", "expected", "p_value", "corrected", "verdict"]]
    frame = table.drop(columns=["given_up", "all_sold"]).merge(each, on="group") if len(table) else _NONE_LISTED
    whole = tests.overall
    nan = float("nan")
    figures = {"chi_square": whole.chi_square if whole else nan, "p_value": whole.p_value if whole else nan}
    lines = [
        f"{row['group']}: {_half_words(row['half_days'])}, {row['sold']} of {row['listed']} sold; {row['verdict']}"
        for row in frame.to_dict("records")
    ]
    if whole:
        lines.append(f"log-rank over all: chi-square {whole.chi_square:,.3f}, p-value {whole.p_value:.3g}")
    days_of = {name: f"{name}_days" for name in ("mean_error", "half_low", "half_high")}
    shares = {name: f"{name}_share" for name in frame.columns if name.startswith(("sold_", "low_", "high_"))}
    return Answer(tuple(lines), frame.rename(columns=days_of | shares), figures)


#: What is known of groups where nothing was ever listed.
_NONE_LISTED = pd.DataFrame(columns=["group", "listed", "sold", "mean_days", "half_days", "corrected", "verdict"])


def true_hourly_return(
    net: Given, hours: Given, groups: Given = None, trips: Given = None, *, settings: str = ""
) -> Answer:
    """What an hour of work earned: total net over total hours, with an interval by whole trips.

    A ratio of sums, never a mean of ratios [1]_.

    Parameters
    ----------
    net : number, text, list, array or Series, shape (n,)
        What each thing left. [dollars]
    hours : number, text, quantity, list, array or Series, shape (n,)
        Your own work on it: ``1.5``, ``"90 min"``. [hours]
    groups : list, array or Series, shape (n,), optional
        The group of each thing; one row in all without it.
    trips : list, array or Series, shape (n,), optional
        The trip that found each thing; without it, or where it is blank, each is a trip of its own.
    settings : str
        Assumptions for this question: ``report.confidence``, ``report.too_few_items`` and others.

    Returns
    -------
    Answer
        ``frame`` has a row a group, the best first: counts, ``net_cents``, ``owner_min``,
        ``hourly_dollars`` with ``low_dollars`` and ``high_dollars`` (an hour), NaN where too few to claim, ``verdict``;
        ``one_decides`` where that is for one dear find, ``without_best_dollars`` and ``one_more_dollars`` what an hour
        earned without the best thing and would earn with one more like it.

    Raises
    ------
    MoneyError
        If a net cannot be read.
    MeasureError
        If hours cannot be read, or lengths or indexes do not agree.

    References
    ----------
    .. [1] ``davison-hinkley-1997`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> true_hourly_return([30, -5], [1, 0.25])
    whole: $20.00 an hour over 2 things; too few to tell
    """
    from flipkit.analysis.ratio_stats import interval_settings
    from flipkit.analysis.returns import category_returns, too_few_words

    read: dict[str, Any] = {"net": (net, _cents), "hours": (hours, _hours), "group": ("whole", _label)}
    if groups is not None:
        read["group"] = (groups, _label)
    if trips is not None:
        read["trip"] = (trips, _label)
    given = _gather(**read).columns
    own = pd.Series(np.arange(len(given)), index=given.index).astype(str)
    trip = given["trip"].where(given["trip"] != UNKNOWN, own) if trips is not None else own
    assumptions, day = _assumed("", settings), pd.Timestamp("2000-01-01")
    rows = pd.DataFrame(
        {
            "group": given["group"].to_numpy(),
            "trip_id": trip.to_numpy(),
            "bought_on": day,
            "sold_on": day,
            "net_cents": given["net"].to_numpy(),
            "owner_min": given["hours"].to_numpy() * 60,
        }
    )
    frame = category_returns(
        rows,
        window=(day.date(), day.date()),
        by="group",
        settings=interval_settings(assumptions),
    ).drop(columns=["sold", "lean", "jackknife_se", "shared"])
    lines = [
        f"{row['group']}: "
        + (f"{_dollars(row['hourly'])} an hour" if row["hourly"] == row["hourly"] else "no hours")
        + (f" ({_dollars(row['low'])} to {_dollars(row['high'])})" if row["claimed"] else "")
        + f" over {row['items']} things; {row['verdict'] if row['claimed'] else too_few_words(row)}"
        for row in frame.to_dict("records")
    ]
    money = ("hourly", "low", "high", "delta_se", "bca_low", "bca_high", "without_best", "one_more")
    return Answer(tuple(lines), frame.rename(columns={name: f"{name}_dollars" for name in money}))


def _dollars(value: float) -> str:
    return show_cents(round(value * 100))


# The books, and what their columns mean.


def check_books(books: Path | str) -> Answer:
    """Everything that is wrong or worth knowing in the books, at once.

    Parameters
    ----------
    books : Path or str
        The folder, or the workbook.

    Returns
    -------
    Answer
        ``frame`` has a row a finding: ``file``, ``row``, ``column``, ``found``, ``needed``,
        ``mend``, ``severity`` (``stop`` must be mended first).

    Raises
    ------
    AssumptionError
        If no place is named.

    Examples
    --------
    >>> from flipkit.paths import demo_folder
    >>> check_books(demo_folder()).figures["stops"]
    0
    """
    from flipkit.books.read import inspect_books

    if not str(books).strip():
        raise AssumptionError("books", need="a folder or a workbook", got=books)
    found = inspect_books(books)[1]
    names = ["file", "row", "column", "found", "needed", "mend", "severity"]
    frame = pd.DataFrame([{name: getattr(one, name) for name in names} for one in found], columns=names)
    stops = int((frame["severity"] == "stop").sum())
    head = f"{stops} to mend first, {len(frame) - stops} worth knowing"
    return Answer((head, *(str(one) for one in found)), frame, {"stops": stops, "notes": len(frame) - stops})


def columns(table: str = "items") -> Answer:
    """What the columns of a table mean: those of ``study.items``, or of a table of the books.

    Parameters
    ----------
    table : str
        ``items`` for ``study.items``; or ``price_changes``, ``work``, ``trips``, ``lots``,
        ``supplies``, ``comparables``, ``overheads``, ``people``.

    Returns
    -------
    Answer
        ``frame`` has a row a column: ``name``, ``unit``, ``meaning``.

    Raises
    ------
    AssumptionError
        If there is no such table.

    Examples
    --------
    >>> columns("items").frame.set_index("name").loc["source", "meaning"]
    'where it came from'
    """
    from flipkit.books.schema import BY_NAME
    from flipkit.economics.items import column_meanings

    if table not in BY_NAME:
        raise AssumptionError("table", need=f"one of {', '.join(BY_NAME)}", got=table)
    if table == "items":
        rows = column_meanings()
    else:
        held = BY_NAME[table].columns
        rows = [(one.frame_name, _UNIT_OF.get(one.kind, one.unit), one.meaning) for one in held]
    frame = pd.DataFrame(rows, columns=["name", "unit", "meaning"])
    return Answer((f"{table}: {len(frame)} columns, in .frame with unit and meaning",), frame)


#: The unit that a kind of column has in a frame.
_UNIT_OF = {"money": "cents", "signed money": "cents", "rate": "ppm", "date": "day"}
