"""Columns made for a frame and handed to one without copying."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.rules.columns import Columns

if TYPE_CHECKING:
    import pandas as pd


def stacked(names: Sequence[str], rows: int, dtype: npt.DTypeLike) -> Columns:
    """Empty columns side by side in one block, which ``as_frame`` hands over without copying.

    Parameters
    ----------
    names : sequence of str
        Their names.
    rows : int
        Their length.
    dtype : dtype
        Their type.

    Returns
    -------
    dict of arrays, shape (rows,)
        Zeros.
    """
    return dict(zip(names, np.zeros((len(names), rows), dtype=dtype), strict=True))


def as_category(codes: npt.NDArray[Any], words: Sequence[str]) -> pd.Categorical:
    """A column of few words as a categorical, which a million rows carry as numbers.

    Parameters
    ----------
    codes : array, shape (n,)
        Number of each row's word.
    words : sequence of str
        The words.

    Returns
    -------
    pandas.Categorical
        The column.
    """
    import pandas as pd

    return pd.Categorical.from_codes(codes, categories=list(words))


def as_frame(columns: Mapping[str, Any]) -> pd.DataFrame:
    """Columns as a frame; pandas is imported here, at first use, because it is slow to import.

    Parameters
    ----------
    columns : mapping
        Columns of one length, arrays or categoricals.

    Returns
    -------
    pandas.DataFrame
        The frame, rows numbered from 0.
    """
    import pandas as pd

    parts: list[pd.DataFrame] = []
    names = list(columns)
    while names:
        block = getattr(columns[names[0]], "base", None)
        held = names[:1]
        if block is not None and block.ndim == 2 and len(block) <= len(names):
            beside = names[: len(block)]
            if all(_is_row(columns[name], block, row) for row, name in enumerate(beside)):
                held = beside
        if len(held) > 1 and block is not None:
            parts.append(pd.DataFrame(block.T, columns=held, copy=False))
        else:
            parts.append(pd.DataFrame({name: columns[name] for name in held}))
        names = names[len(held) :]
    return parts[0] if len(parts) == 1 else pd.concat(parts, axis=1)


def _is_row(column: npt.NDArray[Any], block: npt.NDArray[Any], row: int) -> bool:
    return column.base is block and column.shape == block[row].shape and column.ctypes.data == block[row].ctypes.data
