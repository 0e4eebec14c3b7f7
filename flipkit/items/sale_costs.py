"""What a sale costs: the marketplace's fee and the label, recorded, by rule or assumed."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import SIZES, Assumptions
from flipkit.money import Cents, percentage
from flipkit.rules import fees, postage
from flipkit.rules.tables import Rules

Bools = npt.NDArray[np.bool_]
Origins = npt.NDArray[np.object_]
