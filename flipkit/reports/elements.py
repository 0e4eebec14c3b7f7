"""What a notebook shows beside charts: tables, cautions and the sentence that matters."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import SIZES
from flipkit.books.schema import ACTIVITIES
from flipkit.economics.items import COSTS, LINES, MONEY_LINES
from flipkit.money import nearest_cent, show_cents

# What a notebook shows beside charts: tables, cautions, the one sentence that matters.
#
# Each element is HTML for a page and JupyterLab, and plain text for terminals, comparisons and readers of the
# notebook file. Whatever comes from the books is escaped.

#: How a missing value shows.
NOTHING = "–"
_ONE_FIGURE = r"[+−-]?\W{0,4}\d[\d,. ]*(\W*%|\s?[a-z/]{0,12})?"
_FIGURE = re.compile(rf"((under|over) )?{_ONE_FIGURE}( (to|of) {_ONE_FIGURE}| \({_ONE_FIGURE} to {_ONE_FIGURE}\))?|–|")
#: Up to so many characters a column's cells stay on one line everywhere, or at least on a wide screen.
_SHORT, _MEDIUM = 14, 26
#: How a heading names the unit at the end of a column's name.
_UNITS = {"ppm": "%", "min": "min", "in": "in", "lb": "lb", "cuft": "cu ft", "days": "days"}


#: Under which type a cell's output hands its figures on.
FIGURES_TYPE = "application/vnd.flipkit.figures+json"


class Figure(NamedTuple):
    """One quantity that a page shows; on all pages one name, scope and day have one value."""

    name: str
    scope: str
    day: str
    #: Money in whole cents, counts, or text; ``None`` where there is none.
    value: int | str | None


class Said(str):
    """A sentence that knows its figures."""

    figures: tuple[Figure, ...]

    def __new__(cls, text: str, figures: Iterable[Figure] = ()) -> Said:
        """The text, with what it says of which quantity."""
        made = super().__new__(cls, text)
        made.figures = tuple(figures)
        return made


@dataclass(frozen=True)
class Element:
    """Something to display: HTML and the same in plain text, with the figures that stand in it."""

    html: str
    text: str
    figures: tuple[Figure, ...] = ()

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:
        shown: dict[str, Any] = {"text/html": self.html, "text/plain": self.text}
        return shown | ({FIGURES_TYPE: [list(figure) for figure in self.figures]} if self.figures else {})

    def __repr__(self) -> str:
        return self.text


#: What is not there is not shown.
EMPTY = Element("", "")


def figures_said(*texts: str) -> tuple[Figure, ...]:
    """The figures of sentences that know theirs.

    >>> figures_said(Said("Two.", [Figure("sales", "shop", "2026-10-31", 2)]), "No more.")
    (Figure(name='sales', scope='shop', day='2026-10-31', value=2),)
    """
    return tuple(figure for text in texts if isinstance(text, Said) for figure in text.figures)


def caution(text: str, *, title: str = "Caution") -> Element:
    """A box that a reader does not miss: what to beware of here.

    Parameters
    ----------
    text : str
        One or two sentences.
    title : str
        The word at its head.

    Returns
    -------
    Element
        The box.

    Examples
    --------
    >>> caution("Two people lift this one.")
    Caution: Two people lift this one.
    """
    html = f'<aside class="caution"><p><strong>{escape(title)}.</strong> {escape(text)}</p></aside>'
    return Element(html, f"{title}: {text}")


def headline(text: str, *, note: str = "") -> Element:
    """The one sentence that a page is about, set large."""
    below = f'<p class="note">{escape(note)}</p>' if note else ""
    html = f'<div class="headline"><p>{escape(text)}</p>{below}</div>'
    return Element(html, text + (f"\n{note}" if note else ""), figures_said(text, note))


def to_do(lines: Sequence[str], *, title: str = "What to do") -> Element:
    """What follows from a page, under its own heading; nothing at all where nothing follows."""
    if not lines:
        return EMPTY
    html = "".join(f"<li>{escape(line)}</li>" for line in lines)
    text = "\n".join([title, *(f"- {line}" for line in lines)])
    return Element(f'<h2>{escape(title)}</h2><ul class="to-do">{html}</ul>', text, figures_said(*lines))


def together(*parts: Element) -> Element:
    """Several elements as one."""
    shown = [part for part in parts if part.html]
    figures = tuple(figure for part in shown for figure in part.figures)
    return Element("".join(part.html for part in shown), "\n".join(part.text for part in shown), figures)


def table(
    frame: pd.DataFrame,
    *,
    caption: str = "",
    headings: Mapping[str, str] | None = None,
    formats: Mapping[str, Callable[[Any], str]] | None = None,
    fold: bool = False,
    note: str = "",
    currency: str = "USD",
    figures: Iterable[Figure] = (),
) -> Element:
    """A frame as a table with aligned figures that scrolls within itself where it is too wide.

    Columns show in the frame's order, or only those of ``headings`` in its order. A column whose
    name ends in ``_cents`` shows as money and in ``_ppm`` as a percentage; ``_min`` and ``_days``
    show whole, ``_in``, ``_lb`` and ``_cuft`` with one decimal, each with its unit in the heading.
    A heading of ``headings`` stands as it is, but for the sign of money, which is added.

    Parameters
    ----------
    frame : pandas.DataFrame
        Rows to show; the index is not shown.
    caption : str
        What the table holds, said above it.
    headings : mapping of str to str, optional
        Column to heading; by default made from the column's name and unit.
    formats : mapping of str to callable, optional
        Column to a function that turns one value into text.
    fold : bool
        Whether the table waits behind its caption until the reader unfolds it.
    note : str
        What is to be known of it, said between its caption and its head and folded with it.
    currency : str
        Code of the shop's currency.
    figures : iterable of Figure
        What stands in it and stands elsewhere too.

    Returns
    -------
    Element
        The table.

    Raises
    ------
    KeyError
        If ``headings`` names a column that the frame lacks.

    Examples
    --------
    >>> table(pd.DataFrame({"category": ["lamps"], "net_cents": [123456]}), caption="Net")
    Net
    Category  Net ($)
    lamps     1,234.56
    """
    names = list(headings or frame.columns)
    missing = [name for name in names if name not in frame.columns]
    if missing:
        raise KeyError(f"headings must name columns of the frame, got {missing}: it has {list(frame.columns)}")
    given, own = headings or {}, formats or {}
    heads = [given.get(name) or _heading(str(name), currency) for name in names]
    heads = [
        head if name in own else _with_sign(head, str(name), currency) for head, name in zip(heads, names, strict=True)
    ]
    shown = [[_text(value, str(name), own.get(name), currency) for value in frame[name]] for name in names]
    rows = [list(row) for row in zip(*shown, strict=True)]
    said = f"{caption}\n{note}".strip() if note else caption
    html = table_html(heads, rows, caption=caption, fold=fold, note=note)
    return Element(html, _plain(heads, rows, said), tuple(figures))


def table_html(
    heads: Sequence[str], rows: Sequence[Sequence[str]], *, caption: str = "", fold: bool = False, note: str = ""
) -> str:
    """Cells of text as an HTML table; a column of figures is aligned to the right.

    >>> '<th scope="col" class="short">Kind</th>' in table_html(["Kind"], [["a<b"]])
    True
    """
    # What a row is about stands at the left edge, as words do: "0 to 30 days" is its name and no figure.
    figures = [k > 0 and bool(rows) and all(_FIGURE.fullmatch(row[k]) for row in rows) for k in range(len(heads))]
    longest = [max((len(row[k]) for row in rows), default=0) for k in range(len(heads))]
    kinds = [
        "figure" if figure else "short" if most <= _SHORT else "medium" if most <= _MEDIUM else "long"
        for figure, most in zip(figures, longest, strict=True)
    ]
    mark = [f' class="{kind}"' for kind in kinds]
    head = "".join(f'<th scope="col"{m}>{escape(text)}</th>' for m, text in zip(mark, heads, strict=True))
    body = []
    for row in rows:
        cells = [
            f'<th scope="row"{mark[k]}>{escape(text)}</th>' if k == 0 and text else f"<td{mark[k]}>{escape(text)}</td>"
            for k, text in enumerate(row)
        ]
        body.append(f"<tr>{''.join(cells)}</tr>")
    label = escape(caption or "Table", quote=True)
    # A caption inside the table would scroll out of sight with it.
    shown = f'<p class="table-title">{escape(caption)}</p>' if caption and not fold else ""
    shown += f"<p>{escape(note)}</p>" if note else ""
    inner = (
        f'{shown}<div class="scroll" role="group" tabindex="0" aria-label="{label}"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )
    return f"<details><summary>{escape(caption or 'The numbers')}</summary>{inner}</details>" if fold else inner


def _sign(currency: str) -> str:
    return show_cents(0, currency=currency).rstrip("0. ").strip()


def _with_sign(heading: str, name: str, currency: str) -> str:
    """A chosen heading; money, which stands below it without its sign, has the sign there."""
    sign = _sign(currency)
    return f"{heading} ({sign})" if name.endswith("_cents") and f"({sign})" not in heading else heading


def _heading(name: str, currency: str) -> str:
    stem, _, tail = name.rpartition("_")
    unit = _sign(currency) if tail == "cents" else _UNITS.get(tail, "")
    if name == "hourly":
        return f"Per hour ({_sign(currency)})"
    if stem and unit:
        return f"{stem.replace('_', ' ').capitalize()} ({unit})"
    return name.replace("_", " ").capitalize()


def _text(value: Any, name: str, show: Callable[[Any], str] | None, currency: str) -> str:
    if not isinstance(value, str) and pd.isna(value):
        return NOTHING
    if isinstance(value, np.generic):
        value = value.item()
    if show is not None:
        return show(value)
    if name.endswith("_cents"):
        # The sign of the currency stands in the heading.
        shown = show_cents(nearest_cent(value), currency=currency)
        return shown.replace(show_cents(0, currency=currency)[: -len("0.00")], "")
    if name.endswith("_ppm"):
        return f"{int(value) / 10_000:.2f}".replace("-", "−")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, pd.Timestamp):
        return f"{value.day} {value:%b %Y}"
    if isinstance(value, float):
        places = {"min": 0, "days": 0, "in": 1, "lb": 1, "cuft": 1}.get(name.rpartition("_")[2], 2)
        return f"{value:,.{places}f}".replace("-", "−")
    if isinstance(value, int):
        return f"{value:,}".replace("-", "−")
    return str(value)


def _plain(heads: Sequence[str], rows: Sequence[Sequence[str]], caption: str) -> str:
    lines = [list(heads), *rows]
    widths = [max(len(line[k]) for line in lines) for k in range(len(heads))]
    text = ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]
    return "\n".join([caption, *text] if caption else text)


# Sums that pages show: lines of the economics, minutes, months, stock, where the figures come from.

ORIGINS = ("recorded", "rule", "assumed")


def line_sums(items: pd.DataFrame) -> pd.DataFrame:
    """The waterfall from the sold price to the net, with where each line comes from.

    One row a line and a last one ``net``: ``line``, ``amount_cents`` (costs negative), ``per_item_cents`` (whole, the
    lines adding up to the net), and the shares ``recorded``, by ``rule`` and ``assumed`` (NaN at zero).
    """
    rows = []
    for line in MONEY_LINES:
        cents = items[f"{line.name}_cents"].to_numpy(dtype=np.int64)
        origin = items[f"{line.name}_origin"].to_numpy(dtype=object)
        size = int(np.abs(cents).sum())
        shares = [np.abs(cents[origin == name]).sum() / size if size else np.nan for name in ORIGINS]
        rows.append((line.label, int(cents.sum()) * (1 if line.gain else -1), *shares))
    table = pd.DataFrame(rows, columns=["line", "amount_cents", *ORIGINS])
    net = pd.DataFrame({"line": ["net"], "amount_cents": [int(items["net_cents"].sum())]})
    table = pd.concat([table, net], ignore_index=True)
    table["per_item_cents"] = _each(table["amount_cents"].to_numpy(), len(items)) if len(items) else np.nan
    return table[["line", "amount_cents", "per_item_cents", *ORIGINS]]


def _each(cents: npt.NDArray[np.int64], count: int) -> npt.NDArray[np.int64]:
    """What each line comes to per item in whole cents, so rounded that the lines add up to the net, which is last.

    >>> _each(np.array([1000, -334, -333, 333]), 10).tolist()
    [100, -34, -33, 33]
    """
    exact = cents[:-1] / count
    each = np.floor(exact).astype(np.int64)
    net = nearest_cent(cents[-1] / count)
    each[np.argsort(each - exact, kind="stable")[: net - each.sum()]] += 1
    return np.append(each, net)


def origin_mix(items: pd.DataFrame) -> dict[str, float]:
    """How much of the money that moved is recorded, by rule, or assumed."""
    money = dict.fromkeys(ORIGINS, 0)
    for line in LINES:
        cents = np.abs(items[f"{line}_cents"].to_numpy(dtype=np.int64))
        origin = items[f"{line}_origin"].to_numpy(dtype=object)
        for name in ORIGINS:
            money[name] += int(cents[origin == name].sum())
    total = sum(money.values())
    return {name: amount / total if total else float("nan") for name, amount in money.items()}


def activity_minutes(items: pd.DataFrame, *, by: str | None = None) -> pd.DataFrame:
    """Owner minutes per activity and item."""
    rows = []
    groups = [("", items)] if by is None else sorted(items.groupby(by), key=lambda pair: _order(pair[0]))
    for name, group in groups:
        for activity in ACTIVITIES:
            minutes = group[f"{activity}_min"]
            logged = minutes[group[f"{activity}_origin"] == "recorded"].sum()
            total = minutes.sum()
            rows.append(
                (
                    name,
                    activity,
                    minutes.mean() if len(group) else np.nan,
                    len(group),
                    logged / total if total else np.nan,
                )
            )
    table = pd.DataFrame(rows, columns=[by or "group", "activity", "minutes_per_item", "items", "logged"])
    return table if by else table.drop(columns="group")


def _order(name: Any) -> tuple[int, str]:
    """Size classes from small to large, anything else by name."""
    return (SIZES.index(name) if name in SIZES else len(SIZES), str(name))


def item_rows(sold: pd.DataFrame) -> pd.DataFrame:
    """Each sold item in a row, latest sale first."""
    costs = sold[[f"{line}_cents" for line in COSTS]].sum(axis=1)
    columns = [
        "item_id",
        "title",
        "sold_on",
        "sold_price_cents",
        "taken_cents",
        "costs_cents",
        "net_cents",
        "owner_min",
        "days_listed",
    ]
    table = sold.assign(costs_cents=costs, taken_cents=sold["net_cents"] + costs)
    table = table.sort_values(["sold_on", "item_id"], ascending=[False, True])
    return table[columns].reset_index(drop=True)
