"""What a conversion did: counts that add up, sums to compare, and every row that was not taken."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from flipkit.books.exports.layout import Left
from flipkit.books.problems import rows_in_words
from flipkit.imports.merge import Change

#: Folder inside the books for what a conversion tells.
CONVERTED = "converted"


@dataclass(frozen=True)
class Conversion:
    """What a conversion did.

    Parameters
    ----------
    export : Path
        The export.
    folder : Path
        The books.
    table : str
        Table that the rows went to.
    rows_in : int
        Rows of the export below its headers that are not blank.
    taken : int
        Rows that are in the books now.
    refused : tuple of Left
        The other rows, each with its reason; ``rows_in == taken + len(refused)``.
    added, there : int
        Of the rows taken, those that are new and those that were there.
    changes : tuple of Change
        Cells that were filled, taken or left.
    matched : tuple of str
        Rows matched with the books, and how.
    sums : dict of str to str
        Sums over the rows taken, for comparison with the other program.
    written : tuple of str
        Files written, relative to the folder.
    """

    export: Path
    folder: Path
    table: str
    rows_in: int
    taken: int
    refused: tuple[Left, ...]
    added: int
    there: int
    changes: tuple[Change, ...]
    matched: tuple[str, ...]
    sums: dict[str, str]
    written: tuple[str, ...]

    def text(self) -> str:
        """What was done, in words.

        Returns
        -------
        str
            Counts, sums, refusals and changes.
        """
        lines = [
            f"{self.export.name}: {self.rows_in:,} rows in = {self.taken:,} taken + {len(self.refused):,} refused",
            f"{self.table}: {self.added:,} rows added, {self.there:,} were there already",
        ]
        lines += [f"sum of {name} over the rows taken: {total}" for name, total in self.sums.items()]
        done = {what: sum(change.done == what for change in self.changes) for what in ("filled", "taken")}
        left = [change for change in self.changes if change.done not in done]
        if done["filled"]:
            lines.append(f"{done['filled']:,} blank cells filled")
        if done["taken"]:
            lines.append(f"{done['taken']:,} changed cells taken")
        if left:
            lines.append(f"{len(left):,} cells differ from the export and were left:")
            lines += [f"  {c.key} {c.column}: books {c.books!r}, export {c.export!r} ({c.done})" for c in left[:10]]
        if self.matched:
            lines.append(f"{len(self.matched):,} rows matched with the books")
        reasons: dict[str, list[int]] = {}
        for row in self.refused:
            reason = re.sub(r"^equal to row \d+", "equal to an earlier row", row.reason)
            reasons.setdefault(reason, []).append(row.row)
        for reason, rows in sorted(reasons.items(), key=lambda pair: -len(pair[1]))[:12]:
            lines.append(f"refused, {rows_in_words(rows, most=5)}: {reason}")
        if len(reasons) > 12:
            lines.append(f"refused for {len(reasons) - 12} more reasons, all in {CONVERTED}/")
        if self.written:
            lines.append(f"written in {self.folder}: {', '.join(self.written)}")
        else:
            lines.append("nothing new: nothing written")
        return "\n".join(lines) + "\n"
