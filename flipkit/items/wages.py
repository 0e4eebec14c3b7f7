"""What hired hands cost, item by item, kept so that they can be paid at any wage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import Assumptions
from flipkit.economics.hiring import hired_costs
from flipkit.money import Cents, share_out_groups

#: Whom ``help.wage`` is for, as ``suppose.wage_for`` says it.
EVERYBODY = "everybody"

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


@dataclass(frozen=True)
class HiredWork:
    """Hired minutes of the work log with the items that they were for, and those that no log tells.

    Attributes
    ----------
    worker : tuple of str
        Who did each logged stretch of hired work.
    minutes : array, shape (m,)
        How long each took. [min]
    stretch, row : int array, shape (k,)
        Each stretch with each of its items: number of the stretch, row of the item.
    weight : array, shape (k,)
        In what proportion a stretch is shared over its items.
    unlogged_min : array, shape (n,)
        Packing of each item that help is assumed to do. [min]
    people : DataFrame
        Who works: role, wage, payroll burden.
    """

    worker: tuple[str, ...]
    minutes: Floats
    stretch: Places
    row: Places
    weight: Floats
    unlogged_min: Floats
    people: pd.DataFrame

    def cents(self, assumptions: Assumptions) -> Cents:
        """What hired work on each item costs.

        Parameters
        ----------
        assumptions : Assumptions
            ``help.wage`` and ``help.burden``, and ``suppose.wage_for``: whether the wage stands in for
            what people were paid.

        Returns
        -------
        array, shape (n,)
            The cost; each stretch is rounded once and shared out without losing a cent. [cents]
        """
        assumed = assumptions.cents("help.wage"), assumptions.ppm("help.burden")
        cents = hired_costs(self.unlogged_min, wage_cents=assumed[0], burden_ppm=assumed[1])
        if self.worker:
            pay = self._pay(assumptions)
            wage, burden = (np.array([pay[name][at] for name in self.worker], dtype=np.int64) for at in (0, 1))
            paid = hired_costs(self.minutes, wage_cents=wage, burden_ppm=burden)
            np.add.at(cents, self.row, share_out_groups(paid, self.stretch, self.weight))
        return cents

    def _pay(self, assumptions: Assumptions) -> dict[str, tuple[int, int]]:
        """Wage and burden of each worker: the people table's, and the assumed ones where it is silent."""
        wage, burden = assumptions.cents("help.wage"), assumptions.ppm("help.burden")
        alike = assumptions.text("suppose.wage_for") == EVERYBODY
        return {
            person.worker: (
                wage if alike or pd.isna(person.wage_cents) else int(person.wage_cents),
                burden if pd.isna(person.payroll_burden_ppm) else int(person.payroll_burden_ppm),
            )
            for person in self.people.itertuples(index=False)
        }
