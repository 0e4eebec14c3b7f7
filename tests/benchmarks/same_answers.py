"""Whether the kit still says what it said, to the letter: packs, executed notebooks and 200 seeded commands.

Run it by hand in a tree, then in a changed one, and compare; texts that name a module of the kit may differ::

    python -m tests.benchmarks.same_answers record before.json
    python -m tests.benchmarks.same_answers compare before.json             # against the tree as it stands
    python -m tests.benchmarks.same_answers compare before.json after.json

It knows the kit by its command and its files alone, so it runs unchanged wherever the modules are.
"""

from __future__ import annotations

import base64
import contextlib
import difflib
import hashlib
import importlib.util
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import tomllib
import zipfile
import zlib
from html.parser import HTMLParser
from pathlib import Path

import click
from click.testing import CliRunner

from tests.benchmarks import seeded_commands

ROOT = Path(__file__).resolve().parents[2]
MODULE = re.compile(r"\bflipkit(?:\.[A-Za-z_]\w*)+|\bflipkit(?:/\w+)+\.py(?::\d+)?")
#: The demo's pack, one of its early days with other assumptions, and one of small books that know little.
PACKS = {
    "demo": ["--month", "2026-10", "--as-of", "2026-11-14"],
    "early": ["--month", "2025-06", "--as-of", "2025-07-09", "--set", "hour.target=25", "--set", "help.wage=18"],
    "small": ["books", "--month", "2026-07", "--as-of", "2026-08-20"],
}
NUMBER = re.compile(r"-?\d+\.\d{6,}(?:e[-+]?\d+)?")
#: Notebooks that no pack runs.
ALONE = ("packing_plan", "move_assumptions")
#: One command in so many goes through a process of its own.
IN_A_PROCESS = 25
MOST_LINES, WIDEST = 14, 150
INLINE = {"a", "abbr", "code", "em", "span", "strong"}

Texts = dict[str, dict[str, str]]


class _Visible(HTMLParser):
    """What a reader sees or hears of a page, a line a block, and the JSON of its charts with sorted keys."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text, self.data, self.inside = "", "", ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "style"):
            self.inside, self.data = ("json" if "json" in (dict(attrs).get("type") or "") else tag), ""
        kept = [f"[{k}={v}]" for k, v in attrs if k in ("alt", "aria-label", "href", "id", "title") or k[:5] == "data-"]
        self.text += ("" if tag in INLINE else "\n") + " ".join(kept)

    def handle_endtag(self, tag: str) -> None:
        if self.inside == "json":
            self.text += ordered(json.loads(self.data))
        self.inside = ""

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.data += data
        else:
            self.text += re.sub(r"\s+", " ", data)


def ordered(data: object) -> str:
    return json.dumps(data, indent=1, sort_keys=True, ensure_ascii=False)


def plain(text: str) -> str:
    """A text in which no module of the kit is named."""
    return MODULE.sub("flipkit.*", text)


def rounded(text: str) -> str:
    """A text whose long numbers have nine digits: what remains the same then was only summed in another order."""
    return NUMBER.sub(lambda found: f"{float(found[0]):.9g}", text)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()


def kept(text: str, **more: str) -> dict[str, str]:
    packed = base64.b64encode(zlib.compress(text.encode("utf-8", "surrogateescape"), 9)).decode()
    return {"digest": digest(text), "text": packed, **more}


def opened(entry: dict[str, str]) -> str:
    return zlib.decompress(base64.b64decode(entry["text"])).decode("utf-8", "surrogateescape")


def command() -> click.Command:
    """The kit's command, where this tree's project file or an earlier or later form of it has it."""
    named = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["scripts"]["flipkit"]
    for place in (named, "flipkit.cli:main", "flipkit.cli.main:main"):
        module, _, name = place.partition(":")
        with contextlib.suppress(ImportError):
            found = getattr(importlib.import_module(module), name, None)
            if isinstance(found, click.Command):
                return found
    raise click.ClickException("no command of the kit was found")


def process(*arguments: object, cwd: Path, module: str = "flipkit") -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", module, *map(str, arguments)]
    return subprocess.run(line, cwd=cwd, capture_output=True, text=True, encoding="utf-8", stdin=subprocess.DEVNULL)


def written(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def pack_texts(folder: Path, name: str, said: str) -> Texts:
    """Every file of a pack, its archive's list, and what its command said."""
    found = {f"{name}: what the command said": kept(said)}
    for path in sorted([*folder.glob("pack/*"), *folder.glob("track-record/*/*")]):
        if path.suffix == ".zip":
            found[f"{name}/{path.name}"] = kept("\n".join(sorted(zipfile.ZipFile(path).namelist())))
        elif path.is_file():
            raw = path.read_text(encoding="utf-8")
            data = json.loads(raw) if path.suffix == ".json" else {}
            if path.name == "run.json":
                data["files"] = sorted(data["files"])  # Their digests follow from what is compared here.
            text = ordered(data) if data else _Visible(raw).text if path.suffix == ".html" else raw
            found[f"{name}/{path.name}"] = kept(text, bytes=digest(plain(raw)))
    return found


def cell_texts(notebook: Path, name: str) -> Texts:
    """What each cell of an executed notebook put out; cells without output are not counted."""
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    outputs = [[o | {"execution_count": 0} for o in cell["outputs"]] for cell in cells if cell.get("outputs")]
    # Widgets bear random names.
    texts = [re.sub(r"\b[0-9a-f]{32}\b", "<id>", ordered(one)) for one in outputs]
    return {f"{name}/{notebook.stem}, output {n}": kept(text) for n, text in enumerate(texts, start=1)}


def answer(main: click.Command | None, case: seeded_commands.Case, place: Path, names: dict[str, Path]) -> str:
    """What the commands of a case said and wrote, with the places of this machine named alike on every one."""
    place.mkdir()
    for name, data in case.files.items():
        (place / name).parent.mkdir(exist_ok=True)
        (place / name).write_bytes(data if isinstance(data, bytes) else data.encode())
    before, told = written(place), ""
    for step in case.steps:
        argv = [part.format(**names) for part in step]
        if main is None:
            run = process(*argv, cwd=place)
            code, out, err = run.returncode, run.stdout, run.stderr
        else:
            with contextlib.chdir(place):
                done = CliRunner().invoke(main, argv, prog_name="flipkit")
            code, out, err = done.exit_code, done.stdout, done.stderr
            if done.exception and not isinstance(done.exception, SystemExit):
                err += f"{type(done.exception).__name__}: {done.exception}"
        told += f"$ {' '.join(step)}\nexit {code}\n{out}--- stderr\n{err}\n"
    for name, data in written(place).items():
        if before.get(name) != data:
            # A copied notebook may import from elsewhere; what it shows is compared by its cells.
            told += f"--- wrote {name}\n" + ("" if name.endswith(".ipynb") else data.decode("utf-8", "surrogateescape"))
    for word, path in {"here": place, **names}.items():
        told = told.replace(str(path), f"<{word}>")
    return told


def observed() -> dict[str, Texts]:
    """All that is compared, of this tree as it stands."""
    for name in [name for name in os.environ if name.startswith("FLIPKIT_")]:
        del os.environ[name]
    os.environ |= {"PYTHONPATH": str(ROOT), "COLUMNS": "80", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    kit = importlib.util.find_spec("flipkit")
    if kit is None or Path(kit.origin or "").parents[1] != ROOT:
        raise click.ClickException(f"flipkit is not imported from this tree: set PYTHONPATH={ROOT}")
    cases = list(seeded_commands.cases())
    assert len(cases) == seeded_commands.COUNT
    found: dict[str, Texts] = {"pages": {}, "cells": {}, "answers": {}}
    with tempfile.TemporaryDirectory(prefix="same-") as made:
        home = Path(made).resolve()
        for name, arguments in PACKS.items():
            folder = home / name
            (folder / "books").mkdir(parents=True)
            table = seeded_commands.items(random.Random(1), 70, 0)  # noqa: S311 - to be drawn again
            (folder / "books" / "items.csv").write_text(table, encoding="utf-8")
            run = process("report", *arguments, "--out", folder / "pack", cwd=folder)
            if run.returncode:
                raise click.ClickException(f"the pack {name} was not made: {run.stderr}")
            said = f"{run.stdout}--- stderr\n{run.stderr}".replace(str(folder), "<here>")
            found["pages"] |= pack_texts(folder, name, said)
            for notebook in sorted((folder / "pack" / "notebooks").glob("*.ipynb")):
                found["cells"] |= cell_texts(notebook, name)
        for name in ALONE:
            source = ROOT / "notebooks" / f"{name}.ipynb"
            run = process(
                "nbconvert", "--to=notebook", "--execute", source, "--output-dir", home, cwd=home, module="jupyter"
            )
            if run.returncode:
                raise click.ClickException(f"the notebook {name} did not run: {run.stderr}")
            found["cells"] |= cell_texts(home / source.name, "alone")
        main, names = command(), {"tree": ROOT, "pack": home / "demo" / "pack"}
        for n, case in enumerate(cases):
            text = answer(None if n % IN_A_PROCESS == 0 else main, case, home / f"case-{n:03}", names)
            found["answers"][f"{n:03} {' '.join(case.steps[0])}"] = kept(text)
    return found


def shown(before: str, after: str) -> str:
    """The first lines of what differs, long lines broken."""
    was, now = (re.findall(f".{{1,{WIDEST}}}", text) for text in (before, after))
    lines = list(difflib.unified_diff(was, now, "before", "after", lineterm="", n=1))
    more = [f"… {len(lines) - MOST_LINES} more lines"] if len(lines) > MOST_LINES else []
    return "\n".join(f"    {line}" for line in [*lines[:MOST_LINES], *more])


@click.group()
def main() -> None:
    """Whether the kit still says what it said."""


@main.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def record(file: Path) -> None:
    """Write down in FILE what this tree says."""
    found = observed()
    file.write_text(json.dumps(found, indent=0) + "\n", encoding="utf-8")
    click.echo(", ".join(f"{len(texts)} {part}" for part, texts in found.items()))


@main.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.argument("other", required=False, type=click.Path(path_type=Path, exists=True, dir_okay=False))
def compare(file: Path, other: Path | None) -> None:
    """What differs between FILE and OTHER, or this tree as it stands; exit status 1 where anything does."""
    was = json.loads(file.read_text(encoding="utf-8"))
    now = json.loads(other.read_text(encoding="utf-8")) if other else observed()
    counts, differ, set_aside, alike, files = [], False, 0, 0, 0
    for part, texts in was.items():
        same, keys = 0, list(texts | now[part])
        for key in keys:
            if key not in texts or key not in now[part]:
                click.echo(f"{part}: {key}: {'gone' if key in texts else 'new'}")
                continue
            files += "bytes" in texts[key]
            alike += "bytes" in texts[key] and texts[key]["bytes"] == now[part][key].get("bytes")
            if texts[key]["digest"] == now[part][key]["digest"]:
                same += 1
                continue
            before, after = plain(opened(texts[key])), plain(opened(now[part][key]))
            if before == after:
                same, set_aside = same + 1, set_aside + 1
            else:
                slight = " (only past the ninth digit)" if rounded(before) == rounded(after) else ""
                click.echo(f"{part}: {key}{slight}\n{shown(before, after)}")
        counts.append(f"{part} same {same} of {len(keys)}")
        differ = differ or same < len(keys)
    click.echo(", ".join(counts))
    click.echo(
        f"{set_aside} of them name modules by other names; files of packs the same to the byte: {alike} of {files}"
    )
    sys.exit(differ)


if __name__ == "__main__":
    main()
