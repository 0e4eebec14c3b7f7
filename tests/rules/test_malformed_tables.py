"""One malformed file for each mistake: the first line of each says the words of the error."""

from __future__ import annotations

import pickle
import shutil
from pathlib import Path

import pytest

from flipkit.errors import RuleTableError
from flipkit.rules.tables import load_rules

MALFORMED = Path(__file__).parent / "malformed"
FILES = sorted(MALFORMED.glob("*.toml"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_malformed_table_is_one_line_that_says_what_and_where(file, tmp_path):
    words = file.read_text(encoding="utf-8").splitlines()[0].removeprefix("# ")
    shutil.copy(file, tmp_path)
    for table in MALFORMED.glob("*.csv"):
        shutil.copy(table, tmp_path)
    with pytest.raises(RuleTableError) as caught:
        load_rules(tmp_path)
    text = str(caught.value)
    assert "\n" not in text
    assert text.startswith(f"rules/{file.stem}.")
    place = 0
    for part in words.split("…"):
        place = text.find(part, place)
        assert place >= 0, f"{part!r} is not in {text!r}"
    error = caught.value
    assert error.found is not None or "this is missing" in text
    assert error.needed
    assert str(pickle.loads(pickle.dumps(error))) == text  # noqa: S301


def test_every_kind_of_table_has_its_mistakes():
    stems = {file.stem.split("_")[0] for file in FILES}
    assert {"fees", "parcels", "cards", "csv", "mileage", "sizes"} <= stems
    assert len(FILES) > 80


def test_two_own_tables_of_one_name_are_a_mistake(tmp_path):
    text = (
        'kind = "fees"\nname = "twin"\n[[block]]\nfrom = 2025-01-01\nsource = "demo"\nseen = "found"\n'
        'commission = { rate = "5 %" }\n'
    )
    (tmp_path / "a.toml").write_text(text)
    (tmp_path / "b.toml").write_text(text)
    with pytest.raises(
        RuleTableError, match=r"rules/b.toml: key name: this is 'twin'. It needs a name that rules/a.toml has not"
    ):
        load_rules(tmp_path)


def test_a_folder_that_is_not_there_is_a_mistake(tmp_path):
    with pytest.raises(RuleTableError, match=r"rates: no such folder. It needs a folder of rule tables"):
        load_rules(tmp_path / "rates")


def test_a_table_in_another_encoding_is_a_mistake(tmp_path):
    (tmp_path / "old.toml").write_bytes('kind = "fees"\nname = "caf\xe9"\n'.encode("latin-1"))
    with pytest.raises(RuleTableError, match=r"rules/old.toml: .*utf-8.* It needs valid TOML in UTF-8"):
        load_rules(tmp_path)
