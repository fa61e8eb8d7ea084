"""Print the lowest versions of libraries that pyproject.toml allows, for users and for tests, one a line."""

import tomllib
from pathlib import Path

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]
lowest = dict(one.split(">=") for one in PROJECT["dependencies"])
extras = PROJECT["optional-dependencies"]
lowest |= dict(one.split(">=") for one in extras["drawings"] + extras["spreadsheets"])
lowest |= {name: version for name, _, version in (one.partition(">=") for one in extras["dev"]) if name in lowest}
print("\n".join(f"{name}=={version}" for name, version in lowest.items()))
