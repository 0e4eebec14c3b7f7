"""The assumptions of a packing plan, laid over the kit's own."""

from __future__ import annotations

import importlib.resources
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from flipkit.assumptions import Assumption, Assumptions, load_assumptions
from flipkit.errors import AssumptionError, MeasureError, MoneyError
from flipkit.money import read_cents, read_ppm
from flipkit.quantities import read_minutes


def packing_assumptions(
    assumptions: Assumptions | None = None, *, overrides: Mapping[str, Any] | None = None, currency: str = "USD"
) -> Assumptions:
    """The kit's assumptions with those of the packing plan beside them.

    Parameters
    ----------
    assumptions : Assumptions, optional
        What the kit assumes; packaged values without it. Keys below ``packing`` that it already
        has are kept.
    overrides : mapping, optional
        Dotted key to value for this run, such as ``{"packing.packer": "helper"}`` or
        ``{"help.wage": "18.00"}``.
    currency : str
        The shop's currency, for reading money.

    Returns
    -------
    Assumptions
        Everything that :func:`flipkit.items.packing.packing_plan` asks for.

    Raises
    ------
    AssumptionError
        If a key is unknown or a value is not of its kind or out of its bounds.

    Examples
    --------
    >>> found = packing_assumptions(overrides={"packing.lid_in": 4, "help.wage": "18.00"})
    >>> found.number("packing.lid_in"), found.cents("help.wage")
    (4.0, 1800)
    """
    own = {key: value for key, value in (overrides or {}).items() if key.startswith("packing.")}
    rest = {key: value for key, value in (overrides or {}).items() if not key.startswith("packing.")}
    if assumptions is None:
        entries = dict(load_assumptions(overrides=rest, currency=currency).entries)
    else:
        entries = dict(assumptions.entries)
        own |= rest
    specs = _packaged()
    for key, spec in specs.items():
        for full, value in _flat(key, spec["value"]):
            entries.setdefault(full, _entry(full, value, spec, "packaged", currency))
    for key, value in own.items():
        if key not in entries:
            raise AssumptionError(key, need="an assumption that the packing plan knows", got=key)
        spec = specs.get(key) or specs.get(key.rpartition(".")[0]) or _as_spec(entries[key])
        entries[key] = _entry(key, value, spec, "this run", currency)
    return Assumptions(entries)


@cache
def _packaged() -> dict[str, dict[str, Any]]:
    text = importlib.resources.files("flipkit.items").joinpath("packing_assumptions.toml").read_text(encoding="utf-8")
    return {f"{head}.{name}": entry for head, group in tomllib.loads(text).items() for name, entry in group.items()}


def _flat(key: str, value: Any) -> Iterable[tuple[str, Any]]:
    if isinstance(value, Mapping):
        yield from ((f"{key}.{name}", inner) for name, inner in value.items())
    else:
        yield key, value


def _as_spec(entry: Assumption) -> dict[str, Any]:
    return {"kind": entry.kind, "unit": entry.unit, "meaning": entry.meaning, "source": entry.source}


def _entry(key: str, value: Any, spec: Mapping[str, Any], layer: Any, currency: str) -> Assumption:
    kind = spec["kind"]
    try:
        read: Any = {
            "money": lambda: read_cents(value, name=key, currency=currency),
            "rate": lambda: read_ppm(value, name=key),
            "minutes": lambda: read_minutes(value, name=key),
            "number": lambda: float(value),
            "whole": lambda: int(value),
            "text": lambda: str(value),
        }[kind]()
    except (MoneyError, MeasureError) as problem:
        raise AssumptionError(key, need=problem.need, got=value) from None
    except (TypeError, ValueError):
        raise AssumptionError(key, need="a number", got=value) from None
    one_of = spec.get("one_of", [])
    if one_of and read not in one_of:
        raise AssumptionError(key, need=f"one of {', '.join(one_of)}", got=value)
    if kind in ("number", "whole", "minutes"):
        least, above = spec.get("at_least", 0), spec.get("above")
        if not (read > above if above is not None else read >= least) or read == float("inf"):
            raise AssumptionError(
                key, need=f"above {above:g}" if above is not None else f"at least {least:g}", got=value
            )
    return Assumption(key, read, kind, spec["unit"], spec["meaning"], spec["source"], layer)
