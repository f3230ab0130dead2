"""Read every page of a run as a person would, and name what no person should meet there.

`python -m tests.reports.read_pages FOLDER` prints, for a folder of `airstats quarter`, the file,
the rule that is broken, and the words.
"""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import openpyxl
from bs4 import BeautifulSoup
from pypdf import PdfReader

from airstats.catalog.cut_patterns import CUTS
from airstats.reports.column_headings import HEADINGS

FOR_THE_FIRM = ("why_jobs_run_over", "update_allowances", "price_jobs")
MOST_ROWS = 10


class Text(NamedTuple):
    """One piece of text of a file: where it stands, and what gives its numbers a unit."""

    file: str
    kind: str
    text: str
    beside: str = ""


class Found(NamedTuple):
    """What should not stand there."""

    file: str
    rule: str
    words: str

    def __str__(self) -> str:
        return f"{self.file}: {self.rule}: {self.words}"


MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
NUMBER = r"[+−±-]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"
COUNTED = (
    "job|roll|pack|opening|crew|quarter|piece|record|row|firm|order|house|metre|minute|hour|day|"
    "year|month|cell|column|question|kind|cut|window|flap|joint|point|side|course|strip|material|"
    "allowance|draw|candidate|case|belief|value|reveal|size|departure|count|time|interval|way|comparison|"
    "assumption|stroke|digit|deviation|error|group|truth|bar|pull|form|term"
)
"""What is counted on a page: a number before one of them has its unit."""
SIGNS = r"%|m²|mm\b|m\b|cm\b|sd\b|kg\b|s\b"
BRIDGE = (
    r"\((?:[^()]|\([^()]*\))*\)|±|to|and|or|of|in|with|than|from|by|at|about|instead|against|over|"
    r"×|÷|·|\+|−|=|,|:|once|the|all|new|its|more|fewer|less|until|up|" + NUMBER
)
"""What may stand between a number and its unit."""
PURE = {
    r"correlation(?: of| is)?": "a correlation has no unit",
    r"R²": "a share of variance has no unit",
    r"influence(?: above)?": "an influence has no unit",
    r"share": "a share has no unit",
    r"chance alone makes": "it counts what was named before",
    r"a count of": "what is typed is a number alone",
    rf"of {NUMBER} (?:{COUNTED})s?": "it is a part of what is counted",
    r"section|chapter|page|step|row|rows|piece|pieces|quote|python|version|EN|ISO": "it names",
    r"factor|weight of|ratios?|slope|seed": "a ratio has no unit",
}
"""Behind what a number needs no unit, each with its reason."""
FREE_OF_UNITS = re.compile(
    r"\b(?:19|20)\d\d(?:Q\d|-\d\d(?:-\d\d)?)?\b|\b\d\d? (?:" + MONTHS + r")\b|sha256:\S+|\S+/\S+|"
    r"\[\d+(?:, \d+)*\]|\(\d\.\d+, (?:unusual|far|lever)[^)]*\)|"
    r"\b\d+(?:\.\d+)? : 1\b|(?<=\d) \(\d+(?:\.\d+)?\)|"
    rf"\((?:[\w ]+%?: )?{NUMBER}(?: less| more| fewer)? to {NUMBER}(?: less| more| fewer)?\)"
)
"""Dates, files, references, how one cost is to another, a job's influence with its reason; what
stands in brackets behind a number, its interval or its sd, has the number's unit."""
BARE_SUMS = re.compile(
    r"\b(?:cost\w*|worth|bought for|money|sav(?:e|es|ed)|one roll more|would go)\b"
)
"""Of a firm without currency a sentence with one of these may hold sums without a unit."""
FORMULA = r"\s*(?:[×÷]|[−+]\s*[A-Za-zα-ωΑ-Ω(])"
CODE_ENDS = r"[\w-]*\.(?:csv|xlsx|html|json|toml|pdf|ipynb|svg|png|txt|py)\b"
TYPED = re.compile(r"[\"“`'][^\"”`']{1,60}[\"”`']")
"""Between quotation marks stands what a reader types into a file, spelt as the file wants it."""
AUTHORS = (
    "Fuller|Carroll|Raiffa|Schlaifer|Talts|Gelman|Efron|Tibshirani|Ervin|MacKinnon|Newton|Laplace|"
    "Gneiting|Raftery|Koenker|Czado|Betancourt|Soibelman|Formoso|Franchi"
)

Rule = Callable[[Text], Iterator[str]]


def searched(pattern: str, but: str = "") -> Rule:
    """Return a rule that a pattern breaks, unless `but` matches the words around it."""
    wanted, allowed = re.compile(pattern), re.compile(but) if but else None

    def rule(text: Text) -> Iterator[str]:
        for hit in wanted.finditer(text.text):
            around = text.text[max(hit.start() - 40, 0) : hit.end() + 40]
            if not (allowed and allowed.search(around)):
                yield around

    return rule


def code_names(text: Text) -> Iterator[str]:
    """Column names, parameter names and words of the contract; what one types is quoted."""
    bare = TYPED.sub("", text.text)
    codes = rf"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b(?!{CODE_ENDS}|\.)|\b(?:reveal|reuse|crew)\.\w+"
    inputs = "|".join(rf"\b{name}\b" for name, cut in CUTS.items() if name not in cut.words)
    known = "|".join(name for name in HEADINGS if "_" in name)
    for hit in re.finditer(f"{codes}|{inputs}|\\b(?:{known})\\b", bare):
        typed = re.match(CODE_ENDS, bare[hit.end() :]) or "(corner to corner)" in bare
        if not typed and bare[hit.start() - 10 : hit.start()] != "benchmark.":
            yield hit[0]


UNIT = rf"(?:{SIGNS}|(?:{COUNTED})s?\b|\bmoney\b)"
FOLLOWED = rf"(?:\s*(?:{BRIDGE}))*\s*(?:[\w'’-]+\s+){{0,2}}"


def numbers_without_unit(currency: str) -> Rule:
    """A number is followed by a unit or by what is counted, or its column or clause names it."""
    unit = rf"(?:{UNIT}|{re.escape(currency)})" if currency else UNIT
    column = re.compile(rf"{unit}|\b(?:count|chance|share|job|date|quarter)\b")
    followed = re.compile(FOLLOWED + unit)
    announced = re.compile(rf"\b[Ii]n {unit}[^.:,]*[:,]|m²[^.]*:")
    named = re.compile(rf"\b(?:{'|'.join(PURE)})\W{{0,3}}(?:{NUMBER}(?:,| and| to) )*$")
    number = re.compile(rf"(?<![\w.,−]){NUMBER}(?!\w|\.\d)")

    def rule(text: Text) -> Iterator[str]:
        if text.kind not in ("sentence", "cell") or column.search(text.beside):
            return
        bare = TYPED.sub("", FREE_OF_UNITS.sub("", text.text))
        for hit in number.finditer(bare):
            before, after = bare[: hit.start()], bare[hit.end() :]
            pure = re.match(FORMULA, after) or re.search(r"[×÷=−+]\s*$", before)
            clause = re.split(r"\.\s", before)[-1]
            bare_sum = not currency and BARE_SUMS.search(clause + after.partition(". ")[0])
            if (
                bare_sum
                or pure
                or announced.search(clause)
                or named.search(before)
                or followed.match(after)
            ):
                continue
            yield f"{before[-40:]}[{hit[0]}]{after[:40]}"

    return rule


def plurals(text: Text) -> Iterator[str]:
    """One job, two jobs; on paper cells run into each other, and the page has the same words."""
    if text.kind in ("paper", "picture"):
        return
    one = rf"(?<![\d.,−×±] )(?<![\d.,−×])\b1 (?:new |late )?(?:{COUNTED})s\b"
    many = rf"(?<![\d.,−×])\b(?!1 ){NUMBER} (?:new )?(?:{COUNTED})\b(?! by | \w+s\b)(?![-\w])"
    clumsy = r"\b(?:[Tt]he|all|[Nn]one of the|[Tt]hese) 1 \w+"
    for pattern in (one, many, clumsy):
        yield from (hit[0] for hit in re.finditer(pattern, text.text))


def rules_for(currency: str) -> dict[str, Rule]:
    """Return the rules that every text is held to, by what is wrong."""
    return {
        "code name": code_names,
        "a word of the language it is written in": searched(
            r"\b(?:nan|NaN|NaT|inf|Timestamp|DataFrame)\b|\b(?:True|False|None)\b(?! [a-z])|np\.|"
            r"<class|\d[eE][+-]?\d\d\b|\{'|\['"
        ),
        "minus": searched(
            r"(?<![\w\d)\]-])[-–]\d|−0(?:\.0+)?(?![\d.])|(?<![\d.])\+0(?:\.0+)?(?![\d.])"
        ),
        "per cent": searched(r"\d%|\d per ?cent\b|\d\s?pct"),
        "thousands": searched(r"(?<![\w.,:])\d{5,}(?!\w)"),
        "± of another meaning": searched(
            r"±(?:[^.;]|\.\d){0,25}\bsd\b|± ?(?:one )?standard|\bsds?\b[^.;,]{0,6}±|measured to ±"
        ),
        "one and many": plurals,
        "author outside the references": searched(
            rf"\b(?:{AUTHORS})\b|"
            r"\b[A-Z][a-z]+(?: (?:and|&) [A-Z][a-z]+| et al\.)? \(?(?:19|20)\d\d\b(?!Q)",
            MONTHS,
        ),
        "cut short": searched(r"…", r"sha256:\w+…"),
        "a name that is no longer used": searched(
            r"slit down the middle|stopped and lined|lined with strips|\bpredict(?:ed|ion|s)\b|"
            r"\bfoil\b|\bmembrane\b"
        ),
        "number without unit": numbers_without_unit(currency),
    }


FREE = {
    "reference": ("author outside the references", "number without unit"),
    "csv": ("minus", "number without unit", "thousands"),
}
"""Rules that do not hold: names stand in references, and a spreadsheet wants its own minus."""


def texts_of(folder: Path) -> Iterator[Text]:
    """Yield every text of a run that a reader sees."""
    for page in sorted(folder.glob("*.html")):
        yield from of_html(page.name, page.read_text(encoding="utf-8"))
    for paper in sorted(folder.glob("*.pdf")):
        yield from of_pdf(paper)
    for picture in sorted((folder / "data").glob("*.svg")):
        yield from of_svg(f"data/{picture.name}", picture.read_text(encoding="utf-8"))
    for table in sorted((folder / "data").glob("*.csv")):
        yield from of_csv(table)
    for book in sorted(folder.glob("*.xlsx")):
        yield from of_book(book)


def of_html(file: str, page: str) -> Iterator[Text]:
    """Yield the texts of a page: sentences, headings, cells with their headings, alternatives."""
    soup = BeautifulSoup(page, "html.parser")
    for part in soup(["script", "style", "details", "nav"]):
        part.decompose()
    _drop_making(soup)
    yield Text(file, "title", soup.title.get_text() if soup.title else "")
    for image in soup("img"):
        yield Text(file, "alternative", image.get("alt") or "")
    for table in soup("table"):
        yield from _of_table(file, table)
        table.decompose()
    for heading in soup(["h1", "h2", "h3", "summary", "figcaption"]):
        yield Text(file, "heading", _plain(heading))
    in_references = False
    for part in soup(["h2", "h3", "p", "li"]):
        if part.name in ("h2", "h3"):
            in_references = "eferences" in part.get_text()
        elif part.name == "p" or not part("p"):
            yield Text(file, "reference" if in_references else "sentence", _plain(part))


def _drop_making(soup: BeautifulSoup) -> None:
    """Drop how the report was made: it gives parameters as one types them."""
    for heading in soup("h2"):
        if "report was made" in heading.get_text():
            for part in [heading, *heading.find_next_siblings()]:
                part.extract()


def _of_table(file: str, table: BeautifulSoup) -> Iterator[Text]:
    caption = _plain(table.caption) if table.caption else ""
    rows = [[_plain(cell) for cell in row(["th", "td"])] for row in table("tr")]
    yield Text(file, "caption", caption)
    if len(rows) > MOST_ROWS + 1 and Path(file).stem in (*FOR_THE_FIRM, "evidence"):
        yield Text(file, "long table", f"{len(rows) - 1} rows: {caption}")
    for heading in rows[:1]:
        yield from (Text(file, "head", name) for name in heading)
    for row in rows[1:]:
        units = " ".join(cell for cell, head in zip(row, rows[0], strict=False) if head == "unit")
        for cell, head in zip(row, rows[0], strict=False):
            if not re.fullmatch(r"job|crew|mark|firm|quarter|roll|bought", head):
                yield Text(file, "cell", cell, f"{head} {units} {caption} {row[0]}")


def of_pdf(file: Path) -> Iterator[Text]:
    """Yield the text of each sheet of paper, lines joined."""
    kind = "paper"
    for sheet in PdfReader(file).pages:
        words = " ".join(sheet.extract_text().split())
        if "What went in" in words or "report was made" in words:
            words = re.split("How this report was made|What went in", words)[0]
        words, _, sources = words.partition(" References ")
        yield Text(file.name, kind, words)
        if sources:
            kind = "reference"
            yield Text(file.name, kind, sources)


def of_svg(file: str, picture: str) -> Iterator[Text]:
    """Yield the labels of a picture; the first names every unit that stands on it."""
    drawn = ElementTree.fromstring(picture).iter("{http://www.w3.org/2000/svg}text")
    labels = [" ".join("".join(label.itertext()).split()) for label in drawn]
    yield Text(file, "picture", " | ".join(labels))
    yield from (Text(file, "label", label) for label in labels)


def of_csv(file: Path) -> Iterator[Text]:
    """Yield headings and words of the numbers beside a picture."""
    with file.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    yield from (Text(f"data/{file.name}", "csv", name) for name in rows[0])
    number = re.compile(r"-?[\d.]+(?:e[-+]?\d+)?")
    words = {cell for row in rows[1:] for cell in row if not number.fullmatch(cell)}
    yield from (Text(f"data/{file.name}", "csv", word) for word in sorted(words))


def of_book(file: Path) -> Iterator[Text]:
    """Yield the words of each worksheet that is shown; what a cell lets one type is no page."""
    for sheet in openpyxl.load_workbook(file):
        if sheet.sheet_state == "visible":
            cells = (c.value for row in sheet.iter_rows() for c in row if c.protection.locked)
            for value in cells:
                if isinstance(value, str) and not value.startswith("="):
                    yield Text(f"{file.name}: {sheet.title}", "worksheet", value)


def _plain(part: BeautifulSoup) -> str:
    for code in part("code"):
        code.replace_with(f"“{code.get_text()}”")
    return " ".join(part.get_text().replace("\N{ZERO WIDTH SPACE}", "").split())


def read(folder: Path) -> list[Found]:
    """Return what no reader should meet on the pages of a run."""
    named = sources_of(folder)
    texts = [text._replace(text=re.sub(named, "the book", text.text)) for text in texts_of(folder)]
    if not texts:
        raise FileNotFoundError(f"no page in {folder}")
    found = broken_in(texts, currency_of(folder))
    for file in dict.fromkeys(text.file for text in texts):
        found += _of_whole_page(file, [text for text in texts if text.file == file], folder)
    return list(dict.fromkeys(found))


def broken_in(texts: list[Text], currency: str) -> list[Found]:
    """Return which texts break which rule, of a firm that names its currency, or "" for none."""
    rules = rules_for(currency)
    return [Found(text.file, *broken) for text in texts for broken in _broken(text, rules)]


def _broken(text: Text, rules: dict[str, Rule]) -> Iterator[tuple[str, str]]:
    for name, rule in rules.items():
        if name not in FREE.get(text.kind, ()):
            yield from ((name, words) for words in rule(text))
    if text.kind == "alternative" and len(text.text) < 20:
        yield "no text alternative", text.text or "(empty)"
    if text.kind == "long table":
        yield "more than ten rows", text.text
    if text.kind == "picture" and re.search(r"\d", text.text) and not re.search(UNIT, text.text):
        yield "picture without a unit", text.text[:200]


def _of_whole_page(file: str, texts: list[Text], folder: Path) -> Iterator[Found]:
    said = " ".join(text.text for text in texts)
    if not file.endswith(".html"):
        return
    if "±" in said and not re.search(r"±[^.]{0,80}90 %|90 %[^.]{0,80}±|nine cases of ten", said):
        yield Found(file, "± is not explained", "say once that it holds 90 %")
    if file.startswith(FOR_THE_FIRM):
        for words in re.findall(r".{20}(?:standard deviation|\bsds?\b).{0,20}", said):
            yield Found(file, "standard deviation on a page for the firm", words)
    read_on = said if currency_of(folder) else " ".join(_seen(texts))
    yield from _money(file, read_on, currency_of(folder))


def _seen(texts: list[Text]) -> Iterator[str]:
    """Yield what stands on a page; a picture's alternative stands by itself and says all."""
    yield from (text.text for text in texts if text.kind != "alternative")


def sources_of(folder: Path) -> str:
    """Return a pattern of what the firm calls its own files: the end of each page names them."""
    names = set()
    for page in folder.glob("*.html"):
        soup = BeautifulSoup(page.read_text(encoding="utf-8"), "html.parser")
        for row in soup.select("details tr"):
            cells = [cell.get_text().strip() for cell in row(["th", "td"])]
            if cells[0] in ("records", "takeoff", "words", "firm", "previous"):
                names.add(cells[1])
    return "|".join(rf"\b{re.escape(name)}\b" for name in sorted(names, key=len)) or r"(?!)"


def currency_of(folder: Path) -> str:
    """Return the currency of a run, as its list to buy names it."""
    lists = folder / "buying_list.csv"
    if not lists.exists():
        return ""
    with lists.open(encoding="utf-8", newline="") as lines:
        return next((row.get("currency", "") for row in csv.DictReader(lines)), "")


def _money(file: str, said: str, currency: str) -> Iterator[Found]:
    unnamed = re.findall(r".{0,30}(?:of your money|your currency).{0,10}", said)
    if currency:
        unnamed += re.findall(r".{0,30}\bmoney\b.{0,10}", said)
    elif len(unnamed) < 2:
        return
    for words in unnamed:
        yield Found(file, "money without the firm's currency, or more than once", words)


def main() -> None:
    """Print what is found in the folders that are named; status 1 if anything is."""
    found = [one for folder in sys.argv[1:] for one in read(Path(folder))]
    print(*found, f"{len(found)} found", sep="\n")
    sys.exit(bool(found))


if __name__ == "__main__":
    main()
