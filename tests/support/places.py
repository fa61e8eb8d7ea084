"""Where this checkout's own files are."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
SITES = ROOT / "sites"
SHARED = ROOT.parent / "shared"
