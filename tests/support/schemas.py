"""JSON Schemas of what every command prints with --json, drawn from its answers on many small sites.

`SURVEY_UPDATE_DOCS=1 pytest tests/library/test_json_schema.py` writes docs/answers.schema.json anew.
"""

from __future__ import annotations

import json

SHARES = {"reliability", "best_share", "chance", "share"}
NAMED = {"materials", "spots", "by_name"}
"""Objects whose keys are names of the plan: any key, one kind of value."""
WORDS = {"state", "route_state", "before_state", "after_state"}
ENUMS = {"state": ["holds", "marginal", "fails", "full"]}
DRAFT = "https://json-schema.org/draft/2020-12/schema"


def kind_of(value):
    if isinstance(value, bool):
        return "boolean"
    for python, name in ((type(None), "null"), (str, "string"), (int, "number"), (float, "number"), (list, "array")):
        if isinstance(value, python):
            return name
    return "object"


def schema_of(values, *, key="", names=frozenset()):
    """Return the schema of some values that stand under the same key.

    Parameters
    ----------
    values : list
        As JSON has them.
    key : str
        The key.
    names : set of str
        Names of the plans: an object with such keys is a table by name.
    """
    kinds = sorted({kind_of(value) for value in values})
    schema = {"type": kinds[0] if len(kinds) == 1 else kinds} if kinds else {}
    objects = [value for value in values if isinstance(value, dict)]
    if objects:
        keys = list(dict.fromkeys(name for one in objects for name in one))
        if keys and (key in NAMED or all(name in names for name in keys)):
            inside = [one[name] for one in objects for name in one]
            schema["additionalProperties"] = schema_of(inside, names=names)
        else:
            schema["properties"] = {
                name: schema_of([one[name] for one in objects if name in one], key=name, names=names) for name in keys
            }
            schema["required"] = [name for name in keys if all(name in one for one in objects)]
            schema["additionalProperties"] = False
    lists = [one for value in values if isinstance(value, list) for one in value]
    if lists:
        schema["items"] = schema_of(lists, key=key, names=names)
    if key in SHARES and "number" in kinds:
        schema |= {"minimum": 0, "maximum": 1}
    if key == "state" and "string" in kinds and set(values) <= {*ENUMS["state"], None}:
        schema["enum"] = [*ENUMS["state"], *([None] if "null" in kinds else [])]
        del schema["type"]
    return schema


def book(answers, *, names):
    """Return one document with a schema for each command, by the answers of each."""
    found = {command: schema_of(given, names=names) for command, given in sorted(answers.items())}
    about = "What each command of survey prints with --json. Numbers are finite; a value that does not exist is null."
    return {"$schema": DRAFT, "title": "Answers of survey", "description": about, "$defs": found}


def as_text(document):
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"
