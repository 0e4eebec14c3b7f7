from __future__ import annotations

import datetime as dt
import pickle

import pytest

from flipkit import errors
from flipkit.errors import (
    AssumptionError,
    FlipkitError,
    MeasureError,
    NotebookParameterError,
    RuleNotInForceError,
    RuleTableError,
)

EXAMPLES = [
    MeasureError("height_in", need="above 0 in", got=-3, where="items.csv row 17", mend="measure it again"),
    AssumptionError("help.wage", need="at least 0", got="-1"),
    RuleTableError("post.toml", block="2019-06-23", key="divisor", found="x", needed="a whole number above 0"),
    RuleNotInForceError("post", dt.date(1990, 1, 1), ["from 2007-01-01"]),
    NotebookParameterError("overview.ipynb", unknown=["mont"], declared=["month"]),
]


def test_every_error_is_a_flipkit_error_and_a_builtin_one():
    own = [thing for thing in vars(errors).values() if isinstance(thing, type) and issubclass(thing, FlipkitError)]
    for kind in own:
        if kind is not FlipkitError and not kind.__name__.startswith("_"):
            assert any(issubclass(kind, builtin) for builtin in (ValueError, LookupError, TypeError, RuntimeError))
            assert kind.__name__ in (errors.__doc__ or "")


@pytest.mark.parametrize("error", EXAMPLES, ids=lambda error: type(error).__name__)
def test_errors_cross_a_process_boundary_whole(error):
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own bytes
    assert type(back) is type(error)
    assert str(back) == str(error)
    assert vars(back) == vars(error)


def test_words_name_need_got_where_and_mend():
    assert str(EXAMPLES[0]) == "height_in must be above 0 in, got -3 (items.csv row 17): measure it again"
    assert "post has no block in force on 1990-01-01; its blocks: from 2007-01-01" in str(EXAMPLES[3])
    assert "declares no parameter mont; it declares month" in str(EXAMPLES[4])
    assert str(EXAMPLES[2]) == (
        "post.toml: block 2019-06-23, key divisor: this is 'x'. It needs a whole number above 0"
    )
