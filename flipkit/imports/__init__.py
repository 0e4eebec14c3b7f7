"""A stranger's export, merged into the books; here what a conversion may be told, as options and as answers."""

import importlib.resources
import tomllib
from typing import Any

from flipkit.books import schema

#: What a conversion asks and says, by kind; the words themselves stand in ``answers.toml``.
SAID: dict[str, dict[str, Any]] = tomllib.loads(
    importlib.resources.files("flipkit.imports").joinpath("answers.toml").read_text(encoding="utf-8")
)
#: Answers that a proposal understands, beside those that name a column or a header: what each is, and its words with
#: what they mean, where they are few.
ANSWERS: dict[str, tuple[str, dict[str, str]]] = {
    key: (text, SAID["words"].get(key, {})) for key, text in SAID["meanings"].items()
}
ANSWERS["table"][1].update(dict.fromkeys((*schema.BY_NAME, "labels"), ""))
