"""All rule tables of the kit and of the seller, read and joined."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.errors import RuleTableError
from flipkit.rules.blocks import Keys, Source, read_table_text, read_toml
from flipkit.rules.fees import FeeSchedule, read_fee_schedule
from flipkit.rules.mileage import Mileage, read_mileage
from flipkit.rules.parcels import ParcelRules, SizeClasses, read_parcel_rules, read_size_classes
from flipkit.rules.rate_cards import RateCard, read_rate_card

#: Where the packaged tables are.
DATA = Path(__file__).parent / "data"
#: Folders of the packaged tables that this module reads; others belong to other modules.
_FOLDERS = ("fees", "parcels", "rate_cards", "mileage", "size_classes")
#: Folders of the seller's own tables that other modules read.
_ELSEWHERE = ("cartons", "cushions", "lifting")
#: The kinds that a table may say it is.
KINDS = ("fees", "parcel rules", "rate card", "mileage", "size classes")
_SOURCES = "sources.toml"


@dataclass(frozen=True)
class Rules:
    """Every rule table, the seller's own in place of the packaged ones of the same kind and name."""

    fee_schedules: Mapping[str, FeeSchedule]
    parcels: Mapping[str, ParcelRules]
    rate_cards: Mapping[str, RateCard]
    mileage: Mileage
    size_classes: SizeClasses
    sources: Mapping[str, Source]
    own: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()

    def lasts(self) -> Rules:
        """The same tables, whose last known values go on after their end: what a report is made with."""
        sizes = self.size_classes.lasts()
        parcels = {name: table.lasts() for name, table in self.parcels.items()}
        return dataclasses.replace(
            self,
            fee_schedules={name: table.lasts() for name, table in self.fee_schedules.items()},
            parcels=parcels,
            rate_cards={name: table.lasts() for name, table in self.rate_cards.items()},
            mileage=self.mileage.lasts(),
            size_classes=dataclasses.replace(sizes, rules=parcels[sizes.parcel_rules]),
        )

    def rules_of(self, card: RateCard) -> ParcelRules:
        """The parcel rule set that a rate card goes with."""
        return self.parcels[card.parcel_rules]


def load_rules(folder: Path | None = None) -> Rules:
    """Read the packaged tables and, over them, those of a folder of the seller's own.

    Parameters
    ----------
    folder : Path, optional
        The ``rules`` folder of the seller's books; its tables replace packaged ones of the same kind and name.

    Returns
    -------
    Rules
        The tables.

    Raises
    ------
    RuleTableError
        If a table is malformed; the message names file, block, key, what was found and what is needed.

    Examples
    --------
    >>> rules = load_rules()
    >>> sorted(rules.parcels)[:2]
    ['air-5000', 'air-6000']
    >>> rules.parcels["post"].dates[-1]
    'from 2026-07-12'
    """
    packaged = _packaged()
    if folder is None:
        return packaged
    root = Path(folder)
    if not root.is_dir():
        raise RuleTableError(root.name, found="no such folder", needed="a folder of rule tables")
    sources = {**packaged.sources, **_read_sources(root / _SOURCES, shown=f"rules/{_SOURCES}")}
    files = sorted(
        file
        for file in root.rglob("*.toml")
        if file.name != _SOURCES and file.relative_to(root).parts[0] not in _ELSEWHERE
    )
    found = [_read(file, shown=f"rules/{file.relative_to(root).as_posix()}") for file in files]
    return _joined(packaged, found, sources, own=True)


@functools.cache
def _packaged() -> Rules:
    files = sorted(file for name in _FOLDERS for file in (DATA / name).glob("*.toml"))
    found = [_read(file, shown=f"data/{file.relative_to(DATA).as_posix()}") for file in files]
    return _joined(None, found, _read_sources(DATA / _SOURCES, shown=f"data/{_SOURCES}"), own=False)


def _read(file: Path, *, shown: str) -> Any:
    data = read_toml(file, shown=shown)
    kind = data.get("kind")
    if kind not in KINDS:
        raise RuleTableError(shown, key="kind", found=kind, needed="one of " + ", ".join(repr(word) for word in KINDS))
    if kind == "rate card":
        return read_rate_card(data, file=shown, open_table=lambda name: read_table_text(file.parent / name, shown=name))
    readers = {
        "fees": read_fee_schedule,
        "parcel rules": read_parcel_rules,
        "mileage": read_mileage,
        "size classes": read_size_classes,
    }
    return readers[kind](data, file=shown)


def _read_sources(file: Path, *, shown: str) -> dict[str, Source]:
    if not file.exists():
        return {}
    top = Keys(read_toml(file, shown=shown), file=shown)
    found: dict[str, Source] = {}
    for key in top.names():
        entry = top.table(key)
        if entry is None:
            continue
        found[key] = Source(key=key, title=entry.text("title"), where=entry.text("where"))
        entry.done()
    return found


def _joined(packaged: Rules | None, found: list[Any], sources: Mapping[str, Source], *, own: bool) -> Rules:
    held: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
    if packaged is not None:
        held["fees"].update(packaged.fee_schedules)
        held["parcel rules"].update(packaged.parcels)
        held["rate card"].update(packaged.rate_cards)
        held["mileage"]["mileage"] = packaged.mileage
        held["size classes"]["size classes"] = packaged.size_classes
    replaced: list[str] = []
    seen: dict[tuple[str, str], str] = {}
    for table in found:
        # There is one table of mileage and one of size classes, whatever its name.
        name = table.kind if table.kind in ("mileage", "size classes") else table.name
        if (table.kind, name) in seen:
            needed = f"a name that {seen[table.kind, name]} has not taken"
            raise RuleTableError(table.file, key="name", found=table.name, needed=needed)
        seen[table.kind, name] = table.file
        _require_sources(table, sources)
        if name in held[table.kind]:
            replaced.append(f"{table.kind} {name!r}")
            # A seller adds next year's rate alone: the packaged ones stand before it.
            if table.kind == "mileage":
                table = table.begun_by(held[table.kind][name])
        held[table.kind][name] = table
    for kind in ("mileage", "size classes"):
        if kind not in held[kind]:
            raise RuleTableError("data", key=kind, found="nothing", needed=f"a table of {kind}")
    for card in held["rate card"].values():
        _require_priced(card, held["parcel rules"])
    sizes = held["size classes"]["size classes"]
    if sizes.parcel_rules not in held["parcel rules"]:
        _unknown_rules(sizes.file, sizes.parcel_rules, held["parcel rules"])
    return Rules(
        fee_schedules=held["fees"],
        parcels=held["parcel rules"],
        rate_cards=held["rate card"],
        mileage=held["mileage"]["mileage"],
        size_classes=dataclasses.replace(sizes, rules=held["parcel rules"][sizes.parcel_rules]),
        sources=sources,
        own=tuple(table.file for table in found) if own else (),
        replaced=tuple(replaced),
    )


def _require_sources(table: Any, sources: Mapping[str, Source]) -> None:
    for block in table.blocks:
        named = [*block.sources]
        for extra in getattr(block, "surcharges", ()):
            named += extra.sources
        for key in named:
            if key not in sources:
                raise RuleTableError(
                    table.file,
                    block=block.described,
                    key="source",
                    found=key,
                    needed=f"a key of {_SOURCES} (add it there)",
                )


def _require_priced(card: RateCard, parcels: Mapping[str, ParcelRules]) -> None:
    """Every surcharge that can apply while a block of a card is in force has a price there, and no other has."""
    if card.parcel_rules not in parcels:
        _unknown_rules(card.file, card.parcel_rules, parcels)
    rules = parcels[card.parcel_rules]
    known = {*rules.surcharge_names, "over_maximum"}
    for number, block in enumerate(card.blocks):
        later = card.blocks[number + 1].starts if number + 1 < len(card.blocks) else None
        for place, rule in enumerate(rules.blocks):
            ends = rules.blocks[place + 1].starts if place + 1 < len(rules.blocks) else None
            if (later and rule.starts >= later) or (ends and ends <= block.starts):
                continue
            if card.rates and card.rates not in rule.dimensional.divisor_for:
                needed = (
                    f"a kind of rates that {rules.title} has a divisor for ({', '.join(rule.dimensional.divisor_for)})"
                )
                raise RuleTableError(card.file, key="rates", found=card.rates, needed=needed)
            for service in block.services:
                for extra in rule.surcharges:
                    if extra.name not in service.extras.surcharges:
                        raise RuleTableError(
                            card.file,
                            block=block.described,
                            key=f"surcharges.{extra.name}",
                            found="nothing",
                            needed=f"a price, '0.00' where it is free, since {rules.title} has that surcharge",
                        )
        for service in block.services:
            for name in service.extras.surcharges:
                if name not in known:
                    needed = f"a surcharge of {rules.title} ({', '.join(sorted(known))})"
                    raise RuleTableError(
                        card.file, block=block.described, key=f"surcharges.{name}", found=name, needed=needed
                    )


def _unknown_rules(file: str, name: str, parcels: Mapping[str, ParcelRules]) -> None:
    raise RuleTableError(file, key="parcel_rules", found=name, needed="one of " + ", ".join(sorted(parcels)))
