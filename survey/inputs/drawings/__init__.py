"""Outlines, lines and points from drawings, and positions from lists: files beside the plan."""

from __future__ import annotations

from survey.inputs.drawings.dxf import INSTALL, ezdxf_library
from survey.inputs.drawings.entry import Drawing
from survey.inputs.drawings.expanding import FROM, POSITIONS, SHAPES, Placed, expanded
from survey.inputs.drawings.library import Drawings

__all__ = ["FROM", "INSTALL", "POSITIONS", "SHAPES", "Drawing", "Drawings", "Placed", "expanded", "ezdxf_library"]
