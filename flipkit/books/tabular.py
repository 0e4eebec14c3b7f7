"""Workbooks as rows of text: every cell as the reader of a CSV file would meet it."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

#: Endings of the workbooks that can be read.
ENDINGS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
#: A workbook that unpacks to more than this is refused: it is damaged or hostile.
LARGEST_UNPACKED = 2_000_000_000

_CELL = re.compile(rb"<c\b([^>]*)>\s*<f\b[^>]*?(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v></v>)?\s*</c>")
_ERROR = re.compile(rb'<c\b([^>]*\bt="e"[^>]*)>(?:.{0,2000}?)<v>([^<]*)</v>', re.DOTALL)
_PLACE = re.compile(rb'\br="([A-Z]+)(\d+)"')


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet as text.

    Parameters
    ----------
    name : str
        Its name.
    rows : list of list of str
        Every row from the first of the sheet, so that index + 1 is the spreadsheet's number.
    """

    name: str
    rows: list[list[str]]


@dataclass(frozen=True, slots=True)
class LostCell:
    """A cell whose value the file does not hold: an unfinished formula or an error.

    Parameters
    ----------
    sheet : str
        Sheet that it stands in.
    row : int
        Row as the spreadsheet numbers it.
    column : int
        Column, 0 for A.
    found : str
        What stands there.
    """

    sheet: str
    row: int
    column: int
    found: str


class WorkbookError(ValueError):
    """A workbook that cannot be opened; the message is the reason in the seller's words."""


def read_sheets(path: Path) -> list[Sheet]:
    """Every sheet of a workbook as text.

    Dates come as ``2026-03-07`` (with the time of day where there is one), numbers without
    the noise of binary fractions, true and false as ``TRUE`` and ``FALSE``.

    Parameters
    ----------
    path : Path
        The workbook.

    Returns
    -------
    list of Sheet
        The sheets in the order of their tabs; chart sheets are left out.

    Raises
    ------
    WorkbookError
        If the file is no workbook, is damaged or is locked with a password.
    """
    import python_calamine

    _require_modest(path)
    try:
        with python_calamine.CalamineWorkbook.from_path(str(path)) as book:
            plain = [
                meta.name
                for meta in book.sheets_metadata
                if meta.typ in (python_calamine.SheetTypeEnum.WorkSheet, python_calamine.SheetTypeEnum.DialogSheet)
            ]
            return [
                Sheet(name, _text_rows(book.get_sheet_by_name(name).to_python(skip_empty_area=False))) for name in plain
            ]
    except python_calamine.PasswordError:
        raise WorkbookError("it is locked with a password") from None
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise WorkbookError(f"it is damaged or no workbook ({error})") from None
    except BaseException as error:  # a panic of the reader's native part is no Exception
        if type(error).__name__ != "PanicException":
            raise
        raise WorkbookError("it is damaged") from None


def lost_cells(path: Path) -> list[LostCell]:
    """Cells of an .xlsx file that would read as blank although something stands there.

    A formula that no spreadsheet has calculated yet has no value in the file, and an error
    such as ``#REF!`` has none to use: both would vanish silently.

    Parameters
    ----------
    path : Path
        The workbook.

    Returns
    -------
    list of LostCell
        The cells, sheet by sheet; empty for other kinds of workbook.
    """
    if path.suffix.lower() not in (".xlsx", ".xlsm"):
        return []
    lost: list[LostCell] = []
    try:
        with zipfile.ZipFile(path) as archive:
            for name, part in _sheet_parts(archive):
                text = archive.read(part)
                if b"<f" in text:
                    lost += [
                        LostCell(name, row, column, "a formula without its result")
                        for row, column in (_place(m.group(1)) for m in _CELL.finditer(text))
                    ]
                if b't="e"' in text:
                    for match in _ERROR.finditer(text):
                        row, column = _place(match.group(1))
                        lost.append(LostCell(name, row, column, match.group(2).decode("utf-8", "replace")))
    except (zipfile.BadZipFile, KeyError, OSError, ValueError):
        return lost
    return lost


def _require_modest(path: Path) -> None:
    if not zipfile.is_zipfile(path):
        return
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(info.file_size for info in archive.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise WorkbookError("it is damaged") from None
    if unpacked > LARGEST_UNPACKED:
        raise WorkbookError(f"it would unpack to {unpacked:,} bytes")


def _sheet_parts(archive: zipfile.ZipFile) -> list[tuple[str, str]]:
    book = archive.read("xl/workbook.xml").decode("utf-8", "replace")
    links = archive.read("xl/_rels/workbook.xml.rels").decode("utf-8", "replace")
    target: dict[str, str] = {}
    for link in re.findall(r"<Relationship\b[^>]*>", links):
        ident, where = re.search(r'\bId="([^"]*)"', link), re.search(r'\bTarget="([^"]*)"', link)
        if ident and where:
            path = where.group(1)
            target[ident.group(1)] = path.lstrip("/") if path.startswith("/") else f"xl/{path}"
    parts: list[tuple[str, str]] = []
    for sheet in re.findall(r"<sheet\b[^>]*>", book):
        name, ident = re.search(r'\bname="([^"]*)"', sheet), re.search(r'\br:id="([^"]*)"', sheet)
        if name and ident and target.get(ident.group(1), "") in archive.namelist():
            parts.append((_unescaped(name.group(1)), target[ident.group(1)]))
    return parts


def _unescaped(text: str) -> str:
    import html

    return html.unescape(text)


def _place(attributes: bytes) -> tuple[int, int]:
    match = _PLACE.search(attributes)
    if match is None:
        return 0, 0
    column = 0
    for letter in match.group(1):
        column = column * 26 + letter - 64
    return int(match.group(2)), column - 1


def _text_rows(rows: list[list[Any]]) -> list[list[str]]:
    return [[cell if type(cell) is str else _text(cell) for cell in row] for row in rows]


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, float):
        # Fifteen digits are what a spreadsheet shows at most: 3 x 1.37 is 4.11 there.
        shown = format(cell, ".15g")
        return shown if "e" not in shown else format(cell, "f").rstrip("0").rstrip(".")
    if isinstance(cell, dt.datetime):
        if (cell.hour, cell.minute, cell.second, cell.microsecond) == (0, 0, 0, 0):
            return cell.date().isoformat()
        return cell.replace(microsecond=0).isoformat(sep=" ")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    if isinstance(cell, dt.timedelta):
        return f"{cell.total_seconds() / 60:.15g} min"
    return str(cell)
