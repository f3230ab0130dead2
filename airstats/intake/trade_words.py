"""The words of the trade, in English and German: cuts, sides, totals, ditto marks, no entry."""

from __future__ import annotations

import re

from airstats.catalog.cut_patterns import CUTS
from airstats.intake.plain_text import asked, clear, is_truth, no_entry, plain, says_none, told
from airstats.intake.readings import ColumnFacts, Reading
from airstats.records.cell_values import is_sum
from airstats.records.raw_table import as_text

_DITTO = re.compile(
    r"[\"']{1,2}|,,|dito|ditto|do\.?|dto\.?|same as above|wie oben|s\. ?o\.|\"-+\"|-\"-"
)
_MIXED = re.compile(r"mixed|both|various|gemischt|beides|verschieden|unterschiedlich|div\.?|varies")
DOOR = (
    r"(?:front|back|patio|balcony|terrace|french|sliding|garden|entrance|ext\.?|external)?[ -]?"
    r"doors?|(?:haus|terrassen|balkon|eingangs|neben|schiebe|außen|aussen)?tür(?:en|e)?|fenstertür(?:en)?|"
    r"hebeschiebetür(?:en)?|hst"
)
"""Words for an opening that has no lined threshold."""
NO_THRESHOLD = (
    r"no (?:threshold|sill|bottom)|without (?:threshold|sill|bottom)|ohne (?:schwelle|boden)|"
    r"(?:3|three)[ -]?(?:sides?|sided)|(?:3|drei)[ -]?seit(?:en|ig)|3s"
)
FOUR_SIDES = (
    r"(?:4|four)[ -]?(?:sides?|sided)|(?:4|vier)[ -]?seit(?:en|ig)|all round|umlaufend|rundum|"
    r"(?:with|mit) (?:threshold|sill|schwelle)|4s|all sides|alle seiten|allseitig"
)
WINDOW = (
    r"(?:roof|dach|keller|loft|fixed|dormer|bay|large|small|big)?[ -]?(?:windows?|fenster|"
    r"rooflights?|skylights?|openings?|öffnung(?:en)?|lights?|wdw?s?|dff)"
)
"""Words for an opening that is lined all round."""
_SIDES = {
    3.0: re.compile(rf"3(?:\.0)?|three|drei|{DOOR}|{NO_THRESHOLD}"),
    4.0: re.compile(rf"4(?:\.0)?|four|vier|{WINDOW}|{FOUR_SIDES}"),
}
_COUNTED = {
    "opened": r"opened|whole|full|whole rolls|opened rolls|rolls opened|ganze?|ganze rollen|"
    r"angebrochen|geöffnet",
    "half": r"halves|half|to the half|half rolls|nearest half|1⁄2|½|1/2|halbe|halbe rollen|0[.,]5",
    "quarter": r"quarters?|quarter rolls|nearest quarter|1⁄4|1/4|viertel|0[.,]25",
    "exact": r"exact(?:ly)?|measured|metres|weighed|genau|gemessen|exakt|in m",
}
_YES = re.compile(r"yes|y|ja|j|true|wahr|x|✓|✔|1")
_NO = re.compile(r"no|n|nein|false|falsch|0")
_FINE = re.compile(r"ok|okay|in ordnung|i\.? ?o\.?|passt|fine|good|yes/no|j/n")


def is_total(cell: object) -> bool:
    """Tell whether a cell is a word for a sum, alone or with a year or a count beside it."""
    return is_sum(as_text(cell))


def is_ditto(cell: object) -> bool:
    """Tell whether a cell means what stands above it."""
    return bool(_DITTO.fullmatch(plain(cell)))


def cut_named(text: str, facts: ColumnFacts) -> str:
    """Return the cut that a plain text clearly means, by the firm's own answers first; or ""."""
    own = dict(facts.words).get(text, "")
    if own in CUTS:
        return own
    written = {way: name for name, cut in CUTS.items() for way in (name, *cut.spellings)}
    clear = (name for name, cut in CUTS.items() if re.fullmatch(cut.spoken, text))
    return written.get(text) or next(clear, "")


def read_cut(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a word for a cut as a key of `CUTS`; a word that may mean several is asked about."""
    text = plain(cell).rstrip(".")
    if kind := no_entry(plain(cell)) or no_entry(text) or ("none" if says_none(text) else ""):
        return clear(cell, None, kind)
    bare = re.sub(r"^(?:cut|schnitt|all|alle)[ :]+", "", text)
    if name := cut_named(text, facts) or cut_named(bare, facts):
        return clear(cell, name, "" if text == name else "cut")
    if is_truth(text) or text.replace(".", "").isdecimal():
        return ()
    likely = [name for name, cut in CUTS.items() if bare in cut.hints]
    each = [*likely, *(name for name in CUTS if name not in likely)]
    return asked(cell, [*each, None], "mixed cuts" if _MIXED.fullmatch(bare) else "word for a cut")


def sides_named(text: str) -> int | None:
    """Return the lined sides that words within a plain text tell, 3 or 4; None if they do not."""
    told_by = {3: NO_THRESHOLD, 4: FOUR_SIDES}
    for sides, way in told_by.items():
        if re.search(rf"\b(?:{way})(?!\w)", text):
            return sides
    return 3 if re.search(rf"\b(?:{DOOR})(?!\w)", text) else None


def read_sides(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read how many sides are lined, 3 or 4."""
    text = plain(cell)
    if kind := no_entry(text):
        return clear(cell, None, kind)
    found = (value for value, way in _SIDES.items() if way.fullmatch(text))
    return asked(cell, found, "" if text.isdecimal() else "words for sides")


def read_counted(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read how rolls were counted: opened, half, quarter or exact."""
    text = plain(cell)
    if kind := no_entry(text):
        return clear(cell, None, kind)
    found = (name for name, way in _COUNTED.items() if re.fullmatch(way, text))
    return asked(cell, found, "" if text in _COUNTED else "words for counting")


def read_exclude(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read the reason to leave a job out; "yes" and "no" are answers without a reason."""
    text = plain(cell)
    if kind := no_entry(text):
        return clear(cell, None, kind)
    if _YES.fullmatch(text):
        return clear(cell, "left out in the book", "yes")
    if _NO.fullmatch(text) or says_none(text):
        return (Reading(None, "no", told(cell, "not left out")),)
    reason = as_text(cell).strip()
    return asked(cell, [None, reason], "no reason") if _FINE.fullmatch(text) else (Reading(reason),)


def read_text(cell: object, facts: ColumnFacts) -> tuple[Reading, ...]:
    """Read a name or a remark as it stands; a sign for no entry gives None."""
    if kind := no_entry(plain(cell)) or ("none" if says_none(plain(cell)) else ""):
        return clear(cell, None, kind)
    return (Reading(" ".join(as_text(cell).split())),)
