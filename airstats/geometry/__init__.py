"""One opening: what a cut covers, what stays bare, which off-cuts fit where.

Takes sizes of openings in mm and how pieces are cut; gives areas in m², joints in m and pieces for
one unit, and the same as outlines for a drawing. It counts material; it designs no airtight layer.
"""

from __future__ import annotations

from airstats.geometry.cutting_rules import CutResult, Practice, Sizes

__all__ = ["CutResult", "Practice", "Sizes"]
