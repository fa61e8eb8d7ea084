"""What the kernel for crossings is handed is checked; what it finds is tested in tests/geometry/test_crossings.py."""

import numpy as np
import pytest

from survey import kernel
from survey.kernel import crossings as kernel_crossings
from survey.kernel.crossings import crossings

needs_kernel = pytest.mark.skipif(kernel.library() is None, reason="no kernel was built here")

FITS = {
    "starts_m": np.zeros((2, 3)),
    "ends_m": np.ones((4, 3)),
    "normal": np.zeros((5, 3)),
    "offset_m": np.zeros(5),
    "edge_normal": np.zeros((5, 4, 3)),
    "edge_offset_m": np.zeros((5, 4)),
    "grown_m": np.zeros((5, 4, 3)),
    "group": np.zeros(5, dtype=np.int64),
    "cost_db": np.zeros(5),
}
LENGTHS = {"on_sheet_m": 1e-3, "edge_m": 1e-7, "same_point_m": 1e-5}


@needs_kernel
@pytest.mark.parametrize("name", sorted(set(FITS) - {"edge_offset_m"}))  # that one says how many there are
def test_an_array_that_does_not_fit_is_refused(name):
    crossings(kernel.library(), **FITS, **LENGTHS)
    one = FITS[name]
    wrong = [one[None], one[..., :-1], np.repeat(one, 2, axis=-1)]
    if one.dtype.kind == "f":
        wrong += [np.full_like(one, np.nan), np.full_like(one, np.inf)]
    for each in wrong:
        with pytest.raises(ValueError, match=f"^{name}: (the shape|a number)"):
            crossings(kernel.library(), **(FITS | {name: each}), **LENGTHS)


@needs_kernel
def test_where_more_is_found_than_there_is_room_for_all_of_it_is_given(monkeypatch):
    walls = np.arange(1.0, 2_000.0)
    many = {
        "starts_m": np.zeros((1, 3)),
        "ends_m": np.array([[3_000.0, 0.0, 0.0]]),
        "normal": np.tile([1.0, 0.0, 0.0], (len(walls), 1)),
        "offset_m": walls,
        "edge_normal": np.tile([[0.0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], (len(walls), 1, 1)),
        "edge_offset_m": np.full((len(walls), 4), -2.0),
        "grown_m": walls[:, None, None] * [1, 0, 0] + np.array([[0.0, 2, 2], [0, -2, 2], [0, -2, -2], [0, 2, -2]]),
        "group": np.arange(len(walls)),
        "cost_db": np.zeros(len(walls)),
    }
    monkeypatch.setattr(kernel_crossings, "ROWS_A_LINE", 0)
    crossed = crossings(kernel.library(), **many, **LENGTHS)
    assert crossed[2].tolist() == list(range(len(walls)))
    assert np.allclose(crossed[3], walls / 3_000.0)
