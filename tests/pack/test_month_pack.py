"""The whole way from books to a pack, on small books."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from flipkit.analysis.forecasts import kept_forecasts
from flipkit.analysis.knowledge_file import read_knowledge
from flipkit.cli.main import main
from flipkit.pack.month import make_month_pack, month_plan
from flipkit.pack.standing import standing_pack
from flipkit.reports.category import page_names
from tests.helpers.small_books import write_books
from tests.helpers.without_kernels import without_kernels

ITEMS = """
item_id,title,category,bought_on,cost,listed_on,list_price,sold_on,sold_price,length_in,width_in,height_in,weight_lb
A,Jug </script><b>,stoneware,2026-01-03,10.00,2026-01-05,60.00,2026-02-20,50.00,10,8,6,3
B,Lamp,lamps & shades,2026-02-04,12.50,2026-02-05,45.00,2026-02-28,40.00,30,18,16,20
C,Jar,stoneware,2026-02-04,2.00,2026-02-05,55.00,,,10,8,6,3
"""


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def packs(tmp_path_factory):
    """A pack from two kernels at a time, and the same made again from its manifest without any."""
    folder = tmp_path_factory.mktemp("flip kit {x}")
    books = write_books(folder / "books", items=ITEMS)
    options = ["--set", "hour.target=30", "--set", "report.too_few_items=2", "--jobs", "2"]
    made = run("report", books, *options, "--out", folder / "first")
    assert made.exit_code == 0, made.output
    with without_kernels():
        again = run("report", books, "--again", folder / "first" / "run.json", "--out", folder / "second")
    assert again.exit_code == 0, again.output
    assert "Every byte is the same as before." in again.output
    return folder / "first", folder / "second"


@pytest.mark.slow
def test_the_same_books_and_day_give_the_same_bytes(packs):
    first, second = (contents(folder) for folder in packs)
    assert first == second
    assert {"index.html", "run.json", "pack.html", "pack.zip", "category-lamps-shades.html"} <= set(first)


@pytest.mark.slow
def test_what_stands_as_it_would_be_made_is_left_alone(packs, tmp_path):
    books, settings = packs[0].parent / "books", {"hour.target": "30", "report.too_few_items": "2"}
    pack = Path(shutil.copytree(packs[0], tmp_path / "pack"))
    made = contents(pack)
    options = [word for pair in settings.items() for word in ("--set", "=".join(pair))]
    stays = run("report", books, *options, "--out", pack)
    assert stays.output.startswith("Nothing has changed since this pack was made"), stays.output
    assert contents(pack) == made
    asked = {"month": "", "as_of": "", "settings": settings, "categories": (), "out": pack}
    assert standing_pack(books, **asked) == pack
    others = ({"categories": ("stoneware",)}, {"settings": settings | {"hour.target": "31"}}, {"as_of": "2026-03-15"})
    for other in others:
        assert standing_pack(books, **(asked | other)) is None
    changed = Path(shutil.copytree(books, tmp_path / "books")) / "items.csv"
    changed.write_text(changed.read_text(encoding="utf-8").replace("40.00", "41.00"), encoding="utf-8")
    assert standing_pack(changed.parent, **asked) is None
    (pack / "category-stoneware.html").write_text("cut")
    assert standing_pack(books, **asked) is None


@pytest.mark.slow
def test_other_books_are_not_taken_for_the_same(packs, tmp_path):
    file = shutil.copytree(packs[0].parent / "books", tmp_path / "books") / "items.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("40.00", "41.00"), encoding="utf-8")
    refused = run("report", file.parent, "--again", packs[0], "--out", tmp_path / "third")
    assert refused.exit_code == 2
    assert "items.csv is changed" in refused.output
    assert len(refused.output.strip().splitlines()) == 1
    assert not (tmp_path / "third").exists()


@pytest.mark.slow
def test_the_index_links_every_page_and_nothing_else(packs):
    index = (packs[0] / "index.html").read_text(encoding="utf-8")
    pages = {path.name for path in packs[0].glob("*.html")} - {"index.html"}
    assert len(pages) == 10
    for page in pages:
        assert f'href="{page}"' in index


@pytest.mark.slow
def test_the_pack_holds_what_the_shop_aisle_asks_for(packs):
    knowledge = read_knowledge(packs[0])
    assert knowledge["as_of"] == "2026-02-28"
    assert knowledge["wishes"]["target_cents"] == 3000
    assert set(knowledge["categories"]) == {"stoneware", "lamps & shades", "whole shop"}


@pytest.mark.slow
def test_forecasts_are_kept_beside_the_packs_and_the_next_run_scores_them(packs):
    """The second pack saw what the first had kept on the same day, and is the same to the byte."""
    parent = packs[0].parent
    kept = list((parent / "track-record").glob("*/forecasts.csv"))
    assert len(kept) == 1
    assert kept_forecasts(kept[0].parent)["subject"].tolist() == ["C", "C"]
    assert not list((parent / "books").rglob("forecasts.csv"))
    assert "No forecast is old enough" in (packs[1] / "trust.html").read_text(encoding="utf-8")
    plan = month_plan(
        parent / "books",
        as_of="2026-04-02",
        out=parent / "next",
        categories=["stoneware"],
        settings={"report.too_few_items": "2"},
    )
    with without_kernels(plan.study):
        later = make_month_pack(plan, jobs=1).folder
    assert [path.name for path in later.glob("category-*")] == ["category-stoneware.html"]
    page = (later / "trust.html").read_text(encoding="utf-8")
    assert "Of 1 item on sale" in page
    assert set(kept_forecasts(kept[0].parent)["made_on"].dt.date.astype(str)) == {"2026-02-28", "2026-04-02"}


@pytest.mark.slow
def test_what_the_books_say_is_shown_and_not_run(packs):
    page = (packs[0] / "category-stoneware.html").read_text(encoding="utf-8")
    assert "Jug </script><b>" not in page
    assert "Jug &lt;/script&gt;&lt;b&gt;" in page


@pytest.mark.slow
def test_the_manifest_says_what_the_pack_is_made_from(packs):
    run = json.loads((packs[0] / "run.json").read_text(encoding="utf-8"))
    assert (run["month"], run["as_of"], run["currency"]) == ("2026-02", "2026-02-28", "USD")
    assert set(run["inputs"]) == {"items.csv"}
    own = [entry for entry in run["assumptions"] if entry["layer"] == "this run"]
    assert [(entry["key"], entry["value"]) for entry in own] == [
        ("hour.target", "$30.00"),
        ("report.too_few_items", "2"),
    ]
    assert {rule["kind"] for rule in run["rules"]} == {"size classes", "parcel rules"}


@pytest.mark.slow
def test_no_place_of_this_machine_stands_in_a_pack(packs):
    for name, body in contents(packs[0]).items():
        assert str(packs[0].parent).encode() not in body, name


def test_categories_spelt_nearly_alike_get_a_page_each():
    assert page_names(["Jugs, blue", "jugs blue", "JUGS-BLUE", "—"]) == {
        "Jugs, blue": "category-jugs-blue",
        "jugs blue": "category-jugs-blue-2",
        "JUGS-BLUE": "category-jugs-blue-3",
        "—": "category-unnamed",
    }
