"""The encoding of an export: what its bytes are, how sure that is, and what a wrong guess would show."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path

#: Encodings that programs write tables in, the likelier first where bytes cannot tell.
LIKELY = (
    "cp1252",
    "mac_roman",
    "cp1250",
    "iso8859_2",
    "cp1251",
    "shift_jis",
    "euc_jp",
    "gb18030",
    "big5",
    "euc_kr",
    "koi8_r",
    "cp850",
    "cp437",
)
#: How much messier than the best reading another may be and still be thought of: this, or a part
#: of a letter where there are few.
_CLOSE = 0.005
#: Bytes of lines with other than plain letters that are looked at.
_LOOKED_AT = 20_000
_CHUNK = 1 << 20

_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


@dataclass(frozen=True, slots=True)
class Encoding:
    """How the bytes of an export become text.

    Parameters
    ----------
    name : str
        Name of the codec.
    certain : bool
        Whether nothing was guessed.
    why : str
        What it was told from, in words.
    """

    name: str
    certain: bool
    why: str


class BytesError(ValueError):
    """Bytes that are no text: the row (counted in line ends) and what was found.

    Parameters
    ----------
    row : int
        Line, counted from 1.
    found : str
        What stands there.
    """

    def __init__(self, row: int, found: str) -> None:
        super().__init__(found)
        self.row = row
        self.found = found


def encoding_of(path: Path, *, given: str = "") -> Encoding:
    """The encoding of a file of text.

    Parameters
    ----------
    path : Path
        The file.
    given : str
        What the seller says it is; empty to find out.

    Returns
    -------
    Encoding
        The encoding.

    Raises
    ------
    BytesError
        If the bytes are no text in it.
    """
    if given:
        try:
            name = codecs.lookup(given).name
        except LookupError:
            raise BytesError(1, f"no encoding is called {given!r}") from None
        _require_text(path, name)
        return Encoding(name, True, "as you said")
    with path.open("rb") as handle:
        head = handle.read(4096)
    for mark, name in _MARKS:
        if head.startswith(mark):
            _require_text(path, name)
            return Encoding(name, True, "the mark at its beginning says so")
    wide = _wide(head)
    if wide:
        _require_text(path, wide)
        return Encoding(wide, True, "every second byte of its letters is zero")
    try:
        plain = _require_text(path, "utf-8")
        return Encoding("utf-8", True, "plain letters alone" if plain else "every byte fits")
    except BytesError as error:
        if "NUL" in error.found:
            raise
    return _guessed(path)


def _wide(head: bytes) -> str:
    """UTF-16 without its mark: zeros on one side of nearly every pair of bytes."""
    even, odd = head[0::2], head[1::2]
    if len(head) >= 8 and even and odd:
        if odd.count(0) > 0.8 * len(odd) and even.count(0) < 0.1 * len(even):
            return "utf-16-le"
        if even.count(0) > 0.8 * len(even) and odd.count(0) < 0.1 * len(odd):
            return "utf-16-be"
    return ""


def _require_text(path: Path, name: str) -> bool:
    """Decode the whole file once; True when it holds nothing but plain letters."""
    decoder = codecs.getincrementaldecoder(name)()
    plain = True
    line = 1
    with path.open("rb") as handle:
        while True:
            chunk = handle.read(_CHUNK)
            try:
                text = decoder.decode(chunk, final=not chunk)
            except UnicodeDecodeError as error:
                line += error.object[: error.start].count(b"\n")
                byte = error.object[error.start]
                raise BytesError(line, f"a byte {byte:#04x} that is no {name}") from None
            if "\0" in text:
                line += text[: text.index("\0")].count("\n")
                raise BytesError(line, "a NUL byte, so it is no text or it is damaged")
            plain = plain and text.isascii()
            line += text.count("\n")
            if not chunk:
                return plain


def _guessed(path: Path) -> Encoding:
    import charset_normalizer

    lines: list[bytes] = []
    size = 0
    with path.open("rb") as handle:
        while size < _LOOKED_AT:
            line = handle.readline(_LOOKED_AT)
            if not line:
                break
            if not line.isascii():
                lines.append(line)
                size += len(line)
    sample = b"".join(lines)
    if b"\0" in sample:
        raise BytesError(1, "a NUL byte, so it is no text or it is damaged")
    found = charset_normalizer.from_bytes(
        sample, cp_isolation=list(LIKELY), steps=1, chunk_size=len(sample) + 1, threshold=0.6, language_threshold=0.0
    )
    messy = {name: match.chaos for match in found for name in match.could_be_from_charset if name in LIKELY}
    best = min(messy.values(), default=0.0)
    slack = max(_CLOSE, 0.5 / max(sum(byte > 127 for byte in sample), 1) ** 2)
    close = [name for name in LIKELY if messy.get(name, 9.0) <= best + slack]
    for name in [*close, *(name for name in LIKELY if name in messy and name not in close), "cp1252", "latin-1"]:
        try:
            _require_text(path, name)
        except BytesError:
            continue
        why = f"it reads {_word(sample.decode(name, 'replace'))}"
        for other in close:
            words = _differing(sample, name, other)
            if words is not None:
                why = f"it reads {words[0]}, where {other} would read {words[1]}"
                break
        return Encoding(name, False, why)
    raise BytesError(1, "bytes that are no text in any encoding that tables come in")  # pragma: no cover


def _words(text: str) -> list[str]:
    for mark in ',;"\t|':
        text = text.replace(mark, " ")
    return text.split()


def _word(text: str) -> str:
    """A word with an unplain letter."""
    return next((f"'{word[:24]}'" for word in _words(text) if not word.isascii()), "plain letters")


def _differing(sample: bytes, one: str, other: str) -> tuple[str, str] | None:
    """A word that two encodings read differently."""
    pairs = zip(_words(sample.decode(one, "replace")), _words(sample.decode(other, "replace")), strict=False)
    return next(((f"'{a[:24]}'", f"'{b[:24]}'") for a, b in pairs if a != b), None)
