"""Dated copies: the newest first, thirty of each name at most, what was damaged for good."""

import pytest

from tonegen.page import copies


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """Keep copies of a file with some content, each a minute later."""
    file, minutes = tmp_path / "page.json", iter(range(60))

    def keep(content, **how):
        file.write_text(content)
        monkeypatch.setattr(copies, "stamp", lambda: f"2026-11-26-20{next(minutes):02}00")
        return copies.keep_copy(file, tmp_path / "earlier", **how)

    return keep


def contents(kept_in, name="page"):
    return [copy.read_text() for copy in copies.copies_of(name, kept_in / "earlier", ".json")]


def test_the_newest_comes_first(kept, tmp_path):
    for content in ("one", "two", "three"):
        kept(content)

    assert contents(tmp_path) == ["three", "two", "one"]


def test_what_was_there_before_the_last_is_copied_again(kept, tmp_path):
    """So that the newest copy is what was there last."""
    for content in ("one", "two", "two", "one"):
        kept(content)

    assert contents(tmp_path) == ["one", "two", "one"]


def test_a_damaged_file_is_set_aside_once_and_for_good(kept, tmp_path):
    for content in ("bad", "worse", "bad", *map(str, range(40))):
        kept(content, name="page-damaged", for_good=True)

    aside = contents(tmp_path, "page-damaged")
    assert sorted(aside) == sorted(["bad", "worse", *map(str, range(40))])


def test_others_are_thirty_at_most_the_oldest_go(kept, tmp_path):
    for number in range(35):
        kept(str(number))

    assert contents(tmp_path) == [str(number) for number in reversed(range(5, 35))]


def test_two_within_a_second_have_a_name_each(tmp_path, monkeypatch):
    monkeypatch.setattr(copies, "stamp", lambda: "2026-11-26-203000")
    file = tmp_path / "page.json"
    for content in ("one", "two", "three"):
        file.write_text(content)
        copies.keep_copy(file, tmp_path / "earlier")

    assert sorted(contents(tmp_path)) == ["one", "three", "two"]
