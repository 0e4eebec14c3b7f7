"""How reading, economics and a whole pack grow with the shop, in seconds of processor and in memory.

Run it by hand: ``python -m tests.benchmarks.bench_growth [economics ITEMS ... | pack ITEMS CATEGORIES]``; alone it
prints the economics of 1,000, 10,000 and 100,000 items with a bar each, every size in a process of its own. The shops
are the demo's books copied under other names, every copy a few percent dearer than the one before, their categories
spread over as many as asked. Of a pack the pages' weight and the lists of too many names stand below. The figures go
to ``growth.json`` with day and versions.
"""

from __future__ import annotations

import ctypes
import datetime as dt
import math
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import pandas as pd

from flipkit.paths import demo_folder
from tests.benchmarks.bench_speed import keep

RESULTS = Path(__file__).with_name("growth.json")
SIZES, SPREAD = (1_000, 10_000, 100_000), 200
#: Columns that name a row of another table, and those of money that a copy has dearer.
NAMES = ("item_id", "trip_id", "lot_id")
MONEY = ("price", "list_price", "sold_price", "cost")
#: More names than a sentence may list.
MOST_NAMED = 12


def line(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def larger_demo(folder: Path, items: int, categories: int) -> Path:
    """The demo's books many times over, cut at a number of items, under a number of categories."""
    shutil.copytree(demo_folder(), folder, ignore=shutil.ignore_patterns("pictures"))
    tables = {path.stem: pd.read_csv(path, dtype=str, keep_default_na=False) for path in folder.glob("*.csv")}
    own = sorted(set(tables["items"]["category"]))
    copies = math.ceil(items / len(tables["items"]))
    kept: set[str] = set()
    for name in ("items", "lots", "trips", "price_changes", "work", "comparables"):
        parts = []
        for copy in range(copies):
            part = tables[name].copy()
            for column in (one for one in NAMES if one in part):
                part[column] = part[column].where(part[column] == "", part[column] + f"-{copy:03}")
            if "category" in part:
                # Which of its namesakes a copy's category is; the first ones of the alphabet have one more.
                of = {k: (categories - own.index(k) + len(own) - 1) // len(own) for k in own}
                turned = {k: k if not copy % of[k] else f"{k} {copy % of[k] + 1}" for k in own}
                part["category"] = part["category"].replace(turned)
            for column in (one for one in MONEY if one in part):
                told = pd.to_numeric(part[column], errors="coerce") * (1 + copy / 100)
                part[column] = told.map("{:.2f}".format).where(told.notna(), part[column])
            parts.append(part)
        whole = pd.concat(parts, ignore_index=True)
        if name == "items":
            whole = whole.head(items)
            kept = set(whole["item_id"])
        elif "item_id" in whole:
            whole = whole[whole["item_id"].isin(kept | {""})]
        whole.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
    return folder


def adopt_orphans() -> None:
    """Have what a command leaves behind, the server of its kernels, end as a child of ours that counts as ours."""
    # From Linux's prctl.h: PR_SET_CHILD_SUBREAPER. Elsewhere the kernels are left out.
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(36, 1, 0, 0, 0)


def spent() -> float:
    """Seconds of processor of the processes that have ended and that this one, in the end, waited for."""
    with suppress(ChildProcessError):
        while True:
            os.waitpid(-1, 0)
    use = resource.getrusage(resource.RUSAGE_CHILDREN)
    return use.ru_utime + use.ru_stime


def economics(items: int) -> None:
    """Print what one size takes: items, reading, economics, memory."""
    from flipkit.assumptions import load_assumptions
    from flipkit.books.read import last_recorded_day, read_books
    from flipkit.economics.items import item_economics
    from flipkit.rules.tables import load_rules

    with tempfile.TemporaryDirectory() as place:
        books = larger_demo(Path(place, "books"), items, SPREAD if items >= 10_000 else 12)
        start = time.process_time()
        read = read_books(books)
        taken = [time.process_time() - start]
        rules = load_rules(read.rules_folder).lasts()
        assumptions = load_assumptions(read.assumptions_file, currency=read.shop.currency)
        start = time.process_time()
        found = item_economics(read, rules, assumptions, last_recorded_day(read, until=dt.date.today()))
        taken.append(time.process_time() - start)
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        line(f"{len(found.items)} {taken[0]:.2f} {taken[1]:.2f} {most:.2f}")


def pack(items: int, categories: int, out: Path | None) -> None:
    """Make a whole pack of a shop of a size."""
    with tempfile.TemporaryDirectory() as place:
        books = larger_demo(Path(place, "books"), items, categories)
        target = out or Path(place, "packs", "pack")
        adopt_orphans()
        before, start = spent(), time.perf_counter()
        command = [sys.executable, "-m", "flipkit", "report", str(books), "--out", str(target)]
        subprocess.run(command, check=True)
        wall, taken = time.perf_counter() - start, spent() - before
        most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
        line(f"{items:,} items: {taken:.0f} s of processor, {wall:.0f} s by the clock, {most:.2f} GB in one process")
        made = (target / "pack.html").stat().st_size
        found = {"processor_s": round(taken), "clock_s": round(wall), "most_gb": round(most, 2), "pack_bytes": made}
        keep(RESULTS, **{f"pack of {items} items in {categories} categories": found})
        for file in sorted(target.glob("*.*"), key=lambda path: -path.stat().st_size)[:12]:
            line(f"{file.name:50} {file.stat().st_size / 1e3:9,.0f} kB")
        names = set(pd.read_csv(books / "items.csv")["category"])
        for file in sorted(target.glob("*.html")):
            texts = re.findall(r"<(?:p|li)\b[^>]*>(.*?)</(?:p|li)>", file.read_text(encoding="utf-8"), re.DOTALL)
            named = max((sum(name in text for name in names), text) for text in [*texts, ""])
            if named[0] > MOST_NAMED and file.stem != "pack":
                line(f"{file.name}: {named[0]} categories in one text: {re.sub('<[^>]+>', '', named[1])[:160]}")


def main() -> None:
    asked = sys.argv[1:]
    if asked[:1] == ["pack"]:
        pack(int(asked[1]), int(asked[2]), Path(asked[3]) if len(asked) > 3 else None)
        return
    if asked[:1] == ["economics"] and len(asked) == 2:
        economics(int(asked[1]))
        return
    line(f"{'items':>9} {'reading':>9} {'economics':>9} {'GB':>6}  s of economics for 1,000 items")
    rows = {}
    for size in [int(one) for one in asked[1:]] or SIZES:
        command = [sys.executable, "-m", "tests.benchmarks.bench_growth", "economics", str(size)]
        told = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout.split()
        count, reading, costing, most = int(told[0]), *map(float, told[1:])
        each = 1000 * costing / count
        rows[count] = {"reading_s": reading, "economics_s": costing, "most_gb": most}
        line(f"{count:9,} {reading:9.2f} {costing:9.2f} {most:6.2f}  {each:.3f} {'#' * round(100 * each)}")
    keep(RESULTS, economics=rows)


if __name__ == "__main__":
    main()
