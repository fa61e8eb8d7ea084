"""Where the intervals of a log begin, worked out by hand."""

import numpy as np

from survey.inputs.logs.grid import _phase_s


def test_intervals_begin_in_the_middle_of_the_widest_quiet_stretch():
    """Polls 0 and 20 s past each minute keep 2 s on either side busy: quiet are 3 to 17 and 23 to 57, 35 whole seconds.

    The eighteenth of these is 40, and 40.5 its middle.
    """
    seconds = np.concatenate([np.arange(0, 6000, 60), np.arange(20, 6000, 60)])
    assert _phase_s(seconds, 60) == 40


def test_with_long_intervals_a_phase_is_a_sixtieth_of_them():
    """Steps of ten minutes: of the sixty phases of 10 s all but 58 to 2 are quiet, and 30 is in their middle."""
    assert _phase_s(np.arange(0, 60_000, 600), 600) == 305
