"""Kills, fuzz, random shops, the versions of what is installed: tried and survived, kept in one results file.

python -m tests.benchmarks.bench_faults kills 200
python -m tests.benchmarks.bench_faults fuzz 1000000 20    # so many, from this seed on
python -m tests.benchmarks.bench_faults shops 5000 2    # so many more, in so many processes; all are counted
python -m tests.benchmarks.bench_faults versions
python -m tests.benchmarks.bench_faults mutants 200 money    # with the extra "bench"; again: what is left of them
"""

from __future__ import annotations

import datetime as dt
import difflib
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import textwrap
import time
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from importlib.metadata import PackageNotFoundError, distribution, requires
from itertools import accumulate
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement

from flipkit import owned
from tests.helpers.fuzz import failures
from tests.helpers.kills import SIGNALS, killed, run, small_export, small_shop
from tests.helpers.random_shops import faults_of_shop

ROOT = Path(__file__).resolve().parents[2]
RESULTS = Path(__file__).with_name("faults.json")
#: Commands, and the seconds after which each may be killed.
COMMANDS = {
    "report": (["report", "shop", "--jobs", "2"], 6.0),
    "convert": (["convert", "export.csv", "--into", "books", "--yes"], 1.5),
    "start": (["start", "new"], 1.0),
}
#: Parts whose mutants are to be killed: the code, and the tests that see it.
MUTATED = {
    "money": ("flipkit/money.py", ["tests/test_money.py"]),
    "rules": ("flipkit/rules/*.py", ["tests/rules"]),
    "economics": ("flipkit/economics/*.py", ["tests/economics"]),
    "returns": (
        "flipkit/analysis/returns.py",
        [
            f"tests/analysis/test_{name}.py"
            for name in ("hourly", "shrinkage", "sizes", "gaps", "ratios", "expected_stock_values")
        ],
    ),
    "survival": (
        "flipkit/analysis/survival.py",
        [f"tests/analysis/test_{name}.py" for name in ("survival", "waiting", "expected_stock_values")],
    ),
    "plan": (
        "flipkit/packing/plan.py",
        [f"tests/packing/test_{name}.py" for name in ("plan", "judgement", "words", "hands_needed", "lifting")],
    ),
}
#: Mutants that do the same as what they replace, by function and line, each with its reason.
EQUIVALENT = Path(__file__).with_name("equivalent_mutants.json")
#: Seconds of a mutant's tests, the quickest first: beyond them a mutant that lives costs more than it tells.
LONGEST = 90.0
#: Seconds of a test that is run beside another of its file.
QUICK_S = 0.3
#: Laid beside the tests of mutants. What unchanged code kept of the mutated would be found in a fork; of the
#: examples in docstrings each is run once, not for every mutant's copy; what needs the demo's study or draws its
#: own cases is left out.
QUICK = """
import importlib
import sys

def pytest_sessionstart(session):
    above = set({modules})
    for name in above:
        importlib.import_module(name)
    ours = {{name: list(vars(module).values()) for name, module in sys.modules.items() if name.startswith("flipkit")}}
    used = {{name: {{getattr(one, "__module__", getattr(one, "__name__", "")) for one in ours[name]}} for name in ours}}
    while more := {{name for name in ours if used[name] & above}} - above:
        above |= more
    for name in above & set(ours):
        for one in ours[name]:
            if callable(getattr(one, "cache_clear", None)):
                one.cache_clear()
            for each in (one, *vars(one).values()) if isinstance(one, type) else (one,):
                if "__mutmut_" in getattr(each, "__name__", ""):
                    each.__doc__ = None

def pytest_collection_modifyitems(items):
    items[:] = [
        one for one in items
        if "demo_studies" not in getattr(one, "fixturenames", ())
        and not one.get_closest_marker("slow")
        and not getattr(getattr(one, "obj", None), "is_hypothesis_test", False)
    ]
"""
#: Runs mutants one after another, each in a fork of a process that has run some tests of each, and prints how it ended.
RUN = """
import json, os, resource, sys
import pytest

def run(mutant, tests):
    os.environ["MUTANT_UNDER_TEST"] = mutant
    return pytest.main(["-x", "-qqq", "--rootdir=.", "--tb=no", "-p", "no:cacheprovider", "--doctest-modules",
                        "-n", "0", "-p", "flipkit.charts", *tests])

told = sys.stdout
sys.stdout = open(os.devnull, "w")
wanted = json.load(sys.stdin)
if run("", sorted({test for tests, _ in wanted.values() for test in tests[:3]})):
    raise SystemExit("the tests fail on what is not mutated")
for mutant, (tests, seconds) in wanted.items():
    child = os.fork()
    if not child:
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 1))
        os._exit(run(mutant, tests))
    print(mutant, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), file=told, flush=True)
"""


def kept(name: str, found: dict[str, Any]) -> None:
    """One line of the results file, written anew."""
    results = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {}
    results[name] = found = {**found, "day": f"{dt.date.today()}"}
    RESULTS.write_text(json.dumps(results, indent=2, sort_keys=True) + "\n", encoding="utf-8")
    print(name, json.dumps({key: value for key, value in found.items() if not isinstance(value, dict)}))  # noqa: T201


def kills(count: int, only: Iterable[str] = COMMANDS) -> None:
    """Each command killed at random moments: processes five seconds later, and what a whole run leaves."""
    for name in only:
        words, latest = COMMANDS[name]
        rng, began = random.Random(7), time.monotonic()  # noqa: S311
        with tempfile.TemporaryDirectory(prefix="fk-", dir=owned.temporary_place()) as folder:
            home = Path(folder, "w")
            temporary = Path(folder, "t")
            home.mkdir()
            temporary.mkdir()
            small_shop(home / "shop")
            small_export(home / "export.csv")
            tried = survived = alive = sooner = 0
            for k in range(count):
                ended = killed(words, SIGNALS[k % 4], rng.uniform(0.05, latest), cwd=home, temporary=temporary)
                tried, alive, sooner = tried + 1, alive + ended.alive, sooner + ended.sooner
                survived += ended.alive == 0
                if k % 20 == 19 or k == count - 1:
                    found = {"tried": tried, "survived": survived, "processes left": alive, "ended sooner": sooner}
                    kept(f"kills of {name}", {**found, "minutes": round((time.monotonic() - began) / 60, 1)})
            after = run(words, cwd=home, temporary=temporary)
            hidden = [path.name for path in home.rglob(".*") if path.name.startswith((".flipkit", ".2026"))]
            found |= {"whole run after": after.returncode, "left in the places": hidden}
            kept(f"kills of {name}", {**found, "left in temporary": [path.name for path in temporary.iterdir()]})


def fuzz(count: int, first: int = 20) -> None:
    """Random texts and files through all readers, 5,000 a seed."""
    began, told = time.monotonic(), []
    for tried in range(0, count, 5_000):
        with tempfile.TemporaryDirectory() as folder:
            told += [f"seed {first}: {one}" for one in failures(min(5_000, count - tried), Path(folder), seed=first)]
        first, done = first + 1, min(tried + 5_000, count)
        found = {"tried": done, "survived": done - len(told), "first": told[:5], "next seed": first}
        kept("fuzzed inputs", {**found, "minutes": round((time.monotonic() - began) / 60, 1)})


def shops(count: int, jobs: int = 1) -> None:
    """So many further random shops through the study and every page, by turns of two kinds, and all that were yet."""
    version = subprocess.run(
        ["git", "describe", "--always", "--dirty"], cwd=ROOT, capture_output=True, text=True
    ).stdout
    before = json.loads(RESULTS.read_text(encoding="utf-8")).get("random shops", {})
    first, began = before.get("next seed", FIRST_SHOP), time.monotonic()
    tried, told, by = before.get("tried", 0), before.get("faults", []), dict(before.get("tried by version", {}))
    survived, minutes = before.get("survived", 0), before.get("minutes", 0)
    with ProcessPoolExecutor(jobs) as pool:
        for seed, faults in enumerate(pool.map(_shop, range(first, first + count)), first):
            tried, survived = tried + 1, survived + (not faults)
            told += [f"shop {seed} at {version.strip()}: {fault}" for fault in faults]
            by[version.strip()] = by.get(version.strip(), 0) + 1
            if seed % 20 == 19 or seed == first + count - 1:
                spent = round(minutes + (time.monotonic() - began) / 60, 1)
                found = {"tried": tried, "survived": survived, "next seed": seed + 1, "minutes": spent}
                kept("random shops", {**found, "faults": told, "tried by version": by})


#: The first of the random shops: seeds before it stand in the tests.
FIRST_SHOP = 10_000


def _shop(seed: int) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        return faults_of_shop(Path(folder), seed)


def mutants(count: int, name: str) -> None:
    """A drawn sample of mutants of one part, run against the tests of that part; those killed before stay killed."""
    code, tests = MUTATED[name]
    began, seed = time.monotonic(), 20
    reasons = json.loads(EQUIVALENT.read_text(encoding="utf-8"))
    # Kept, since making the mutants takes the longest: mutmut makes those of a changed function anew.
    home = Path(tempfile.gettempdir(), f"flipkit-mutants-of-{name}")
    for kept_part in ("flipkit", "tests", "data_demo", "notebooks", "mutants/tests"):
        shutil.rmtree(home / kept_part, ignore_errors=True)
    for kept_part in ("flipkit", "tests", "data_demo", "notebooks"):
        shutil.copytree(ROOT / kept_part, home / kept_part)
    for path in ROOT.glob("flipkit/**/*.*") if (home / "mutants").exists() else ():
        held = home / "mutants" / path.relative_to(ROOT)
        if path.suffix != ".pyc" and not Path(f"{held}.meta").exists():
            shutil.copy2(path, held)
    lines = ["source_paths=flipkit", f"only_mutate={code}", "also_copy=\n data_demo\n notebooks\n conftest.py"]
    files = [str(path.relative_to(ROOT)) for path in sorted(ROOT.glob(code))]
    lines += ["pytest_add_cli_args_test_selection=" + "".join(f"\n {test}" for test in (*tests, *files))]
    lines += ["pytest_add_cli_args=\n --doctest-modules\n -n\n 0\n -p\n no:cacheprovider\n -p\n flipkit.charts"]
    lines += ["use_git_change_detection=False", "track_dependencies=False"]
    (home / "setup.cfg").write_text("[mutmut]\n" + "\n".join(lines), encoding="utf-8")
    modules = [file.removesuffix(".py").removesuffix("/__init__").replace("/", ".") for file in files]
    (home / "conftest.py").write_text(QUICK.format(modules=modules), encoding="utf-8")
    told = "\n".join(f"{mark}: expected figures" for mark in ("published", "worked", "pinned", "browser", "slow"))
    (home / "pytest.ini").write_text(f"[pytest]\nmarkers =\n{textwrap.indent(told, '    ')}\n", encoding="utf-8")

    def ends() -> dict[str, int | None]:
        found: dict[str, int | None] = {}
        for file in sorted((home / "mutants").rglob("*.py.meta")):
            found |= json.loads(file.read_text(encoding="utf-8"))["exit_code_by_key"]
        return found

    # Makes all mutants and finds the tests of each function; one quick mutant is run, or all tests would be.
    any_one = next((one for one in ends() if "__repr__" in one or "require_" in one), "none such")
    subprocess.run(
        [sys.executable, "-m", "mutmut", "run", "--max-children", "1", any_one], cwd=home, capture_output=True
    )
    made = ends()
    quickest = _quickest_first(home / "mutants" / "mutmut-stats.json")
    drawn = random.Random(seed).sample(sorted(made), min(count, len(made)))  # noqa: S311
    said = dict(_lines(home / "mutants", drawn))
    before: dict[str, int] = {one: end for one in drawn if (end := made[one]) is not None}
    found = {one: end for one, end in before.items() if end not in (0, 33)}
    left = [one for one in drawn if one not in found and said[one] not in reasons]
    found |= {one: 33 for one in left if not quickest.get(one.partition("__mutmut")[0])}
    asked = {one: quickest[one.partition("__mutmut")[0]] for one in left if one not in found}
    environment = {**os.environ, "PYTHONPATH": str(home / "mutants")}
    with subprocess.Popen(
        [sys.executable, "-c", RUN],
        cwd=home / "mutants",
        env=environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdin is not None
        assert running.stdout is not None
        running.stdin.write(json.dumps(dict(sorted(asked.items(), key=lambda one: one[1][1]))))
        running.stdin.close()
        for line in running.stdout:
            one, end = line.split()
            found[one] = int(end)
            _noted(home / "mutants", one, int(end))
    same = {said[one] for one in drawn if said[one] in reasons}
    alive = {one: said[one] for one in drawn if found.get(one) in (0, 33)}
    undone = [one for one in drawn if one not in found and said[one] not in reasons]
    equivalent = sum(said[one] in reasons for one in drawn)
    killed = len(drawn) - equivalent - len(alive) - len(undone)
    result: dict[str, Any] = {"mutants": len(made), "tried": len(drawn), "killed": killed, "survived": len(alive)}
    result |= {"equivalent": equivalent, "no test": sum(found[one] == 33 for one in alive), "not run": len(undone)}
    result |= {"share killed": round(killed / max(killed + len(alive), 1), 3), "seed": seed, "survivors": alive}
    result["reasons"] = {line: reasons[line] for line in sorted(same)}
    result["minutes"] = round((time.monotonic() - began) / 60, 1)
    kept(f"mutants of {name}", {**result, "mutmut": distribution("mutmut").version})


def _noted(home: Path, mutant: str, end: int) -> None:
    """How a mutant ended, kept where mutmut keeps it, so that a run that was stopped goes on."""
    module = mutant.rpartition(".")[0].replace(".", "/")
    file = next(path for path in (home / f"{module}.py.meta", home / module / "__init__.py.meta") if path.exists())
    told = json.loads(file.read_text(encoding="utf-8"))
    told["exit_code_by_key"][mutant] = end
    file.write_text(json.dumps(told), encoding="utf-8")


def _lines(home: Path, wanted: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Of each mutant its function and the lines that it changes, from the places that mutmut keeps."""
    wanted, sources = set(wanted), dict[str, list[str]]()
    for index in sorted(home.rglob("*.py.spans")):
        text = index.with_suffix("").read_text(encoding="utf-8").splitlines()
        module = str(index.relative_to(home)).removesuffix(".py.spans").removesuffix("/__init__").replace("/", ".")
        for name, (start, end) in json.loads(index.read_text(encoding="utf-8"))["spans"].items():
            lines = (re.sub(r"__mutmut_\w+", "", line).strip() for line in text[start - 1 : end])
            sources[f"{module}.{name}"] = list(lines)
    for one in wanted & set(sources):
        whole = sources[one.partition("__mutmut")[0] + "__mutmut_orig"]
        diff = list(difflib.unified_diff(whole, sources[one], n=0, lineterm=""))[2:]
        new, gone = (" ".join(line[1:] for line in diff if line[0] == mark) for mark in "+-")
        yield one, f"{_function(one)}: {new or f'without {gone}'}"


def _quickest_first(stats: Path) -> dict[str, tuple[list[str], float]]:
    """The tests that a function's mutants are run against, and the seconds they may take.

    What a module's fixture calls is put down to the first of its tests alone, so the quick others are run too, file
    by file, since each would make the fixture anew.
    """
    told = json.loads(stats.read_text(encoding="utf-8"))
    spent, found, of_file = told["duration_by_test"], {}, dict[str, list[str]]()
    for test in sorted(spent, key=spent.__getitem__):
        of_file.setdefault(test.partition("::")[0], []).append(test)
    for name, tests in told["tests_by_mangled_function_name"].items():
        files = {test.partition("::")[0] for test in tests}
        each = [[test for test in of_file[file] if test in tests or spent[test] < QUICK_S] for file in files]
        ordered = [test for some in sorted(each, key=lambda some: sum(spent[test] for test in some)) for test in some]
        so_far = list(accumulate(spent[test] for test in ordered))
        some = ordered[: max(bisect_right(so_far, LONGEST), 1)]
        found[name] = some, 30 + 3 * sum(spent[test] for test in some)
    return found


def _function(mutant: str) -> str:
    return (
        mutant.partition("__mutmut")[0].removeprefix("flipkit.").replace(".x_", ".").replace("xǁ", "").replace("ǁ", ".")
    )


def versions() -> None:
    """Each installed dependency with its version and licence; no service for advisories is asked."""
    found: dict[str, dict[str, str]] = {}
    waiting = ["flipkit"]
    while waiting:
        name = waiting.pop()
        for line in requires(name) or []:
            needed = Requirement(line)
            key = needed.name.lower().replace("_", "-")
            if key in found or (needed.marker is not None and not needed.marker.evaluate({"extra": ""})):
                continue
            try:
                held = distribution(needed.name)
            except PackageNotFoundError:
                continue
            found[key] = {"version": held.version, "licence": _licence(held.metadata), "advisories": "not checked"}
            waiting.append(needed.name)
    unknown = sum(entry["licence"] == "not said" for entry in found.values())
    kept("dependencies", {"counted": len(found), "licence not said": unknown, "each": found})


def _licence(metadata: Any) -> str:
    said = metadata.get("License-Expression") or ""
    classes = [line.split(" :: ")[-1] for line in metadata.get_all("Classifier") or [] if line.startswith("License ::")]
    text = (metadata.get("License") or "").strip().splitlines()
    return said or ", ".join(classes) or (text[0][:60] if text else "not said")


if __name__ == "__main__":
    what, *rest = sys.argv[1:]
    if what == "versions":
        versions()
    elif what == "mutants":
        mutants(int(rest[0]), rest[1])
    elif what == "kills":
        kills(int(rest[0]), rest[1:] or COMMANDS)
    else:
        {"fuzz": fuzz, "shops": shops}[what](*map(int, rest))
