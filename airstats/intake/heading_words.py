"""The words of headings, in English and German: what each speaks of, its unit and currency."""

from __future__ import annotations

import re
from difflib import get_close_matches
from functools import lru_cache
from typing import NamedTuple

from airstats.intake.amounts import currency_of, unit_of
from airstats.intake.plain_text import plain

_ENGLISH = {
    "roll": "roll rolls rls rl reel reels",
    "use": """used use usage actual actually consumed consumption taken real installed spent
        opened""",
    "estimate": """estimated estimate estimates est estim quoted quote allowed allowance allow
        priced planned plan budget budgeted forecast calculated calc expected bid tender tendered
        reckoned costed""",
    "order": "ordered order bought delivered purchased supplied",
    "price": "price cost rate prices",
    "total": "total sum totals overall grand",
    "area": "area areas surface surfaces",
    "face": "wall walls ceiling ceilings membrane sheet roof envelope gross treated airtight",
    "net": "net",
    "floor": "floor living habitable plan",
    "date": "date dates day when month quarter period",
    "week": "week wk",
    "finish": """finished finish completed completion complete done handover handed
        closed signed""",
    "start": "start started begin began commenced invoice invoiced due delivery survey quoted_on",
    "job": "job jobs project projects house contract work building",
    "site": "site address plot location street property",
    "customer": "client customer owner",
    "id": "id ref reference no nr number code num #",
    "name": "name title description",
    "crew": "crew crews gang gangs team teams fitter fitters installer installers lads who foreman",
    "type": "type kind category class newbuild refurb",
    "opening": "opening openings windows window doors door wdw aperture apertures win",
    "count": "count qty quantity many amount pieces pcs",
    "size": "size sizes dimension dimensions dims w×h wxh hxw bxh hxb",
    "width": "width wide w breadth",
    "height": "height high h tall",
    "length": "length long",
    "reveal": "reveal reveals rev jamb",
    "depth": "depth deep",
    "cut": "cut cuts cutting",
    "lap": "lap laps overlap overlaps",
    "side": "side sides threshold",
    "mark": "mark label tag",
    "counted": "counted counting",
    "exclude": "exclude excluded ignore omit skip unusual",
    "note": "note notes remark remarks comment comments memo",
    "left": "left leftover remaining remainder surplus returned spare",
    "brought": "brought",
    "diameter": "diameter dia ø",
    "perimeter": "perimeter edge",
    "sealant": "sealant",
    "pretaped": "pretaped pre-taped",
    "corner": "corner corners",
    "difference": """difference diff over under overrun variance short balance saving waste wasted
        wastage margin profit""",
    "labour": "hours hrs labour labor time days mins minutes",
    "thickness": "thickness thick insulation",
    "percent": "percent percentage",
    "pressure": "pressure leakage test result",
    "page": "page sheetno year",
}
_GERMAN = {
    "roll": "rolle rollen",
    "use": """verbraucht verbrauch verbrauchte gebraucht ist tatsächlich verlegt benötigt
        angebrochen""",
    "estimate": """kalkuliert kalkulierte kalk kalkulation geschätzt geplant angesetzt soll
        angeboten angebot veranschlagt vorgesehen schätzung plan""",
    "order": "bestellt geliefert bestellung gekauft",
    "price": "preis kosten einzelpreis ep stückpreis ek",
    "total": "summe gesamt gesamtpreis insgesamt",
    "area": "fläche flächen flaeche oberfläche",
    "face": "wand wände decke dach folie bahn membran dampfbremse brutto hüllfläche hülle",
    "net": "netto",
    "floor": "wohnfläche grundfläche nutzfläche boden",
    "date": "datum tag monat quartal zeitraum wann",
    "week": "kw woche kalenderwoche",
    "finish": """fertig fertiggestellt fertigstellung abgeschlossen abschluss abnahme übergabe
        beendet ende erledigt bauende""",
    "start": "beginn begonnen anfang baubeginn rechnung rechnungsdatum auftragsdatum lieferung",
    "job": "auftrag projekt bauvorhaben bv objekt baustelle haus vorhaben",
    "site": "adresse straße strasse ort anschrift parzelle",
    "customer": "kunde bauherr auftraggeber bauherrin",
    "id": "nr nummer kennung kürzel",
    "name": "name bezeichnung beschreibung",
    "crew": "kolonne kolonnen trupp monteur monteure verleger mannschaft bautrupp partie",
    "type": "art bauart typ objektart gebäudeart",
    "opening": "öffnung öffnungen fenster tür türen",
    "count": "anzahl stück stk menge stückzahl anz",
    "size": "größe maße maß abmessung abmessungen grösse masse",
    "width": "breite breit b",
    "height": "höhe hoch hoehe",
    "length": "länge",
    "reveal": "laibung laibungen leibung leibungen",
    "depth": "tiefe tief",
    "cut": "schnitt schnittart zuschnitt schnittführung",
    "lap": "überlappung überdeckung überlapp stoß",
    "side": "seiten seite schwelle",
    "mark": "pos position kennzeichen",
    "counted": "gezählt zählweise zählung",
    "exclude": "ausschließen ausschluss auslassen ausnehmen",
    "note": "bemerkung bemerkungen anmerkung anmerkungen notiz notizen kommentar hinweis",
    "left": "rest übrig restmenge rücklauf",
    "brought": "mitgebracht",
    "diameter": "durchmesser",
    "perimeter": "umfang rand randlänge",
    "sealant": "dichtstoff kleber",
    "pretaped": "vorkonfektioniert",
    "corner": "ecke ecken",
    "difference": "differenz abweichung mehrverbrauch verschnitt gewinn marge",
    "labour": "stunden std zeit arbeitszeit",
    "thickness": "dicke stärke wandstärke wanddicke dämmung",
    "percent": "prozent",
    "pressure": "blower messung messwert druck",
    "page": "seite jahr",
}
_SMALL = """the of for in on to at a an per each by and or & + was were is our how with from we it -
/ der die das des dem den je pro im am von für und oder mit zu zum zur wie war alle all that they
them this actually about approx ca both new incl excl inkl exkl x off typical average avg usual
typische mittlere durchschnittliche übliche"""
_FILLERS = frozenset(_SMALL.split())
_SEPARATORS = re.compile(r"[\s_()\[\]{}/|,:;.?!\"'*=\\+&-]+")
_NUMBER_SIGNS = re.compile(r"№|n°|nº")
_WRITTEN_OUT = (
    (re.compile(r"\bsq\.? ?(m|ft|yd)\b"), r"\1²"),
    (re.compile(r"\bsquare met(?:re|er)s?\b|\bm\^?2\b|\bqm\b|\bsqm\b"), "m²"),
    (re.compile(r"\bsquare feet\b|\bft\^?2\b|\bsqft\b"), "ft²"),
    (re.compile(r"\bleft[ -]over\b"), "leftover"),
    (re.compile(r"\bno\.? off\b"), "count"),
    (re.compile(r"\b[wb] ?x ?l\b|\bl ?x ?[wb]\b"), "width length"),
    (re.compile(r"\btyp\. ?(?=\w)"), "typical "),
)
_NEVER_UNITS = frozenset({"in", "ins", "'", "s", "sf", "lm", "pounds", "pound", "quid"})
_BRACKETED_INCH = re.compile(r"[(\[] ?in\.? ?[)\]]|\bin inch(?:es)?\b|_in$")
_ALIKE = 0.86
"""How like a known word a word of six letters or more must be to be a slip of it."""


class HeadingWords(NamedTuple):
    """What a heading speaks of: `tags`, its words that are not known, unit, currency, language."""

    tags: frozenset[str]
    unknown: tuple[str, ...]
    unit: str
    currency: str
    german: int
    english: int


def _words_of(lexicon: dict[str, str]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for tag, words in lexicon.items():
        for word in words.split():
            found.setdefault(plain(word), set()).add(tag)
    return found


_EN, _DE = _words_of(_ENGLISH), _words_of(_GERMAN)
_KNOWN = {word: _EN.get(word, set()) | _DE.get(word, set()) for word in {*_EN, *_DE}}
_LONG = [word for word in _KNOWN if len(word) >= 5]
_STEMS = sorted((word for word in _DE if len(word) >= 4), key=len, reverse=True)


@lru_cache(maxsize=4096)
def words_of(heading: str) -> HeadingWords:
    """Return what a heading speaks of."""
    text = _NUMBER_SIGNS.sub("no", plain(heading))
    is_inch = bool(_BRACKETED_INCH.search(text))
    for written, sign in _WRITTEN_OUT:
        text = written.sub(sign, text)
    tokens = [token for token in _SEPARATORS.split(text.replace("#", " # ")) if token]
    units = ["in"] if is_inch else []
    tags: set[str] = set()
    unknown, currency, german, english = [], "", 0, 0
    for token in tokens:
        if unit := _unit(token):
            units.append(unit)
        elif money := currency_of(token) if token not in _NEVER_UNITS else "":
            currency = money
            tags.add("price")
        elif meant := _tags_of(token):
            tags |= meant
            english += token in _EN and token not in _DE
            german += token not in _EN
        elif token not in _FILLERS and not token.isdecimal():
            unknown.append(token)
    return HeadingWords(
        frozenset(tags), tuple(unknown), next(iter(units), ""), currency, german, english
    )


def _unit(token: str) -> str:
    if token in _NEVER_UNITS or token in _KNOWN:
        return ""
    return unit_of(token.replace("²", "2"))


@lru_cache(maxsize=4096)
def _tags_of(token: str) -> frozenset[str]:
    """Return what a word speaks of: as it is known, as a compound, or as a slip of a known one."""
    if token in _KNOWN:
        return frozenset(_KNOWN[token])
    if parts := _compound(token):
        return frozenset().union(*(_DE[part] for part in parts))
    alike = get_close_matches(token, _LONG, 1, _ALIKE) if len(token) >= 6 else []
    return frozenset(_KNOWN[alike[0]]) if alike else frozenset()


def _compound(token: str) -> tuple[str, ...]:
    """Split a German compound, "laibungstiefe", into known words; none if any part is not."""
    for stem in _STEMS:
        if token.startswith(stem):
            rest = token.removeprefix(stem)
            if not rest:
                return (stem,)
            for joint in ("", "s", "n", "en", "es"):
                tail = rest.removeprefix(joint) if rest.startswith(joint) else ""
                if tail and (tail in _DE or _compound(tail)):
                    return (stem, *((tail,) if tail in _DE else _compound(tail)))
    return ()
