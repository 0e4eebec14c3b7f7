"""The answers that a notebook's author types: any number, text with a unit, quantity, list, array or Series.

Each asks one function of the rooms below and gives back the like of what it was given: a Series keeps its
index, a quantity is converted and never stripped, and what cannot be understood is refused.
"""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from flipkit.errors import FlipkitError, MeasureError
from flipkit.money import read_cents, read_ppm, show_cents
from flipkit.units import in_own_unit, read_flags, read_minutes

if TYPE_CHECKING:
    import pandas as pd

    from flipkit.reports.study import Study
    from flipkit.rules.tables import Rules

#: A number or text, or many of them.
Amounts = Any


class Answer(dict[str, Any]):
    """An answer as data: its words when shown, its table as ``frame``.

    Parameters
    ----------
    data : mapping
        The answer, with units in its keys.
    words : str
        The answer in a sentence or some lines.
    frame : DataFrame
        The answer as a table whose columns carry their unit.
    """

    def __init__(self, data: Mapping[str, Any], words: str, frame: pd.DataFrame) -> None:
        super().__init__(data)
        self.words = words
        self.frame = frame

    def __repr__(self) -> str:
        return self.words

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(self.words)}</p>{self.frame.to_html()}"


def fees(
    price: Amounts,
    *,
    shipping: object = 0,
    on: str | dt.date | None = None,
    venues: Sequence[str] = (),
    category: str | None = None,
    books: Path | str | None = None,
) -> Answer | pd.DataFrame:
    """What each venue takes of a sale and what it leaves.

    Parameters
    ----------
    price : number or text, or a list, array or Series of them
        What the buyer pays for the goods. [dollars]
    shipping : number or text
        What the buyer pays for shipping. [dollars]
    on : date or str, optional
        The day of the sale; today by default.
    venues : sequence of str
        Only these venues; all that have a schedule by default.
    category : str, optional
        Kind of thing, where a schedule asks for it.
    books : path, optional
        Folder of the books, whose ``rules`` hold the schedules; the demo shop's by default.

    Returns
    -------
    Answer or DataFrame
        For one price an answer with a row a venue; for many a frame with the fees at each venue, ``_usd``
        at the end of its columns and the index of a Series kept.

    Raises
    ------
    MoneyError
        If a price cannot be read.
    RuleNotInForceError
        If no schedule is in force on that day.

    Examples
    --------
    >>> fees(64, shipping=12.5, on="2026-11-01")
    quayside takes $8.61 and leaves $67.89; lantern takes $9.62 and leaves $66.88; stall takes $0.00 and leaves $64.00
    """
    from flipkit.rules.net_price import fees_answer

    rules, day, charged = _rules(books), _day(on), _cents(shipping, "shipping")

    def one(amount: object) -> dict[str, Any]:
        goods = _cents(amount, "price")
        return fees_answer(rules, on=day, goods_cents=goods, shipping_cents=charged, venues=venues, category=category)

    if _is_one(price):
        return _venue_answer(one(price), lambda venue: f"takes {show_cents(venue['total_cents'])} and leaves")
    import pandas as pd

    rows = [{f"{v['venue']}_fees_usd": v["total_cents"] / 100 for v in one(each)["venues"]} for each in _each(price)]
    return pd.DataFrame(rows, index=getattr(price, "index", None))


def net_price(
    net: object,
    *,
    label: object = 0,
    costs: object = 0,
    shipping: object = 0,
    on: str | dt.date | None = None,
    venues: Sequence[str] = (),
    books: Path | str | None = None,
) -> Answer:
    """The smallest price at each venue that leaves a wanted net.

    Parameters
    ----------
    net : number or text
        What is to be left. [dollars]
    label, costs, shipping : number or text
        What the label and the rest cost, and what the buyer pays for shipping. [dollars]
    on : date or str, optional
        The day of the sale; today by default.
    venues : sequence of str
        Only these venues; all that have a schedule by default.
    books : path, optional
        Folder of the books, whose ``rules`` hold the schedules; the demo shop's by default.

    Returns
    -------
    Answer
        A row a venue: the price, the fees at it, the net.

    Raises
    ------
    MoneyError
        If an amount cannot be read.

    Examples
    --------
    >>> net_price(40, label=11.30, on="2026-11-01", venues=["quayside"])
    quayside needs a price of $58.94, which leaves $40.00
    """
    from flipkit.rules.net_price import price_answer

    found = price_answer(
        _rules(books),
        on=_day(on),
        net_cents=_cents(net, "net"),
        label_cents=_cents(label, "label"),
        costs_cents=_cents(costs, "costs"),
        shipping_cents=_cents(shipping, "shipping"),
        venues=venues,
    )
    return _venue_answer(found, lambda venue: f"needs a price of {show_cents(venue['price_cents'])}, which leaves")


def dimensional_weight(
    length: Amounts,
    width: Amounts = None,
    height: Amounts = None,
    *,
    carrier: str = "post",
    on: str | dt.date | None = None,
    books: Path | str | None = None,
) -> Any:
    """Weight billed for the space that a packed parcel fills.

    Parameters
    ----------
    length, width, height : number, text with a unit, quantity, or many
        Outside of the packed parcel, in any order; or all three in one text such as ``24x18x12 in``. [in]
    carrier : str
        Which carrier's rule: the name of a table of parcels.
    on : date or str, optional
        The day of posting; today by default.
    books : path, optional
        Folder of the books, whose own ``rules`` count too; the demo shop's by default.

    Returns
    -------
    float, list, array, Series or quantity
        Dimensional weight; 0 where the rule exempts the parcel. A quantity where one was given. [lb]

    Raises
    ------
    MeasureError
        If a side cannot be read or is not above 0.
    RuleNotInForceError
        If no rule is in force on that day.

    References
    ----------
    The table in force and its source: ``load_rules().parcels[carrier].at(on)``.

    Examples
    --------
    >>> dimensional_weight("18x14x12 in", on="2026-08-01"), dimensional_weight(18, 14, 12, on="2020-01-01")
    (22.0, 19.0)
    """
    from flipkit.rules.parcel_advice import read_sides
    from flipkit.rules.parcels import billable

    if width is None and height is None and isinstance(length, str):
        length, width, height = read_sides(length)
    if width is None or height is None:
        raise MeasureError("sides", need="three sides, or a text such as '24x18x12 in'", got=length)
    known = _rules(books).parcels
    if carrier not in known:
        raise MeasureError("carrier", need=f"one of {', '.join(sorted(known))}", got=carrier)
    sides = {"length_in": length, "width_in": width, "height_in": height}
    found = billable(known[carrier], on=_day(on), weight_lb=1.0, **sides)["dimensional_lb"]
    return _like(tuple(sides.values()), found, unit="pound")


def labor_cost(minutes: Amounts, *, wage: object, burden: object | None = None) -> Any:
    """What some minutes of hired work cost, the payroll burden on top.

    Parameters
    ----------
    minutes : number, text such as ``1 h 20 min``, quantity, or many
        Time worked. [min]
    wage : number or text
        Pay for an hour. [dollars per hour]
    burden : number or text, optional
        What payroll adds to the wage, such as ``9 %`` or 0.09; the packaged assumption by default.

    Returns
    -------
    float, list, array or Series
        The cost, each in whole cents. [dollars]

    Raises
    ------
    MeasureError, MoneyError
        If the minutes or the wage cannot be read.

    Examples
    --------
    >>> labor_cost("45 min", wage=16, burden="10 %")
    13.2
    """
    from flipkit.economics.hiring import hired_costs

    if burden is None:
        from flipkit.assumptions import load_assumptions

        part = load_assumptions().ppm("help.burden")
    else:
        part = read_ppm(burden, name="burden")
    values = _read_many(minutes, "work_min", read_minutes)
    cents = hired_costs(values, wage_cents=_cents(wage, "wage"), burden_ppm=part)
    return _like((minutes,), np.asarray(cents) / 100)


def waiting(days: Amounts, sold: Amounts, *, confidence: float = 0.95) -> Answer:
    """Days to sale from two plain columns, unsold things counted (Kaplan-Meier).

    Parameters
    ----------
    days : list, array or Series
        Days listed until the sale, or until today for what is unsold. [days]
    sold : list, array or Series
        Whether it sold: 1 and 0, True and False, yes and no, or the day of the sale and a blank.
    confidence : float
        How often the interval is meant to hold the truth.

    Returns
    -------
    Answer
        The median with its interval, and the curve as ``frame``; no median where half never sold.

    Raises
    ------
    MeasureError
        If a flag cannot be understood, or days and flags differ in number or index.
    NotEnoughDataError
        If a day is unknown or below 0.

    Examples
    --------
    >>> waiting([5, 8, 8, 12], ["yes", "yes", "no", ""])
    half sold within 8 days (95 % interval 5 days to not reached), 2 of 4 sold
    """
    from flipkit.analysis.survival import days_to_sale, survival_table

    time, event = _listed(days, sold)
    found = days_to_sale(time, event, confidence=confidence)
    count = f"{int(event.sum())} of {event.size} sold"
    span = f"{_days(found.low)} to {_days(found.high)}"
    words = (
        f"fewer than half have sold so far, {count}"
        if np.isnan(found.days)
        else f"half sold within {_days(found.days)} ({confidence:.0%} interval {span}), {count}".replace("%", " %", 1)
    )
    data = {"median_days": found.days, "low_days": found.low, "high_days": found.high}
    data |= {"items": int(event.size), "sold": int(event.sum())}
    return Answer(data, words, survival_table(time, event, confidence=confidence))


def compare_waiting(days: Amounts, sold: Amounts, group: Amounts) -> Answer:
    """Whether groups of things wait differently, by the log-rank test.

    Parameters
    ----------
    days, sold : list, array or Series
        As in :func:`waiting`. [days]
    group : list, array or Series
        What each thing belongs to; blanks are a group of their own.

    Returns
    -------
    Answer
        The statistic, its p-value, and the median of each group as ``frame``.

    Raises
    ------
    MeasureError
        If the columns differ in number or index.

    Examples
    --------
    >>> compare_waiting([3, 4, 5, 30, 40, 50], [1, 1, 1, 1, 1, 0], list("aaabbb"))["p_value"] < 0.05
    True
    """
    import pandas as pd

    from flipkit.analysis.survival import days_to_sale, log_rank

    time, event = _listed(days, sold)
    _require_alike(days=days, group=group)
    names = pd.Series(group, dtype=object).fillna("").astype(str).str.strip().replace("", "not recorded").to_numpy()
    if names.size != time.size:
        raise MeasureError("group", need=f"{time.size} values, as many as days", got=int(names.size))
    found = log_rank(time, event, names)
    rows = [
        {
            "group": name,
            "items": int((names == name).sum()),
            "sold": int(event[names == name].sum()),
            "median_days": days_to_sale(time[names == name], event[names == name]).days,
        }
        for name in sorted(set(names.tolist()))
    ]
    words = f"log-rank {found.chi_square:.2f}, p = {found.p_value:.3g}"
    return Answer({"statistic": found.chi_square, "p_value": found.p_value}, words, pd.DataFrame(rows))


def true_hourly_return(net: Amounts, hours: Amounts, group: Amounts = None) -> Any:
    """Total net over total owner hours: a ratio of sums, never a mean of ratios.

    Parameters
    ----------
    net : list, array or Series
        What each thing left. [dollars]
    hours : list, array or Series
        The owner's hours on each. [hours]
    group : list, array or Series, optional
        What each thing belongs to.

    Returns
    -------
    float or Series
        Dollars an hour, of all or of each group.

    Raises
    ------
    MeasureError
        If the columns differ in number or index, or a group has no hours.

    Examples
    --------
    >>> round(true_hourly_return([138, 50], [143, 69]), 4)
    0.8868
    """
    import pandas as pd

    _require_alike(net=net, hours=hours, **({} if group is None else {"group": group}))
    table = pd.DataFrame({"net": np.asarray(net, dtype=np.float64), "hours": np.asarray(hours, dtype=np.float64)})
    table["group"] = "all" if group is None else np.asarray(group, dtype=object)
    sums = table.groupby("group", dropna=False)[["net", "hours"]].sum()
    if not (sums["hours"] > 0).all() or table[["net", "hours"]].isna().to_numpy().any():
        raise MeasureError("hours", need="known and above 0 in sum", got=sums["hours"].min())
    ratio = sums["net"] / sums["hours"]
    return float(ratio.iloc[0]) if group is None else ratio.rename("usd_per_hour")


def highest_price(category: str, price: object | None = None, *, study: Study | None = None, **known: Any) -> Answer:
    """The most to pay for a thing of a kind, from what the books know of such sales.

    Parameters
    ----------
    category : str
        The kind of thing.
    price : number or text, optional
        What it would sell for; the kind's typical price by default. [dollars]
    study : Study, optional
        The numbers of a shop, as :func:`open_study` gives them; the demo shop's by default.
    **known : number or text
        What else is known: ``weight_lb``, ``minutes``, ``venue``, as ``flipkit buy --help`` lists.

    Returns
    -------
    Answer
        The highest price, what limits it, the chance of a sale.

    Raises
    ------
    AssumptionError
        If the category is blank or a setting makes no sense.
    """
    import pandas as pd

    from flipkit.analysis.max_bid import buying_answer

    if study is None:
        from flipkit.reports.study import open_study

        study = open_study()
    if price is not None:
        known["price_cents"] = _cents(price, "price")
    found = buying_answer(study.knowledge, category, **known)
    most = found["highest_cents"]
    sells = show_cents(found["typical_cents"], currency=found["currency"])
    words = f"pay at most {show_cents(most, currency=found['currency'])} for {found['category']} that sell for {sells}"
    plain = {key: value for key, value in found.items() if not isinstance(value, list | dict)}
    return Answer(found, words, pd.DataFrame([plain]).T.rename(columns={0: "value"}))


def _rules(books: Path | str | None) -> Rules:
    from flipkit.paths import demo_folder
    from flipkit.rules.tables import load_rules

    folder = Path(books) if books is not None else demo_folder()
    return load_rules(folder / "rules" if (folder / "rules").is_dir() else None)


def _cents(amount: object, name: str) -> int:
    return read_cents(amount.item() if isinstance(amount, np.generic) else amount, name=name)


def _day(on: str | dt.date | None) -> dt.date:
    if on is None:
        return dt.date.today()
    if isinstance(on, str):
        try:
            return dt.date.fromisoformat(on)
        except ValueError:
            raise MeasureError("on", need="a day such as 2026-11-14", got=on) from None
    return on


def _is_one(value: object) -> bool:
    return isinstance(value, str) or np.ndim(getattr(value, "magnitude", value)) == 0  # type: ignore[arg-type]


def _each(values: Any) -> list[Any]:
    return list(values.tolist() if hasattr(values, "tolist") else values)


def _read_many(values: Any, name: str, read: Callable[..., float]) -> Any:
    own = in_own_unit(values, name)
    if _is_one(own):
        return read(own, name=name) if not isinstance(own, float) else read(float(own), name=name)
    return np.array([read(one, name=name) for one in _each(own)], dtype=np.float64)


def _like(given: Sequence[Any], values: Any, *, unit: str = "") -> Any:
    """Values in the form of what was given: a Series, a list, an array, a quantity, a number."""
    flat = np.atleast_1d(np.asarray(values, dtype=np.float64))
    for one in given:
        if hasattr(one, "iloc"):
            import pandas as pd

            return pd.Series(flat, index=one.index)
    many = [one for one in given if not _is_one(one)]
    if unit and any(hasattr(one, "magnitude") for one in given):
        from flipkit.units import unit_registry

        return unit_registry().Quantity(flat if many else float(flat[0]), unit)
    if not many:
        return float(flat[0])
    return flat.tolist() if isinstance(many[0], list | tuple) else flat


def _require_alike(**columns: Any) -> None:
    from flipkit.rules.blocks import shared_index

    shared_index(columns)
    sizes = {name: int(np.size(values)) for name, values in columns.items()}
    if len(set(sizes.values())) > 1:
        raise MeasureError(", ".join(sizes), need="as many values each", got=list(sizes.values()))


def _listed(days: Any, sold: Any) -> tuple[Any, Any]:
    _require_alike(days=days, sold=sold)
    try:
        time = np.asarray(days, dtype=np.float64)
    except (TypeError, ValueError):
        raise MeasureError("days", need="numbers of days", got=_each(days)[:3]) from None
    return np.atleast_1d(time), np.atleast_1d(read_flags(sold, name="sold"))


def _days(value: float) -> str:
    return "not reached" if np.isnan(value) else f"{value:g} days"


def _venue_answer(found: dict[str, Any], said: Callable[[dict[str, Any]], str]) -> Answer:
    import pandas as pd

    if not found["venues"]:
        raise FlipkitError("no venue has a fee schedule in force on that day")
    words = "; ".join(f"{v['venue']} {said(v)} {show_cents(v['net_cents'])}" for v in found["venues"])
    return Answer(found, words, pd.DataFrame(found["venues"]).drop(columns=["sources"]).set_index("venue"))
