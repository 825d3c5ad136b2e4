"""The library of tunings at the page, held against the command line."""

import pytest

from tests.measure import hz_of
from tests.page import asks
from tests.page.visitor import heard, in_the_loop, visitor
from tonegen.errors import BadPreset, BadValue
from tonegen.presets.tunings import tunings


def shown(page):
    return page.shown["tunings"]


@in_the_loop
async def test_nothing_is_loaded_before_a_page_asks():
    tunings.cache_clear()
    page = visitor()
    assert not shown(page)["rows"]
    assert tunings.cache_info().currsize == 0


@pytest.mark.parametrize(
    ("text", "name", "transposed"),
    [
        ("open g banjo", "banjo-open-g-drones", ""),
        ("D A D F# A D", "guitar-open-d", ""),
        ("D A D F# A D", "guitar-open-e", "2 semitones higher"),
        ("D2 A2", "guitar-drop-d", ""),
    ],
)
def test_the_list_is_searched_by_words_and_by_strings(text, name, transposed):
    @in_the_loop
    async def check():
        page = visitor(None, None, asks.FindTunings(text))
        rows = {row["name"]: row["transposed"] for row in shown(page)["rows"]}
        assert rows[name] == transposed
        assert len(rows) < len(tunings())

    check()


def test_each_string_is_explained_as_the_command_line_does(tonegen):
    printed = tonegen("tonegen tunings explain guitar-drop-d --json").json["notes"]

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.OpenTuning("guitar-drop-d"))
        strings = shown(page)["shown"]["strings"]
        assert len(strings) == len(printed)
        for string, same in zip(strings, printed, strict=True):
            assert string["cents"] == pytest.approx(same["offset_cents"], abs=1e-12)
            assert [wish["share"] for wish in string["wishes"]] == [wish["share"] for wish in same["wishes"]]
            assert bool(string["clash"]) == (same["apart_cents"] is not None)

    check()


@in_the_loop
async def test_one_touch_makes_it_the_instrument_and_one_takes_it_back():
    page = visitor(None, None, asks.OpenTuning("guitar-open-d"))
    view = page.ask(asks.TakeTuning("guitar-open-d"))
    assert (view["setting"]["instrument"], view["setting"]["temperament"]) == ("guitar-open-d",) * 2
    assert view["playing"]["strings"] == [1, 2, 3, 4, 5, 6]
    assert max(abs(pair["beats_per_second"]) for pair in view["pairs"]) < 1e-9
    assert "Guitar open D" in view["undo"]
    assert page.ask(asks.Undo())["setting"]["instrument"] == "e9-ten-string"


@in_the_loop
async def test_two_tunings_of_one_family_are_told_apart():
    page = visitor(None, None, asks.TakeTuning("guitar-open-d"))
    assert len(page.view["strings"]) == 6
    assert page.ask(asks.TakeTuning("guitar-tenor-fifths"))["setting"]["temperament"] == "guitar-tenor-fifths"
    assert len(page.view["strings"]) == 4
    assert page.ask(asks.TakeTuning("guitar-open-d"))["setting"]["instrument"] == "guitar-open-d"
    assert len(page.view["strings"]) == 6


@in_the_loop
async def test_what_has_no_strings_cannot_be_taken():
    page = visitor(None, None, asks.OpenTuning("bugle"))
    assert shown(page)["shown"]["can_be_taken"] is False
    with pytest.raises(BadPreset, match="has no strings"):
        page.engine.ask(asks.TakeTuning("bugle"))
    with pytest.raises(BadValue, match='no tuning called "x"'):
        page.engine.ask(asks.OpenTuning("x"))
    assert page.view["setting"]["instrument"] == "e9-ten-string"


@in_the_loop
async def test_a_touched_string_is_heard_until_something_else_is_played():
    """F# of open D: a pure third above D3 of 146.832 Hz; then the instrument again."""
    rate = 16_000
    page = visitor(None, None, asks.OpenTuning("guitar-open-d"), asks.HearTuning(3))
    more, _ = heard(page, 1.0, rate)
    assert hz_of(more(2.0), rate, 183.5) == pytest.approx(146.8324 * 5 / 4, abs=0.01)
    page.ask(asks.HearTuning(5))
    more(0.5)
    assert hz_of(more(2.0), rate, 293.7) == pytest.approx(293.6648, abs=0.01)
    page.ask(asks.Strings((5,)))
    more(0.5)
    assert hz_of(more(2.0), rate, 246.9) == pytest.approx(246.9417, abs=0.01)
