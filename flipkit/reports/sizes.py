"""Bulky against small in words and tables: what an hour on each size earns, and what each takes."""

from __future__ import annotations

import pandas as pd

from flipkit.analysis.bought import side_by_side
from flipkit.analysis.groups import in_window
from flipkit.analysis.sizes import SIZE_ORDER
from flipkit.analysis.words import TOO_FEW
from flipkit.money import show_cents
from flipkit.reports.elements import Element, table
from flipkit.reports.sentences import count_of, money_per_hour
from flipkit.reports.study import Study
from flipkit.reports.tables import bases_columns, bases_formats, bases_headings

_PAIR = ("small", "bulky")


def size_sentence(study: Study) -> tuple[str, str]:
    """Bulky against small over the window, on both bases, by the interval of their difference.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence, on bought basis where both sizes were bought; the note below it with the difference, its
        interval, and the other basis.
    """
    said = [_compared(study, basis, frame) for basis, frame in _bases(study) if _has_both(frame)]
    if not said:
        missing = [size for size in _PAIR if size not in set(study.size_returns.get("size_class", []))]
        gone = " and nothing ".join(missing or _PAIR)
        return f"Nothing {gone} sold in these months, so there is nothing to compare.", ""
    (sentence, difference), *others = said
    note = [difference, *(f"{other} {more}" for other, more in others), _unmeasured(study)]
    note.append("Dear things are more often bulky, so the bands of equal price below are the fairer comparison.")
    return sentence, " ".join(part for part in note if part)


def sizes_table(study: Study) -> Element:
    """What an hour on each size earns, both bases side by side.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    frame = side_by_side(study.size_returns, study.size_bought, by="size_class")
    frame = frame.iloc[frame["size_class"].map({size: at for at, size in enumerate(SIZE_ORDER)}).argsort()]
    return table(
        bases_columns(study, frame),
        caption="What an hour on each size earns, bought and sold basis",
        headings={"size_class": "Size", **bases_headings(study)},
        formats=bases_formats(study),
        currency=study.currency,
    )


def size_facts_table(study: Study) -> Element:
    """What each size brings and takes: a sale's net, label, minutes, losses, the days and the room.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    Element
        For a page.
    """
    headings = {
        "size_class": "Size",
        "sold": "Sales",
        "net_per_sale_cents": "Net per sale",
        "label_per_sale_cents": "Label per sale",
        "minutes_per_sale": "Minutes per sale",
        "returned_share": "Refunded",
        "loss_per_sale_cents": "Lost per sale",
        "days_to_sale": "Days to sale, median",
        "stock_items": "In stock",
        "stock_cost_cents": "Capital tied up",
        "stock_cubic_ft": "Cubic feet of stock",
        "cubic_ft": "Cubic feet a parcel",
    }
    frame = study.size_returns if len(study.size_returns) else pd.DataFrame(columns=list(headings))
    money = [name for name in headings if name.endswith("_cents")]
    formats = dict.fromkeys(money, lambda cents: show_cents(round(cents), currency=study.currency)) | {
        "returned_share": lambda share: f"{share:.1%}",
        "minutes_per_sale": lambda minutes: f"{minutes:,.0f}",
        "days_to_sale": lambda days: f"{days:,.0f}",
        "stock_cubic_ft": lambda feet: f"{feet:,.0f}",
        "cubic_ft": lambda feet: f"{feet:,.1f}",
    }
    return table(
        frame,
        caption="What each size takes and brings; lost to damage, refunds and later carrier charges",
        headings=headings,
        formats=formats,
        currency=study.currency,
    )


def _bases(study: Study) -> tuple[tuple[str, pd.DataFrame], ...]:
    return ("bought", study.size_bought), ("sold", study.size_returns)


def _has_both(frame: pd.DataFrame) -> bool:
    return len(frame) > 0 and set(_PAIR) <= set(frame["size_class"])


def _compared(study: Study, basis: str, frame: pd.DataFrame) -> tuple[str, str]:
    """What an hour on either size earns, and how sure the difference is."""
    hourly = frame.set_index("size_class")["hourly"]
    small, bulky = (_dollars(study, float(hourly[size])) for size in _PAIR)
    gap = study.size_gaps[basis]
    # Two overlapping intervals show nothing: only the interval of the difference decides.
    verdict = gap.verdict if gap.claimed else f"the difference is {TOO_FEW}"
    sentence = f"On the {basis} basis an hour of work on small things earns {small}, on bulky ones {bulky}: {verdict}."
    if not gap.claimed:
        return sentence, ""
    low, high = _dollars(study, gap.low), _dollars(study, gap.high)
    return sentence, f"Bulky less small: {_dollars(study, gap.gap)} ({study.confidence:.0%} interval {low} to {high})."


def _unmeasured(study: Study) -> str:
    """How many of the things bought have their size from others of their category."""
    bought = in_window(study.items, window=study.window(), basis="bought")
    guessed = int((bought["measures_origin"] != "recorded").sum())
    if not guessed:
        return ""
    told = f"{guessed:,} of {count_of(len(bought), 'thing')} bought"
    return f"{told} lack measures and count by their category's usual parcel."


def _dollars(study: Study, dollars: float) -> str:
    return money_per_hour(float(dollars), currency=study.currency)
