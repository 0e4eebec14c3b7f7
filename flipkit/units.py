"""Physical quantities: read with pint at the edge, plain float64 inside.

Inside the kit a length is inches, a weight is pounds and a time is minutes, and the name says
so (``length_in``, ``weight_lb``, ``pack_min``). This module is the only one that meets pint.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError

if TYPE_CHECKING:
    import pint

#: How far a value may lie from a whole unit and still count as that whole unit. Converting
#: between metric and imperial leaves noise near 1e-15 of the value; the finest measure that a
#: seller writes down (0.01 cm) is 4e-3 in. The snap sits far from both.
SNAP = 1e-6

#: Longest text that a measure may be, and what the word of a unit may be made of: pint takes words for formulas.
_LONGEST = 100
_UNIT = re.compile(r"[^\W\d_][^\W\d_ ]*( [^\W\d_]+){0,2}|#")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
_FRACTION = re.compile(r"(?:(\d+)[ -])?(\d+)/(\d+)")
_PART = re.compile(
    r"\s*(\d+/\d+|[+-]?(?:\d+(?:[.]\d*)?|[.]\d+)(?:[ -]\d+/\d+)?)\s*([^\d\s.+/-][^\d]*?)?(?=\s*[.]?\d|\s*$)"
)
_MARKS = {"″": "in", "”": "in", '"': "in", "′": "ft", "’": "ft", "'": "ft", "''": "in", "’’": "in"}
#: Words for a unit that people write and pint reads otherwise or not at all.
_WORDS = {"#": "lb", "lbs": "lb", "ozs": "oz", "ins": "in", "mins": "min", "hrs": "hour", "hr": "hour", "h": "hour"}

#: The units that nearly every cell has, as (times, divided by) towards the kit's own: pint takes a third of a
#: second to import, and a question at the command line should not wait for it.
KM_A_MILE = 1.609344
_COMMON: dict[str, dict[str, tuple[float, float]]] = {
    "inch": {"in": (1, 1), "inch": (1, 1), "inches": (1, 1), "ft": (12, 1), "cm": (1, 2.54), "mm": (1, 25.4)},
    "pound": {"lb": (1, 1), "pound": (1, 1), "pounds": (1, 1), "oz": (1, 16), "kg": (1, 0.45359237)},
    "mile": {"mile": (1, 1), "miles": (1, 1), "mi": (1, 1), "km": (1, KM_A_MILE)},
    "minute": {"min": (1, 1), "minute": (1, 1), "minutes": (1, 1), "hour": (60, 1), "hours": (60, 1)},
}


@functools.cache
def unit_registry() -> pint.UnitRegistry[Any]:
    """The one pint registry of the process, made at first use because making it is slow."""
    import pint

    return pint.UnitRegistry(cache_folder=":auto:")


def is_quantity(value: object) -> bool:
    """Whether a value is a number with a pint unit."""
    return hasattr(value, "dimensionality")


def in_unit(value: Any, into: str, *, name: str) -> Any:
    """Quantities as plain numbers in a unit, converted; what carries no unit stands as it is.

    >>> round(in_unit(unit_registry().Quantity(60, "cm"), "inch", name="side"), 3), in_unit(5, "inch", name="side")
    (23.622, 5)
    """
    if is_quantity(value):
        import pint

        try:
            return value.to(into).magnitude
        except pint.errors.PintError:
            raise MeasureError(name, need=f"a quantity that {into} can measure", got=str(value)) from None
    mixed = isinstance(value, list | tuple) or (getattr(value, "dtype", None) == np.dtype(object) and np.ndim(value))
    if mixed and any(is_quantity(one) for one in value):
        return np.array([in_unit(one, into, name=name) for one in value], dtype=np.float64)
    return value


def read_length(text: object, *, unit: str = "in", name: str = "length") -> float:
    """Read a length such as ``4 ft 11 in``, ``150 cm``, ``20 1/4"`` or a bare number.

    >>> read_length("4 ft 11 in")
    59.0
    >>> round(read_length("150 cm"), 4)
    59.0551
    """
    return _read(text, bare=unit, into="inch", name=name, example="'12.5 in', '4 ft 11 in' or '31 cm'")


def read_weight(text: object, *, unit: str = "lb", name: str = "weight") -> float:
    """Read a weight such as ``1 lb 4 oz``, ``1.2 kg`` or a bare number.

    >>> read_weight("1 lb 4 oz")
    1.25
    """
    return _read(text, bare=unit, into="pound", name=name, example="'9 lb', '1 lb 4 oz' or '1.2 kg'")


def read_minutes(text: object, *, unit: str = "min", name: str = "minutes") -> float:
    """Read a span of working time such as ``1 h 20 min``, ``45 min`` or a bare number.

    >>> read_minutes("1 h 20 min")
    80.0
    """
    return _read(text, bare=unit, into="minute", name=name, example="'45 min' or '1 h 20 min'")


def read_distance(text: object, *, unit: str = "mile", name: str = "miles") -> float:
    """Read a distance driven, such as ``31 miles``, ``50 km`` or a bare number, in miles.

    >>> round(read_distance("50 km"), 3)
    31.069
    """
    return _read(text, bare=unit, into="mile", name=name, example="'31 miles' or '50 km'")


# Measures written out again, in the units that a shop keeps its books in: the one place that does it.

#: Feet stay with inches, meters and millimeters with centimeters, ounces with pounds, grams with kilograms.
_METRIC = frozenset({"cm", "mm", "m", "kg", "g"})
CM_AN_INCH, KG_A_POUND, M3_A_CUFT = 2.54, 0.45359237, 0.028316846592
#: Units of assumptions: what a shop in centimeters or kilograms reads instead, and the factor.
_OTHER_WORDS = {
    "in": ("cm", CM_AN_INCH),
    "lb": ("kg", KG_A_POUND),
    "per cubic foot and month": ("per cubic meter and month", 1 / M3_A_CUFT),
    "cubic inches a pound": ("cubic centimeters a kilogram", CM_AN_INCH**3 / KG_A_POUND),
    "per square foot, cubic foot, strip, foot or parcel": ("per strip or parcel", 1.0),
}
#: The same by the end of an assumption's name.
_RATES = {
    "sqft": ("per square meter", 1 / 0.09290304),
    "cuft": ("per cubic meter", 1 / M3_A_CUFT),
    "ft": ("per meter", 1 / 0.3048),
}


@dataclass(frozen=True, slots=True)
class Measures:
    """How a shop writes lengths, weights, room and distances.

    >>> here, there = Measures(), Measures("cm", "kg")
    >>> here.sides(14, 12, 16.5), there.sides(14, 12, 16.5)
    ('14 x 12 x 16.5 in', '35.6 x 30.5 x 41.9 cm')
    >>> here.weight(17.5), there.weight(17.5), there.room(68), there.distance(31)
    ('17.5 lb', '7.94 kg', '1.93 m³', '49.9 km')
    """

    length_unit: str = "in"
    weight_unit: str = "lb"

    @property
    def metric(self) -> bool:
        """Whether lengths are centimeters."""
        return self.length_unit in _METRIC

    @property
    def side_unit(self) -> str:
        """Unit of a side: ``in`` or ``cm``."""
        return "cm" if self.metric else "in"

    @property
    def mass_unit(self) -> str:
        """Unit of a weight: ``lb`` or ``kg``."""
        return "kg" if self.weight_unit in _METRIC else "lb"

    @property
    def room_words(self) -> str:
        """The same in words."""
        return "cubic meter" if self.metric else "cubic foot"

    @property
    def rooms_words(self) -> str:
        """The same for many."""
        return "cubic meters" if self.metric else "cubic feet"

    def room_number(self, value_cuft: float, *, places: int = 0) -> str:
        """Room without its unit."""
        return f"{self.rooms_of(value_cuft):,.{places + 2 * self.metric}f}"

    def sides_of(self, value_in: Any) -> Any:
        """Lengths in the shop's unit, numbers in and numbers out."""
        return value_in * CM_AN_INCH if self.metric else value_in

    def weights_of(self, value_lb: Any) -> Any:
        """Weights in the shop's unit, numbers in and numbers out."""
        return value_lb * KG_A_POUND if self.mass_unit == "kg" else value_lb

    def rooms_of(self, value_cuft: Any) -> Any:
        """Room in the shop's unit, numbers in and numbers out."""
        return value_cuft * M3_A_CUFT if self.metric else value_cuft

    def distances_of(self, value_miles: Any) -> Any:
        """Distances in the shop's unit, numbers in and numbers out."""
        return value_miles * KM_A_MILE if self.metric else value_miles

    def unit_of(self, key: str, unit: str) -> tuple[str, float]:
        """A unit of an assumption as the shop reads it, and what a number in it is multiplied by."""
        tail = next((words for words in _RATES if key.rpartition("_per_")[2] == words), "")
        found = _RATES.get(tail) or _OTHER_WORDS.get(unit)
        if found is None or not (self.mass_unit == "kg" if unit == "lb" else self.metric):
            return unit, 1.0
        return found

    def side(self, value_in: float, *, places: int = 1) -> str:
        """A length with its unit."""
        return f"{_shown(self.sides_of(value_in), places)} {self.side_unit}"

    def sides(self, *values_in: float, places: int = 1) -> str:
        """Sides of one thing, with their unit once."""
        return f"{' x '.join(_shown(self.sides_of(value), places) for value in values_in)} {self.side_unit}"

    def weight(self, value_lb: float, *, places: int = 1) -> str:
        """A weight with its unit; a kilogram is finer than a pound by a digit."""
        metric = self.mass_unit == "kg"
        return f"{_shown(self.weights_of(value_lb), places + metric)} {self.mass_unit}"

    def room(self, value_cuft: float) -> str:
        """Room with its unit."""
        value = self.rooms_of(value_cuft)
        return f"{value:,.2f} m³" if self.metric else f"{value:,.0f} cu ft"

    def span(self, *values_in: float, spec: str = ".1f") -> str:
        """Lengths in a sentence with their unit once, inches as ``spec`` writes them, centimeters to the millimeter."""
        if self.metric:
            return self.sides(*values_in)
        return f"{' x '.join(f'{value:{spec}}' for value in values_in)} in"

    def united(self, value_in: float, *, spec: str = ".1f") -> str:
        """Length, width and height added up, as the trade says it in inches."""
        return f"sides of {self.side(value_in)} together" if self.metric else f"{value_in:{spec}} united in"

    def mass(self, value_lb: float, *, spec: str = ".1f") -> str:
        """A weight in a sentence, likewise."""
        return self.weight(value_lb) if self.mass_unit == "kg" else f"{value_lb:{spec}} lb"

    def hollow(self, value_cuft: float) -> str:
        """Room inside a parcel: cubic feet, or liters."""
        return f"{_shown(value_cuft * M3_A_CUFT * 1000, 1)} liters" if self.metric else f"{value_cuft:.2f} cu ft"

    def distance(self, value_miles: float) -> str:
        """A distance with its unit."""
        value = self.distances_of(value_miles)
        return f"{_shown(value, 1)} {'km' if self.metric else 'mile' if value == 1 else 'miles'}"


def _shown(value: float, places: int) -> str:
    """A number with at most some decimals, none where it is whole."""
    text = f"{value:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def read_flags(values: object, *, name: str) -> npt.NDArray[np.bool_]:
    """Yes or no for each: 1 and 0, True and False, yes and no, or a day and a blank.

    >>> read_flags(["yes", "", "2026-03-01", None, 0], name="sold").tolist()
    [True, False, True, False, False]
    """
    given = np.asarray(values)
    if given.dtype.kind == "b":
        return given.astype(np.bool_)
    if given.dtype.kind == "M":
        return ~np.isnat(given)
    flat = np.asarray(values, dtype=object)
    return np.array([read_flag(name, one) for one in flat.ravel().tolist()], dtype=np.bool_).reshape(flat.shape)


def read_flag(name: str, one: Any) -> bool:
    """Yes or no, however it is written down.

    >>> [read_flag("sold", one) for one in ("x", "No", 1, dt.date(2026, 3, 1), None)]
    [True, False, True, True, False]
    """
    if one is None or str(one).strip() in _BLANK:
        return False
    if isinstance(one, bool | int | float | np.bool_ | np.integer | np.floating) and one in (0, 1):
        return bool(one)
    if isinstance(one, dt.date | np.datetime64):
        return True
    if isinstance(one, str):
        word = one.strip().casefold()
        if word in _YES | _NO:
            return word in _YES
        try:
            dt.date.fromisoformat(word[:10])
        except ValueError:
            pass
        else:
            return True
    raise MeasureError(name, need="0 or 1, true or false, yes or no, or the day of it (blank for no)", got=one)


def _read(text: object, *, bare: str, into: str, name: str, example: str) -> float:
    need = f"a measure such as {example}"
    if is_quantity(text):
        return _accept(float(in_unit(text, into, name=name)), name, text)
    if isinstance(text, int | float | np.integer | np.floating) and not isinstance(text, bool):
        return _accept(_convert(float(text), bare, into, name, need, text), name, text)
    if not isinstance(text, str) or not text.strip():
        raise MeasureError(name, need=need, got=text)
    body = text.strip()
    if len(body) > _LONGEST:
        raise MeasureError(name, need=need, got=text)
    for mark in sorted(_MARKS, key=len, reverse=True):
        body = body.replace(mark, f" {_MARKS[mark]} ")
    body = body.strip()
    if _NUMBER.fullmatch(body):
        return _accept(_convert(float(body), bare, into, name, need, text), name, text)
    total, at = 0.0, 0
    parts = 0
    for match in _PART.finditer(body):
        if match.start() != at:
            break
        at = match.end()
        number, word = match.group(1), (match.group(2) or "").strip().rstrip(".,").strip()
        if not word and parts:
            raise MeasureError(name, need=need, got=text, mend="write the unit after every number")
        total += _convert(_number(number, name, need, text), word or bare, into, name, need, text)
        parts += 1
    if not parts or at != len(body):
        raise MeasureError(name, need=need, got=text)
    return _accept(total, name, text)


def _number(text: str, name: str, need: str, got: object) -> float:
    whole, _, rest = text.replace("-", " ").strip().rpartition(" ")
    if "/" not in text:
        return float(text)
    match = _FRACTION.fullmatch(rest)
    if match is None or int(match.group(3)) == 0:
        raise MeasureError(name, need=need, got=got)
    return (float(whole) if whole else 0.0) + int(match.group(2)) / int(match.group(3))


def _convert(value: float, unit: str, into: str, name: str, need: str, got: object) -> float:
    word = unit.strip().lower()
    word = _WORDS.get(word, word)
    if word in _COMMON[into]:
        times, divided = _COMMON[into][word]
        return value * times / divided
    refused = MeasureError(name, need=need, got=got, mend=f"{unit!r} is no unit for this")
    if not _UNIT.fullmatch(unit.strip()):
        raise refused
    import pint

    registry = unit_registry()
    try:
        return float(registry.Quantity(value, word).to(into).magnitude)
    except (pint.errors.PintError, AttributeError, AssertionError, TypeError, ValueError):
        raise refused from None


def _accept(value: float, name: str, got: object) -> float:
    if not math.isfinite(value) or value < 0:
        raise MeasureError(name, need="a finite number of at least 0", got=got)
    return value


def snapped(values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Values moved onto the whole unit that they miss only by conversion noise.

    >>> float(snapped(30.48 / 2.54))
    12.0
    """
    given = np.asarray(values, dtype=np.float64)
    whole = np.round(given)
    return np.where(np.abs(given - whole) < SNAP, whole, given)


def rounded_up(values: npt.ArrayLike, *, step: float = 1.0) -> npt.NDArray[np.float64]:
    """Values rounded up to the next multiple of a step, conversion noise aside.

    >>> float(rounded_up(30.48 / 2.54)), float(rounded_up(30.49 / 2.54))
    (12.0, 13.0)
    """
    given = np.asarray(values, dtype=np.float64)
    # Taking the snap off first gives the same as snapping, in one pass; adding 0 turns -0.0 into 0.0.
    if step == 1.0:
        return _whole(given - SNAP, up=True) + 0.0
    return _whole(given / step - SNAP, up=True) * step + 0.0


def rounded_down(values: npt.ArrayLike, *, step: float = 1.0) -> npt.NDArray[np.float64]:
    """Values rounded down to a multiple of a step, conversion noise aside.

    >>> float(rounded_down(11.99, step=0.25))
    11.75
    """
    given = np.asarray(values, dtype=np.float64)
    return _whole((given if step == 1.0 else given / step) + SNAP, up=False) * step


def rounded_nearest(values: npt.ArrayLike, *, step: float = 1.0) -> npt.NDArray[np.float64]:
    """Values rounded to the nearest multiple of a step, halves up, conversion noise aside.

    >>> float(rounded_nearest(20.25)), float(rounded_nearest(20.5))
    (20.0, 21.0)
    """
    given = np.asarray(values, dtype=np.float64)
    # A half that noise has pulled just under itself is still a half.
    return _whole((given if step == 1.0 else given / step) + (0.5 + SNAP / 2.0), up=False) * step


def _whole(values: npt.NDArray[np.float64], *, up: bool) -> npt.NDArray[np.float64]:
    """Ceiling or floor: cutting to an integer and correcting takes a sixth of numpy's own time."""
    if not values.size or not (values.min() > -1e15 and values.max() < 1e15):
        return np.ceil(values) if up else np.floor(values)
    cut = values.astype(np.int64).astype(np.float64)
    return cut + (cut < values) if up else cut - (cut > values)


_BLANK = frozenset({"", "nan", "NaT", "<NA>"})
_YES = frozenset({"yes", "y", "true", "t", "1", "1.0", "sold", "x"})
_NO = frozenset({"no", "n", "false", "f", "0", "0.0", "unsold"})
