"""Results as JSON lines: what was kept is there again, also after a run that was cut off."""

import pytest
from assessing import visit

from survey.base.errors import OutputError
from survey.fleet.store import HEAD, Keeper, line_of, read_results


def test_what_is_written_is_read_again(tmp_path):
    path, some = tmp_path / "r.jsonl", [visit("a", checksum="1"), visit("Hütte ✓", checksum="2")]
    with Keeper(path) as keeper:
        for one in some:
            keeper.keep(one)
        keeper.write_whole(some)
    assert path.read_text(encoding="utf-8").splitlines() == [HEAD, *map(line_of, some)]
    assert [line_of(one) for one in read_results(path).values()] == list(map(line_of, some))
    assert [one.name for one in tmp_path.iterdir()] == ["r.jsonl"]


def test_a_run_that_is_cut_off_amid_a_line_loses_that_line_alone(tmp_path):
    path = tmp_path / "r.jsonl"
    with Keeper(path) as keeper:
        keeper.keep(visit("a"))
        keeper.keep(visit("b"))
    part = tmp_path / "r.jsonl.part"
    part.write_bytes(part.read_bytes()[:-30])
    assert list(read_results(path)) == ["a"]
    with Keeper(path) as keeper:  # the next run goes on in the same file
        keeper.keep(visit("c"))
    assert list(read_results(path)) == ["a", "c"]


def test_an_earlier_file_is_unchanged_until_the_new_one_is_whole(tmp_path):
    path = tmp_path / "r.jsonl"
    with Keeper(path) as keeper:
        keeper.write_whole([visit("a", inverters=1)])
    before = path.read_bytes()
    with Keeper(path) as keeper:
        keeper.keep(visit("a", inverters=2))
    assert path.read_bytes() == before
    assert read_results(path)["a"].inverters == 2, "the later result counts"


def test_a_file_of_another_kind_is_not_written_over(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("my notes\n", encoding="utf-8")
    with pytest.raises(OutputError, match="is no file of results"):
        read_results(path)
