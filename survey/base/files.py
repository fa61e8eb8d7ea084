"""Files read up to a limit, and written whole or not at all."""

from __future__ import annotations

import os
import signal
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import Any

SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""What ends a program from outside and can wait until a file is whole; some systems lack some of them."""


def read_up_to(path: Path, most_bytes: int) -> bytes | None:
    """Read a file once, from its beginning to its end; a pipe too.

    Parameters
    ----------
    path : Path
        The file.
    most_bytes : int
        So long it may be: no more than that is read, however long it is.

    Returns
    -------
    bytes or None
        The whole content; None where it is longer.

    Raises
    ------
    OSError, ValueError
        Where it cannot be opened or read.
    """
    with path.open("rb") as stream:
        content = stream.read(most_bytes + 1)
    return content if len(content) <= most_bytes else None


def check_folder(folder: Path) -> None:
    """Try whether a file can be made in a folder; nothing is left there.

    Raises
    ------
    OSError
        Where none can.
    """
    import tempfile  # noqa: PLC0415  start-up time

    with tempfile.TemporaryFile(dir=folder):
        pass


def replace_whole(target: Path, content: bytes) -> None:
    """Write a file completely or not at all: whoever looks finds the old one or the new one, never a part.

    The content goes into a file of a name that nobody can guess, in the same folder, which no link can lead elsewhere,
    and takes the place of the old one once it is on the disk. The new file has the mode of the old one.
    Signals that would end the program wait so long; only one that cannot wait (SIGKILL) leaves the file beside.

    Parameters
    ----------
    target : Path
        The file itself, not a link to it.
    content : bytes
        All that will be in it.

    Raises
    ------
    OSError
        Where that fails; an existing file is then as it was, and nothing is left behind.
    """
    import tempfile  # noqa: PLC0415  start-up time

    with _signals_later():
        there = target.stat() if target.exists() else None
        number, name = tempfile.mkstemp(dir=target.parent, prefix=".survey-", suffix=".part")
        beside = Path(name)
        try:
            with open(number, "wb") as file:  # noqa: PTH123  it is open already
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            if there is not None:
                with suppress(OSError, AttributeError):  # only its owner, or root, may give a file away
                    os.chown(beside, there.st_uid, there.st_gid)
            beside.chmod(_usual_mode() if there is None else stat.S_IMODE(there.st_mode))
            beside.replace(target)
        finally:
            beside.unlink(missing_ok=True)


def _usual_mode() -> int:
    """The mode of a new file, by what the user lets others do."""
    mask = os.umask(0o077)
    os.umask(mask)
    return 0o666 & ~mask


@contextmanager
def _signals_later() -> Iterator[None]:
    """Let signals that would end the program act only once this is done; in the main thread, where they act."""
    came: list[int] = []

    def note(number: int, _frame: FrameType | None) -> None:
        came.append(number)

    before: dict[int, Any] = {}
    try:
        for name in SIGNALS:
            number = getattr(signal, name, None)
            if number is not None:
                with suppress(ValueError):  # another thread: signals do not act there
                    before[number] = signal.signal(number, note)
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        if came:
            signal.raise_signal(came[0])
