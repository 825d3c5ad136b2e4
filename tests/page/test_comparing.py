"""Two temperaments side by side at the page, held against the command line."""

import pytest
from msgspec.structs import replace

from tests.page import asks
from tests.page.test_tempering import fastest_by_pair
from tests.page.visitor import Visitor, in_the_loop, visitor
from tonegen.errors import BadPreset, BadValue
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept

IN_A_BAND = (asks.Choose(drop="demo-soft-cabinet"), asks.TakeScene("e9-dance-band"))


def shown(*between):
    return lambda compared: tuple(compared["names"]) == between


def test_both_sides_are_the_command_lines(tonegen):
    line = "tonegen compare equal five-limit-just --scene e9-dance-band --json"
    printed = tonegen(line).json

    @in_the_loop
    async def check():
        page = visitor(None, None, *IN_A_BAND, asks.Compare(("equal", "five-limit-just")))
        compared = await page.until("compared", shown("equal", "five-limit-just"))
        assert [grip["name"] for grip in compared["grips"]] == [grip["name"] for grip in printed["grips"]]
        for grip, same in zip(compared["grips"], printed["grips"], strict=True):
            for side, when in enumerate(("first", "second")):
                told = [abs(interval["sides"][side]["beats_per_second"]) for interval in grip["intervals"]]
                assert told == pytest.approx(fastest_by_pair(same["intervals"], when), abs=1e-9)
            heard = [i for i in same["intervals"] if max(map(int, i["ratio"].split(":"))) <= 16]
            fastest = [max(abs(i[w]["beats_per_second"]) for i in heard) for w in ("first", "second")]
            assert grip["slower"] == int(fastest[1] < fastest[0])
        for point, same in zip(compared["points"], printed["points"], strict=True):
            offsets = [float(text.replace("−", "-")) for text in point["offsets"]]
            wanted = [same["first_offset_cents"], same["second_offset_cents"]]
            assert offsets == pytest.approx(wanted, abs=0.051)

    check()


@in_the_loop
async def test_the_offsets_as_they_are_now_follow_the_hand():
    """Every grip of the instrument, when none is chosen; a fifth made pure slows its beat and no other."""
    string = asks.Choose(timbre="string")
    page = visitor(None, None, string, asks.Compare(("", "equal")), asks.Strings((4, 5)))
    compared = await page.until("compared", shown("as it is now", "equal"))
    assert {grip["slower"] for grip in compared["grips"]} == {-1}
    page.ask(asks.Pure(5, "4"))

    def pure(compared):
        return any(
            interval["names"] == "B3–E4" and interval["sides"][0]["rate"] == "pure"
            for grip in compared["grips"]
            for interval in grip["intervals"]
        )

    compared = await page.until("compared", pure)
    point = next(point for point in compared["points"] if point["point"].startswith("string 5 open"))
    assert point["offsets"] == ["+1.1", "+0.0"]  # where partial 4 of the lower meets 3 of the upper
    page.ask(asks.Compare(None))
    assert (await page.until("compared", lambda one: one["between"] is None))["grips"] == []


@in_the_loop
async def test_what_cannot_be_compared_is_refused_and_what_no_longer_can_says_why():
    page = visitor()
    with pytest.raises(BadPreset, match="no temperament called"):
        page.ask(asks.Compare(("equal", "../equal")))
    page.ask(asks.Strings((5,)), asks.Offset(5, 2.0), asks.Keep("for-e9"), asks.Compare(("for-e9", "equal")))
    await page.until("compared", shown("for-e9", "equal"))
    page.ask(asks.Choose(instrument="c6-ten-string", temperament="equal"))
    with pytest.raises(BadValue, match="for-e9"):
        page.ask(asks.Compare(("for-e9", "equal")))


@in_the_loop
async def test_the_comparison_is_there_after_a_restart():
    saved = []
    page = visitor(None, saved, asks.Compare(("equal", "pythagorean")))
    assert page.view["undo"] == "equal and pythagorean compared"
    page.engine.write_down()
    again = Visitor(Engine(Kept(replace(saved[-1].setting)), lambda kept: None))
    compared = await again.until("compared", shown("equal", "pythagorean"))
    assert compared["grips"]
    again.ask(asks.Choose(instrument="c6-ten-string"))
    await again.until("compared", lambda one: one["between"] is None)
