"""The files of a site, wherever they are: a copy to read, and one checksum for all of them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from survey import __version__
from survey.base.errors import Fault, FileError, why_unread
from survey.fleet.site import FILES, REMOTE, Site

CHUNK_BYTES = 1_000_000
"""Read and copied at a time; a judgement."""
COMPANION = re.compile(rb'"([^"\n]+\.(?:csv|dxf|geojson|json))"', re.IGNORECASE)
"""Files that a plan names: antennas and drawings."""
MAX_PLAN_BYTES = 20_000_000
"""Where the names of such files are looked for: more than any plan. A judgement. [byte]"""
EXTRA = "is on another file system; install survey[cluster] to read it"


def files_of(site: Site) -> dict[str, str]:
    """Return the files of a site that its table names, by what they are."""
    named = {key: getattr(site, key) for key in FILES if key != "branch"} | {"branch": site.branch_file}
    return {key: name for key, name in named.items() if name}


def checksum(site: Site) -> str:
    """Return one SHA-256 of all files of a site, of those that its plan names, and of the version of the program.

    Raises
    ------
    FileError
        Where a file that the table names cannot be read.
    """
    found = hashlib.sha256(f"{__version__}\n{site.name}\n{site.branch}".encode())
    for key, name in files_of(site).items():
        found.update(f"\n{key} {name} ".encode())
        found.update(_digest(site, name))
        if key == "plan":
            for companion in _companions(site, name):
                found.update(f"\n{companion} ".encode())
                found.update(_digest(site, _next_to(name, companion), optional=True))
    return found.hexdigest()


def size_of(site: Site) -> dict[str, int]:
    """Return the size of each file of a site. [byte]

    Raises
    ------
    FileError
        Where one of them cannot be read.
    """
    sizes = {}
    for name in files_of(site).values():
        with _opened(site, name) as file:
            sizes[name] = file.seek(0, 2)
    return sizes


@contextmanager
def copies(site: Site) -> Iterator[dict[str, Path]]:
    """Give the files of a site as paths, by what they are; those on other file systems as copies.

    Raises
    ------
    FileError
        Where one of them cannot be read.
    """
    with ExitStack() as stack:
        found: dict[str, Path] = {}
        folder: Path | None = None
        for key, name in files_of(site).items():
            if REMOTE not in name:
                found[key] = Path(site.base) / name
                continue
            folder = folder or Path(stack.enter_context(TemporaryDirectory(prefix="survey-")))
            (folder / key).mkdir(exist_ok=True)
            found[key] = folder / key / name.rpartition("/")[2]
            _copy(site, name, found[key])
            if key == "plan":
                for companion in _companions(site, name):
                    target = found[key].parent / companion
                    if target.resolve().is_relative_to(folder.resolve()):
                        target.parent.mkdir(parents=True, exist_ok=True)
                        _copy(site, _next_to(name, companion), target, optional=True)
        yield found


def _companions(site: Site, plan: str) -> list[str]:
    """Return the names of files that may stand in a plan, relative to it."""
    with _opened(site, plan) as file:
        text = file.read(MAX_PLAN_BYTES)
    names = (one.decode("utf-8", "replace") for one in dict.fromkeys(COMPANION.findall(text)))
    return [name for name in names if REMOTE not in name]


def _next_to(plan: str, name: str) -> str:
    if REMOTE in plan:
        return f"{plan.rpartition('/')[0]}/{name}"
    return str(Path(plan).parent / name)


def _digest(site: Site, name: str, *, optional: bool = False) -> bytes:
    """Return the SHA-256 of a file; of nothing where one that may be missing is missing."""
    try:
        with _opened(site, name) as file:
            return hashlib.file_digest(file, "sha256").digest()
    except FileError:
        if optional:
            return b"missing"
        raise


def _copy(site: Site, name: str, target: Path, *, optional: bool = False) -> None:
    try:
        with _opened(site, name) as file, target.open("wb") as copy:
            while data := file.read(CHUNK_BYTES):
                copy.write(data)
    except FileError:
        if not optional:
            raise


@contextmanager
def _opened(site: Site, name: str) -> Iterator[Any]:
    """Open a file for reading, on this machine or by fsspec."""
    if REMOTE in name:
        with _opened_far(name) as file:
            yield file
        return
    path = Path(site.base) / name
    try:
        if path.is_dir():
            raise IsADirectoryError  # as opening it fails on some systems only
        file = path.open("rb")
    except (OSError, ValueError) as error:
        raise FileError([Fault(file=name, problem=why_unread(path, error))]) from None
    with file:
        yield file


@contextmanager
def _opened_far(name: str) -> Iterator[Any]:
    try:
        import fsspec  # noqa: PLC0415  an extra
    except ImportError:
        raise FileError([Fault(file=name, problem=EXTRA)]) from None
    try:
        file = fsspec.open(name, "rb").open()
    except FileNotFoundError:
        raise FileError([Fault(file=name, problem="there is no such file")]) from None
    except Exception as error:  # noqa: BLE001  file systems of others raise what they like
        raise FileError([Fault(file=name, problem=f"cannot be read: {error}")]) from None
    with file:
        yield file
