"""The full model under moved assumptions, quickly: what an assumption does not move is computed once.

Both bases, intervals, pulled figures and verdicts are those that ``open_study`` gives for the same
settings, to the last digit: the same functions compute them, over lines of which only those are
computed anew that move.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping, Sequence

from flipkit.analysis.sliders import Settings
from flipkit.economics.items import Supposing, item_economics
from flipkit.economics.overrides import NOTHING_SUPPOSED, suppositions
from flipkit.errors import AssumptionError
from flipkit.items.wages import EVERYBODY
from flipkit.money import show_cents
from flipkit.reports.sentences import count_of, money_per_hour, supposed_sentence
from flipkit.reports.sliders import wage_paid
from flipkit.reports.study import Study

TARGET = "hour.target"
#: Assumptions that the five settings stand for.
MOVED_KEYS = (TARGET, "help.wage", *NOTHING_SUPPOSED)


class MovedStudies:
    """A study, and the same study under other assumptions.

    Parameters
    ----------
    study : Study
        Where everything starts.
    """

    def __init__(self, study: Study) -> None:
        self.base = study
        self.start = Settings(
            target=study.target,
            wage=wage_paid(study),
            points=study.assumptions.number("suppose.fee_points"),
            divisor=study.assumptions.whole("suppose.divisor"),
            factor=study.assumptions.number("suppose.minutes"),
        )
        self._others: dict[str, str] = {}
        self._study, self._supposing = study, _supposing(study)

    def prepare(self, divisors: Sequence[int]) -> MovedStudies:
        """Price every label at these divisors, so that the first move to one answers as soon as the next.

        Parameters
        ----------
        divisors : sequence of int
            Cubic inches a pound.

        Returns
        -------
        MovedStudies
            The studies themselves.
        """
        for divisor in divisors:
            self._supposing.dearer(divisor)
        return self

    def under(self, settings: Settings, others: Mapping[str, str] | None = None) -> Study:
        """The study under moved assumptions.

        Parameters
        ----------
        settings : Settings
            Where the five stand.
        others : mapping of str to str, optional
            Any other assumption by its key. Every item is then computed anew, once.

        Returns
        -------
        Study
            What ``open_study`` gives for :meth:`overrides` of the same.

        Raises
        ------
        AssumptionError
            If an assumption is unknown, has a place among the five, or cannot take its value.
        """
        self._take(dict(others or {}))
        moved = self.overrides(settings)
        if not moved:
            return self._study
        study = self._study
        assumptions = study.assumptions.changed(moved, currency=study.currency)
        said = json.dumps([study.key, {key: str(value) for key, value in moved.items()}], sort_keys=True)
        key = hashlib.sha256(said.encode()).hexdigest()
        return dataclasses.replace(
            study, assumptions=assumptions, economics=self._supposing.under(assumptions), key=key
        )

    def overrides(self, settings: Settings) -> dict[str, object]:
        """The moved ones of the five as assumptions.

        Parameters
        ----------
        settings : Settings
            Where they stand.

        Returns
        -------
        dict of str to object
            Dotted key to value, as ``open_study`` takes them.
        """
        start = self.start
        found: dict[str, object] = {}
        if settings.target != start.target:
            found[TARGET] = f"{settings.target:.2f}"
        if settings.wage != start.wage:
            found |= {"help.wage": f"{settings.wage:.2f}", "suppose.wage_for": EVERYBODY}
        if settings.points != start.points:
            found["suppose.fee_points"] = settings.points
        if settings.divisor != start.divisor:
            found["suppose.divisor"] = settings.divisor
        if settings.factor != start.factor:
            found["suppose.minutes"] = settings.factor
        return found

    def _take(self, others: dict[str, str]) -> None:
        """Start from other assumptions than before, where they are others."""
        if others == self._others:
            return
        taken = [key for key in others if key in MOVED_KEYS]
        if taken:
            raise AssumptionError(taken[0], need="to be moved where it stands by itself", got=others[taken[0]])
        study = self.base
        if others:
            assumptions = study.assumptions.changed(others, currency=study.currency)
            economics = item_economics(study.books, study.rules, assumptions, study.as_of)
            said = json.dumps([study.key, others], sort_keys=True)
            key = hashlib.sha256(said.encode()).hexdigest()
            study = dataclasses.replace(study, assumptions=assumptions, economics=economics, key=key)
        self._study, self._supposing, self._others = study, _supposing(study), others


def _supposing(study: Study) -> Supposing:
    """The study's lines with nothing supposed, ready to be asked."""
    recorded = study.economics
    if suppositions(study.assumptions):
        plain = study.assumptions.changed(NOTHING_SUPPOSED)
        recorded = item_economics(study.books, study.rules, plain, study.as_of)
    return Supposing(recorded, study.rules, study.assumptions)


def moved_sentence(study: Study, start: Study) -> tuple[str, str]:
    """What the categories earn under moved assumptions, and what was moved.

    Parameters
    ----------
    study : Study
        The numbers as moved.
    start : Study
        The numbers before.

    Returns
    -------
    tuple of (str, str)
        The sentence and the note below it.

    Notes
    -----
    The whole shop's figures are plain ratios of sums; the categories' intervals stand in the chart and
    the table.
    """
    bought, sold = study.bought_returns, study.sold_returns
    note = moved_note(study, start)
    if bought.empty:
        return "Nothing was bought in these months, so there is no hour to weigh.", note
    target = show_cents(study.assumptions.cents("hour.target"), currency=study.currency)
    verdicts = bought["verdict"].tolist()
    sides = [verdicts.count(f"{side} the target") for side in ("above", "below")]
    sentence = (
        f"{sides[0]} of {count_of(len(bought), 'category', 'categories')} above {target}, {sides[1]} below, unsold "
        f"things counted with what they may still bring."
    )
    parts = []
    for frame, net, minutes, told in (
        (bought, "expected_net_cents", "expected_min", "Everything bought in these months stands at"),
        (sold, "net_cents", "owner_min", "What sold earned"),
    ):
        hours = float(frame[minutes].sum()) / 60
        if hours > 0:
            hourly = money_per_hour(float(frame[net].sum()) / 100 / hours, currency=study.currency)
            parts.append(f"{told} {hourly} an hour.")
    return sentence, " ".join([*parts, note])


def moved_note(study: Study, start: Study) -> str:
    """What was moved, and what is supposed.

    Parameters
    ----------
    study : Study
        The numbers as moved.
    start : Study
        The numbers before.

    Returns
    -------
    str
        One or two sentences.
    """
    before = start.assumptions.entries
    moved = [
        f"{'your target' if key == TARGET else key} from {before[key].text(currency=study.currency)} to "
        f"{entry.text(currency=study.currency)}"
        for key, entry in study.assumptions.entries.items()
        if entry.value != before[key].value and (key == TARGET or key not in MOVED_KEYS)
    ]
    found = [f"Moved: {'; '.join(moved)}." if moved else "", supposed_sentence(study)]
    return " ".join(filter(None, found)) or "Nothing is moved: this is the report as it stands."
