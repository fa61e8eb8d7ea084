"""The commands as typed, for tests of what they share."""

import pytest

ON_A_PLAN = {
    "check": ["check", "plan.toml"],
    "links": ["links", "plan.toml", "--gateway", "post", "--gateway", "office"],
    "place": ["place", "plan.toml"],
    "compare": ["compare", "plan.toml", "post", "shed"],
    "explain": ["explain", "plan.toml", "i1"],
    "network": ["network", "plan.toml", "--gateway", "post"],
}
ALL = ON_A_PLAN | {"materials": ["materials"]}
every_command = pytest.mark.parametrize("words", ALL.values(), ids=ALL)
every_command_on_a_plan = pytest.mark.parametrize("words", ON_A_PLAN.values(), ids=ON_A_PLAN)
as_text_and_json = pytest.mark.parametrize("form", [[], ["--json"]], ids=["text", "json"])
