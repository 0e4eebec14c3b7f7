"""A chart's spec drawn: as vector graphics for our pages, and as a light picture for everybody else's."""

from __future__ import annotations

import base64
import copy
import functools
import json
import re
from collections import Counter
from collections.abc import Mapping
from html import escape
from typing import Any, Final
from xml.etree import ElementTree

#: Widths that a chart is drawn at: for a phone, where it keeps its letters at 11 px and more, and for the rest. [px]
NARROW: Final = 340
WIDE: Final = 640
#: Marks a chart that fits its place, or says how much of its width is not drawing: every panel is given the rest.
FIT_KEY: Final = "fit"
MARGIN_KEY: Final = "margin"
#: Grammar that charts are drawn by; the specs are written for JupyterLab's, which is the one before it, as well.
VEGA_LITE: Final = "6.4"
#: Points of a line that say their value under the pointer, at most.
_MOST_POINTS: Final = 12

_SPACE: Final = "http://www.w3.org/2000/svg"
_ROOT, _GROUP, _TEXT, _CLIP, _PATH, _LINE, _CIRCLED = (
    f"{{{_SPACE}}}{name}" for name in ("svg", "g", "text", "clipPath", "path", "line", "circle")
)
_NUMBER: Final = re.compile(r"-?\d+\.\d{2,}(e-?\d+)?")
_COMMAND: Final = re.compile(r"([A-Za-z])([^A-Za-z]*)")
_MOVED: Final = re.compile(r"translate\((-?[\d.]+),(-?[\d.]+)\)")
_CIRCLE: Final = re.compile(r"M([\d.]+),0A\1,\1,0,1,1,-\1,0A\1,\1,0,1,1,\1,0Z?")
_REFERENCE: Final = re.compile(r"url\(#([^)]+)\)")
#: What a group may say once for all that is in it.
_INHERITED: Final = (
    "opacity",
    *("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin", "stroke-miterlimit"),
    *("font-family", "font-size", "font-weight", "text-anchor"),
)
#: What the library writes that changes nothing, and what a reader of the page is told otherwise.
_IDLE: Final = {
    "opacity": "1",
    "fill-opacity": "1",
    "stroke-opacity": "1",
    "font-weight": "normal",
    "transform": "translate(0,0)",
    "stroke-width": "1",
    "stroke-miterlimit": "10",
}
_UNSAID: Final = ("class", "role", "aria-hidden", "aria-roledescription", "pointer-events", "version")
#: What is rounded to a tenth of a unit, of which the drawing has some hundreds.
_PLACES: Final = ("d", "transform", "x", "y", "x2", "y2", "dy", "width", "height", "font-size")
#: Begins what a mark says of itself; the library writes words for every other mark too.
_SPOKEN: Final = "\u2063"
#: Typefaces of one width, which drawings are measured in: the first comes with the library that draws.
DRAWN_FONTS: Final = "'Liberation Sans', Arial, Helvetica, sans-serif"
#: What a page says of all its drawings.
_PAGES_OWN: Final = re.compile(f' xmlns="{_SPACE}"| font-family="{re.escape(DRAWN_FONTS)}"')
#: What the page says in words, and not the drawing.
_IN_PAGE: Final = ("$schema", "title", "description", "usermeta")


def drawing(spec: Mapping[str, Any], width: int) -> str:
    """The drawing of a chart without its title, as wide as told; where a pointer hovers, marks say their value."""
    return _drawn(json.dumps(_fitted(spec, width), allow_nan=False, sort_keys=True))


def picture(spec: Mapping[str, Any]) -> str:
    """The wide drawing as an image with its title and its reading: Markdown, as nbconvert shows it with an alt text.

    Its own way with vector graphics leaves the alt text out, and what it prefers to Markdown JupyterLab prefers to
    its own drawing of the chart.
    """
    title = spec.get("title")
    told: Mapping[str, Any] = title if isinstance(title, Mapping) else {"text": title or ""}
    head, below = (escape(joined_lines(told.get(part, ""))) for part in ("text", "subtitle"))
    # On paper of its own: the page around may be dark, and knows none of our colours.
    svg = re.sub("(<svg[^>]*>)", r'\1<rect width="100%" height="100%" fill="#fff"/>', drawing(spec, WIDE), count=1)
    data = base64.b64encode(svg.encode()).decode()
    caption = f"<strong>{head}</strong>{f'<br>{below}' if below else ''}"
    reading = escape(str(spec.get("description") or "A chart without a reading."), quote=True).replace("\n", " ")
    # The class keeps nbconvert's page from setting what stands between two dollar signs as a formula.
    return (
        f'<figure><figcaption class="tex2jax_ignore">{caption}</figcaption>'
        f'<img alt="{reading}" src="data:image/svg+xml;base64,{data}"></figure>'
    )


def inlined(svg: str, name: str, colors: Mapping[str, str], **attributes: str) -> str:
    """A drawing as part of a page: its colours follow the page, its names are the page's own.

    >>> inlined('<svg><path id="clip0" fill="#ffffff"/></svg>', "month-1", {"#ffffff": "var(--paper)"}, role="img")
    '<svg role="img"><path id="month-1-clip0" fill="var(--paper,#ffffff)"/></svg>'
    """
    svg = _PAGES_OWN.sub("", svg)
    named = re.sub(r'\bid="', f'id="{name}-', _REFERENCE.sub(rf"url(#{name}-\1)", svg))
    followed = re.sub(
        r'"(#[0-9a-f]{6})"', lambda at: f'"{colors[at[1]][:-1]},{at[1]})"' if at[1] in colors else at[0], named
    )
    told = "".join(f' {key.replace("_", "-")}="{escape(value, quote=True)}"' for key, value in attributes.items())
    return followed.replace("<svg", f"<svg{told}", 1)


def joined_lines(text: str | list[str]) -> str:
    """The text of a title, which may come in lines."""
    return text if isinstance(text, str) else " ".join(text)


def _fitted(spec: Mapping[str, Any], width: int) -> dict[str, Any]:
    """The spec at a width, without what the page says in words."""
    kept = spec.get("usermeta") or {}
    fitted = copy.deepcopy({key: value for key, value in spec.items() if key not in _IN_PAGE})
    if MARGIN_KEY in kept:
        for panel in fitted["vconcat"]:
            panel["width"] = max(width - int(kept[MARGIN_KEY]) - 10, 80)
    elif kept.get(FIT_KEY) or fitted.get("width") == "container":
        fitted |= {"width": width, "autosize": {"type": "fit-x", "contains": "padding"}}
    # A phone and paper have no pointer; the numbers stand below the drawing.
    if width > NARROW:
        _speak(fitted)
    return fitted


def _speak(spec: Any) -> None:
    """Give each mark with a tooltip its words; a line gets unseen points, as it has no value of its own."""
    if isinstance(spec, list):
        for part in spec:
            _speak(part)
    if not isinstance(spec, dict):
        return
    _speak([value for value in spec.values() if isinstance(value, dict | list)])
    spoken = [part for part in spec.get("layer", []) if _mark(part) == "line" and _words(part) is not None]
    for part in spoken:
        places = {key: value for key, value in part["encoding"].items() if key in ("x", "y")}
        thinned = [
            {"window": [{"op": "row_number", "as": "point"}]},
            {"joinaggregate": [{"op": "count", "as": "points"}]},
            {"filter": f"datum.point % ceil(datum.points / {_MOST_POINTS}) == 0"},
        ]
        spec["layer"].append(
            {
                **{key: part[key] for key in ("data", "name") if key in part},
                "transform": [*part.get("transform", []), *thinned],
                "mark": {"type": "square", "opacity": 0, "size": 300},
                "encoding": {**places, "description": _words(part)},
            }
        )
    if "encoding" in spec and "tooltip" in spec["encoding"] and _mark(spec) not in ("line", "area"):
        spec["encoding"]["description"] = _words(spec)


def _mark(spec: Mapping[str, Any]) -> str:
    mark = spec.get("mark", "")
    return str(mark.get("type", "") if isinstance(mark, Mapping) else mark)


def _words(spec: Mapping[str, Any]) -> dict[str, Any] | None:
    """What a tooltip says, as the text of a mark."""
    told = spec.get("encoding", {}).get("tooltip")
    if not isinstance(told, list):
        return None
    parts = []
    for entry in (one for one in told if one.get("title") != ""):
        value = f"datum[{json.dumps(entry['field'])}]"
        shown = f"format({value}, {json.dumps(entry['format'])})" if entry.get("format") else f"'' + {value}"
        parts.append(f"{json.dumps(entry.get('title', entry['field']) + ': ')} + (isValid({value}) ? {shown} : '–')")
    return {"value": {"expr": f"'{_SPOKEN}' + " + " + '; ' + ".join(parts)}}


@functools.lru_cache(maxsize=512)
def _drawn(spec: str) -> str:
    # Imported at the first drawing, which takes the better part of a second: most processes never draw.
    import vl_convert

    root = ElementTree.fromstring(vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE, allowed_base_urls=[]))  # noqa: S314 - our own
    root.remove(root[0])  # the paper, which the page has
    _slim(root)
    _unwrap(root)
    _name_clips(root)
    ElementTree.register_namespace("", _SPACE)
    return ElementTree.tostring(root, encoding="unicode").replace(" />", "/>")


def _slim(element: ElementTree.Element) -> None:
    """Take out what shows nothing, write numbers with one decimal, say once what all parts of a group share."""
    said = element.attrib.pop("aria-label", "")
    for key, value in list(element.attrib.items()):
        if key in _UNSAID or _IDLE.get(key) == value:
            del element.attrib[key]
        elif key in _PLACES:
            element.attrib[key] = _NUMBER.sub(_short, value).removesuffix("px")
    kept: list[ElementTree.Element] = []
    for part in element:
        _slim(part)
        if part.tag == _CLIP or _shows(part):
            kept.append(part)
    if element.tag != _CLIP:
        element[:] = kept
        _place(element)
    if element.tag in (_GROUP, _ROOT):
        for key in _INHERITED:
            _say_once(element, key)
        _join_lines(element)
    if said.startswith(_SPOKEN) and element.tag != _GROUP:
        title = ElementTree.Element(f"{{{_SPACE}}}title")
        title.text = said.removeprefix(_SPOKEN)
        element.insert(0, title)


def _unwrap(element: ElementTree.Element) -> None:
    """Take out groups that say nothing of their parts, and join two of which one holds only the other."""
    for part in element:
        _unwrap(part)
    if element.tag not in (_GROUP, _ROOT):
        return
    element[:] = [one for part in element for one in (part if part.tag == _GROUP and not part.attrib else [part])]
    only = element[0] if len(element) == 1 else None
    if only is None or not element.tag == only.tag == _GROUP:
        return
    said = [*element.attrib, *only.attrib]
    if len(said) == len(set(said)) and "clip-path" not in said:
        element.attrib |= only.attrib
        element[:] = list(only)


def _shows(part: ElementTree.Element) -> bool:
    if part.get("display") == "none" or (part.get("opacity") == "0" and not len(part)):
        return False
    if part.tag == _PATH and not part.get("d"):
        return False
    if part.tag in (_TEXT, _GROUP, f"{{{_SPACE}}}defs", f"{{{_SPACE}}}tspan"):
        return bool(len(part) or part.text)
    return part.tag == f"{{{_SPACE}}}title" or "fill" in part.attrib or "stroke" in part.attrib


def _place(part: ElementTree.Element) -> None:
    """Write where a mark stands in its own places, a circle as one, and a path by its steps."""
    moved = _MOVED.fullmatch(part.get("transform", ""))
    x, y = moved.groups() if moved and "clip-path" not in part.attrib else ("0", "0")
    if part.tag == _TEXT and moved and not {"x", "y"} & set(part.attrib):
        part.attrib |= {"x": x, "y": y}
        for line in part.iterfind("*[@x='0']"):
            line.set("x", x)
    elif part.tag == _LINE:
        ends = (("x1", "y1"), ("x2", "y2"))
        places = [(_added(part.attrib.pop(h, "0"), x), _added(part.attrib.pop(v, "0"), y)) for h, v in ends]
        part.tag = _PATH
        part.set("d", _stepped("M{},{}L{},{}".format(*places[0], *places[1])))
    elif part.tag == _PATH and (circle := _CIRCLE.fullmatch(part.get("d", ""))):
        part.tag = _CIRCLED
        del part.attrib["d"]
        part.attrib |= {"cx": x, "cy": y, "r": circle[1]}
    elif part.tag == _PATH and "d" in part.attrib:
        steps = _stepped(part.attrib["d"])
        # Only the first place of such a path is not told by a step.
        first = re.match(r"M(-?[\d.]+),(-?[\d.]+)(?=[^A-Z]*Z?$)", steps)
        if moved and first:
            steps = f"M{_added(first[1], x)},{_added(first[2], y)}{steps[first.end() :]}"
        part.set("d", steps)
        moved = moved and first
    else:
        return
    if moved and "clip-path" not in part.attrib:
        del part.attrib["transform"]


def _added(place: str, move: str) -> str:
    return f"{round(float(place) + float(move), 1) + 0:g}"


def _join_lines(group: ElementTree.Element) -> None:
    """Draw what are paths without a word of their own in one go, the lines of a grid above all."""
    before = None
    for part in list(group):
        alone = part.tag == _PATH and set(part.attrib) == {"d"} and not len(part) and "fill" not in group.attrib
        if alone and before is not None:
            before.set("d", before.attrib["d"] + part.attrib["d"])
            group.remove(part)
        else:
            before = part if alone else None


def _say_once(group: ElementTree.Element, key: str) -> None:
    """Move the value of an attribute that most parts of a group have to the group, where each part has one."""
    of_text = key.startswith(("font", "text"))
    parts = [part for part in group if not of_text or next(part.iter(_TEXT), None) is not None]
    values = Counter(part.get(key) for part in parts)
    if not values or None in values:
        return
    most = values.most_common(1)[0][0] or ""
    # Opacity is not inherited: only what is unseen throughout is unseen as a whole.
    if (key == "opacity" and set(values) != {"0"}) or (len(values) > 1 and values[most] == 1):
        return
    group.set(key, most)
    for part in parts:
        if part.get(key) == most:
            del part.attrib[key]


def _name_clips(root: ElementTree.Element) -> None:
    """Number the names within a drawing from nought: the library goes on counting where the last one ended."""
    names = {part.attrib["id"]: f"clip{k}" for k, part in enumerate(root.iterfind(".//*[@id]"))}
    for part in root.iter():
        for key, value in part.attrib.items():
            if key == "id":
                part.attrib[key] = names[value]
            elif _REFERENCE.fullmatch(value):
                part.attrib[key] = f"url(#{names[value[5:-1]]})"


def _stepped(path: str) -> str:
    """A path told by its steps in place of its places, which are longer.

    >>> _stepped("M0,0L5,0L7,0L7,2L7,2L6.5,3Z")
    'M0,0h7v2l-.5,1Z'
    """
    x = y = 0  # in tenths, so that no error adds up
    steps: list[tuple[str, int]] = []
    for command, told in _COMMAND.findall(path):
        places = [round(10 * float(place)) for place in told.replace(",", " ").split()]
        if command in "hv" and len(places) == 1:
            across, down = (places[0], 0) if command == "h" else (0, places[0])
        elif command == "L" and len(places) == 2:
            across, down = places[0] - x, places[1] - y
        elif command in "MAC":
            across, down = places[-2] - x, places[-1] - y
            steps.append((command + told, 0))
        elif command == "Z":
            across = down = 0
            steps.append((command, 0))
        else:
            return path
        x, y = x + across, y + down
        if command in "MACZ":
            continue
        if across and down:
            steps.append((f"l{_tenths(across)}{',' * (down > 0)}{_tenths(down)}", 0))
        elif across or down:
            step = ("h", across) if across else ("v", down)
            if steps and steps[-1][0] == step[0] and steps[-1][1] * step[1] > 0:
                step = (step[0], step[1] + steps.pop()[1])
            steps.append(step)
    return "".join(command + (_tenths(step) if step else "") for command, step in steps)


def _tenths(number: int) -> str:
    return re.sub(r"\b0\.", ".", f"{number / 10:g}")


def _short(number: re.Match[str]) -> str:
    return f"{round(float(number[0]), 1) + 0:g}"
