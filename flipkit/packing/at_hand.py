"""What the seller has at hand to pack with: cartons, sheets, tubes, bags, cushioning, fill, tape, wrap."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Carton:
    """A regular slotted carton, new or used.

    Attributes
    ----------
    name : str
        What it is called.
    length_in, width_in, height_in : float
        Inside; height is the depth between the flaps. [in]
    flute : str
        Its board, as in the board table.
    grade : str
        What its certificate says, such as ``32 ECT``; empty where it cannot be read.
    cost_cents : int
        What one costs; 0 for a free one. [cents]
    quantity : int
        How many there are.
    used : bool
        Whether it has travelled before.
    """

    name: str
    length_in: float
    width_in: float
    height_in: float
    flute: str
    grade: str
    cost_cents: int
    quantity: int = 1
    used: bool = False


@dataclass(frozen=True)
class Sheet:
    """A flat sheet of board; flutes run along its width, the second measure, as the trade writes them.

    Attributes
    ----------
    name : str
        What it is called.
    length_in, width_in : float
        Sides. [in]
    flute : str
        Its board, as in the board table.
    grade : str
        What its certificate says; empty where it cannot be read.
    cost_cents : int
        What one costs; 0 for a free one. [cents]
    quantity : int
        How many there are.
    scores_in : tuple of float
        Where old scores cross it, measured along the length. [in]
    """

    name: str
    length_in: float
    width_in: float
    flute: str
    grade: str
    cost_cents: int
    quantity: int = 1
    scores_in: tuple[float, ...] = ()


@dataclass(frozen=True)
class Tube:
    """A round mailing tube.

    Attributes
    ----------
    name : str
        What it is called.
    inside_in : float
        Inside diameter. [in]
    length_in : float
        Inside length. [in]
    wall_in : float
        Thickness of the wall and of each cap. [in]
    cost_cents : int
        What one costs. [cents]
    most_lb : float
        Most that it may weigh when packed. [lb]
    lb_per_ft : float
        Weight of the empty tube. [lb/ft]
    quantity : int
        How many there are.
    """

    name: str
    inside_in: float
    length_in: float
    wall_in: float
    cost_cents: int
    most_lb: float
    lb_per_ft: float
    quantity: int = 1


@dataclass(frozen=True)
class Bag:
    """A padded bag.

    Attributes
    ----------
    name : str
        What it is called.
    width_in, length_in : float
        Inside, lying flat, without the closing flap. [in]
    pad_in : float
        Thickness of one padded side. [in]
    cost_cents : int
        What one costs. [cents]
    most_lb : float
        Most that it may weigh when packed. [lb]
    weight_lb : float
        Empty. [lb]
    quantity : int
        How many there are.
    """

    name: str
    width_in: float
    length_in: float
    pad_in: float
    cost_cents: int
    most_lb: float
    weight_lb: float
    quantity: int = 1


@dataclass(frozen=True)
class Cushion:
    """Cushioning on a roll or in plates.

    Attributes
    ----------
    name : str
        What it is called.
    material : str
        As in the cushioning table.
    thickness_in : float
        Of one layer. [in]
    form : str
        ``wrap`` for what is wound around the item, ``plate`` for what is cut to its faces.
    cents_per_sqft : float
        What a square foot of one layer costs. [cents/sq ft]
    area_sqft : float or None
        How much there is; None for enough. [sq ft]
    """

    name: str
    material: str
    thickness_in: float
    form: str
    cents_per_sqft: float
    area_sqft: float | None = None


@dataclass(frozen=True)
class Fill:
    """What fills the hollows: crumpled paper, loose fill.

    Attributes
    ----------
    name : str
        What it is called.
    cents_per_cuft : float
        What a cubic foot as packed costs. [cents/cu ft]
    lb_per_cuft : float
        Weight as packed. [lb/cu ft]
    volume_cuft : float or None
        How much there is; None for enough. [cu ft]
    """

    name: str
    cents_per_cuft: float
    lb_per_cuft: float
    volume_cuft: float | None = None


@dataclass(frozen=True)
class Tape:
    """Closing tape.

    Attributes
    ----------
    name : str
        What it is called.
    cents_per_m : float
        What a metre costs. [cents/m]
    """

    name: str
    cents_per_m: float


@dataclass(frozen=True)
class StretchWrap:
    """Stretch film that holds things together.

    Attributes
    ----------
    name : str
        What it is called.
    cents_per_sqft : float
        What a square foot costs. [cents/sq ft]
    """

    name: str
    cents_per_sqft: float


@dataclass(frozen=True)
class Stock:
    """Everything at hand.

    Attributes
    ----------
    cartons, sheets, tubes, bags, cushions : tuple
        Kinds of each, with their quantities.
    fill : Fill or None
        Void fill.
    tape : Tape or None
        Tape.
    stretch : StretchWrap or None
        Stretch wrap.
    flatten : bool
        Whether cartons may be cut up for their board.
    """

    cartons: tuple[Carton, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    tubes: tuple[Tube, ...] = ()
    bags: tuple[Bag, ...] = ()
    cushions: tuple[Cushion, ...] = ()
    fill: Fill | None = None
    tape: Tape | None = None
    stretch: StretchWrap | None = None
    flatten: bool = True

    def only(self, keep: Callable[[Cushion], bool]) -> Stock:
        """The same stock with only some of its cushioning.

        Parameters
        ----------
        keep : callable
            Whether a cushion stays.

        Returns
        -------
        Stock
            The rest untouched.
        """
        return replace(self, cushions=tuple(cushion for cushion in self.cushions if keep(cushion)))


def flattened(carton: Carton) -> tuple[Sheet, ...]:
    """What a carton gives when it is opened at its joint and laid flat.

    The slots between the flaps cut a blank in two there, so two ways to cut it up are offered, of
    which only one can be used: its body, all four panels in one with three old scores; or its
    panels one by one, each with its own two flaps. Whichever is cut, the whole carton is paid for.

    Parameters
    ----------
    carton : Carton
        The carton; each one of its quantity gives a body, or two panels of either size.

    Returns
    -------
    tuple of Sheet
        The body first, then the two kinds of panel; names say which.

    Examples
    --------
    >>> box = Carton("22 x 16 x 12", 22, 16, 12, flute="C", grade="32 ECT", cost_cents=0)
    >>> [(one.length_in, one.width_in, one.scores_in) for one in flattened(box)]
    [(76, 12, (22, 38, 60)), (22, 28, ()), (16, 28, ())]
    """
    long, wide, deep = carton.length_in, carton.width_in, carton.height_in

    def piece(word: str, length_in: float, width_in: float, pieces: int, scores: tuple[float, ...] = ()) -> Sheet:
        return Sheet(
            f"{word} of {carton.name}",
            length_in,
            width_in,
            carton.flute,
            carton.grade,
            carton.cost_cents,
            pieces * carton.quantity,
            scores,
        )

    tall = deep + wide  # two flaps of half the width each
    return (
        piece("body", 2 * (long + wide), deep, 1, (long, long + wide, 2 * long + wide)),
        piece("long panel", long, tall, 2),
        piece("short panel", wide, tall, 2),
    )
