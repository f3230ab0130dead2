"""What is wrong with the words on a picture: small, close to others, struck through, cut off.

`python -m tests.text_on_pictures FOLDER` reads every SVG file of a folder, such as the `data` of a
quarter's reports.
"""

import re
import sys
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import shapely
from matplotlib.colors import to_rgb
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from shapely.affinity import rotate, translate

APART_PT = 1.5
"""Two pixels of a screen."""
LEAST_PT = 9.0
FAINT = 0.6
"""Lines and edges lighter than this (grid, bands) may run behind words."""
SVG, LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"
NUMBER = r"[-+]?[\d.]+(?:e[-+]?\d+)?"
ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}


def text_faults(svg):
    """Say each fault of the words on a picture, from its SVG text."""
    root = ElementTree.fromstring(svg)
    drawn = list(_drawn(root))
    texts = [(words, box, place) for kind, words, box, place in drawn if kind == "text"]
    faults = [f"{words!r}: {size:g} pt" for words, size in _sizes(root) if size < LEAST_PT]
    paper = shapely.box(0, 0, *map(float, root.get("viewBox").split()[2:]))
    faults += [f"{words!r}: off the paper" for words, box, _ in texts if not paper.covers(box)]
    boxes = np.array([box for _, box, _ in texts], dtype=object)
    apart = shapely.distance(boxes[:, None], boxes[None])
    for one, other in zip(*np.nonzero(np.triu(apart < APART_PT, 1)), strict=True):
        names = f"{texts[one][0]!r} and {texts[other][0]!r}"
        faults.append(f"{names}: {apart[one, other]:.1f} pt apart")
    covers = [(shape, place) for kind, _, shape, place in drawn if kind == "cover"]
    for kind, _, line, place in drawn:
        if kind != "line":
            continue
        for hit in np.flatnonzero(shapely.intersects(line, boxes)):
            words, box, at = texts[hit]
            if not _hidden(line, place, box, at, covers):
                faults.append(f"{words!r}: struck through")
    return sorted(set(faults))


def _hidden(line, place, box, at, covers):
    """Whether something white, drawn between line and words, hides the line behind the words."""
    between = [shape for shape, order in covers if place < order < at]
    return not line.difference(shapely.union_all(between)).intersects(box) if between else False


def _sizes(root):
    for text in root.iter(f"{SVG}text"):
        if (text.text or "").strip():
            yield text.text, float(re.search(r"font-size: ([\d.]+)px", text.get("style"))[1])


def _drawn(root):
    """Yield what is drawn, in its order: text, line or white cover, each with its shape, pt."""
    marks = {path.get("id"): path for path in root.iter(f"{SVG}path") if path.get("id")}
    clips = {c.get("id"): _clip(c) for c in root.iter(f"{SVG}clipPath")}
    within = {id(part) for defined in root.iter(f"{SVG}defs") for part in defined.iter()}
    held_by = {id(part): group.get("clip-path") for group in root.iter(f"{SVG}g") for part in group}
    for order, part in enumerate(root.iter()):
        clip = clips.get((part.get("clip-path") or held_by.get(id(part)) or "")[5:-1])
        if part.tag == f"{SVG}g" and (part.get("id") or "").startswith("text_"):
            yield from _text(part, order + len(list(part.iter())))
        elif part.tag == f"{SVG}path" and id(part) not in within:
            yield from _path(part, part.get("d"), (0, 0), clip, order)
        elif part.tag == f"{SVG}use":
            at = float(part.get("x")), float(part.get("y"))
            yield from _path(part, marks[part.get(LINK)[1:]].get("d"), at, clip, order)


def _text(group, order):
    lines = [line for line in group.iter(f"{SVG}text") if (line.text or "").strip()]
    if lines:
        box = shapely.union_all([_ink(line) for line in lines]).envelope
        yield "text", " ".join(line.text for line in lines), box, order


def _ink(line):
    """The box of what is printed of a line of text."""
    size = float(re.search(r"font-size: ([\d.]+)px", line.get("style"))[1])
    weight = "bold" if re.search(r"bold|700", line.get("style")) else "normal"
    left, low, right, high = _extents(line.text, size, weight)
    anchor = re.search(r"text-anchor: (\w+)", line.get("style"))
    share = ANCHORS[anchor[1]] if anchor else 0.0
    box = translate(shapely.box(left, -high, right, -low), -share * (left + right))
    turn, place = _placed(line)
    return translate(rotate(box, turn, origin=(0, 0)), *place)


@cache
def _extents(text, size, weight):
    """The ends of the ink: the typeface's curves have points where they reach farthest."""
    font = FontProperties(family="DejaVu Sans", weight=weight)
    path = TextPath((0, 0), text, size=size, prop=font)
    points = path.vertices[path.codes != TextPath.CLOSEPOLY]
    return *points.min(axis=0), *points.max(axis=0)


def _placed(line):
    transform = line.get("transform", "")
    turned = re.search(rf"rotate\(({NUMBER})", transform)
    moved = re.search(rf"translate\(({NUMBER})[ ,]+({NUMBER})\)", transform)
    place = (float(line.get("x", 0)), float(line.get("y", 0)))
    return float(turned[1]) if turned else 0.0, tuple(
        map(float, moved.groups())
    ) if moved else place


def _path(part, path, at, clip, order):
    """A path as a line that strikes, or as a cover."""
    style = part.get("style", "")
    for points, closed in _outlines(path):
        moved = points + at
        stroke, fill = (_tone(style, name) for name in ("stroke", "fill"))
        if closed and fill is not None and len(moved) > 2:
            area = _clipped(shapely.Polygon(moved).buffer(0), clip)
            # Words on a filled shape are fine; words across its edge are not.
            if fill > 0.95:
                yield "cover", "", area, order
            elif fill < FAINT and not area.is_empty:
                yield "line", "", area.boundary, order
        if stroke is not None and stroke < FAINT and len(moved) > 1:
            yield "line", "", _clipped(shapely.LineString(moved), clip), order


def _outlines(path):
    """The pieces of a path: corners (curves by their ends), and whether it is closed."""
    for piece in re.split(r"(?=M)", path or ""):
        steps = re.findall(r"([MLQCz])([^MLQCz]*)", piece)
        points = [list(map(float, re.findall(NUMBER, numbers)))[-2:] for _, numbers in steps]
        corners = np.array([point for point in points if len(point) == 2])
        if len(corners):
            yield corners, any(step == "z" for step, _ in steps)


def _clip(element):
    rect = element.find(f"{SVG}rect")
    if rect is None:
        return None
    x, y, wide, high = (float(rect.get(name)) for name in ("x", "y", "width", "height"))
    return shapely.box(x, y, x + wide, y + high)


def _clipped(shape, clip):
    return shape if clip is None else shape.intersection(clip)


def _tone(style, name):
    """The grey of a colour in a style, 0 black to 1 white; None if it is not painted."""
    colour = re.search(rf"(?:^|; ?){name}: (#[0-9a-f]+)", style)
    if not colour:
        return None
    seen = re.search(rf"(?:^|; ?)(?:{name}-)?opacity: ([\d.]+)", style)
    opacity = float(seen[1]) if seen else 1.0
    grey = float(np.dot(to_rgb(colour[1]), [0.2126, 0.7152, 0.0722]))
    return 1 - opacity * (1 - grey)


def main(folder):
    faults = {
        path.name: text_faults(path.read_text("utf-8")) for path in Path(folder).glob("*.svg")
    }
    for name, found in sorted(faults.items()):
        for fault in found:
            print(f"{name}: {fault}")
    return int(any(faults.values()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
