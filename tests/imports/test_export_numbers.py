"""Numbers as other programs write them: marks, signs, currencies, and what settles them."""

from __future__ import annotations

from decimal import Decimal

import pytest
from babel.numbers import format_currency, format_decimal
from hypothesis import given
from hypothesis import strategies as st

from flipkit.imports.values import NumberEvidence, PlainNumbers, number_of, read_written


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("12", ".", "12"),
        ("12.50", ".", "12.50"),
        ("1,234.50", ".", "1234.50"),
        ("1.234,50", ",", "1234.50"),
        ("1 234,50", ",", "1234.50"),
        ("1\u00a0234,50", ",", "1234.50"),
        ("1\u202f234", ".", "1234"),
        ("1'234.50", ".", "1234.50"),
        ("1,23,456.78", ".", "123456.78"),
        ("1,234", ".", "1234"),
        ("1,234", ",", "1.234"),
        ("12,5", ",", "12.5"),
        (".5", ".", "0.5"),
        ("5.", ".", "5"),
        ("$12.50", ".", "12.50"),
        ("-$12.50", ".", "-12.50"),
        ("$-12.50", ".", "-12.50"),
        ("US$ 12.50", ".", "12.50"),
        ("12,50 €", ",", "12.50"),
        ("EUR 12,50", ",", "12.50"),
        ("12.50 USD", ".", "12.50"),
        ("(12.50)", ".", "-12.50"),
        ("($1,234.50)", ".", "-1234.50"),
        ("12.50-", ".", "-12.50"),
        ("−12.50", ".", "-12.50"),
        ("12.50 DR", ".", "-12.50"),
        ("12.50 CR", ".", "12.50"),
        ("7,5 %", ",", "7.5"),
        ("+3", ".", "3"),
        ("0.00", ".", "0.00"),
    ],
)
def test_a_number_is_read_exactly(text, decimal, value):
    assert number_of(text, decimal) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("12.50", ","),
        ("12,50", "."),
        ("1.234,50", "."),
        ("1,2345.00", "."),
        ("12,34,5.00", "."),
        ("1.2.3", "."),
        ("12 in", "."),
        ("abc", "."),
        ("(12", "."),
        ("12)", "."),
        ("--5", "."),
        ("(-5)", "."),
        ("$5 €", "."),
        ("1 2 3", "."),
        ("12 34", "."),
        ("5/6", "."),
        ("", "."),
        ("5 XYZ", "."),
        ("1e5", "."),
        ("٣", "."),
    ],
)
def test_what_is_no_number_under_that_mark_is_not_made_one(text, decimal):
    assert number_of(text, decimal) is None


def test_only_three_digits_behind_one_mark_are_in_doubt():
    assert read_written("1,234").doubtful == ","
    assert read_written("1.234").doubtful == "."
    for text in ("12,34", "0,123", "1234,567", ",567", "1,234,567", "1.234,5"):
        assert not read_written(text).doubtful, text


@pytest.mark.parametrize(
    "locale", ["en_US", "de_DE", "fr_FR", "it_IT", "es_ES", "sv_SE", "de_CH", "pl_PL", "pt_BR", "en_IN"]
)
@pytest.mark.parametrize("value", ["0.07", "12.50", "999.99", "1234.50", "1234567.89", "-45.10"])
def test_amounts_that_babel_writes_come_back(locale, value):
    # Outside authority: the texts are written by babel's own locale data.
    exact = Decimal(value)
    for text in (
        format_decimal(exact, format="#,##0.00" if locale != "en_IN" else "#,##,##0.00", locale=locale),
        format_currency(exact, "EUR", locale=locale),
    ):
        written = read_written(text)
        assert written is not None, text
        assert number_of(text, written.decimal) == exact, text


def found_in(*texts):
    evidence = NumberEvidence()
    evidence.add(texts)
    return evidence


def test_a_column_with_cents_settles_its_mark():
    assert list(found_in("1,234", "12.50").decisive) == ["."]
    assert list(found_in("1.234", "12,50").decisive) == [","]
    assert list(found_in("1.234,50", "12.50").decisive) == [",", "."]


def test_thousands_are_proved_by_how_the_whole_column_is_written():
    assert found_in("1,234", "5,678", "12,000", "999", "5", "70").grouped == ","
    assert found_in("1,234", "5,678", "12,000").grouped == ""  # nothing below a thousand
    assert found_in("1,234", "5,678", "12,000", "999", "5", "70", "4000").grouped == ""  # one is not marked
    assert found_in("1,234", "5,678", "12,000", "999", "5", "70", "1.5").grouped == ""


def test_signs_and_currencies_are_counted():
    evidence = found_in("-1.00", "(2.00)", "0.00", "$3.00", "4.00 €", "-0.00")
    assert (evidence.negatives, evidence.positives) == (2, 2)
    assert evidence.currencies == {"$": 1, "EUR": 1}


@given(
    st.lists(
        st.from_regex(r"(\(|-)?[$€]?[0-9]{1,3}([.,][0-9]{3}){0,2}([.,][0-9]{1,3})?\)?", fullmatch=True), max_size=40
    )
)
def test_evidence_by_shape_equals_evidence_by_text(texts):
    """Reading one text of each shape says the same as reading every text."""
    distinct = sorted(set(texts))
    together, one_by_one = found_in(*distinct), NumberEvidence()
    for text in distinct:
        one_by_one.add([text])
    for name in ("read", "unread", "marked", "below_thousand", "from_thousand", "with_part", "negatives", "positives"):
        assert getattr(together, name) == getattr(one_by_one, name), name
    assert set(together.decisive) == set(one_by_one.decisive)
    assert together.currencies == one_by_one.currencies


@given(
    st.lists(st.integers(0, 99_999_999), min_size=1, max_size=30),
    st.sampled_from([(".", ","), (",", "."), (",", " "), (".", "'"), (".", "")]),
    st.sampled_from(["", "$", "€"]),
)
def test_plain_amounts_in_bulk_equal_exact_ones(cents, marks, sign):
    decimal, thousands = marks
    texts = []
    for value in cents:
        whole = f"{value // 100:,}".replace(",", thousands)
        texts.append(f"{sign}{whole}{decimal}{value % 100:02}")
    plain = PlainNumbers(decimal, "CAD" if sign == "$" else "EUR").cents(texts)
    assert plain == [f"{value // 100}.{value % 100:02}" for value in cents]


@pytest.mark.parametrize(
    "texts", [["12.5"], ["12.50", "-1.00"], ["12.50", "abc"], ["012.50"], ["1,234"], ["5 %"], ["a\nb"]]
)
def test_bulk_leaves_what_is_not_plain(texts):
    assert PlainNumbers(".", "USD").cents(texts) is None


@given(st.text(max_size=45))
def test_no_text_breaks_the_number_reader(text):
    written = read_written(text)
    if written is not None:
        assert any(c.isdigit() for c in written.body)
