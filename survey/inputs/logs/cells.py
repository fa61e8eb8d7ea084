"""Names and numbers of a log: fields in bytes, many at once."""

from __future__ import annotations

from threading import Lock

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.inputs.logs.stamps import words_of

Bytes = NDArray[np.uint8]

SPARE_BYTES = 80
"""How many bytes stand behind a buffer, so that fields may be read in words of eight."""
LONGEST_NAME = 64
"""Names are looked up in a table of so many bytes; longer ones one by one. A judgement. [bytes]"""
WORD_BYTES = 8
"""Of a 64-bit integer, in which fields are compared."""
MOST_NAMES = 20_000
"""Names beyond this are no names: the column holds something else."""
LONGEST_NUMBER = 14
"""Of a figure in a log; a 64-bit integer holds 18 digits. [bytes]"""
MIX = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xC2B2AE3D27D4EB4F))
"""Odd 64-bit multipliers that spread similar names: 2^64 over the golden ratio, as Knuth gives it (The Art of Computer
Programming 3, 6.4), and the second prime of the hash xxHash64 (from memory)."""


class TooManyNamesError(Exception):
    """A column of names that holds something else."""


def hashes_of(buffer: Bytes, starts: IntArray, lengths: IntArray) -> NDArray[np.uint64]:
    """A number for each field, by its length and its bytes."""
    words = words_of(buffer)
    mixed = lengths.astype(np.uint64) * MIX[1]
    for first in range(0, int(lengths.max(initial=0)), 8):
        inside = np.clip(lengths - first, 0, 8)
        partly = (np.uint64(1) << (8 * inside % 64).astype(np.uint64)) - np.uint64(1)
        kept = np.where(inside == WORD_BYTES, ~np.uint64(0), partly)
        part = words[np.minimum(starts + first, len(words) - 1)] & kept
        step = (mixed ^ part) * MIX[0]
        mixed = np.where(inside > 0, step ^ (step >> np.uint64(29)), mixed)
    return mixed


class Names:
    """The names that a column holds, numbered as they come; many threads may ask at once."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self._number: dict[str, int] = {}
        self._table: tuple[NDArray[np.uint64], IntArray] = (np.zeros(0, np.uint64), np.zeros(0, np.int64))
        self._lock = Lock()

    def number_of(self, name: str) -> int:
        """The number of one name, a new one if need be."""
        with self._lock:
            return self._learn(name)

    def _learn(self, name: str) -> int:
        if name not in self._number:
            if len(self.names) >= MOST_NAMES:
                raise TooManyNamesError
            self._number[name] = len(self.names)
            self.names.append(name)
        return self._number[name]

    def numbers(self, buffer: Bytes, starts: IntArray, ends: IntArray) -> tuple[IntArray, BoolArray]:
        """Numbers of many names, and which of them are too long to be told here."""
        lengths = ends - starts
        long = lengths > LONGEST_NAME
        if long.any():
            lengths = np.where(long, 0, lengths)
        mixed = hashes_of(buffer, starts, lengths)
        found, numbers = self._find(mixed)
        new = ~found & ~long  # a row with a long one is read again, with care
        if new.any():
            with self._lock:
                self._add(buffer, starts, lengths, mixed, new)
            _, numbers = self._find(mixed)
        return numbers, long

    def _find(self, mixed: NDArray[np.uint64]) -> tuple[BoolArray, IntArray]:
        """Which are known, and their numbers, both from one table: another thread may put a longer one in its place."""
        known, numbers = self._table
        if not len(known):
            return np.zeros(len(mixed), dtype=bool), np.zeros(len(mixed), dtype=np.int64)
        at = np.minimum(np.searchsorted(known, mixed), len(known) - 1)
        return known[at] == mixed, numbers[at]

    def _add(
        self, buffer: Bytes, starts: IntArray, lengths: IntArray, mixed: NDArray[np.uint64], new: BoolArray
    ) -> None:
        fresh, first = np.unique(mixed[new], return_index=True)
        rows = np.flatnonzero(new)[first]
        texts = [bytes(buffer[starts[i] : starts[i] + lengths[i]]).decode("utf-8", "replace").strip() for i in rows]
        order = np.argsort(first)  # as they come in the file
        numbers = np.zeros(len(fresh), dtype=np.int64)
        for k in order.tolist():
            numbers[k] = self._learn(texts[k])
        hashes, first = np.unique(np.concatenate([self._table[0], fresh]), return_index=True)
        self._table = hashes, np.concatenate([self._table[1], numbers])[first]


def numbers_of(buffer: Bytes, starts: IntArray, ends: IntArray, *, decimal: str) -> tuple[FloatArray, BoolArray]:
    """Plain decimal numbers of many fields.

    Parameters
    ----------
    buffer : ndarray of uint8
        Bytes, with spare ones at the end.
    starts, ends : ndarray of int, shape (rows,)
        Where each field begins, and where it has ended.
    decimal : str
        ``"."``, or ``","`` where both are read.

    Returns
    -------
    tuple of ndarray of float and of bool, shape (rows,)
        Values, NaN for an empty field; and whether the field was understood.
    """
    length = ends - starts
    good = length <= LONGEST_NUMBER
    longest = min(LONGEST_NUMBER, int(length.max(initial=0)))
    whole = np.zeros(len(starts), dtype=np.int64)
    decimals = np.zeros(len(starts), dtype=np.int8)
    digits = np.zeros(len(starts), dtype=np.int8)
    pointed, negative = np.zeros(len(starts), dtype=bool), np.zeros(len(starts), dtype=bool)
    for k in range(longest):
        one = buffer[starts + k]
        figure = one - np.uint8(48)
        inside = k < length
        is_digit = (figure < 10) & inside  # noqa: PLR2004  bytes below "0" have wrapped round
        whole = np.where(is_digit, whole * 10 + figure, whole)
        digits += is_digit
        decimals += is_digit & pointed
        is_point = (one == ord(".")) | (one == ord(",")) if decimal == "," else one == ord(".")
        is_point &= inside & ~pointed
        pointed |= is_point
        is_sign = inside & (((one == ord("-")) | (one == ord("+"))) if k == 0 else False)
        negative |= is_sign & (one == ord("-"))
        good &= ~inside | is_digit | is_point | is_sign
    value = whole / np.power(10.0, np.arange(LONGEST_NUMBER + 1))[decimals]
    empty = length == 0
    return np.where(empty, np.nan, np.where(negative, -value, value)), (good & (digits > 0)) | empty
