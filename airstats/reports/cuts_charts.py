"""Pictures of the openings: how one is cut, and which cut is cheapest where."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from scipy import ndimage

from airstats.base.number_text import each, listed, number, own_money, percent
from airstats.catalog.cut_patterns import CUTS
from airstats.geometry.cutting_rules import Practice
from airstats.geometry.outlines import OpeningPieces
from airstats.reports.display import Picture
from airstats.reports.drawing import (
    NO_DRAWING,
    cut_list,
    describe_opening,
    draw_elevation,
    draw_opening,
    legend_key,
    words,
)
from airstats.reports.house_style import ACCENT, FULL, INK
from airstats.takeoff.opening_quantities import Opening, opening_pieces

SIZES = ("width_mm", "height_mm", "reveal_mm")
ACROSS, A_SHEET, MOST_SHEETS = 7, 42, 10
"""Drawings side by side and in all of a picture, which then fills a page; pictures of a plan."""
WORDS_HIGH, DRAWN_HIGH, CELL_HIGH, KEY_HIGH = 0.48, 0.74, 1.32, 0.62
"""Inches: of the words over a small drawing, of the drawing, of both with the gap below, and of
the key below all."""
EDGE = 0.03
"""Inches between the paper's edge and the words."""
OTHERWISE = "*"
"""Behind an opening that is to be cut otherwise than the takeoff notes."""
MOST_SIGNS = 14
"""A longer name of a job and opening does not fit over its drawing."""
LABELLED = 0.03
"""A smaller share of the map has no room for its name."""
TICKS_M2 = (0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0)


def opening(row: pd.Series, cut: str = "") -> Picture:
    """Draw one opening to scale, cut as named (as recommended if empty)."""
    shown = _as_planned(row, cut)
    alt = describe_opening(shown)
    return Picture("opening", draw_opening(shown), alt, pd.DataFrame([row]))


def cut_sheets(plan: pd.DataFrame) -> list[Picture]:
    """Draw the cuts in the sheet for each kind of opening of a plan, small, for the fitter.

    Parameters
    ----------
    plan
        What `opening_plan` returns. A picture holds `A_SHEET` of its rows; of a plan that would
        fill more than `MOST_SHEETS`, the rest is left to `orders` of fewer jobs.
    """
    starts = range(0, len(plan), A_SHEET)[:MOST_SHEETS]
    return [_cut_sheet(plan, start, place) for place, start in enumerate(starts, start=1)]


def _cut_sheet(plan: pd.DataFrame, start: int, place: int) -> Picture:
    shown = plan.iloc[start : start + A_SHEET]
    drawn = [opening_pieces(_as_planned(row)) for _, row in shown.iterrows()]
    key = legend_key([pieces for pieces in drawn if pieces], reveal=False)
    high = EDGE + CELL_HIGH * -(-len(shown) // ACROSS) + KEY_HIGH
    figure = Figure(figsize=(FULL, high))
    other = ~shown["recommended_cut"].eq(shown["cut_pattern"])
    named = "how often, depth of the reveal, width × height; mm"
    if other.any():
        named += f"; brick and {OTHERWISE}: to be cut otherwise than noted"
    figure.legend(handles=key, loc="lower center", ncols=3, title=named)
    for cell, (pieces, (_, row)) in enumerate(zip(drawn, shown.iterrows(), strict=True)):
        top = 1 - (EDGE + cell // ACROSS * CELL_HIGH) / high
        low = top - (WORDS_HIGH + DRAWN_HIGH) / high
        box = (cell % ACROSS / ACROSS + EDGE / FULL, low, 0.97 / ACROSS, DRAWN_HIGH / high)
        colour = ACCENT if other.iloc[cell] else INK
        figure.text(box[0], top, _panel_title(row), va="top", linespacing=1.15, color=colour)
        _draw_small(figure.add_axes(box, anchor="NW"), pieces)
    said = [f"{r.job_id} {r.mark} {r.cut_way}{_noted(r)}".replace("  ", " ") for r in each(shown)]
    more = f" {start + 1} to {start + len(shown)} of {len(plan)} kinds."
    alt = f"The cuts in the sheet at each opening: {listed(said)}.{more * (len(plan) > len(shown))}"
    columns = ["job_id", "mark", "count", *SIZES, "sides", "cut_pattern", "cut_way", "saving_all"]
    name = "cut_sheet" if place == 1 else f"cut_sheet_{place}"
    return Picture(name, figure, alt, shown[columns].assign(pieces=[*map(_pieces, drawn)]))


def _noted(row: Any) -> str:
    """The cut that the takeoff notes, where another is drawn."""
    if row.cut_pattern == row.recommended_cut:
        return ""
    return f" (noted: {CUTS[row.cut_pattern].words})"


def _draw_small(axes: Axes, pieces: OpeningPieces | None) -> None:
    axes.axis("off")
    if pieces is None:
        axes.text(0, 1, NO_DRAWING.replace(" ", "\n", 2), va="top")
        return
    edge = 0.12 * max(pieces.width_m, pieces.height_m)
    draw_elevation(axes, pieces, edge / 0.55, dimensions=False)
    axes.set_aspect("equal")
    axes.set_xlim(-edge, pieces.width_m + edge)
    axes.set_ylim(-edge, pieces.height_m + edge)


def _panel_title(row: pd.Series) -> str:
    star = "" if row["recommended_cut"] == row["cut_pattern"] else f" {OTHERWISE}"
    name = " ".join(str(part) for part in (row["job_id"], row["mark"]) if part)
    name = _short(name, MOST_SIGNS - len(star)) + star
    size = f"{row['width_mm']:.0f} × {row['height_mm']:.0f}"
    return f"{name}\n{row['count']:.0f}×, {row['reveal_mm']:.0f} deep\n{size}"


def _short(name: str, most: int) -> str:
    return name if len(name) <= most else f"{name[: most - 1]}…"


def _pieces(pieces: OpeningPieces | None) -> str:
    return "; ".join(cut_list(pieces)) if pieces else ""


def _as_planned(row: pd.Series, cut: str = "") -> Opening:
    width, height, reveal = (float(row[name]) for name in SIZES)
    way = {name: row[name] for name in ("slit", "halves") if name in row and not cut}
    how = cut or str(row["recommended_cut"])
    return Opening(width, height, reveal, int(row["sides"]), how, Practice(**way))


def cut_map(grid: pd.DataFrame, openings: pd.DataFrame, currency: str = "") -> Picture:
    """Draw which cut is cheapest over size and depth, with the firm's own openings as dots.

    Parameters
    ----------
    grid
        What `break_even_map` returns.
    openings
        `width_mm`, `height_mm`, `reveal_mm` and `count` of the firm's openings; none is well.
    currency
        That of the costs, if it is known.
    """
    figure = Figure(figsize=(FULL, 3.4), layout="constrained")
    axes = figure.add_subplot()
    _regions(axes, grid)
    _dots(axes, openings)
    axes.set_xscale("log")
    axes.set_xticks(TICKS_M2, [f"{tick:g}" for tick in TICKS_M2])
    axes.minorticks_off()
    axes.set_xlim(grid["opening_m2"].min(), grid["opening_m2"].max())
    axes.set_ylim(grid["reveal_mm"].min(), grid["reveal_mm"].max())
    shape = grid["width_mm"].iloc[0] / grid["height_mm"].iloc[0]
    axes.set_xlabel(f"area of the opening, m² (width {shape:.2f} of height, four lined sides)")
    axes.set_ylabel("depth of the reveal, mm")
    columns = ["opening_m2", "reveal_mm", *(f"{cut}_cost" for cut in CUTS)]
    data = grid[[*columns, "cheapest_cut", "margin"]].rename(
        columns={f"{cut}_cost": f"{known.words}, money" for cut, known in CUTS.items()}
    )
    return Picture("cut_map", figure, describe_cut_map(grid, currency), data)


def describe_cut_map(grid: pd.DataFrame, currency: str = "") -> str:
    """Say in words what `cut_map` shows; it serves as the text alternative."""
    share = grid["cheapest_cut"].value_counts(normalize=True)
    said = [f"{CUTS[str(cut)].words} in {percent(part)}" for cut, part in share.items()]
    area, depth = grid["opening_m2"], grid["reveal_mm"]
    return (
        f"Map of the cheapest cut for openings of {area.min():g} to {area.max():g} m² with reveals"
        f" of {depth.min():g} to {depth.max():g} mm: {listed(said)} of its points. It saves"
        f" {own_money(number(grid['margin'].max()), currency)} an opening at most."
    )


def _regions(axes: Axes, grid: pd.DataFrame) -> None:
    """Fill each cut's part, with the line where it costs as much as the next best."""
    costs = {cut: grid.pivot_table(f"{cut}_cost", "reveal_mm", "opening_m2") for cut in CUTS}
    x, y = (ends.to_numpy() for ends in next(iter(costs.values())).axes[::-1])
    for cut, cost in costs.items():
        rest = np.minimum.reduce([costs[other].to_numpy() for other in CUTS if other != cut])
        ahead = rest - cost.to_numpy()
        if ahead.max() <= 0:
            continue
        look = CUTS[cut]
        levels = [0, ahead.max() + 1]
        axes.contourf(x, y, ahead, levels, colors=[look.tone], hatches=[look.hatch])
        if ahead.min() < 0:
            axes.contour(x, y, ahead, [0.0], colors=INK, linewidths=2.6)
        lines = axes.contour(x, y, ahead, [1, 2, 4, 8, 16], colors=INK, linewidths=0.6)
        names = _labels(axes, x, y, ahead > 0, look.words.replace(" and ", "\nand "))
        for figure in axes.clabel(lines, fmt="%g", zorder=3):
            figure.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 2.5})
            figure.set_visible(_has_room(figure, names, x, y, ahead > 0))


def _dots(axes: Axes, openings: pd.DataFrame) -> None:
    area = (openings["width_mm"] * openings["height_mm"] / 1e6).round(1)
    units = openings["count"].groupby([area.rename("area"), openings["reveal_mm"]]).sum()
    dots = units.rename("units").reset_index()
    size = (2 + dots["units"] ** 0.5) ** 2
    axes.scatter(dots["area"], dots["reveal_mm"], size, "#555555", ec="white", lw=0.4, zorder=2)


def _has_room(
    figure: Text,
    names: list[tuple[float, float]],
    x: np.ndarray,
    y: np.ndarray,
    part: np.ndarray,
) -> bool:
    """Whether a line's figure touches neither a name nor the edge of the part; on the grid."""
    column, row = _cell(figure.get_position(), x, y)
    cells = [_cell(name, x, y) for name in names]
    clear = [abs(column - c) > 0.15 * len(x) or abs(row - r) > 0.08 * len(y) for c, r in cells]
    near = part[max(row - 5, 0) : row + 6, max(column - 5, 0) : column + 6]
    return all(clear) and bool(near.all())


def _cell(place: tuple[float, float], x: np.ndarray, y: np.ndarray) -> tuple[int, int]:
    """Column and row of a place on the grid."""
    return int(np.searchsorted(x, place[0])), int(np.searchsorted(y, place[1]))


def _labels(
    axes: Axes, x: np.ndarray, y: np.ndarray, part: np.ndarray, text: str
) -> list[tuple[float, float]]:
    """Write the text in every large piece of a part, far from its edges; return the places."""
    pieces, count = ndimage.label(part)
    places = []
    for place in range(1, count + 1):
        piece = pieces == place
        if piece.mean() > LABELLED:
            deepest = ndimage.distance_transform_edt(np.pad(piece, 1))[1:-1, 1:-1]
            row, column = np.unravel_index(deepest.argmax(), piece.shape)
            places.append((float(x[column]), float(y[row])))
            words(axes, *places[-1], text, weight="bold", boxed=True)
    return places
