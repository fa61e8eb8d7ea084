"""Compile the kernel: the C files of this folder become one shared library beside them.

Run at install time by `.hatch/kernel.py`, and by hand with ``python survey/kernel/build.py`` after a change to
a C file. Uses the standard library alone, since it runs before anything is installed.
"""

from __future__ import annotations

import os
import sys
import zlib
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).parent
LIBRARY = (HERE / "kernel").with_suffix({"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so"))
"""The compiled kernel."""
SWITCH = "SURVEY_KERNEL"
"""Environment variable: ``off`` does without the kernel, at install time and at run time; a path names another one."""

FLAGS = (
    "-std=c11",
    "-O3",
    "-g0",
    "-ffp-contract=off",  # a fused product rounds otherwise, and decides ties otherwise
    "-fno-math-errno",
    "-fno-trapping-math",
    "-fvisibility=hidden",
    "-Wall",
    "-Wextra",
    "-Wno-unknown-pragmas",
)
"""No flags for the machine at hand: a wheel runs on any machine of its platform."""
COMPILERS = ("cc", "gcc", "clang")
ZIG = "ziglang>=0.13"
"""A C compiler from the package index, for machines that have none."""


def stamp() -> str:
    """What is compiled into a kernel of today's sources, to tell one that is out of date."""
    mark = zlib.crc32(" ".join(FLAGS).encode())
    for path in (*sorted(HERE.glob("*.h")), *sorted(HERE.glob("*.c"))):
        mark = zlib.crc32(path.read_bytes(), mark)
    return f"{mark:08x}"


def compiler() -> list[str] | None:
    """The first C compiler of this machine that makes a shared library, as words of a command; None where none does."""
    import shutil  # noqa: PLC0415  the program asks this module for a stamp only
    import tempfile  # noqa: PLC0415

    own = os.environ.get("CC", "").split()
    with tempfile.TemporaryDirectory() as folder:
        trial = Path(folder) / "trial.c"
        trial.write_text("#include <math.h>\ndouble root(double x) { return sqrt(x); }\n", encoding="ascii")
        for command in [own] if own else [[name] for name in COMPILERS]:
            if shutil.which(command[0]) and not _run(command, FLAGS, [trial], trial.with_suffix(".so")):
                return command
    return None


def zig() -> list[str] | None:
    """The compiler of the package ziglang, as words of a command; None where it is not installed."""
    from importlib.util import find_spec  # noqa: PLC0415

    if find_spec("ziglang") is None:
        return None
    return [sys.executable, "-m", "ziglang", "cc", "-mcpu=baseline", "-fno-sanitize=undefined"]


def build(library: Path = LIBRARY, *, more_flags: Sequence[str] = ()) -> str | None:
    """Compile the kernel.

    Parameters
    ----------
    library : Path
        The file to write; it is replaced at once, so that a program which has it open goes on with the old one.
    more_flags : sequence of str
        Flags for the compiler besides those of every build.

    Returns
    -------
    str or None
        Why it failed, with what the compiler says; None where it has worked. After a failure there is no such file.
    """
    command = compiler() or zig()
    if command is None:
        problem: str | None = f"no C compiler found (tried {', '.join(COMPILERS)} and the package ziglang)"
    else:
        fresh = library.with_name(f"new-{os.getpid()}-{library.name}")
        flags = (*FLAGS, *more_flags, f'-DSURVEY_STAMP="{stamp()}"')
        problem = _run(command, flags, sorted(HERE.glob("*.c")), fresh)
        if problem is not None:  # a compiler that makes no second version for wider registers
            problem = _run(command, (*flags, "-DSURVEY_NARROW"), sorted(HERE.glob("*.c")), fresh)
        if problem is None:
            fresh.replace(library)
            return None
        fresh.unlink(missing_ok=True)
    library.unlink(missing_ok=True)
    return problem


def _run(command: Sequence[str], flags: Sequence[str], sources: Sequence[Path], library: Path) -> str | None:
    """Make a shared library; what the compiler says where it cannot."""
    import subprocess  # noqa: PLC0415
    import tempfile  # noqa: PLC0415

    kind = [] if sys.platform == "win32" else ["-fPIC"]
    words = [*command, *flags, *kind, "-shared", *map(str, sources), "-o", str(library), "-lm"]
    with tempfile.TemporaryDirectory() as cache:
        places = {"ZIG_GLOBAL_CACHE_DIR": cache, "ZIG_LOCAL_CACHE_DIR": cache}
        try:
            done = subprocess.run(  # noqa: S603  the machine's own compiler
                words, env={**os.environ, **places}, capture_output=True, text=True, check=False
            )
        except OSError as error:
            return str(error)
    return None if done.returncode == 0 else f"{' '.join(words)}\n{done.stderr or done.stdout}".strip()


if __name__ == "__main__":
    problem = build()
    sys.exit(f"the kernel was not built: {problem}" if problem else None)
