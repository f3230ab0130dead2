"""When two names are one: the same to the eye but for capitals."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

import numpy as np

# Joiners, soft hyphens and marks of direction: they show nothing by themselves.
_UNSEEN = re.compile("[\u00ad\u034f\u061c\u180e\u200b-\u200f\u2060-\u2064\ufe00-\ufe0f\ufeff]")


def name_key(name: str) -> str:
    """Return what is the same for all spellings of one name.

    Capitals, space at the ends, signs that cannot be seen, and whether an accent is a sign of its
    own (as some programs write it) make no difference. Look-alike letters of another alphabet do.
    """
    text = name.strip().casefold()
    if text.isascii():
        return text
    text = unicodedata.normalize("NFD", _UNSEEN.sub("", text)).casefold()
    return unicodedata.normalize("NFC", text).strip()


def places_of(names: Iterable[str], known: Sequence[str]) -> np.ndarray:
    """Return for each of n names its place in `known`, (n,), -1 where it is not among them."""
    places = {name_key(name): place for place, name in enumerate(known)}
    distinct, codes = np.unique(np.asarray(names, dtype=str), return_inverse=True)
    found = [places.get(name_key(name), -1) for name in distinct.tolist()]
    return np.array(found, dtype=int)[codes]
