"""What a reader sees: sentences, tables and pictures, by reader.

Takes a `Desk`, which `open_desk` lays out from a firm's sources; gives what the notebooks show.
Nothing here computes. The pictures are loaded by module, for the command line needs none.
"""

from __future__ import annotations

from airstats.reports.desk import Desk, open_desk

__all__ = ["Desk", "open_desk"]
