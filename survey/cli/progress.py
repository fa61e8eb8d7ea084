"""A bar on a terminal while a command works, and warnings."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Event, Lock, Thread
from typing import Any

import click

from survey.base.characters import harmless

QUIET_S = 1.0
"""No progress bar before a command has taken this long. [s]"""
BEAT_S = 0.25
"""How often a bar is shown anew: often enough to look alive. A choice. [s]"""
MINUTE_S = 60.0
"""Seconds of a minute."""


def warn(message: str) -> None:
    """Print a warning on standard error."""
    click.echo(f"warning: {harmless(message)}", err=True)


def time_words(done: int, total: int, *, spent_s: float) -> str:
    """Return how much is done and the time left, at the pace so far.

    Examples
    --------
    >>> time_words(30, 90, spent_s=10.0), time_words(0, 90, spent_s=3.0)
    ('30 of 90, 10 s, about 20 s left', '0 of 90, 3 s')
    """
    left_s = spent_s * (total - done) / done if done else 0.0
    left = f"{left_s:.0f} s" if left_s < 2 * MINUTE_S else f"{left_s / MINUTE_S:.0f} min"
    return f"{done} of {total}, {spent_s:.0f} s" + (f", about {left} left" if 0 < done < total else "")


@contextmanager
def progress(label: str, *, is_timed: bool = False) -> Iterator[Callable[[int, int], None] | None]:
    """Show a bar on standard error, only on a terminal and only after one second.

    Until the work says how much of it is done, the label and the time stand there alone. A timed bar also shows how
    much is done, and the time left.
    """
    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    bar = _Bar(label, is_timed=is_timed)
    try:
        yield bar.move
    finally:
        bar.close()


class _Bar:
    """A bar that a thread shows and keeps moving, whatever the work does."""

    def __init__(self, label: str, *, is_timed: bool) -> None:
        self._started_s, self._is_timed = time.monotonic(), is_timed
        self._done, self._total = 0, 0
        self._lock, self._ended = Lock(), Event()
        self._shown: Any = click.progressbar(
            length=1, label=label, file=sys.stderr, show_eta=False, item_show_func=lambda _: self._time()
        )
        self._is_shown = False
        self._thread = Thread(target=self._beat, daemon=True)
        self._thread.start()

    def move(self, done: int, total: int) -> None:
        """Take what is done, and how much there is."""
        with self._lock:
            self._done, self._total = done, total

    def close(self) -> None:
        """Show how far the work came, and end the line."""
        self._ended.set()
        self._thread.join()
        if self._is_shown:
            self._show()
            self._shown.render_finish()

    def _time(self) -> str:
        spent_s = time.monotonic() - self._started_s
        if not self._is_timed or not self._total:
            return f"{spent_s:.0f} s"
        return time_words(self._done, self._total, spent_s=spent_s)

    def _beat(self) -> None:
        wait_s = QUIET_S
        while not self._ended.wait(wait_s):
            self._show()
            wait_s = BEAT_S

    def _show(self) -> None:
        with self._lock, suppress(OSError, ValueError):  # a terminal that is gone stops no work
            bar, self._is_shown = self._shown, True
            bar.length, bar.pos = max(self._total, 1), self._done
            bar.bar_template = "%(label)s  [%(bar)s]  %(info)s" if self._total else "%(label)s  %(info)s"
            bar.show_percent = bool(self._total)
            bar.render_progress()
