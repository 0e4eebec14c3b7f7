"""What the seller assumes: packaged defaults, the shop's own file, this run's overrides.

An assumption has a dotted key (``help.wage``, ``minutes.pack.bulky``), a value of a stated kind
and a provenance: which layer it comes from. Money is held in whole cents and a rate in parts
per million; the kind, from the packaged file, says how text is read.
"""

from __future__ import annotations

import dataclasses
import difflib
import importlib.resources
import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Literal

from flipkit.errors import AssumptionError, MoneyError
from flipkit.money import read_cents, read_ppm, show_cents
from flipkit.units import M3_A_CUFT, Measures, read_length, read_minutes, read_weight

#: The packaged files: the shop's economics, and the packing plan.
_FILES = ("assumptions.toml", "assumptions_packing.toml")

_PLAIN = re.compile(r"\d+(\.\d+)?")
#: No plain number of a shop is larger, and sums of such numbers stay exact.
_LARGEST = 1_000_000_000
SIZES = ("small", "medium", "bulky", "oversize")

Layer = Literal["packaged", "shop", "this run"]
Value = int | float | str


@dataclass(frozen=True)
class Assumption:
    """One assumption as the kit uses it."""

    key: str
    value: Value
    kind: str
    unit: str
    meaning: str
    source: str
    layer: Layer

    def shown(self, measures: Measures, *, currency: str = "USD") -> tuple[str, str]:
        """Value and unit as a shop reads them, in its own units."""
        unit, factor = measures.unit_of(self.key, self.unit)
        if factor == 1 or isinstance(self.value, str):
            return self.text(currency=currency), unit
        if self.kind == "money":
            return show_cents(round(self.value * factor), currency=currency), unit
        return f"{self.value * factor:.3g}" if self.value * factor < 1000 else f"{self.value * factor:,.0f}", unit

    def text(self, *, currency: str = "USD") -> str:
        """The value as a reader writes it."""
        if self.kind == "money":
            return show_cents(int(self.value), currency=currency)
        if self.kind == "rate":
            return f"{int(self.value) / 10_000:g} %"
        return f"{self.value:g}" if isinstance(self.value, float) else str(self.value)


@dataclass(frozen=True)
class Assumptions:
    """Every assumption of a run, by key; made by :func:`load_assumptions`."""

    entries: Mapping[str, Assumption]
    #: How the shop that they are of writes lengths and weights, and its currency.
    measures: Measures = field(default_factory=Measures)
    currency: str = "USD"

    def cents(self, key: str) -> int:
        """A sum of money. [cents]"""
        return int(self._of(key, "money"))

    def ppm(self, key: str) -> int:
        """A rate. [parts per million]"""
        return int(self._of(key, "rate"))

    def share(self, key: str) -> float:
        """A rate as a fraction of one."""
        return self.ppm(key) / 1e6

    def number(self, key: str) -> float:
        """A plain number or a time in minutes."""
        return float(self._of(key, "number", "minutes", "whole"))

    def whole(self, key: str) -> int:
        """A whole number."""
        return int(self._of(key, "whole"))

    def text(self, key: str) -> str:
        """A name or a choice."""
        return str(self._of(key, "text"))

    def by_size(self, key: str) -> dict[str, float]:
        """The four values of a per-size assumption; cents, ppm or numbers as its kind is."""
        return {size: float(self.entries[f"{key}.{size}"].value) for size in SIZES}

    def zone_mix(self) -> dict[str, float]:
        """Share of parcels that go to each zone, summing to one."""
        mix = {key.rpartition(".")[2]: entry for key, entry in self.entries.items() if key.startswith("postage.zone_")}
        return {zone: int(entry.value) / 1e6 for zone, entry in mix.items()}

    def changed(self, overrides: Mapping[str, Any], *, currency: str = "USD") -> Assumptions:
        """The same with some values of this run laid over them."""
        entries = dict(self.entries)
        _lay_over(entries, overrides, "this run", "--set", currency)
        return dataclasses.replace(self, entries=_checked(entries).entries)

    def _of(self, key: str, *kinds: str) -> Value:
        entry = self.entries.get(key)
        if entry is None:
            raise _unknown(key, self.entries)
        if entry.kind not in kinds:
            raise AssumptionError(key, need=f"asked for as {entry.kind}", got=kinds[0])
        return entry.value


def load_assumptions(
    shop: Mapping[str, Any] | Path | None = None,
    *,
    overrides: Mapping[str, Any] | None = None,
    currency: str = "USD",
    measures: Measures | None = None,
) -> Assumptions:
    """The packaged assumptions, with the shop's own and this run's laid over them.

    Parameters
    ----------
    shop : Path or mapping, optional
        The shop's ``assumptions.toml``, or what it says; none where the books bring none.
    overrides : mapping, optional
        Dotted key to value, for this run alone. A key that stands for one value a size class
        (``minutes.pack``) sets all four.
    currency : str
        The shop's currency, for reading money.
    measures : Measures, optional
        The shop's units; inches and pounds by default.

    Returns
    -------
    Assumptions
        Every assumption with its provenance.

    Raises
    ------
    AssumptionError
        If a key is unknown or a value is not of its kind or out of its bounds.

    Examples
    --------
    >>> found = load_assumptions(overrides={"help.wage": "18.00"})
    >>> found.cents("help.wage"), found.entries["help.wage"].layer
    (1800, 'this run')
    """
    packaged = _packaged()
    entries = {
        key: _entry(key, value, entry, "packaged", currency)
        for group, entry in packaged.items()
        for key, value in _flat({group: entry["value"]}, stop=packaged)
    }
    where = ""
    if isinstance(shop, Path):
        where = shop.name
        shop = _read_toml(shop)
    _lay_over(entries, shop or {}, "shop", where, currency)
    _lay_over(entries, overrides or {}, "this run", "--set", currency)
    return dataclasses.replace(_checked(entries), measures=measures or Measures(), currency=currency)


def parsed_settings(text: str) -> dict[str, str]:
    """Assumptions written as ``KEY=VALUE`` with semicolons between them.

    >>> parsed_settings("help.wage=18; hour.target = 25.00")
    {'help.wage': '18', 'hour.target': '25.00'}
    """
    found = {}
    for part in filter(None, (part.strip() for part in text.split(";"))):
        key, equals, value = part.partition("=")
        if not equals:
            raise AssumptionError("setting", need="KEY=VALUE", got=part)
        found[key.strip()] = value.strip()
    return found


def settings_in(path: Path, *, books: Path | None = None) -> dict[str, str]:
    """The values of an assumptions file as this run's settings."""
    if books is not None and not path.is_file():
        path = (books if books.is_dir() else books.parent) / path
    if not path.is_file():
        raise AssumptionError("the assumptions file", need="a file that exists", got=str(path))
    return {key: str(value) for key, value in _flat(_read_toml(path), stop=_packaged())}


def _lay_over(
    entries: dict[str, Assumption], values: Mapping[str, Any], layer: Layer, where: str, currency: str
) -> None:
    packaged = _packaged()
    for key, value in _flat(values, stop=packaged):
        for full in _targets(key, entries):
            entries[full] = _entry(full, value, packaged[_group(full, packaged)], layer, currency, where)


def _checked(entries: dict[str, Assumption]) -> Assumptions:
    mix = [entry for key, entry in entries.items() if key.startswith("postage.zone_mix.")]
    if sum(int(entry.value) for entry in mix) != 1_000_000:
        raise AssumptionError(
            "postage.zone_mix",
            need="shares that sum to 100 %",
            got=f"{sum(int(entry.value) for entry in mix) / 10_000:g} %",
            where=next((entry.layer for entry in mix if entry.layer != "packaged"), "packaged"),
        )
    return Assumptions(entries)


@cache
def _packaged() -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for file in _FILES:
        groups = tomllib.loads(importlib.resources.files("flipkit").joinpath(file).read_text(encoding="utf-8"))
        found |= {f"{head}.{name}": entry for head, group in groups.items() for name, entry in group.items()}
    return found


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise AssumptionError(path.name, need="a TOML file", got=str(error)) from None
    except OSError as error:
        raise AssumptionError(path.name, need="a file that opens", got=error.strerror or str(error)) from None
    except RecursionError:
        raise AssumptionError(path.name, need="nested less deeply", got="tables within tables") from None


def _flat(values: Mapping[str, Any], *, stop: Mapping[str, Any], head: str = "") -> Iterable[tuple[str, Any]]:
    """Nested tables as dotted keys."""
    for name, value in values.items():
        key = f"{head}{name}"
        if isinstance(value, Mapping):
            yield from _flat(value, stop=stop, head=f"{key}.")
        else:
            yield key, value


def _group(key: str, packaged: Mapping[str, Any]) -> str:
    return key if key in packaged else key.rpartition(".")[0]


def _targets(key: str, entries: Mapping[str, Assumption]) -> list[str]:
    if key in entries:
        return [key]
    below = [full for full in entries if full.rpartition(".")[0] == key and not key.endswith("zone_mix")]
    if not below:
        raise _unknown(key, entries)
    return below


def _unknown(key: str, entries: Mapping[str, Assumption]) -> AssumptionError:
    near = difflib.get_close_matches(key, entries, n=3)
    mend = f"did you mean {' or '.join(near)}?" if near else "'flipkit assumptions' lists every key"
    return AssumptionError(key, need="an assumption that the kit knows", got=key, mend=mend)


def _entry(key: str, value: Any, spec: Mapping[str, Any], layer: Layer, currency: str, where: str = "") -> Assumption:
    kind = spec["kind"]
    read = _value(key, _in_own_unit(key, value, spec["unit"]), kind, currency, where)
    for word, bad in (("at_least", _below), ("at_most", _above), ("above", _not_above)):
        if word in spec and bad(read, _value(key, spec[word], kind, currency, where)):
            raise AssumptionError(key, need=f"{word.replace('_', ' ')} {spec[word]}", got=value, where=where)
    if "one_of" in spec and read not in spec["one_of"]:
        raise AssumptionError(key, need=f"one of {', '.join(spec['one_of'])}", got=value, where=where)
    return Assumption(key, read, kind, spec["unit"], spec["meaning"], spec["source"], layer)


def _in_own_unit(key: str, value: Any, unit: str) -> Any:
    """A value written with another unit, such as ``36 cm`` or ``14.00 per m3``, in the assumption's own."""
    if not isinstance(value, str):
        return value
    if unit in ("in", "lb") and re.fullmatch(r"[\d.]+\s*[a-z]+\.?", value.strip()):
        return read_length(value, name=key) if unit == "in" else read_weight(value, name=key)
    match = re.fullmatch(r"(.+?)\s*(?:/|\bper\b)\s*(?:m3|m³|cubic meter)", value.strip())
    if unit == "per cubic foot and month" and match:
        return f"{float(match.group(1)) * M3_A_CUFT:.2f}" if _PLAIN.fullmatch(match.group(1)) else value
    return value


def _below(value: Any, bound: Any) -> bool:
    return bool(value < bound)


def _above(value: Any, bound: Any) -> bool:
    return bool(value > bound)


def _not_above(value: Any, bound: Any) -> bool:
    return bool(value <= bound)


def _value(key: str, value: Any, kind: str, currency: str, where: str) -> Value:
    try:
        if kind == "money":
            return _at_least_zero(key, read_cents(value, name=key, currency=currency), value)
        if kind == "rate":
            return read_ppm(value, name=key)
        if kind == "minutes":
            minutes = read_minutes(value, name=key)
            if minutes > _LARGEST:
                raise AssumptionError(key, need=f"at most {_LARGEST:,}", got=value, where=where)
            return minutes
        if kind == "text":
            return str(value)
        number = float(value)
    except MoneyError as error:
        raise AssumptionError(key, need=error.need, got=value, where=where, mend=error.mend) from None
    except AssumptionError:
        raise
    except (ValueError, TypeError) as error:
        need = getattr(error, "need", "a whole number" if kind == "whole" else "a number")
        raise AssumptionError(key, need=need, got=value, where=where) from None
    if abs(number) > _LARGEST:
        raise AssumptionError(key, need=f"at most {_LARGEST:,}", got=value, where=where)
    if not math.isfinite(number) or (kind == "whole" and number != int(number)):
        raise AssumptionError(key, need="a whole number" if kind == "whole" else "a number", got=value, where=where)
    return int(number) if kind == "whole" else number


def _at_least_zero(key: str, cents: int, got: object) -> int:
    if cents < 0:
        raise MoneyError(key, need="at least 0", got=got)
    return cents
