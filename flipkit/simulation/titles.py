"""Titles for the demo shop's items: plain words of the trade, put together, no maker and no brand."""

from __future__ import annotations

from flipkit.simulation.draws import Draws, Ints

#: For each kind a few patterns, each a list of slots, each slot a list of words ("" leaves it out).
WORDS: dict[str, tuple[tuple[tuple[str, ...], ...], ...]] = {
    "stoneware": (
        (
            ("Salt-glazed", "Ash-glazed", "Brown-glazed", "Cream", "Speckled", "Blue-banded", "Grey"),
            ("stoneware",),
            ("crock,", "jug,", "storage jar,", "pitcher,", "butter churn,", "mixing bowl,", "bean pot,"),
            ("1 quart", "2 quart", "half gallon", "1 gallon", "2 gallon", "with lid", "small chip", "cork stopper"),
        ),
        (
            ("Studio pottery", "Hand-thrown", "Signed studio"),
            ("vase,", "teapot,", "bowl,", "lidded pot,", "set of 4 mugs,", "set of 6 plates,", "plant pot,"),
            ("tenmoku glaze", "celadon glaze", "iron spots", "blue rim", "oatmeal glaze", "wax-resist pattern"),
        ),
    ),
    "table lamps": (
        (
            ("Brass", "Turned walnut", "Ceramic", "Cut glass", "Painted tole", "Marble", "Teak", "Pleated-shade"),
            ("table lamp,", "desk lamp,", "bedside lamps, pair,", "banker's lamp,", "column lamp,"),
            ("rewired", "original shade", "no shade", "green shade", "linen shade", "drum shade", "two bulbs"),
            ("", "22 in", "26 in", "28 in", "31 in"),
        ),
    ),
    "film cameras and lenses": (
        (
            ("35 mm", "Medium format", "Folding", "Half-frame", "Twin-lens", "Box", "Compact 35 mm"),
            ("camera,", "reflex camera,", "rangefinder camera,"),
            ("black", "chrome", "leather case", "with strap", "meter works", "shutter tested", "with manual"),
            ("", "light seals renewed", "sold as tested", "small dent"),
        ),
        (
            ("28 mm", "35 mm", "50 mm", "85 mm", "135 mm", "200 mm", "35-70 mm", "80-200 mm"),
            ("f/2.8", "f/3.5", "f/1.8", "f/2", "f/4"),
            ("lens,",),
            ("screw mount", "bayonet mount", "clean glass", "with hood", "slight haze", "both caps", "macro"),
        ),
    ),
    "board games": (
        (
            (
                "Railway-building",
                "Mystery",
                "Trading",
                "Castle siege",
                "Word",
                "Farming",
                "Race",
                "Deduction",
                "Sailing",
            ),
            ("board game,", "family game,", "strategy game,"),
            ("complete", "one piece missing", "unpunched", "box worn", "rules copied", "pieces counted"),
            ("", "1960s", "1970s", "1980s", "1990s", "wooden pieces"),
        ),
        (
            ("Chess set,", "Draughts and backgammon,", "Dominoes, double nine,", "Mah-jong set,", "Cribbage board,"),
            ("boxwood", "weighted pieces", "folding board", "walnut case", "bone and bamboo", "travel size"),
            ("", "complete", "one spare piece", "felted"),
        ),
    ),
    "hand tools": (
        (
            ("Wooden", "Cast-iron", "Low-angle", "Smoothing", "Jack", "Block"),
            ("plane,", "spokeshave,", "router plane,", "rebate plane,"),
            ("sharpened", "rosewood handle", "new wedge", "light rust", "9 in", "14 in", "boxed"),
        ),
        (
            (
                "Brace and 8 bits,",
                "Set of 6 chisels,",
                "Tenon saw,",
                "Marking gauge, brass,",
                "Bench vise,",
                "Two hammers,",
            ),
            ("beech handle", "boxwood handle", "cleaned and oiled", "in canvas roll", "restored", "as found"),
            ("", "small", "large", "well kept"),
        ),
        (
            ("Breast drill,", "Hand drill,", "Egg-beater drill,", "Drawknife,", "Spirit level,", "Pipe wrench,"),
            ("two speed", "12 in", "18 in", "brass fittings", "working", "wood handle"),
        ),
    ),
    "wool blankets": (
        (
            ("Striped", "Checked", "Plain cream", "Red", "Forest green", "Waffle-weave", "Tartan", "Camp"),
            ("wool blanket,", "wool throw,", "merino blanket,"),
            ("twin", "full", "queen", "satin binding", "fringed", "whip-stitched"),
            ("", "washed", "one small mend", "no holes", "60 x 80 in", "72 x 90 in"),
        ),
    ),
    "framed prints": (
        (
            ("Botanical", "River landscape", "Harbor", "Map", "Bird", "Abstract", "Winter village", "Still life"),
            ("print,", "etching,", "lithograph,", "woodblock print,", "mezzotint,"),
            ("oak frame", "gilt frame", "black frame", "walnut frame", "wide mat", "signed in pencil"),
            ("", "old glass", "reframed", "some foxing", "24 x 18 in", "30 x 24 in"),
        ),
    ),
    "sewing machines": (
        (
            ("Cast-iron", "Hand-crank", "Portable electric", "Treadle head,", "Heavy-duty", "Child's", "Zigzag"),
            ("sewing machine,",),
            ("black and gold", "mint green", "beige", "gold scrollwork", "pale blue", "dark wood base"),
            ("in case", "with feet and bobbins", "serviced", "new belt", "no pedal", "walnut cabinet lid"),
        ),
    ),
    "vintage audio": (
        (
            ("Stereo", "Tube", "Solid-state", "Quad"),
            ("receiver,", "amplifier,", "tuner,", "preamplifier,"),
            ("walnut case", "silver face", "serviced", "one channel low", "30 W", "45 W", "new lamps"),
        ),
        (
            (
                "Belt-drive turntable,",
                "Direct-drive turntable,",
                "Reel-to-reel deck,",
                "Cassette deck,",
                "Table radio,",
            ),
            ("new belt", "dust cover", "no cartridge", "tested", "needs heads cleaned", "wood sides"),
        ),
        (
            ("Bookshelf speakers, pair,", "Floor speaker,", "Jukebox speaker,", "Radio, shortwave,"),
            ("new foams", "original grilles", "boxed", "tested", "walnut veneer"),
        ),
    ),
    "cookware": (
        (
            ("Enameled cast-iron", "Cast-iron", "Copper", "Stainless", "Carbon-steel"),
            ("Dutch oven,", "skillet,", "saucepan,", "stockpot,", "griddle,", "roasting pan,", "sauté pan,"),
            ("8 in", "10 in", "12 in", "3 qt", "5 qt", "with lid", "brass handle"),
            ("", "re-seasoned", "blue", "red", "cream", "retinned", "light wear"),
        ),
        (
            ("Waffle iron, stovetop,", "Fluted cake pan,", "Pasta machine,", "Pressure cooker,", "Coffee percolator,"),
            ("cast aluminum", "complete", "wood handle", "new gasket", "cleaned", "8 cup"),
        ),
    ),
    "typewriters": (
        (
            ("Portable", "Desktop", "Ultra-flat portable", "Wide-carriage", "Electric", "Cursive-type portable"),
            ("typewriter,",),
            ("black", "sea green", "cream", "grey", "red", "crinkle finish", "glass keys"),
            ("with case", "new ribbon", "cleaned and oiled", "case worn", "types well", "margin sticks", "elite type"),
        ),
    ),
    "folding chairs": (
        (
            ("Beech slat", "Oak", "Steel and canvas", "Bistro", "Theater", "Caned", "Painted wood", "Teak garden"),
            ("folding chair,", "folding chairs, pair,", "folding chairs, pair,"),
            ("sturdy", "one slat replaced", "stenciled number", "repainted", "original paint", "padded seat"),
            ("", "1940s", "1950s", "1970s"),
        ),
    ),
}


def titles(names: tuple[str, ...], kind: Ints, draws: Draws) -> list[str]:
    """A plausible title for each item.

    Parameters
    ----------
    names : tuple of str
        Names of the kinds; one without words of its own is numbered.
    kind : array, shape (n,)
        Kind of each item.
    draws : Draws
        Where the luck comes from.

    Returns
    -------
    list of str
        The titles.

    Examples
    --------
    >>> import numpy as np
    >>> titles(("typewriters", "odds"), np.array([0, 1]), Draws(4))
    ['Portable typewriter, black, margin sticks', 'odds 2']
    """
    luck = draws.uniform("titles", 6 * kind.size).reshape(kind.size, 6)
    found: list[str] = []
    for row, which in enumerate(kind.tolist()):
        patterns = WORDS.get(names[which])
        if patterns is None:
            found.append(f"{names[which]} {row + 1}")
            continue
        slots = patterns[int(luck[row, 5] * len(patterns))]
        words = [slot[int(luck[row, at] * len(slot))] for at, slot in enumerate(slots)]
        *head, last = words
        text = " ".join(word for word in head if word)
        joint = " " if text.endswith(",") else ", "
        found.append(f"{text}{joint}{last}" if last else text.rstrip(","))
    return found
