"""Damaged files and options of every kind: a refusal in words or an answer that holds together, never anything else.

`python tests/fuzz/many.py --cases 20000` runs many more; docs/reliability.md says how that ended.
"""

import os

import pytest
from fuzzing.cases import case_of
from fuzzing.judging import BrokenError, hold, judge_csv, judge_record, run_case

CASES = int(os.environ.get("SURVEY_FUZZ_CASES", "240"))
"""So many take some ten seconds."""
AT_ONCE = 20


@pytest.mark.parametrize("first", range(0, CASES, AT_ONCE))
def test_whatever_is_read_the_program_answers_or_refuses(tmp_path, monkeypatch, first):
    for seed in range(first, min(first + AT_ONCE, CASES)):
        folder = tmp_path / str(seed)
        folder.mkdir()
        monkeypatch.chdir(folder)
        run_case(case_of(seed), folder)


def test_a_case_is_made_of_its_seed_alone():
    one, same, other = case_of(11), case_of(11), case_of(12)
    assert (one.files, one.words) == (same.files, same.words)
    assert one.files != other.files or one.words != other.words


@pytest.mark.parametrize(
    "record",
    [
        {"reliability": 1.2},
        {"links": [{"share": [0.5, -0.1]}]},
        {"ranking": [{"best_share": 2}]},
        {"deep": [{"level_dbm": float("inf")}]},
    ],
)
def test_the_judge_sees_what_is_wrong_in_a_record(record):
    with pytest.raises(BrokenError):
        judge_record(record, None, "x")


def test_the_judge_sees_what_a_spreadsheet_would_run():
    judge_csv("name,db\ni1,-3.5\n'=1,\n", "x")
    for text in ("name,db\n=1+1,2\n", "name,db\n@x,2\n", "name,db\ni1,nan\n", "a,b\n1\n"):
        with pytest.raises(BrokenError):
            judge_csv(text, "x")
    with pytest.raises(BrokenError, match="why"):
        hold(False, "why")
