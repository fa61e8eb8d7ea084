"""What several tests share: the folder of open data beside the project, and skipping where it is not there."""

import os

import pytest
from hypothesis import settings
from places import SHARED

from survey.kernel import build

# One thread a process: tests run beside each other, and products with more only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Where no kernel could be built the tests run without it, and without the warning that each command would give.
if not build.LIBRARY.exists():
    os.environ.setdefault(build.SWITCH, "off")

# The same examples in every run, so that a change is judged by what it changes, and no clock, since machines are noisy.
# `pytest --hypothesis-profile=wide` looks for new ones.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("wide", derandomize=False, deadline=None)
settings.load_profile("steady")

VALIDATION = SHARED / "validation"


@pytest.fixture
def validation():
    """The folder of published check values and open data; tests that read it are skipped where it is absent."""
    if not VALIDATION.is_dir():
        pytest.skip("the folder shared/validation with the open data does not lie beside this checkout")
    return VALIDATION
