"""Blanks of folded cartons from their inside sizes: outline, folds, cuts and panels, by style.

Lengths run across the flutes, widths along them, so that the flutes of a slotted carton stand
upright in its walls. Styles carry the numbers of the international case code. Only the slotted
blank has a published worked example; the others are common practice and say so in their docs.
"""

from __future__ import annotations

from dataclasses import dataclass

from flipkit.rules.board import ScoreAllowance

Line = tuple[float, float, float, float]
Panel = tuple[str, float, float, float, float]


@dataclass(frozen=True)
class Blank:
    """A flat piece to cut.

    Attributes
    ----------
    name : str
        What it becomes.
    code : str
        Number in the international case code; empty for a plain piece.
    length_in, width_in : float
        Outline, across and along the flutes. [in]
    folds : tuple of (float, float, float, float)
        Scores to fold, as x1, y1, x2, y2. [in]
    cuts : tuple of (float, float, float, float)
        Cuts inside the outline. [in]
    panels : tuple of (str, float, float, float, float)
        Parts by name, with lower left corner and sides. [in]
    may_turn : bool
        Whether it may lie turned on the sheet, its flutes then running the other way.
    """

    name: str
    code: str
    length_in: float
    width_in: float
    folds: tuple[Line, ...] = ()
    cuts: tuple[Line, ...] = ()
    panels: tuple[Panel, ...] = ()
    may_turn: bool = True

    @property
    def area_in2(self) -> float:
        """Area of the outline. [sq in]"""
        return self.length_in * self.width_in

    @property
    def knife_in(self) -> float:
        """Length of all the lines to cut, outline included. [in]"""
        inner = sum(abs(x2 - x1) + abs(y2 - y1) for x1, y1, x2, y2 in self.cuts)
        return 2 * (self.length_in + self.width_in) + inner

    @property
    def score_in(self) -> float:
        """Length of all the scores. [in]"""
        return sum(abs(x2 - x1) + abs(y2 - y1) for x1, y1, x2, y2 in self.folds)


def pad_blank(name: str, length_in: float, width_in: float) -> Blank:
    """A plain rectangle: a pad, a divider, a stiffener.

    Parameters
    ----------
    name : str
        What it is.
    length_in, width_in : float
        Its sides. [in]

    Returns
    -------
    Blank
        Without folds.

    Examples
    --------
    >>> pad_blank("pad", 12, 10).area_in2
    120
    """
    return Blank(name, "", length_in, width_in, panels=((name, 0.0, 0.0, length_in, width_in),))


def slotted_blank(
    length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance, trim_in: float, may_turn: bool
) -> Blank:
    """Blank of a regular slotted carton (code 0201) that measures these sides inside.

    Joint, then length, width, length, width across the flutes; flap, depth, flap along them. Each
    panel, the depth and each flap get their allowance for the scores [1]_.

    Parameters
    ----------
    length_in, width_in, depth_in : float
        Inside; depth between the flaps. [in]
    allowance : ScoreAllowance
        From :func:`flipkit.rules.board.score_allowance`.
    trim_in : float
        Cut off all round by a machine; 0 by hand. Counted once across and once along. [in]
    may_turn : bool
        Whether its flutes may lie flat in the walls.

    Returns
    -------
    Blank
        With folds, slots and panels, trim included in its outline.

    References
    ----------
    .. [1] ``three-ply-blank`` and ``fibreboard-code`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> millimetres = ScoreAllowance(panel_in=3, depth_in=6, flap_in=3, joint_in=25)
    >>> blank = slotted_blank(254, 225, 150, allowance=millimetres, trim_in=20, may_turn=False)
    >>> blank.length_in, blank.width_in
    (1015, 407.0)
    """
    joint, flap = allowance.joint_in, width_in / 2 + allowance.flap_in
    deep = depth_in + allowance.depth_in
    sides = [length_in + allowance.panel_in, width_in + allowance.panel_in] * 2
    edges = [joint]
    for side in sides:
        edges.append(edges[-1] + side)
    low, high, top = flap, flap + deep, 2 * flap + deep
    across = edges[-1]
    folds = [(joint, low, across, low), (joint, high, across, high)]
    folds += [(x, low, x, high) for x in edges[:-1]]
    slots = [line for x in edges[1:-1] for line in ((x, 0.0, x, low), (x, high, x, top))]
    # The joint is a tab beside the first panel: the corners above and below it are cut away.
    slots += [(joint, 0.0, joint, low), (0.0, low, joint, low), (0.0, high, joint, high), (joint, high, joint, top)]
    names = ("length", "width", "length", "width")
    panels: list[Panel] = [("joint", 0.0, low, joint, deep)]
    for name, x, side in zip(names, edges, sides, strict=False):
        panels += [(name, x, low, side, deep), ("flap", x, 0.0, side, flap), ("flap", x, high, side, flap)]
    return Blank(
        "slotted carton",
        "0201",
        across + trim_in,
        top + trim_in,
        tuple(folds),
        tuple(slots),
        tuple(panels),
        may_turn,
    )


def slotted_half_blank(
    name: str, length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance, may_turn: bool
) -> Blank:
    """Half the blank of a slotted carton: one length and one width with their flaps, and a joint.

    Two of them, joined at two corners, make a carton that is too large for one sheet.

    Parameters
    ----------
    name : str
        Which half it is.
    length_in, width_in, depth_in : float
        Inside; depth between the flaps. [in]
    allowance : ScoreAllowance
        From :func:`flipkit.rules.board.score_allowance`.
    may_turn : bool
        Whether its flutes may lie flat in the walls.

    Returns
    -------
    Blank
        Joint + length + width by flap + depth + flap; common practice.

    Examples
    --------
    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=2)
    >>> blank = slotted_half_blank("first half", 16, 12, 8, allowance=exact, may_turn=False)
    >>> blank.length_in, blank.width_in
    (30, 20.0)
    """
    whole = slotted_blank(length_in, width_in, depth_in, allowance=allowance, trim_in=0.0, may_turn=may_turn)
    # Where the third wall begins in the whole blank; its own sum would miss that by a bit of noise.
    end = [panel for panel in whole.panels if panel[0] in ("length", "width")][2][1]
    inside = [line for line in whole.cuts if max(line[0], line[2]) < end]
    folds = [(x1, y1, min(x2, end), y2) for x1, y1, x2, y2 in whole.folds if x1 < end]
    panels = tuple(panel for panel in whole.panels if panel[1] < end)
    return Blank(name, "0201", end, whole.width_in, tuple(folds), tuple(inside), panels, may_turn)


def tray_blank(name: str, length_in: float, width_in: float, depth_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a tray with four sides folded up and taped at the corners; two make a telescope (0300).

    Length + 2 depths by width + 2 depths, as the rule of thumb says, with a panel's allowance for
    the bottom and a flap's for each side.

    Parameters
    ----------
    name : str
        Which tray it is.
    length_in, width_in, depth_in : float
        Inside. [in]
    allowance : ScoreAllowance
        From :func:`flipkit.rules.board.score_allowance`.

    Returns
    -------
    Blank
        With four folds, and at each corner one cut that makes a tab.

    References
    ----------
    ``blank-rules-of-thumb`` in ``rules/data/sources.toml``; tabs are common practice.

    Examples
    --------
    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
    >>> blank = tray_blank("base", 20, 12, 3, allowance=exact)
    >>> blank.length_in, blank.width_in
    (26, 18)
    """
    side = depth_in + allowance.flap_in
    long, wide = length_in + allowance.panel_in, width_in + allowance.panel_in
    across, along = long + 2 * side, wide + 2 * side
    x1, x2, y1, y2 = side, side + long, side, side + wide
    folds: list[Line] = [(0.0, y1, across, y1), (0.0, y2, across, y2), (x1, y1, x1, y2), (x2, y1, x2, y2)]
    cuts: list[Line] = [(x1, 0.0, x1, y1), (x2, 0.0, x2, y1), (x1, y2, x1, along), (x2, y2, x2, along)]
    panels: tuple[Panel, ...] = (
        ("bottom", x1, y1, long, wide),
        ("side", x1, 0.0, long, side),
        ("side", x1, y2, long, side),
        ("end", 0.0, y1, side, wide),
        ("end", x2, y1, side, wide),
        *(("tab", x, y, side, side) for x in (0.0, x2) for y in (0.0, y2)),
    )
    return Blank(name, "0300", across, along, tuple(folds), tuple(cuts), panels)


def five_panel_blank(length_in: float, width_in: float, height_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a five-panel wrap (code 0410): four walls around, the fifth panel covering the first.

    For long flat things. Height, width, height, width, height around; a flap as deep as the box is
    high beyond each end of every panel, so that the ends close in several layers.

    Parameters
    ----------
    length_in, width_in, height_in : float
        Inside; height at most the width. [in]
    allowance : ScoreAllowance
        From :func:`flipkit.rules.board.score_allowance`.

    Returns
    -------
    Blank
        Around by along; common practice, no published blank was found.

    References
    ----------
    ``fibreboard-code`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
    >>> blank = five_panel_blank(60, 10, 3, allowance=exact)
    >>> blank.length_in, blank.width_in
    (29.0, 66)
    """
    panel, flap = allowance.panel_in, height_in + allowance.flap_in
    sides = [height_in + panel, width_in + panel, height_in + panel, width_in + panel, height_in + 2 * panel]
    # Three layers of folded flaps stand inside each end before the last one closes it.
    body = length_in + 6 * panel
    edges = [0.0]
    for side in sides:
        edges.append(edges[-1] + side)
    low, high, top = flap, flap + body, 2 * flap + body
    folds: list[Line] = [(0.0, low, edges[-1], low), (0.0, high, edges[-1], high)]
    folds += [(x, low, x, high) for x in edges[1:-1]]
    cuts = [line for x in edges[1:-1] for line in ((x, 0.0, x, low), (x, high, x, top))]
    names = ("side", "bottom", "side", "top", "fifth panel")
    panels: list[Panel] = []
    for name, x, side in zip(names, edges, sides, strict=False):
        panels += [(name, x, low, side, body), ("flap", x, 0.0, side, flap), ("flap", x, high, side, flap)]
    return Blank("five-panel wrap", "0410", edges[-1], top, tuple(folds), tuple(cuts), tuple(panels))


def folded_wrap_blank(length_in: float, width_in: float, height_in: float, *, allowance: ScoreAllowance) -> Blank:
    """Blank of a one-piece folded wrap (code 0401): bottom, sides that meet on top, ends folded up.

    Parameters
    ----------
    length_in, width_in, height_in : float
        Inside. [in]
    allowance : ScoreAllowance
        From :func:`flipkit.rules.board.score_allowance`.

    Returns
    -------
    Blank
        Length + 2 heights by 2 widths + 2 heights, with the allowances; common practice, no
        published blank was found.

    References
    ----------
    ``fibreboard-code`` in ``rules/data/sources.toml``.

    Examples
    --------
    >>> exact = ScoreAllowance(panel_in=0, depth_in=0, flap_in=0, joint_in=0)
    >>> blank = folded_wrap_blank(30, 20, 2, allowance=exact)
    >>> blank.length_in, blank.width_in
    (34, 44.0)
    """
    panel, flap = allowance.panel_in, allowance.flap_in
    long, wide = length_in + panel, width_in + panel
    end, side, half = height_in + flap, height_in + panel, width_in / 2 + flap
    x1, x2 = end, end + long
    y1, y2, y3, y4 = half, half + side, half + side + wide, half + 2 * side + wide
    across, along = x2 + end, y4 + half
    folds: list[Line] = [(x1, y, x2, y) for y in (y1, y2, y3, y4)] + [(x1, y2, x1, y3), (x2, y2, x2, y3)]
    corners: list[Line] = []
    for x, out in ((x1, 0.0), (x2, across)):
        corners += [(x, 0.0, x, y2), (out, y2, x, y2), (x, y3, x, along), (out, y3, x, y3)]
    panels: tuple[Panel, ...] = (
        ("bottom", x1, y2, long, wide),
        ("side", x1, y1, long, side),
        ("side", x1, y3, long, side),
        ("top half", x1, 0.0, long, half),
        ("top half", x1, y4, long, half),
        ("end", 0.0, y2, end, wide),
        ("end", x2, y2, end, wide),
    )
    return Blank("folded wrap", "0401", across, along, tuple(folds), tuple(corners), panels)
