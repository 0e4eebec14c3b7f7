"""The files in which a report leaves what the books know about buying and plan for the stock; the newest of them."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from flipkit.errors import PackError
from flipkit.paths import PACKS, packs_folder

#: Name of the file in a pack.
FILE: Final = "knowledge.json"
#: Name of the file of plans beside it, and what ``flipkit offer`` needs of it.
PLANS: Final = "stock.json"
#: Form of the file that this kit reads.
VERSION: Final = 1
#: Figures kept of a number: more than any of them is known to, fewer than a processor's last bit moves.
_FIGURES: Final = 10
_DAY = re.compile(rb'"as_of": "(\d{4}-\d{2}-\d{2})"')
_MEND = "run 'flipkit report' first, or name a pack or its knowledge.json with --from"


def knowledge_text(knowledge: Mapping[str, Any]) -> str:
    """The knowledge as JSON: keys sorted, numbers to ten figures."""
    return json.dumps(_rounded(knowledge), sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_knowledge(path: Path) -> dict[str, Any]:
    """What a report left: from a pack's folder, or from the file itself."""
    file = path / FILE if path.is_dir() else path
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise PackError("--from", need=f"a pack with {FILE} in it, or that file", got=str(path), mend=_MEND) from None
    except (OSError, ValueError, RecursionError) as error:
        raise PackError(file.name, need="JSON as a report writes it", got=str(error), mend=_MEND) from None
    if not isinstance(found, dict) or found.get("version") != VERSION or "categories" not in found:
        got = found.get("version") if isinstance(found, dict) else type(found).__name__
        raise PackError(file.name, need=f"the knowledge of a shop, version {VERSION}", got=got, mend=_MEND)
    return found


def read_plans(path: Path) -> dict[str, Any]:
    """The plans for the stock that a report left: from a pack's folder, or from the file itself."""
    file = path / PLANS if path.is_dir() else path
    mend = _MEND.replace(FILE, PLANS)
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise PackError("--from", need=f"a pack with {PLANS} in it, or that file", got=str(path), mend=mend) from None
    except (OSError, ValueError, RecursionError) as error:
        raise PackError(file.name, need="JSON as a report writes it", got=str(error), mend=mend) from None
    if not isinstance(found, dict) or found.get("version") != VERSION or "things" not in found:
        raise PackError(file.name, need="plans for a shop's stock", got=type(found).__name__, mend=mend)
    return found


def newest_knowledge(books: Path | None, name: str = FILE) -> Path:
    """The newest knowledge in the packs of some books, or of the one shop whose packs lie in the current folder.

    The latest day known counts, then the latest name. The demo shop's packs count where there are no others.
    """
    places = [packs_folder(books)] if books else [*sorted(Path().glob(f"*{PACKS}"))] or [packs_folder(None)]
    found = [(_day(file), file.parent.name, file) for place in places for file in place.glob(f"*/{name}")]
    if not found:
        mend = _MEND.replace(FILE, name)
        raise PackError(f"{places[0].name}/", need=f"a folder of packs with a {name}", got="none", mend=mend)
    shops = sorted({file.parent.parent.name.removesuffix(PACKS) for *_, file in found})
    if len(shops) > 1:
        raise PackError(
            "--books", need="the books of one shop", got=None, where=f"here are packs of {', '.join(shops)}"
        )
    return max(found)[-1]


def _day(file: Path) -> str:
    """The day of the knowledge, which stands at the head of the file."""
    try:
        with file.open("rb") as opened:
            match = _DAY.search(opened.read(200))
    except OSError:
        return ""
    return match.group(1).decode() if match else ""


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{_FIGURES}g}")
    if isinstance(value, Mapping):
        return {str(key): _rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(part) for part in value]
    return value
