"""An offer for a thing in stock, from the file that a report left to the line that it prints."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys

import numpy as np
import pytest
from click.testing import CliRunner

from flipkit.analysis.knowledge_file import read_plans
from flipkit.analysis.offers import COUNTER, TAKE, WAIT, offer_answer
from flipkit.cli.main import main
from flipkit.errors import AssumptionError, NotEnoughDataError, PackError

STEPS = [["2026-11-08", 6000, 5000], ["2026-12-06", 6000, 4400], ["2027-01-03", 4200, 3900], ["2027-03-07", 0, 0]]
THING = {"title": "Lamp", "steps": STEPS, "floor_cents": 1200, "action": "hold", "asked_cents": 6000}
HEAD = {"version": 1, "as_of": "2026-11-14", "currency": "USD", "sales": 50, "too_few": 10}
PLANS = {**HEAD, "things": {"A-0042": THING}}
DAY = dt.date(2026, 11, 20)


@pytest.fixture
def pack(tmp_path):
    folder = tmp_path / "packs" / "2026-10"
    folder.mkdir(parents=True)
    (folder / "stock.json").write_text(json.dumps(PLANS), encoding="utf-8")
    return folder


def run(*arguments: object):
    return CliRunner().invoke(main, ["offer", *map(str, arguments)])


def test_a_higher_offer_never_gets_a_worse_answer_and_counters_keep_within_the_plan():
    random = np.random.default_rng(3)
    rank = {WAIT: 0, COUNTER: 1, TAKE: 2}
    for _ in range(300):
        asked = int(random.integers(5, 400)) * 100
        lowest = min(int(random.integers(1, 400)) * 100, asked)
        thing = {**THING, "steps": [["2026-11-08", asked, lowest]]}
        offers = np.sort(random.integers(1, 45_000, 6))
        plans = {**PLANS, "things": {"A": thing}}
        found = [offer_answer(plans, "A", int(cents), on=DAY) for cents in offers]
        ranks = [rank[one["answer"]] for one in found]
        assert ranks == sorted(ranks)
        for cents, one in zip(offers, found, strict=True):
            assert (one["answer"] == TAKE) == (cents >= lowest)
            if one["answer"] == COUNTER:
                assert max(cents, lowest) <= one["counter_cents"] <= asked


def test_the_answer_rests_on_its_day():
    early, late, over = (
        offer_answer(PLANS, "a-0042", 4000, on=day) for day in (DAY, dt.date(2027, 1, 10), dt.date(2027, 4, 1))
    )
    assert (early["answer"], early["enough_from"]) == (COUNTER, "2027-01-03")
    assert late["answer"] == TAKE
    assert over["given_up"]
    assert over["answer"] == TAKE
    assert offer_answer(PLANS, "A-0042", 1000, on=dt.date(2027, 4, 1))["answer"] == WAIT


def test_the_command_says_what_to_do_with_dollars_and_a_day(pack):
    shown = run("A-0042", "45", "--from", pack, "--on", "2026-11-20").output
    assert "Counter at $53: $45 is $5 too little today. If it is still here on 6 Dec 2026, $45 will be enough." in shown
    assert "On 3 Jan 2027, mark it down to $42. Until then" in shown
    assert "Take the $50" in run("a-0042", "50", "--from", pack, "--on", "2026-11-20").output
    said = json.loads(run("A-0042", "--from", pack, "--on", "2026-12-06", "--json").output)
    assert said["lowest_offer_cents"] == 4400
    assert "answer" not in said
    for arguments, text in (
        (("A-0024", "5"), "did you mean"),
        (("A-0042", "0"), "above 0"),
        (("A-0042", "x"), "offer"),
    ):
        refused = run(*arguments, "--from", pack)
        assert refused.exit_code == 2
        assert text in refused.output
        assert len(refused.output.strip().splitlines()) == 1


def test_what_is_no_plan_is_refused_and_tables_of_data_stay_shut(pack, tmp_path):
    with pytest.raises(PackError, match="flipkit report"):
        read_plans(tmp_path)
    (tmp_path / "stock.json").write_text("[]", encoding="utf-8")
    with pytest.raises(PackError, match="plans for a shop"):
        read_plans(tmp_path)
    with pytest.raises(NotEnoughDataError, match="at least 10"):
        offer_answer({**PLANS, "sales": 9}, "A-0042", 5000, on=DAY)
    with pytest.raises(AssumptionError, match="typical price"):
        offer_answer(PLANS, "zzz", 5, on=DAY)
    code = (
        "import sys; from flipkit.cli.main import main\n"
        f"main(['offer', 'A-0042', '45', '--from', {str(pack)!r}], standalone_mode=False)\n"
        "assert not {'pandas', 'scipy'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
