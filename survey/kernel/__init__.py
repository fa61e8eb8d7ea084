"""The compiled kernel: where it is, what it may be handed, and how it is called.

The C files of this folder are compiled when `survey` is installed (`build.py`). They hold no rules of their own: for
each there is a plain version in Python, which tests hold it to, and which does the work where there is no kernel.
Nothing is checked in C, so everything is checked here: a call takes arrays of the right kind and shape only.
"""

from __future__ import annotations

import ctypes
import os
import threading
import warnings
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.base.errors import SurveyWarning
from survey.kernel import build

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_loading = threading.Lock()


class SlowWarning(SurveyWarning):
    """All works, but without the compiled kernel, and so slowly."""


def library() -> ctypes.CDLL | None:
    """The compiled kernel, loaded when first asked for; None, after one `SlowWarning`, where there is none."""
    with _loading:
        return _load()


@cache
def _load() -> ctypes.CDLL | None:
    switch = os.environ.get(build.SWITCH, "")
    if switch == "off":
        return None
    problem = "has not been built"
    try:
        found = ctypes.CDLL(switch or str(build.LIBRARY))
        of_source = found.survey_stamp
        of_source.restype = ctypes.c_char_p
        if of_source().decode() == build.stamp():
            return found
        problem = "was built from other sources than these"
    except OSError as error:
        if build.LIBRARY.exists() or switch:
            problem = f"cannot be loaded ({error})"
    except AttributeError:
        problem = f"is not in {switch or build.LIBRARY}"
    warnings.warn(
        f"the compiled kernel {problem}: results are the same, but take many times longer. "
        "Install survey again on a machine with a C compiler or with access to the package index.",
        SlowWarning,
        stacklevel=2,
    )
    return None


def floats(name: str, values: ArrayLike, *shape: int) -> FloatArray:
    """Finite numbers of a shape, laid out as the kernel reads them; ValueError where they are not.

    Parameters
    ----------
    name : str
        What the error calls them.
    values : array_like of float
        The numbers.
    shape : int
        Their shape; -1 for any length.
    """
    array = np.ascontiguousarray(values, dtype=np.float64)
    _check_shape(name, array, shape)
    if not np.isfinite(array).all():
        raise ValueError(f"{name}: a number is not finite")
    return array


def indices(name: str, values: ArrayLike, *shape: int, below: int, least: int = 0) -> IntArray:
    """Whole numbers from `least` up to, and without, `below`; ValueError where one is not.

    Parameters
    ----------
    name, values, shape
        As for `floats`.
    below, least : int
        Their range.
    """
    given = np.asarray(values)
    if given.dtype.kind not in "iub":
        raise ValueError(f"{name}: whole numbers are wanted, not {given.dtype}")
    array = np.ascontiguousarray(given, dtype=np.int64)
    _check_shape(name, array, shape)
    if array.size and (array.min() < least or array.max() >= below):
        raise ValueError(f"{name}: {array.min()} to {array.max()} is not within {least} to {below - 1}")
    return array


def kinds(name: str, values: ArrayLike, *shape: int) -> NDArray[np.uint8]:
    """Yes or no, a byte each, as the kernel reads them; ValueError where the shape is another.

    Parameters
    ----------
    name, values, shape
        As for `floats`.
    """
    array = np.ascontiguousarray(np.asarray(values) != 0, dtype=np.uint8)
    _check_shape(name, array, shape)
    return array


def _check_shape(name: str, array: NDArray[np.generic], shape: tuple[int, ...]) -> None:
    fits = array.ndim == len(shape) and all(want in (-1, has) for want, has in zip(shape, array.shape, strict=True))
    if not fits:
        raise ValueError(f"{name}: the shape is {array.shape}, not {shape}")


LAID_OUT = (np.float64, np.int64, np.int32, np.uint8)


def call(kernel: ctypes.CDLL, entry: str, *arguments: NDArray[Any] | float) -> int:
    """Call an entry of the kernel; MemoryError where it runs out of memory. Other threads go on meanwhile.

    Parameters
    ----------
    kernel : CDLL
        What `library` gave.
    entry : str
        Name of the C function.
    arguments : ndarray, int or float
        Arrays from `floats` and `indices`, or new ones to write to; whole numbers; numbers.

    Returns
    -------
    int
        What the entry returns, not negative.
    """
    words: list[object] = []
    for argument in arguments:
        if isinstance(argument, np.ndarray):
            if argument.dtype not in LAID_OUT or not argument.flags.c_contiguous:
                raise TypeError(f"{entry}: an array of {argument.dtype} is not laid out as the kernel reads it")
            words.append(ctypes.c_void_p(argument.ctypes.data))
        else:
            words.append(ctypes.c_int64(argument) if isinstance(argument, int) else ctypes.c_double(argument))
    function = kernel[entry]  # a new one each time, so that threads share nothing
    function.restype = ctypes.c_int64
    answer = int(function(*words))
    if answer < 0:
        raise MemoryError(f"{entry}: not enough memory")
    return answer
