"""Where this checkout's own files are."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
SITES = ROOT / "sites"
OLD_WORDS = ROOT / "tests" / "data" / "old-words"
"""The demo sites in loose sheets, boxes and points, as plans were written before there were buildings."""
SHARED = ROOT.parent / "shared"
