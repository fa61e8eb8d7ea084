"""The exact references, for all tests of propagation."""

import json

import pytest


@pytest.fixture
def references(validation):
    """Exact two-dimensional solutions; see the README beside them."""
    return json.loads((validation / "diffraction" / "reference.json").read_text(encoding="utf-8"))
