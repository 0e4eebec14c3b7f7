"""Many short texts handled at once, at the speed of the processor instead of one call a text."""

from __future__ import annotations

import operator
import re
from collections.abc import Collection, Sequence

import numpy as np
import numpy.typing as npt

#: Digits above 0 are alike where only the marks between them matter.
_ALIKE = bytes(ord("9") if 48 < code < 58 else code for code in range(256))
_AMOUNT = re.compile(rb"9{1,9}\.99")


def shapes_of(texts: Collection[str]) -> list[bytes] | None:
    """The shape of each text: its digits above 0 made 9, everything else as it stands.

    Parameters
    ----------
    texts : collection of str, n texts
        The texts.

    Returns
    -------
    list of bytes, n shapes, or None
        The shapes in the order of the texts; None where a text has a line end in it.

    Examples
    --------
    >>> shapes_of(["1.204,50", "7"])
    [b'9.909,90', b'9']
    """
    shapes = "\n".join(texts).encode("utf-8", "surrogatepass").translate(_ALIKE).split(b"\n")
    return shapes if len(shapes) == len(texts) else None


def cents_of(texts: Sequence[str]) -> npt.NDArray[np.int64] | None:
    """Amounts such as ``1234.50`` as whole cents, all at once.

    Parameters
    ----------
    texts : sequence of str, n texts
        Cells, none of them blank.

    Returns
    -------
    array of int64, shape (n,), or None
        The cents; None where any text is written otherwise.

    Examples
    --------
    >>> cents_of(["1234.50", "0.07"]).tolist(), cents_of(["12.5"]) is None
    ([123450, 7], True)
    """
    if not texts:
        return np.zeros(0, dtype=np.int64)
    shapes = shapes_of(texts)
    if shapes is None or not all(_AMOUNT.fullmatch(shape.replace(b"0", b"9")) for shape in set(shapes)):
        return None
    digits = "\n".join(texts).replace(".", "")
    return np.fromstring(digits, dtype=np.int64, sep="\n")


def any_among(words: Collection[str], texts: Collection[str]) -> bool:
    """Whether any of some small words stands anywhere in some texts, whatever its capitals.

    Parameters
    ----------
    words : collection of str
        The words, small.
    texts : collection of str
        The texts.

    Returns
    -------
    bool
        True where one does.

    Examples
    --------
    >>> any_among(["total"], ["crock", "Grand Total"])
    True
    """
    joined = "\n".join(texts).lower()
    return any(word in joined for word in words)


def alike_names(names: Sequence[str], marks: bytes) -> bool:
    """Whether any two of some different names are the same but for capitals and marks.

    Parameters
    ----------
    names : sequence of str
        Different names.
    marks : bytes
        Marks that do not tell two names apart.

    Returns
    -------
    bool
        True where two are.

    Examples
    --------
    >>> alike_names(["Lamp", "lamps"], b" -"), alike_names(["A-1", "a 1"], b" -")
    (False, True)
    """
    plain = "\n".join(names).casefold().encode("utf-8", "surrogatepass").translate(None, marks).split(b"\n")
    return len(set(plain)) < len(names)


def first_letters(texts: Collection[str]) -> set[str]:
    """The letters that some texts begin with; an empty one where a text is blank.

    Parameters
    ----------
    texts : collection of str
        The texts.

    Returns
    -------
    set of str
        The letters.

    Examples
    --------
    >>> sorted(first_letters(["#1", "lamp", ""]))
    ['', '#', 'l']
    """
    return set(map(_FIRST, texts))


_FIRST = operator.itemgetter(slice(0, 1))
