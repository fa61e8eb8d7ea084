"""Print the lowest versions of libraries that pyproject.toml allows, one a line, as constraints for pip."""

import tomllib
from pathlib import Path

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
print("\n".join(one.replace(">=", "==") for one in PROJECT["dependencies"]))
