"""What the numbers say in words, for the head of each page and the text beside each chart.

Every sentence is made from the study's numbers and claims no more than they bear.
"""

from __future__ import annotations

import math

import pandas as pd

from flipkit.analysis.returns import TOO_FEW
from flipkit.economics.overrides import suppositions
from flipkit.money import show_cents
from flipkit.reports.elements import origin_mix
from flipkit.reports.study import Study


def money_per_hour(dollars: float, *, currency: str) -> str:
    """An hourly return as text.

    >>> money_per_hour(14.2, currency="USD"), money_per_hour(float("nan"), currency="USD")
    ('$14.20', '–')
    """
    return "–" if math.isnan(dollars) else show_cents(round(dollars * 100), currency=currency)


def month_name(month: str) -> str:
    """A month in words.

    >>> month_name("2026-10")
    'October 2026'
    """
    return pd.Period(month, "M").strftime("%B %Y")


def count_of(number: int, noun: str, plural: str = "") -> str:
    """A number with its noun.

    >>> count_of(1, "sale"), count_of(1200, "category", "categories")
    ('1 sale', '1,200 categories')
    """
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def month_sentence(study: Study) -> tuple[str, str]:
    """What an hour earned in the month, and how sure that is.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    tuple of (str, str)
        The sentence; the note below it with the interval, the target, a month and a year ago.
    """
    returns = study.shop_returns
    row = returns.loc["this month"]
    if not row["items"]:
        return _nothing_sold(study, f"in {month_name(study.month)}")
    sentence = (
        f"In {month_name(study.month)} an hour of your own work earned {_hourly(study, row)}: "
        f"{count_of(int(row['items']), 'sale')}, {show_cents(int(row['net_cents']), currency=study.currency)} net, "
        f"{row['owner_min'] / 60:,.0f} hours."
    )
    ago = [
        f"{when}: {_hourly(study, returns.loc[when])}" if returns.loc[when, "items"] else f"{when}: nothing sold"
        for when in ("a month ago", "a year ago")
    ]
    target = show_cents(study.assumptions.cents("hour.target"), currency=study.currency)
    note = f"{_interval(study, row)} Target: {target}. {'; '.join(ago).capitalize()}."
    return sentence, " ".join(filter(None, [note, supposed_sentence(study), run_out_sentence(study)]))


def supposed_sentence(study: Study) -> str:
    """What this run supposes in place of what the books record."""
    held = study.assumptions
    wage = show_cents(held.cents("help.wage"), currency=study.currency)
    said = {
        "suppose.wage_for": f"help at {wage} an hour whatever was paid",
        "suppose.fee_points": f"fees {held.number('suppose.fee_points'):+g} percentage points",
        "suppose.divisor": f"a divisor of {held.whole('suppose.divisor'):,} for every parcel",
        "suppose.minutes": f"{held.number('suppose.minutes'):g} times your own minutes",
    }
    found = [said[key] for key in suppositions(held)]
    return f"Supposed in place of the books: {'; '.join(found)}.".replace("-", "−") if found else ""


def run_out_sentence(study: Study) -> str:
    """Which rule tables have ended, so that their last values are assumed."""
    if not study.rules_run_out:
        return ""
    named = " ".join(one.text for one in study.rules_run_out)
    return f"Assumed, because a rule table ran out: {named} flipkit check shows the lines to add."


def window_sentence(study: Study) -> str:
    """What the window's sales and purchases earned an hour, both bases side by side.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One or two sentences.
    """
    first, last = study.window()
    sold = study.shop_returns.loc["the window"]
    span = f"from {first.isoformat()} to {last.isoformat()}"
    if not sold["items"]:
        return _nothing_sold(study, span)[0]
    text = f"What sold {span} earned {_hourly(study, sold)} an hour."
    if study.shop_bought.empty:
        return text
    row = study.shop_bought.iloc[0]
    so_far = money_per_hour(float(row["hourly_so_far"]), currency=study.currency)
    return (
        f"{text} Everything bought in those months stands at {_hourly(study, row)} an hour when unsold things count "
        f"with what they may still bring, and at {so_far} when they count at what they cost so far."
    )


def category_sentence(study: Study, category: str) -> tuple[str, str]:
    """What an hour of a category's work earned, and how sure that is.

    Parameters
    ----------
    study : Study
        The numbers.
    category : str
        Name of the category.

    Returns
    -------
    tuple of (str, str)
        The sentence and the note below it.
    """
    sold = study.sold_returns[study.sold_returns["category"] == category]
    bought = study.bought_returns[study.bought_returns["category"] == category]
    unsold = study.unsold_items(category)
    note = _stock_words(study, unsold)
    if len(bought):
        row = bought.iloc[0]
        # Of what never sold nobody knows what it will bring.
        known = row["claimed"] and row["sold"]
        stands = f"{_hourly(study, row)} an hour, {_interval(study, row)}" if known else f"{TOO_FEW}."
        note = (
            f"Counting everything bought in the same months, unsold things with what they may still bring: "
            f"{stands} {int(row['sold'])} of {count_of(int(row['items']), 'purchase')} sold. {note}"
        )
    if sold.empty:
        return f"{category.capitalize()}: nothing sold in these months.", note
    row = sold.iloc[0]
    # The verdict is that of the overview: things that sold say nothing of those that did not.
    judged = bought.iloc[0] if len(bought) and bought.iloc[0]["claimed"] and bought.iloc[0]["sold"] else row
    with_unsold = "" if judged is row else f"; with the unsold counted, {_hourly(study, judged)}"
    sentence = (
        f"{category.capitalize()}: an hour of your own work earned {_hourly(study, row)} "
        f"over {count_of(int(row['items']), 'sale')}{with_unsold} – {judged['verdict']}."
    )
    return sentence, f"{_interval(study, row)} {note}"


def nothing_sold(study: Study, category: str) -> str:
    """What is said in the place of a category's chart where nothing of it sold in the window.

    Parameters
    ----------
    study : Study
        The numbers.
    category : str
        Name of the category.

    Returns
    -------
    str
        One sentence.
    """
    first, last = study.window()
    return f"Of {category}, nothing sold from {first.isoformat()} to {last.isoformat()}: there is no price to follow."


def stock_sentence(study: Study) -> str:
    """What is in stock, what it cost, and what it may still bring.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One or two sentences.
    """
    unsold = study.unsold_items()
    text = _stock_words(study, unsold)
    if unsold.empty:
        return text
    if not study.items["sold_on"].notna().any():
        return f"{text} Nothing has sold yet, so what it may bring is not known."
    may = round(float(study.prospects.loc[unsold.index, "value_cents"].sum()))
    likely = float(study.prospects.loc[unsold.index, "chance"].sum())
    return (
        f"{text} Over the next {study.horizon.days} days it may bring {show_cents(may, currency=study.currency)} after "
        f"what is still to be paid, about {likely:,.0f} of the items selling."
    )


def break_even_sentence(study: Study) -> str:
    """At which sold price an hour on bulky things beats one on small ones.

    Parameters
    ----------
    study : Study
        The numbers.

    Returns
    -------
    str
        One or two sentences.
    """
    found = study.break_even
    if not found.claimed or math.isnan(found.price_cents):
        return f"The price at which bulky wins: {found.verdict}."

    def shown(cents: float) -> str:
        return "no price" if math.isinf(cents) else show_cents(round(cents / 100) * 100, currency=study.currency)[:-3]

    beyond = (
        ""
        if found.seen_from_cents <= found.price_cents <= found.seen_to_cents
        else " No bulky thing sold at such a price in these months, so this is a guess beyond the sales."
    )
    return (
        f"From a sold price of about {shown(found.price_cents)} on, an hour on bulky things earns more than an hour on "
        f"small ones does on average ({study.confidence:.0%} interval {shown(found.low_cents)} to "
        f"{shown(found.high_cents)}).{beyond}"
    )


def trace_sentence(items: pd.DataFrame) -> str:
    """How much of the money shown is recorded, follows from a rule, or is assumed.

    Parameters
    ----------
    items : DataFrame
        The items shown.

    Returns
    -------
    str
        One sentence.
    """
    mix = origin_mix(items)
    if any(math.isnan(share) for share in mix.values()):
        return "No sale has brought money yet."
    return (
        f"Of the money behind these figures {mix['recorded']:.0%} is recorded in the books, "
        f"{mix['rule']:.0%} follows from a dated rule and {mix['assumed']:.0%} is assumed."
    )


def _hourly(study: Study, row: pd.Series) -> str:
    return money_per_hour(float(row["hourly"]), currency=study.currency)


def _interval(study: Study, row: pd.Series) -> str:
    if not row["claimed"]:
        return (
            f"{TOO_FEW.capitalize()}: {count_of(int(row['items']), 'sale')} from {count_of(int(row['trips']), 'trip')}."
        )
    low, high = (money_per_hour(float(row[end]), currency=study.currency) for end in ("low", "high"))
    return f"{study.confidence:.0%} interval {low} to {high}."


def _nothing_sold(study: Study, when: str) -> tuple[str, str]:
    unsold = study.unsold_items()
    ever = study.items["sold_on"].notna().any()
    sentence = f"Nothing sold {when}." if ever else "Nothing sold yet."
    return sentence, _stock_words(study, unsold)


def _stock_words(study: Study, unsold: pd.DataFrame) -> str:
    if unsold.empty:
        return "Nothing is in stock."
    cost = show_cents(int(unsold["cost_cents"].sum()), currency=study.currency)
    held = f"{unsold['days_held'].median():,.0f} days"
    return f"In stock: {count_of(len(unsold), 'item')} that cost {cost}, held {held} at the median."
