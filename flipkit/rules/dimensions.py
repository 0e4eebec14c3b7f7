"""Girth, length plus girth, united inches and volume of a thing as it is measured."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from flipkit.errors import MeasureError
from flipkit.rules import columns as cols

Lengths = npt.NDArray[np.float64]


def girth_in(*, length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    """Twice the sum of the two shorter sides.

    Parameters
    ----------
    length_in, width_in, height_in : float or array, shape (n,)
        Outside, in any order. [in]

    Returns
    -------
    array, shape (n,)
        The girth. [in]

    Raises
    ------
    MeasureError
        If a side is not a finite number above zero.

    References
    ----------
    .. [1] ``postal-guide-201e`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> float(girth_in(length_in=10, width_in=8, height_in=5)[0])
    26.0
    """
    sides = _sides(length_in, width_in, height_in)
    return 2.0 * (sides.sum(axis=0) - sides.max(axis=0))


def length_plus_girth_in(*, length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    """The longest side and the girth together.

    Parameters
    ----------
    length_in, width_in, height_in : float or array, shape (n,)
        Outside, in any order. [in]

    Returns
    -------
    array, shape (n,)
        The sum. [in]

    Raises
    ------
    MeasureError
        If a side is not a finite number above zero.

    References
    ----------
    .. [1] ``postal-guide-201e`` and ``private-network-size`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> float(length_plus_girth_in(length_in=58, width_in=26, height_in=6)[0])
    122.0
    """
    sides = _sides(length_in, width_in, height_in)
    return 2.0 * sides.sum(axis=0) - sides.max(axis=0)


def tube_length_plus_girth_in(*, length_in: float, faces_in: npt.ArrayLike) -> float:
    """Length plus girth of a tube with flat faces, such as a three-sided one.

    Parameters
    ----------
    length_in : float
        Its length. [in]
    faces_in : array, shape (k,)
        Width of each face around it. [in]

    Returns
    -------
    float
        The sum. [in]

    Raises
    ------
    MeasureError
        If a measure is not a finite number above zero, or there are fewer than three faces.

    References
    ----------
    .. [1] ``postal-guide-201e`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> tube_length_plus_girth_in(length_in=20, faces_in=[6, 6, 6])
    38.0
    """
    faces = cols.measures("faces_in", faces_in, np.size(faces_in))
    if faces.size < 3:
        raise MeasureError("faces_in", need="at least three faces", got=faces.tolist())
    return float(cols.measures("length_in", length_in, 1)[0] + faces.sum())


def united_in(*, length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    """The three outside measures together, as the carton rule adds them.

    Parameters
    ----------
    length_in, width_in, height_in : float or array, shape (n,)
        Outside, in any order. [in]

    Returns
    -------
    array, shape (n,)
        The united inches. [in]

    Raises
    ------
    MeasureError
        If a side is not a finite number above zero.

    References
    ----------
    .. [1] ``item-222`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> float(united_in(length_in=12, width_in=10, height_in=8)[0])
    30.0
    """
    return _sides(length_in, width_in, height_in).sum(axis=0)


def volume_cu_in(
    *,
    length_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    nonrectangular_factor: float | None = None,
) -> Lengths:
    """The space that a thing fills, its box or the share of its box that a rule grants.

    Parameters
    ----------
    length_in, width_in, height_in : float or array, shape (n,)
        Outside, in any order; a tube's diameter is its width and its height. [in]
    nonrectangular_factor : float, optional
        Share of its box that a thing which is no box fills, from the rule set.

    Returns
    -------
    array, shape (n,)
        The volume. [cu in]

    Raises
    ------
    MeasureError
        If a side is not a finite number above zero.

    References
    ----------
    .. [1] ``postal-measuring`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> float(volume_cu_in(length_in=16, width_in=6, height_in=12)[0])
    1152.0
    """
    volume = _sides(length_in, width_in, height_in).prod(axis=0)
    return volume if nonrectangular_factor is None else volume * nonrectangular_factor


def _sides(length_in: npt.ArrayLike, width_in: npt.ArrayLike, height_in: npt.ArrayLike) -> Lengths:
    rows = cols.row_count(length_in=length_in, width_in=width_in, height_in=height_in)
    named = (("length_in", length_in), ("width_in", width_in), ("height_in", height_in))
    return np.stack([cols.measures(name, value, rows) for name, value in named])
