"""Sliders over the full model in JupyterLab: what moves is computed anew, what is wanted is saved."""

from __future__ import annotations

import asyncio
import datetime as dt
from html import escape
from pathlib import Path
from typing import Any, Final

import ipywidgets

from flipkit.analysis.sliders import Settings
from flipkit.assumptions import parsed_settings
from flipkit.charts.moved import plot_moved_returns, with_figures
from flipkit.charts.sliders import DIVISOR_LABEL, DIVISORS, divisor_options, slides
from flipkit.errors import FlipkitError
from flipkit.reports.elements import Element, headline
from flipkit.reports.moved import MovedStudies, moved_sentence
from flipkit.reports.own_assumptions import save_assumptions
from flipkit.reports.stock_tables import ranking_table
from flipkit.reports.study import Study
from flipkit.reports.tables import returns_table

#: A key held down sends many values; only the one at which it rests for so long is computed. [s]
REST_S: Final = 0.04
_WIDE: Final = {"width": "36em", "max_width": "100%"}
_BESIDE: Final = {"description_width": "16em"}
_HEAD_PX, _ROW_PX = 150, 44


class AssumptionPanel:
    """Sliders for the assumptions of a study, with its sentence, chart, ranking and both bases below.

    Display it in JupyterLab to move them; elsewhere it shows itself as it stands, in words and tables.

    Parameters
    ----------
    study : Study
        Where the sliders start.

    Attributes
    ----------
    study : Study
        The numbers under the assumptions as they stand now.
    controls : dict of str to Widget
        The sliders by the names of ``Settings``, and ``others``, ``back`` and ``save``.
    told : str
        What the panel last had to say: what was saved, or why something could not be done.
    """

    def __init__(self, study: Study) -> None:
        self._studies = MovedStudies(study).prepare(DIVISORS)
        self._waiting: asyncio.TimerHandle | None = None
        self._silent = False
        self._shape: tuple[int, float] | None = None
        self._drawn: dict[str, Any] = {}
        self.study = study
        self.controls = _controls(self._studies.start, study.currency)
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
        """Move some of the controls and compute at once.

        Parameters
        ----------
        **values : float or str
            New values by the names of :attr:`controls`.

        Returns
        -------
        Study
            The numbers as moved.
        """
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
        self.move(**vars(self._studies.start), others="")

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
        """Save what was moved as the seller's own assumptions.

        Parameters
        ----------
        on : date
            The day of saving.
        folder : Path, optional
            Where the file goes; beside the books where not given.

        Returns
        -------
        Path or None
            The file; None where there was nothing to save, which the panel then says.
        """
        self._at_once()
        try:
            file = save_assumptions(self.study, on=on, folder=folder)
        except FlipkitError as error:
            self._tell(str(error))
            return None
        self._tell(f"Saved in {file}. A report on it: flipkit report BOOKS --assumptions {file.name}")
        return file

    def sentence(self) -> Element:
        """What the categories earn where the controls stand, and what was moved.

        Returns
        -------
        Element
            For a page.
        """
        sentence, note = moved_sentence(self.study, self._studies.base)
        return headline(sentence, note=note)

    def reading(self) -> Element:
        """The panel as it stands, in words and tables, for wherever nothing can be moved.

        Returns
        -------
        Element
            Sentence, ranking and both bases.
        """
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
        self._shape, self._drawn = shape, chart._repr_mimebundle_()
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
            description=slide.label,
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
        **{name: found[name] for name in ("target", "wage", "points")},
        "divisor": divisor,
        "factor": found["factor"],
        "others": others,
        "back": ipywidgets.Button(description="Back to where it started", layout=wide),
        "save": ipywidgets.Button(description="Save as my assumptions", layout=wide),
    }
