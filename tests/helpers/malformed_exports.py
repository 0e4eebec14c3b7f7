"""A seeded generator of malformed exports: every kind of damage that a file suffers on its way."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable

import openpyxl

WORDS = ["crock", "lamp", "vase", "jug", "bowl", "café", "Größe", "señal", "ランプ", "лампа"]
WORDS += ['12"', "O'Brien", "=SUM(1)", "-5", "+1", "@x"]
_HEADERS = (
    "SKU,Item,Category,Bought,Cost",
    "Item;Category;Purchase date;Cost;Sold;Sold for",
    "Title\tKind\tDate bought\tPaid",
    "Order number,Order date,Item,Sold price,Shipping charged,Category,Bought,Cost",
)


def good_export(chance: random.Random, rows: int = 12) -> str:
    """An export without a fault, in one of several ways of writing."""
    header = chance.choice(_HEADERS)
    mark = next(m for m in ";\t," if m in header)
    comma = mark == ";" and chance.random() < 0.5
    lines = [header]
    for n in range(rows):
        cells = []
        for name in header.split(mark):
            if "ate" in name or name in ("Bought", "Sold"):
                day = (chance.randint(1, 28), chance.randint(1, 12))
                cells.append(
                    chance.choice([f"2026-{day[1]:02}-{day[0]:02}", f"{day[0]}/{day[1]}/2026", f"{day[0]}.{day[1]}.26"])
                )
            elif name in ("Cost", "Paid", "Sold for", "Sold price", "Shipping charged"):
                amount = f"{chance.randint(0, 500_000) / 100:,.2f}"
                cells.append(amount.translate(str.maketrans(",.", ".,")) if comma else amount)
            elif name in ("SKU", "Order number"):
                cells.append(str(n))
            else:
                cells.append(" ".join(chance.sample(WORDS, 2)))
        lines.append(mark.join(f'"{c.replace(chr(34), chr(34) * 2)}"' if mark in c or '"' in c else c for c in cells))
    return "\n".join(lines) + "\n"


def _book(text: str) -> bytes:
    made = openpyxl.Workbook()
    for line in text.splitlines():
        made.active.append(line.split(",")[:12])
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def _truncated(chance: random.Random) -> bytes:
    body = good_export(chance).encode(chance.choice(["utf-8", "utf-16", "utf-16-le"]))
    return body[: chance.randint(0, len(body))]


def _binary(chance: random.Random) -> bytes:
    return chance.randbytes(chance.randint(1, 5_000))


def _spoilt_bytes(chance: random.Random) -> bytes:
    body = bytearray(good_export(chance).encode("utf-8"))
    for _ in range(chance.randint(1, 40)):
        body[chance.randrange(len(body))] = chance.randrange(256)
    return bytes(body)


def _wrong_encoding(chance: random.Random) -> bytes:
    text = good_export(chance)
    first, last = chance.choice([("utf-8", "cp1252"), ("cp1252", "utf-8"), ("utf-16", "utf-8"), ("utf-8", "utf-16-le")])
    half = len(text) // 2
    return text[:half].encode(first, "replace") + text[half:].encode(last, "replace")


def _ragged(chance: random.Random) -> bytes:
    lines = good_export(chance).splitlines()
    for at in range(len(lines)):
        cells = lines[at].split(",")
        if chance.random() < 0.5:
            cells = cells[: chance.randint(0, len(cells))] + ["x"] * chance.randint(0, 4)
        lines[at] = ",".join(cells)
    return "\n".join(lines).encode()


def _many_columns(chance: random.Random) -> bytes:
    wide = chance.choice([999, 1_000, 1_001, 10_000])
    lines = [",".join(f"c{n}" for n in range(wide)), ",".join(["1"] * wide)]
    chance.shuffle(lines)
    return "\n".join(lines).encode()


def _big_cell(chance: random.Random) -> bytes:
    size = chance.choice([99_990, 100_010, 150_000, 400_000])
    quote = chance.choice(['"', ""])
    return f"{good_export(chance)}{quote}{chance.choice(['x', 'é', ' '])}".encode() + b"y" * size + b"\n1,2,3\n"


def _nul_bytes(chance: random.Random) -> bytes:
    body = bytearray(good_export(chance).encode())
    for _ in range(chance.randint(1, 5)):
        body.insert(chance.randrange(len(body)), 0)
    return bytes(body)


def _line_ends(chance: random.Random) -> bytes:
    return "".join(
        line + chance.choice(["\n", "\r\n", "\r", "\n\n", "\r\r\n", "\x0b", "\u2028"])
        for line in good_export(chance).splitlines()
    ).encode()


def _quotes(chance: random.Random) -> bytes:
    text = list(good_export(chance))
    for _ in range(chance.randint(1, 30)):
        text.insert(chance.randrange(len(text)), chance.choice(['"', "'", "\\", '""', '"\n']))
    return "".join(text).encode()


def _values(chance: random.Random) -> bytes:
    lines = good_export(chance).splitlines()
    junk = [
        "",
        "n/a",
        "12,34,56",
        "1.2.3",
        "99/99/9999",
        "31/02/2026",
        "-",
        "١٢",
        "1e999",
        "9" * 40,
        "#REF!",
        "(5",
        "NaN",
        "$",
        "€€5",
    ]
    for at in range(1, len(lines)):
        cells = lines[at].split(",")
        cells[chance.randrange(len(cells))] = chance.choice(junk)
        lines[at] = ",".join(cells)
    return "\n".join(lines).encode()


def _headers(chance: random.Random) -> bytes:
    header, *rows = good_export(chance).splitlines()
    words = header.split(",")
    header = chance.choice(
        [",".join(words + words), ",".join([""] * len(words)), rows[0], "", "#" + header, header.replace(",", ",,")]
    )
    return "\n".join([header, *rows]).encode()


def _workbooks(chance: random.Random) -> bytes:
    body = bytearray(_book(good_export(chance)))
    kind = chance.randrange(3)
    if kind == 0:
        return bytes(body[: chance.randint(4, len(body))])
    if kind == 1:
        for _ in range(chance.randint(1, 60)):
            body[chance.randrange(4, len(body))] = chance.randrange(256)
        return bytes(body)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("xl/workbook.xml", chance.choice(["", "<workbook/>", "<a>" * 500]))
    return out.getvalue()


def _marks_alone(chance: random.Random) -> bytes:
    return "".join(chance.choices(",;\"'\n\t #=|\\0x", k=chance.randint(1, 600))).encode()


def _nothing(chance: random.Random) -> bytes:
    return chance.choice(
        [b"", b"\n" * 50, b"\xef\xbb\xbf", b"\xff\xfe", b",,,\n,,,\n", b"# only a comment\n", b"Item,Cost\n", b" \t \n"]
    )


KINDS: dict[str, Callable[[random.Random], bytes]] = {
    function.__name__.strip("_"): function
    for function in (
        _truncated,
        _binary,
        _spoilt_bytes,
        _wrong_encoding,
        _ragged,
        _many_columns,
        _big_cell,
        _nul_bytes,
        _line_ends,
        _quotes,
        _values,
        _headers,
        _workbooks,
        _marks_alone,
        _nothing,
    )
}


def malformed(kind: str, seed: int) -> bytes:
    """One malformed file, the same for the same kind and seed."""
    return KINDS[kind](random.Random(f"{kind}-{seed}"))  # noqa: S311 - damage, not secrets
