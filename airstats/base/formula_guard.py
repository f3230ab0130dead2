"""Text for spreadsheets that cannot run there as a formula."""

from __future__ import annotations

from typing import Any

import pandas as pd
from pandas.api.types import is_numeric_dtype

_STARTS = tuple("=+-@\t\r\n＝＋－＠")


def harmless(cell: Any) -> Any:
    """Return a cell as it is, but a text that a spreadsheet would run with an apostrophe before it.

    Notes
    -----
    The apostrophe is how a person types such a text into a spreadsheet. A number written as text,
    such as "-5", runs nothing and stays.
    """
    if not isinstance(cell, str) or not cell.startswith(_STARTS):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def csv_of(table: pd.DataFrame, float_format: str | None = None) -> str:
    """Return a table as the text of a CSV file that can be opened in a spreadsheet unharmed."""
    defused = table.copy()
    for name in (name for name in table if not is_numeric_dtype(table[name])):
        defused[name] = table[name].astype(object).map(harmless)
    defused.columns = pd.Index([harmless(name) for name in table])
    return plain_csv(defused, float_format)


def plain_csv(table: pd.DataFrame, float_format: str | None = None) -> str:
    """Return a table as the text of a CSV file, each cell as it is."""
    if float_format is None:
        # As objects they are written the same, and a third sooner.
        floats = table.select_dtypes("float64").columns
        table = table.astype(dict.fromkeys(floats, object))
    text = table.to_csv(index=False, lineterminator="\n", float_format=float_format)
    if "\r" not in text:
        return text
    # The writer puts quotation marks only round the line ends that it uses itself.
    return table.to_csv(index=False, lineterminator="\r\n", float_format=float_format)
