"""An earlier run made again from its manifest: the same books give the same bytes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flipkit.assumptions import parsed_settings
from flipkit.errors import PackError


@dataclass(frozen=True)
class EarlierRun:
    """What a manifest says of the run that wrote it.

    Attributes
    ----------
    text : str
        The manifest as it stands.
    month, as_of : str
        The month, and the day that counted as today.
    inputs : mapping of str to str
        Each file of the books to its SHA-256.
    categories : tuple of str
        The categories asked for; all where empty.
    settings : mapping of str to str
        The assumptions of that run alone.
    """

    text: str
    month: str
    as_of: str
    inputs: Mapping[str, str]
    categories: tuple[str, ...]
    settings: Mapping[str, str]

    def require_same_books(self, hashes: Mapping[str, str]) -> None:
        """Refuse books that are not those of the run.

        Parameters
        ----------
        hashes : mapping of str to str
            Each file of the books at hand to its SHA-256.

        Raises
        ------
        PackError
            If a file was changed, added or taken away.
        """
        names = sorted({*self.inputs, *hashes})
        said = [
            f"{name} is {'missing' if name not in hashes else 'new' if name not in self.inputs else 'changed'}"
            for name in names
            if hashes.get(name) != self.inputs.get(name)
        ]
        if said:
            more = f" and {len(said) - 3} more" if len(said) > 3 else ""
            raise PackError(
                "the books",
                need=f"those of the run of {self.month} as of {self.as_of}",
                got="others",
                where=", ".join(said[:3]) + more,
                mend="name the books of that day, or leave --again out to report on these",
            )

    def differences(self, text: str) -> list[str]:
        """Why a new run's manifest is not the earlier one's, a line each.

        Parameters
        ----------
        text : str
            The new manifest.

        Returns
        -------
        list of str
            Empty where they are the same to the byte.
        """
        if text == self.text:
            return []
        old, new = json.loads(self.text), json.loads(text)
        found = []
        for key in sorted({*old, *new}):
            before, after = old.get(key), new.get(key)
            if before == after:
                continue
            if isinstance(before, dict) and isinstance(after, dict):
                names = [name for name in sorted({*before, *after}) if before.get(name) != after.get(name)]
                found.append(f"{key} differ: {', '.join(names[:5])}{' ...' if len(names) > 5 else ''}")
            else:
                found.append(f"{key} differ")
        return found or ["the manifest is written otherwise"]


def read_run(file: Path) -> EarlierRun:
    """The run that a manifest tells of.

    Parameters
    ----------
    file : Path
        A pack's ``run.json``, or the pack's folder.

    Returns
    -------
    EarlierRun
        What it takes to make it again.

    Raises
    ------
    PackError
        If the file cannot be read or says too little.
    """
    place = file / "run.json" if file.is_dir() else file
    try:
        text = place.read_text(encoding="utf-8")
        body: dict[str, Any] = json.loads(text)
        options = body["options"]
        return EarlierRun(
            text,
            body["month"],
            body["as_of"],
            dict(body["inputs"]),
            tuple(options["categories"]),
            parsed_settings(options["settings"]),
        )
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise PackError(
            "--again",
            need="the run.json of a pack that this kit made",
            got=place.name,
            where=f"{type(problem).__name__}: {problem}",
        ) from problem
