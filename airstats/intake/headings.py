"""Which column of the records a heading means, and the cells that show it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from airstats.catalog.units import IN_METRES, IN_SQUARE_METRES, own_unit
from airstats.intake.cell_readers import read_cell
from airstats.intake.column_facts import ROLLS, facts_of
from airstats.intake.heading_words import HeadingWords, words_of
from airstats.intake.plain_text import no_entry, plain
from airstats.intake.readings import ColumnFacts, Meaning
from airstats.records.plausible_ranges import is_typical
from airstats.records.raw_table import COLUMNS, is_empty


class _Rule(NamedTuple):
    """A heading means `column` if it speaks of all of `needs` and of nothing but `may` besides.

    Each of `needs` is one tag or several to choose from. `score` says how plainly it means it:
    below `_PLAIN` the cells must look like it.
    """

    column: str
    score: float
    needs: str
    may: str = ""


NOT_READ = "not read"
"""Stands among the meanings of a heading that may as well be nothing of the records."""
_PLAIN = 0.75
_PARTNERS = {"opening_width_mm": "opening_height_mm", "roll_width_m": "roll_length_m"}
"""A plain "width" is that of what else is given."""
_JOBS = (
    _Rule("job_id", 0.97, "job id", "name site"),
    _Rule("job_id", 0.9, "job", "name site"),
    _Rule("job_id", 0.72, "id"),
    _Rule("job_id", 0.72, "site id", "name"),
    _Rule("job_id", 0.55, "site", "name"),
    _Rule("job_id", 0.5, "customer", "name id job"),
    _Rule("job_id", 0.45, "name"),
    _Rule("finished_on", 0.95, "finish", "date job week"),
    _Rule("finished_on", 0.6, "date|week", "week date job"),
    _Rule("surface_m2", 0.95, "area", "face job total"),
    _Rule("surface_m2", 0.85, "face", "total job"),
    _Rule("surface_m2", 0.6, "net", "area face job total"),
    _Rule("estimated_rolls", 0.97, "estimate roll", "count total face id"),
    _Rule("estimated_rolls", 0.7, "estimate", "count job face"),
    _Rule("used_rolls", 0.97, "use roll", "count total job face id"),
    _Rule("used_rolls", 0.7, "use", "count job face total"),
    _Rule("estimated_rolls", 0.6, "roll", "count total order face id"),
    _Rule("used_rolls", 0.6, "roll", "count total order face id"),
    _Rule("estimated_rolls", 0.55, "count"),
    _Rule("used_rolls", 0.55, "count"),
    _Rule("opening_count", 0.55, "count"),
    _Rule("counted", 0.95, "counted", "roll use"),
    _Rule("roll_width_m", 0.97, "roll width", "face"),
    _Rule("roll_length_m", 0.97, "roll length", "face"),
    _Rule("roll_length_m", 0.6, "length"),
    _Rule("roll_size", 0.95, "roll size", "face"),
    _Rule("roll_size", 0.9, "roll width length", "face size"),
    _Rule("roll_size", 0.6, "roll type"),
    _Rule("roll_size", 0.5, "size"),
    _Rule("roll_width_m", 0.6, "width"),
    _Rule("opening_width_mm", 0.6, "width"),
    _Rule("opening_width_mm", 0.95, "opening width", "size"),
    _Rule("opening_height_mm", 0.95, "opening height", "size"),
    _Rule("opening_height_mm", 0.8, "height"),
    _Rule("opening_count", 0.97, "opening count|id", "total"),
    _Rule("openings", 0.9, "opening", "size width height side total"),
    _Rule("openings", 0.6, "size|width", "width height size"),
    _Rule("opening_count", 0.7, "opening", "total"),
    _Rule("lap_mm", 0.95, "lap", "width size depth"),
    _Rule("crew", 0.95, "crew", "name job"),
    _Rule("work_type", 0.9, "type", "job name"),
    _Rule("roll_price", 0.97, "price roll", "face"),
    _Rule("roll_price", 0.6, "price", "face"),
    _Rule("exclude", 0.95, "exclude", "job note"),
    _Rule("left_m", 0.8, "left", "roll length face"),
    _Rule("left_diameter_mm", 0.95, "left diameter", "roll"),
    _Rule("left_diameter_mm", 0.8, "roll diameter"),
    _Rule("brought_m", 0.9, "brought", "roll length left"),
    _Rule("perimeter_m", 0.9, "perimeter", "length"),
    _Rule("sealant_m", 0.9, "sealant", "length"),
    _Rule("pretaped_share", 0.9, "pretaped", "percent opening"),
)
_OPENINGS = (
    _Rule("mark", 0.9, "mark", "opening id name"),
    _Rule("mark", 0.85, "opening", "id name mark"),
    _Rule("mark", 0.6, "id|name", "id name"),
    _Rule("count", 0.95, "count", "opening total"),
    _Rule("width_mm", 0.95, "width", "opening size"),
    _Rule("count", 0.6, "id"),
    _Rule("height_mm", 0.95, "height", "opening size"),
    _Rule("size", 0.9, "size", "opening width height"),
    _Rule("size", 0.85, "width height", "opening size"),
    _Rule("size", 0.8, "opening"),
    _Rule("sides", 0.95, "side", "opening count reveal"),
)
_BOTH = (
    _Rule("reveal_mm", 0.95, "reveal", "depth opening size width"),
    _Rule("reveal_mm", 0.8, "depth", "opening"),
    _Rule("cut_pattern", 0.9, "cut", "opening type reveal name"),
    _Rule("notes", 0.95, "note", "job"),
)
_OF_JOB = tuple(rule for rule in _JOBS if rule.column == "job_id" and rule.score >= 0.5)
_RULES = {"jobs": (*_JOBS, *_BOTH), "openings": (*_OPENINGS, *_BOTH, *_OF_JOB)}
_ANY = ("job_id", "crew", "work_type", "exclude", "notes", "mark")
"""Columns in which any text may stand, so that cells do not speak for them."""
_SAMPLE = 40
_CLEARLY = 0.15


def meanings_of(
    headings: Sequence[str], columns: Sequence[Sequence[object]], table: str = "jobs"
) -> tuple[tuple[Meaning, ...], ...]:
    """Find for each heading what it means beside the others.

    Parameters
    ----------
    headings : sequence of str
        Of one table, those of two rows joined by a space.
    columns : sequence of sequences
        The cells below each heading.
    table : str
        "jobs" or "openings".

    Returns
    -------
    tuple of tuple of Meaning
        One a heading. Empty: nothing of the records, the column is carried along. One: clear.
        Several: asked, the likeliest first.
    """
    each = [_alone(heading, cells, table) for heading, cells in zip(headings, columns, strict=True)]
    while (fewer := _beside_others(each)) != each:
        each = fewer
    return tuple(map(tuple, each))


def _alone(heading: str, cells: Sequence[object], table: str) -> list[Meaning]:
    """Return all that a heading may mean by itself and by its cells, the likeliest first."""
    name = plain(heading).replace(" ", "_")
    words = words_of(heading)
    if name in COLUMNS[table]:
        return [Meaning(name, 1.0, words.unit or own_unit(name), words.currency)]
    best: dict[str, Meaning] = {}
    for rule in _rules_for(words, table):
        unknown = len(words.unknown) / max(len(words.tags) + len(words.unknown), 1)
        score = rule.score * (1 - unknown)
        if rule.column in best and score <= best[rule.column].score:
            continue  # cells make a score smaller, never greater
        if (meaning := _supported(rule.column, score, heading, words, cells)) and (
            rule.column not in best or meaning.score > best[rule.column].score
        ):
            best[rule.column] = meaning
    found = sorted(best.values(), key=lambda meaning: -meaning.score)
    found = [each for each in found if each.score > found[0].score - _CLEARLY]
    return [*found, Meaning(NOT_READ, 0.0)] if found and _is_doubtful(found[0], words) else found


def _is_doubtful(meaning: Meaning, words: HeadingWords) -> bool:
    """Tell whether a heading may mean another quantity: net of openings, left over in rolls."""
    in_rolls = meaning.column == "left_m" and not words.unit
    return in_rolls or (meaning.column == "surface_m2" and "net" in words.tags)


def _rules_for(words: HeadingWords, table: str) -> Iterable[_Rule]:
    if len(words.unknown) > len(words.tags):
        return []
    rules = [rule for rule in _RULES[table] if _is_met(rule, words)]
    if table == "jobs" and words.unit in IN_SQUARE_METRES:
        rules = list(filter(_not_openings, rules))
        if not words.tags:
            rules = [_Rule("surface_m2", 0.7, "area")]
        elif words.tags <= {"estimate", "face"} and "estimate" in words.tags:
            rules.append(_Rule("surface_m2", 0.7, "estimate"))
    return rules


def _not_openings(rule: _Rule) -> bool:
    return not rule.column.startswith("opening")


def _is_met(rule: _Rule, words: HeadingWords) -> bool:
    needs = [set(need.split("|")) for need in rule.needs.split()]
    allowed = set(rule.may.split()).union(*needs)
    if "opening" in allowed and words.tags - {"opening", "size"}:
        # Above a group of columns stands "window sizes", below it what each of them holds.
        allowed.add("size")
    own = own_unit(rule.column)
    kind = IN_SQUARE_METRES if words.unit in IN_SQUARE_METRES else IN_METRES
    fits_unit = not words.unit or own in kind or words.unit == "%"
    fits_unit |= rule.column in ("openings", "size", "roll_size", *ROLLS)
    if words.currency and rule.column != "roll_price":
        return False
    return words.tags <= allowed and all(words.tags & need for need in needs) and fits_unit


def _supported(
    column: str, score: float, heading: str, words: HeadingWords, cells: Sequence[object]
) -> Meaning | None:
    """Weigh a meaning by the cells; None if they contradict it."""
    filled = [
        at for at, cell in enumerate(cells) if not is_empty(cell) and not no_entry(plain(cell))
    ]
    said = ", ".join(sorted(words.tags)) or words.unit
    meaning = Meaning(column, score, words.unit, words.currency, said, tuple(filled[:3]))
    if not filled:
        return meaning
    if column in _ANY:
        return replace(meaning, score=score * _as_text(column, [cells[at] for at in filled]))
    step = max(len(filled) // _SAMPLE, 1)
    sample = filled[::step][:_SAMPLE]
    known = ColumnFacts(unit=words.unit, currency=words.currency)
    facts, _ = facts_of(column, heading, [cells[at] for at in sample], known)
    read = {at: read_cell(cells[at], facts) for at in sample}
    fits = [at for at in sample if any(_is_like(column, each.value) for each in read[at])]
    some = [at for at in sample if read[at]]
    share = len(fits) / len(sample)
    if len(some) < 0.3 * len(sample) or (score < _PLAIN and share < 0.6):
        return None
    if column in ("openings", "size") and some and not fits:
        return None
    said = f"{said}; {len(fits)} of {len(sample)} cells fit"
    if column.startswith("roll_") and score < _PLAIN and not _are_few(cells[at] for at in filled):
        return None
    return replace(meaning, score=score * (0.6 + 0.4 * share), said=said, witnesses=tuple(fits[:3]))


def _are_few(cells: Iterable[object]) -> bool:
    """Tell whether cells repeat one another, as the price and the size of rolls do."""
    each = [plain(cell) for cell in cells]
    return len(set(each)) <= max(2, len(each) // 4)


def _is_like(column: str, value: object) -> bool:
    if value is None:
        return False
    if isinstance(value, tuple):
        # A bare count is as well a number of openings as a length: it shows no list of sizes.
        return all(each.width_mm for each in value)
    return is_typical(column, value) if isinstance(value, float) else True


def _as_text(column: str, cells: Sequence[object]) -> float:
    """Return how well cells serve: of ids few are alike, of other texts anything may be."""
    if column != "job_id":
        return 1.0
    return 0.5 + 0.5 * len({plain(cell) for cell in cells}) / len(cells)


def _beside_others(each: list[list[Meaning]]) -> list[list[Meaning]]:
    """Leave out what another heading means more plainly, or as the only thing that it can mean."""
    alone = {m[0].column: at for at, m in enumerate(each) if len(m) == 1}
    best: dict[str, float] = {}
    for meanings in each:
        for meaning in meanings:
            best[meaning.column] = max(best.get(meaning.column, 0.0), meaning.score)
    each = [_with_partner(meanings, alone) for meanings in each]
    return [
        [
            meaning
            for meaning in meanings
            if meaning.column in ("openings", "notes", NOT_READ)
            or (
                (len(meanings) == 1 or alone.get(meaning.column, at) == at)
                and meaning.score > best[meaning.column] - _CLEARLY
            )
        ]
        for at, meanings in enumerate(each)
    ]


def _with_partner(meanings: list[Meaning], alone: dict[str, int]) -> list[Meaning]:
    """Keep of several meanings the one whose partner another heading means, if it is one alone."""
    kept = [each for each in meanings if _PARTNERS.get(each.column) in alone]
    return kept if len(meanings) > 1 and len(kept) == 1 else meanings
