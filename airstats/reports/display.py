"""What a notebook shows: a sentence, a table or a picture, each with a plain-text twin.

What cannot be worked out is said in its place, and costs a report nothing else.
"""

from __future__ import annotations

import base64
import html
import io
import lzma
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib
import pandas as pd
import typst
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font
from pandas.api.types import is_numeric_dtype

from airstats.base.errors import AirstatsError
from airstats.base.formula_guard import csv_of
from airstats.reports.column_headings import full_heading, in_words
from airstats.reports.column_headings import heading as heading_of
from airstats.reports.house_style import use_house_style

use_house_style()

Section = Iterable[Any]
"""What a notebook shows one after the other: sentences, tables, pictures; None shows nothing."""

DPI = 144
QUICKEST = 1
"""How hard pictures are packed: the hardest takes up to eight times as long for a few per cent."""
MOST_ROWS = 10
"""Rows of a table that a page shows; where there are more, all stand in a CSV file beside it."""
MISSING = "–"
_NOTHING = re.compile(r"^[+-](?=[0.,]+%?$)")
_WITH_REACH = re.compile(r"[+−]?[\d.,]+ ± [\d.,]+( %)?")
"""What stands under its like, digit below digit, as numbers do."""
STRICT = "AIRSTATS_STRICT"
"""While this environment variable is set, a part that fails stops its notebook: tests set it."""
_PICTURE_ALONE = '#set page(width: auto, height: auto, margin: 0pt)\n#image("picture.svg")'
BESIDE = "beside"
"""In the metadata of an output: which side of a pair it is, left or right."""
NOT_WORKED_OUT = "**This part could not be worked out**"


@dataclass(frozen=True)
class Words:
    """A sentence, or some, computed from the data."""

    text: str

    def __repr__(self) -> str:
        return self.text

    def _repr_markdown_(self) -> str:
        # JupyterLab runs tags and follows links, and names from the records stand in sentences.
        return re.sub(r"([\\<\[])", r"\\\1", self.text)


@dataclass(frozen=True)
class Picture:
    """A figure with its words for those who cannot see it, and the numbers it draws."""

    name: str
    figure: Figure
    alt: str
    data: pd.DataFrame

    def __repr__(self) -> str:
        return f"Picture: {self.alt}"

    def png(self) -> bytes:
        """Return the picture's bytes, the same on every run."""
        return pixels(self.svg())

    def svg(self) -> str:
        """Return the picture as SVG text, with its words inside, the same on every run."""
        about = {"Title": self.alt, "Date": None, "Creator": None}
        # Text stays text: it can be searched and read aloud, and the file is a third as large as
        # with outlines. The salt makes the ids the same on every run.
        with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "airstats"}):
            self._settle()
            held = io.BytesIO()
            self.figure.savefig(held, format="svg", dpi=DPI, metadata=about)
            return held.getvalue().decode("utf-8")

    def _settle(self) -> None:
        """Lay the figure out once: every drawing would shift the parts a little further."""
        if (engine := self.figure.get_layout_engine()) is not None:
            self.figure.set_dpi(DPI)
            engine.execute(self.figure)
            # A stand-in, as for "none", would draw the figure once more at every saving.
            self.figure.set_layout_engine(None)

    def _repr_mimebundle_(
        self, include: Any = None, exclude: Any = None
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        svg, csv = self.svg(), told_csv(self.data)
        about = {"alt": self.alt, "name": self.name, "csv": csv, "svg": packed(svg)}
        picture = base64.b64encode(pixels(svg)).decode("ascii")
        return {"image/png": picture, "text/plain": repr(self)}, {"image/png": about}


@dataclass(frozen=True)
class Table:
    """A frame with a caption, headings with units and rounded numbers.

    Of more than `MOST_ROWS` rows the first are shown, and all stand in a CSV file: its name ends
    in `name`, or in the first words of the caption.
    """

    frame: pd.DataFrame
    caption: str
    currency: str = ""
    name: str = ""

    def __repr__(self) -> str:
        return f"{self.caption}\n{self._shown().to_string(index=False)}{self._rest()}"

    def _repr_html_(self) -> str:
        worded, right = self._shown(), {"selector": "td,th", "props": "text-align: right"}
        style = worded.style.hide(axis="index").set_uuid("table")
        style = style.format(escape="html").set_caption(html.escape(self.caption))
        headings = worded.columns[self._numbers()]
        beside: Any = {heading: [right] for heading in headings}
        page = style.set_table_styles(beside, overwrite=False).to_html()
        return page.replace("<th id", '<th scope="col" id') + html.escape(self._rest())

    def _repr_mimebundle_(
        self, include: Any = None, exclude: Any = None
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        shown, more = self._shown(), len(self.frame) > MOST_ROWS
        about = {
            "caption": self.caption,
            "headings": list(shown.columns),
            "numbers": self._numbers(),
            "rows": shown.to_numpy().tolist(),
            "name": self.name or "_".join(re.findall("[a-z0-9]+", self.caption.casefold())[:4]),
            "all_rows": len(self.frame),
            "csv": told_csv(self.frame, self.currency) if more else "",
        }
        return {"text/html": self._repr_html_(), "text/plain": repr(self)}, {"text/html": about}

    def _numbers(self) -> list[bool]:
        return [
            is_numeric_dtype(values) or all(map(_WITH_REACH.fullmatch, values.astype(str)))
            for _, values in self.frame.items()
        ]

    def _shown(self) -> pd.DataFrame:
        worded: dict[str, list[str]] = {}
        for name, values in self.frame.head(MOST_ROWS).items():
            _, pattern = heading_of(str(name))
            cells = [_cell(in_words(str(name), value), pattern) for value in values]
            worded[_apart(self._heading(name), worded)] = cells
        return pd.DataFrame(worded)

    def _heading(self, name: Any) -> str:
        return _priced(heading_of(str(name))[0], self.currency)

    def _rest(self) -> str:
        if len(self.frame) <= MOST_ROWS:
            return ""
        return (
            f"\nThe first {MOST_ROWS} of {len(self.frame)} rows; airstats quarter writes all to a"
            " CSV file."
        )


@dataclass(frozen=True)
class Beside:
    """Two parts side by side: pictures of the width `HALF`, sentences, small tables.

    On a narrow screen they stand one below the other.
    """

    left: Words | Picture | Table
    right: Words | Picture | Table


def show(make: Callable[..., Any], *given: Any) -> None:
    """Show what `make(*given)` returns or yields; where it fails, say so in its place.

    Parameters
    ----------
    make : callable
        Returns one part (a sentence, a table, a picture, a form), None, a tuple of parts, or
        yields them.
    *given
        What it takes.

    Raises
    ------
    AirstatsError
        What the user can mend is no failure of ours, and stops the notebook.
    """
    try:
        made = make(*given)
        for part in made if isinstance(made, tuple | Iterator) else (made,):
            _display(part)
    except AirstatsError:
        raise
    except Exception as error:
        if os.environ.get(STRICT):
            raise
        _display(_not_worked_out(error))


def show_table(
    frame: pd.DataFrame, caption: str, columns: str = "", currency: str = "", name: str = ""
) -> Table | Words:
    """Return a table to display; a frame without rows becomes a sentence that says so.

    Parameters
    ----------
    frame : DataFrame
        What to show.
    caption : str
        What the table holds; said too where it has no rows.
    columns : str
        Those to show, in their order, parted by spaces; empty: all.
    currency : str
        That of the columns of money, if it is known.
    name : str
        What the CSV file with all rows is called, where there are more than `MOST_ROWS`; empty:
        by the caption.
    """
    if frame.empty:
        return Words(f"{caption}: none.")
    return Table(frame[columns.split()] if columns else frame, caption, currency, name)


def told_csv(frame: pd.DataFrame, currency: str = "") -> str:
    """Return a table as a CSV file for readers: headings and words as the pages have them."""
    told = {str(name): [in_words(str(name), cell) for cell in frame[name]] for name in frame}
    headings = [_priced(full_heading(name), currency) for name in told]
    return csv_of(pd.DataFrame(told).set_axis(headings, axis=1), float_format="%.6g")


def pixels(svg: str) -> bytes:
    """Return an SVG picture as PNG: it takes half the time of drawing the figure once more."""
    files = {"main.typ": _PICTURE_ALONE, "picture.svg": in_own_signs(svg)}
    return typeset(files, format="png", ppi=float(DPI))


def in_own_signs(svg: str) -> str:
    """Return an SVG with a box for each sign that the pictures' typeface lacks.

    The typesetter would leave out the whole text.
    """
    missing = {ord(sign) for sign in set(svg) if sign.isprintable()} - _own_signs()
    return svg.translate(dict.fromkeys(missing, "□"))


@cache
def _own_signs() -> frozenset[int]:
    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def typeset(files: Mapping[str, str], **asked: Any) -> bytes:
    """Return what the typesetter makes of a main.typ and the files that it names.

    The pictures' own typeface and none of the machine's: the same bytes everywhere.
    """
    encoded = {name: content.encode("utf-8") for name, content in files.items()}
    # The package takes several files by name, which its type hints leave out.
    compile_files: Callable[..., bytes] = typst.compile
    return compile_files(encoded, font_paths=_typefaces(), **asked)


@cache
def _typefaces() -> typst.Fonts:
    fonts = Path(matplotlib.get_data_path(), "fonts", "ttf")
    return typst.Fonts(include_system_fonts=False, font_paths=[fonts])


def packed(text: str) -> str:
    """Return text small enough to stand in a notebook beside a picture; `unpacked` undoes it."""
    small = lzma.compress(text.encode("utf-8"), preset=QUICKEST)
    return base64.b64encode(small).decode("ascii")


def unpacked(small: str) -> str:
    """Return the text that `packed` made small."""
    return lzma.decompress(base64.b64decode(small)).decode("utf-8")


def _display(part: Any) -> None:
    # Commands that show nothing need not load it.
    from IPython.display import display

    if isinstance(part, Beside):
        for (data, about), side in [(_bundle(part.left), "left"), (_bundle(part.right), "right")]:
            display(data, metadata={**about, BESIDE: side}, raw=True)  # type: ignore[no-untyped-call]
    elif bundle := getattr(part, "_repr_mimebundle_", None):
        # Drawn here, for Jupyter would only write to the error stream that drawing failed.
        data, about = bundle()
        display(data, metadata=about, raw=True)  # type: ignore[no-untyped-call]
    elif part is not None:
        display(part)  # type: ignore[no-untyped-call]


def _bundle(part: Words | Picture | Table) -> tuple[dict[str, Any], dict[str, Any]]:
    if isinstance(part, Words):
        return {"text/markdown": part._repr_markdown_(), "text/plain": part.text}, {}
    return part._repr_mimebundle_()


def _not_worked_out(error: Exception) -> Words:
    reason = " ".join(f"{type(error).__name__}: {error}".split())
    return Words(
        f"{NOT_WORKED_OUT} ({reason}). That is a fault of airstats, not of your records; nothing"
        " else on this page rests on it."
    )


def _cell(value: Any, pattern: str) -> str:
    if value is None or value == "" or value != value:
        return MISSING
    if pattern == "{}":
        return str(value)
    text = _NOTHING.sub("", pattern.format(value)).replace("-", "−")
    if pattern == "{:.1%}" and text == "0.0%" and value > 0:
        text = "<0.1%"
    return text.replace("%", " %")


def _priced(heading: str, currency: str) -> str:
    """The heading of a column of money, in the firm's currency."""
    return re.sub(r"\bmoney\b", lambda _: currency or "money", heading)


def _apart(heading: str, taken: dict[str, Any]) -> str:
    """The heading, with spaces after it if it is taken: a reader does not see them."""
    while heading in taken:
        heading += "\N{ZERO WIDTH SPACE}"
    return heading
