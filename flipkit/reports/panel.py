"""Sliders over the full model in JupyterLab: what moves is computed anew, what is wanted is saved."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
from html import escape
from pathlib import Path
from typing import Any, Final

import ipywidgets

from flipkit.analysis.what_if import Settings
from flipkit.assumptions import Assumption, load_assumptions, parsed_settings
from flipkit.charts.sliders import DIVISOR_LABEL, DIVISORS, divisor_options, plot_moved_returns, slides, with_figures
from flipkit.charts.style import spec_bundle
from flipkit.errors import AssumptionError, FlipkitError, count_of
from flipkit.money import show_cents
from flipkit.paths import demo_folder
from flipkit.reports.elements import Element, headline
from flipkit.reports.sentences import money_per_hour, month_name, overrides_sentence
from flipkit.reports.sliders import MOVED_KEYS, TARGET, Moves
from flipkit.reports.study import Study
from flipkit.reports.tables import ranking_table, returns_table


def moved_sentence(study: Study, start: Study) -> tuple[str, str]:
    """What the categories earn under moved assumptions, and what was moved."""
    bought, sold = study.bought_returns, study.sold_returns
    note = moved_note(study, start)
    if bought.empty:
        return "Nothing was bought in these months, so there is no hour to weigh.", note
    target = show_cents(study.assumptions.cents("hour.target"), currency=study.currency)
    verdicts = bought["verdict"].tolist()
    sides = [verdicts.count(f"{side} the target") for side in ("above", "below")]
    sentence = (
        f"{sides[0]} of {count_of(len(bought), 'category', 'categories')} above {target}, {sides[1]} below, unsold "
        f"things counted with what they may still bring."
    )
    parts = []
    for frame, net, minutes, told in (
        (bought, "expected_net_cents", "expected_min", "Everything bought in these months stands at"),
        (sold, "net_cents", "owner_min", "What sold earned"),
        (study.month_items(), "net_cents", "owner_min", f"{month_name(study.month)}, write-offs counted, made"),
    ):
        hours = float(frame[minutes].sum()) / 60
        if hours > 0:
            hourly = money_per_hour(float(frame[net].sum()) / 100 / hours, currency=study.currency)
            parts.append(f"{told} {hourly} an hour.")
    return sentence, " ".join([*parts, note])


def moved_note(study: Study, start: Study) -> str:
    """What was moved, and what is supposed."""
    before = start.assumptions.entries
    moved = [
        f"{'your target' if key == TARGET else key} from {before[key].text(currency=study.currency)} to "
        f"{entry.text(currency=study.currency)}"
        for key, entry in study.assumptions.entries.items()
        if entry.value != before[key].value and (key == TARGET or key not in MOVED_KEYS)
    ]
    found = [f"Moved: {'; '.join(moved)}." if moved else "", overrides_sentence(study)]
    return " ".join(filter(None, found)) or "Nothing is moved: this is the report as it stands."


# Assumptions that a seller moved and wants to keep: a dated file beside the books, never written over.


def save_assumptions(study: Study, *, on: dt.date, folder: Path | None = None) -> Path:
    """Write what this run assumes otherwise than the books do into a dated file.

    The file is taken up where it is asked for, by ``flipkit report BOOKS --assumptions FILE`` or as the
    ``settings`` of a notebook. Nothing takes it up by itself: what stands in it may replace records.
    """
    text = saved_text(study, on=on)
    home = folder or books_home(study)
    stem = f"assumptions-{on.isoformat()}"
    number = 1
    while True:
        file = home / f"{stem}{'' if number == 1 else f'-{number}'}.toml"
        try:
            # Made only where there is none, even if another program makes it at the same moment.
            with file.open("x", encoding="utf-8", newline="\n") as new:
                new.write(text)
        except FileExistsError:
            if file.is_file() and file.read_bytes() == text.encode():
                return file
            number += 1
        except OSError as error:
            raise AssumptionError(
                "the folder of the books", need="a folder that can be written to", got=str(home), where=str(error)
            ) from error
        else:
            return file


def saved_text(study: Study, *, on: dt.date) -> str:
    """What the dated file says: the day, each value that was moved, and what it was."""
    before = load_assumptions(study.books.assumptions_file, currency=study.currency).entries
    moved = [entry for key, entry in study.assumptions.entries.items() if entry.value != before[key].value]
    if not moved:
        raise AssumptionError(
            "assumptions to save", need="one that differs from the books' own", got="none", mend="move one first"
        )
    lines = [
        f"# Assumptions saved on {on.isoformat()}, moved over the books as they stood on {study.as_of.isoformat()}.",
        "# Whatever is not named here stays as the books and the kit have it. A report on them:",
        "#   flipkit report BOOKS --assumptions FILE",
        "",
    ]
    for entry in moved:
        was = before[entry.key].text(currency=study.currency)
        lines.append(f"{_key(entry.key)} = {_written(entry)}  # was {was}")
    return "\n".join(lines) + "\n"


def books_home(study: Study) -> Path:
    """The folder in which a shop's own assumptions and rules lie."""
    path = study.books.path.resolve()
    if path == demo_folder().resolve():
        return Path.cwd()
    return path if path.is_dir() else path.parent


def _written(entry: Assumption) -> str:
    """The value as ``load_assumptions`` reads it, exactly."""
    if entry.kind == "money":
        cents = int(entry.value)
        return f'"{cents // 100}.{cents % 100:02d}"'
    if entry.kind == "rate":
        whole, part = divmod(int(entry.value), 10_000)
        return f'"{f"{whole}.{part:04d}".rstrip("0").rstrip(".")} %"'
    return json.dumps(entry.value, ensure_ascii=False)


def _key(key: str) -> str:
    """A dotted key, each part between quotes where TOML asks for them."""
    return ".".join(
        part if part.isascii() and part.replace("_", "").replace("-", "").isalnum() else json.dumps(part)
        for part in key.split(".")
    )


# Sliders over the full model in JupyterLab: what moves is computed anew, what is wanted is saved.

#: A key held down sends many values; only the one at which it rests for so long is computed. [s]
REST_S: Final = 0.04
_WIDE: Final = {"width": "36em", "max_width": "100%"}
_BESIDE: Final = {"description_width": "16em"}
_HEAD_PX, _ROW_PX = 150, 44


class AssumptionPanel:
    """Sliders for the assumptions of a study, with its sentence, chart, ranking and both bases below.

    Display it in JupyterLab to move them; elsewhere it shows itself as it stands, in words and tables.
    """

    def __init__(self, study: Study) -> None:
        self._studies = Moves(study)
        # So that the first move to a divisor answers as soon as the next.
        self._studies.asked.dearer(*DIVISORS)
        self._waiting: asyncio.TimerHandle | None = None
        self._silent = False
        self._shape: tuple[int, float] | None = None
        self._drawn: dict[str, Any] = {}
        self.study = study
        self.controls = _controls(self._studies.supposed, study.currency)
        self._shown = {name: ipywidgets.Output() for name in ("words", "chart", "tables")}
        self._shown["chart"].layout.min_height = f"{_HEAD_PX + _ROW_PX * len(study.bought_returns)}px"
        self._status = ipywidgets.HTML(layout=ipywidgets.Layout(max_width="44em"))
        self.told = ""
        for name in (*Settings.__dataclass_fields__, "others"):
            self.controls[name].observe(self._soon, names="value")
        self.controls["back"].on_click(lambda _: self.move_back())
        self.controls["save"].on_click(lambda _: self.save(on=dt.date.today()))
        *moved, back, save = self.controls.values()
        self._box = ipywidgets.VBox(
            [*moved, ipywidgets.HBox([back, save]), self._status, *self._shown.values()],
            layout=ipywidgets.Layout(max_width="100%"),
        )
        self._show()

    @property
    def settings(self) -> Settings:
        """Where the five stand."""
        values = {name: self.controls[name].value for name in Settings.__dataclass_fields__}
        # A slider counts its steps in binary fractions: 1.15 comes as 1.1500000000000001.
        return Settings(**{name: round(value, 6) for name, value in values.items()})

    @property
    def overrides(self) -> dict[str, object]:
        """What ``open_study`` takes as ``settings`` to give the same numbers."""
        return {**parsed_settings(self.controls["others"].value), **self._studies.overrides(self.settings)}

    def move(self, **values: Any) -> Study:
        """Move some of the controls and compute at once."""
        self._silent = True
        try:
            for name, value in values.items():
                self.controls[name].value = value
        finally:
            self._silent = False
        self.recompute()
        return self.study

    def move_back(self) -> None:
        """Move everything back to where it started."""
        self.move(**vars(self._studies.supposed), others="")

    def recompute(self) -> None:
        """Compute the study where the controls stand, and show it; what cannot be is said and changes nothing."""
        try:
            study = self._studies.under(self.settings, parsed_settings(self.controls["others"].value))
        except FlipkitError as error:
            self._tell(str(error))
            return
        self.study = study
        self._tell("")
        self._show()

    def save(self, *, on: dt.date, folder: Path | None = None) -> Path | None:
        """Save what was moved as the seller's own assumptions."""
        self._at_once()
        try:
            file = save_assumptions(self.study, on=on, folder=folder)
        except FlipkitError as error:
            self._tell(str(error))
            return None
        self._tell(f"Saved in {file}. A report on it: flipkit report BOOKS --assumptions {file.name}")
        return file

    def sentence(self) -> Element:
        """What the categories earn where the controls stand, and what was moved."""
        sentence, note = moved_sentence(self.study, self._studies.study)
        return headline(sentence, note=note)

    def reading(self) -> Element:
        """The panel as it stands, in words and tables, for wherever nothing can be moved."""
        parts = [self.sentence(), ranking_table(self.study), returns_table(self.study)]
        return Element("".join(part.html for part in parts), "\n\n".join(part.text for part in parts))

    def _repr_mimebundle_(self, **asked: Any) -> dict[str, Any]:
        shown = self._box._repr_mimebundle_(**asked)
        bundle: dict[str, Any] = dict(shown[0] if isinstance(shown, tuple) else shown or {})
        return bundle | self.reading()._repr_mimebundle_()

    def _soon(self, _change: object) -> None:
        """Compute once the controls rest; at once where nothing could wake this up."""
        if self._silent:
            return
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self.recompute()
            return
        if self._waiting is not None:
            self._waiting.cancel()
        self._waiting = loop.call_later(REST_S, self._at_once)

    def _at_once(self) -> None:
        """Compute what was waiting for the controls to rest."""
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None
            self.recompute()

    def _show(self) -> None:
        study = self.study
        self._put("words", self.sentence()._repr_mimebundle_())
        self._put("chart", self._chart(study))
        tables = ranking_table(study), returns_table(study)
        self._put("tables", *(table._repr_mimebundle_() for table in tables))

    def _chart(self, study: Study) -> dict[str, Any]:
        """The categories' dots: drawn when there are others than before, else given their new figures."""
        frame, target = study.bought_returns, study.target
        shape = len(frame), study.confidence
        if len(frame) and shape == self._shape:
            return with_figures(self._drawn, frame, target, currency=study.currency)
        chart = plot_moved_returns(frame, target, confidence=study.confidence, currency=study.currency)
        self._shape, self._drawn = shape, spec_bundle(chart.to_dict())
        return self._drawn

    def _put(self, name: str, *bundles: dict[str, Any]) -> None:
        self._shown[name].outputs = tuple(
            {"output_type": "display_data", "data": bundle, "metadata": {}} for bundle in bundles
        )

    def _tell(self, text: str) -> None:
        self.told = text
        self._status.value = f'<p role="status">{escape(text)}</p>' if text else ""


def assumption_panel(study: Study) -> AssumptionPanel:
    """Sliders over the full model for the assumptions of a study.

    Parameters
    ----------
    study : Study
        Where the sliders start.

    Returns
    -------
    AssumptionPanel
        To be displayed in JupyterLab.
    """
    return AssumptionPanel(study)


def _controls(start: Settings, currency: str) -> dict[str, Any]:
    """The sliders and buttons, in the order in which they stand."""
    look: dict[str, Any] = {"style": _BESIDE, "layout": ipywidgets.Layout(**_WIDE)}
    found: dict[str, Any] = {
        slide.name: ipywidgets.FloatSlider(
            value=slide.start,
            min=slide.low,
            max=slide.high,
            step=slide.step,
            description=slide.label + {"%": ", times", "points": ""}.get(slide.unit, f" ({slide.unit})"),
            continuous_update=False,
            readout_format=".2f",
            **look,
        )
        for slide in slides(start, currency=currency)
    }
    options = divisor_options()
    if start.divisor not in options.values():
        options[str(start.divisor)] = start.divisor
    divisor = ipywidgets.Dropdown(options=list(options.items()), value=start.divisor, description=DIVISOR_LABEL, **look)
    others = ipywidgets.Text(
        description="Any other, KEY=VALUE", placeholder="stock.salvage=20 %", continuous_update=False, **look
    )
    wide = ipywidgets.Layout(width="auto")
    return {
        "target": found.pop("target"),
        **found,
        "divisor": divisor,
        "others": others,
        "back": ipywidgets.Button(description="Back to where it started", layout=wide),
        "save": ipywidgets.Button(description="Save as my assumptions", layout=wide),
    }
