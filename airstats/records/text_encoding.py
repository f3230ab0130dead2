"""From the bytes of a CSV file to its text, whichever program saved it."""

from __future__ import annotations

import codecs

from airstats.records.faults import unreadable

LOST = "\ufffd"
"""Stands in a text for what could not be read."""
_SAVE_AGAIN = "open it in the spreadsheet program and save it as CSV UTF-8"
_UTF16 = {codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


def decoded(file: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    """Return the text of some bytes, `LOST` for what cannot be read, and remarks.

    Raises
    ------
    UnreadableTableError
        If the bytes are no text at all.
    """
    text, notes = _text(file, data)
    if "\0" in text:
        raise unreadable(file, "holds zero bytes, so it is no CSV file or damaged", _SAVE_AGAIN)
    return text, notes


def _text(file: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    if encoding := _UTF16.get(data[:2]) or _unmarked_utf16(data):
        return data.decode(encoding, errors="replace").removeprefix("\ufeff"), ()
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        pass
    text = data.decode("utf-8-sig", errors="replace")
    if _is_damaged(text):
        return text, (f"{file}: UTF-8 with bytes that cannot be read.",)
    return data.decode("cp1252", errors="replace"), (f"{file}: not UTF-8; read as Windows-1252.",)


def _unmarked_utf16(data: bytes) -> str:
    """The encoding of a text in which every other byte is zero, as UTF-16 without its mark."""
    head = data[:64]
    if len(head) > 3 and not any(head[1::2]) and all(head[::2]):
        return "utf-16-le"
    return "utf-16-be" if len(head) > 3 and not any(head[::2]) and all(head[1::2]) else ""


def _is_damaged(text: str) -> bool:
    """Tell UTF-8 with a few bad bytes from another encoding, where hardly a letter comes out."""
    beyond_ascii = len(text) - len(text.encode("ascii", errors="ignore"))
    return beyond_ascii > 2 * text.count(LOST)
