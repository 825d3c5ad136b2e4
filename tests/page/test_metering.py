"""Drop from readings as pages take them, held against the command line and against readings made by hand."""

import pytest
from msgspec.structs import replace

from tests.page import asks
from tests.page.visitor import Visitor, in_the_loop, visitor
from tonegen.errors import BadPreset, BadValue
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept, KeptFile

# String 8 sags with A, and more with B as well; the third line is a slip of the pencil.
LIST = """string,changes,cents
8,,3.0
8,,3.1
8,A,10.8
8,A,0.8
8,A,0.7
8,A,0.9
8,B,1.9
8,A+B,-0.4
"""


def number(text):
    return float(text.replace("−", "-"))


def told(count):
    """Whether so many readings are shown, with what they tell."""
    return lambda shown: len(shown["readings"]) == count


def test_a_list_tells_what_the_command_line_reads_from_its_file(tonegen, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text(LIST)
    printed = tonegen(f"tonegen drop {file} --instrument e9-ten-string --json").json
    assert printed["outliers"][0]["cents"] == 10.8

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.ReadList(LIST))
        shown = await page.until("readings", told(8))
        assert [(one["string"], one["change"]) for one in shown["drops"]] == [
            (one["string"], one["change"]) for one in printed["drops"]
        ]
        for one, same in zip(shown["drops"], printed["drops"], strict=True):
            assert number(one["cents"]) == pytest.approx(same["cents"], abs=0.0051)
            assert number(one["give_or_take"]) == pytest.approx(same["standard_error_cents"], abs=0.0051)
        doubted = [one["where"] for one in shown["readings"] if one["doubt"]]
        assert doubted == ["string 8 with A"]
        assert shown["readings"][2]["doubt"].startswith("does not fit: the others say +0.")
        assert [(one["string"], one["changes"]) for one in shown["next"]] == [
            (one["string"], one["changes"]) for one in printed["read_again"] + printed["next_readings"]
        ]
        assert shown["next"][0]["why"] == "read this again: does not fit the others"

    check()


@in_the_loop
async def test_a_meter_is_read_as_the_pedals_stand_in_cents_hz_and_beats():
    """E3 is 164.814 Hz; 2 cents above is 165.004; 0.1905 beats a second above E3 is the same."""
    page = visitor(None, None, asks.Read(8, "cents", "2"), asks.Read(8, "hz", "165.004"))
    page.ask(
        asks.Read(8, "beats", "1.905", "E3", "", "10", "wide"),
        asks.Engage("A", 1.0),
        asks.Read(8, "cents", "−0.5"),
    )
    shown = await page.until("readings", told(4))
    assert [one["where"] for one in shown["readings"]] == ["string 8 open"] * 3 + ["string 8 with A"]
    for one in shown["readings"][:3]:
        assert number(one["cents"]) == pytest.approx(2.0, abs=0.011)
    assert shown["readings"][2]["read"] == "1.905 beats in 10 s wide against E3"
    [drop] = shown["drops"]
    assert (drop["string"], drop["change"], number(drop["cents"])) == (8, "A", pytest.approx(-2.5, abs=0.011))


def test_a_coarser_meter_makes_the_figures_less_sure(tonegen, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text(LIST)
    printed = tonegen(f"tonegen drop {file} --instrument e9-ten-string --meter 0.5 --json").json

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.ReadList(LIST), asks.TrustMeter(0.5))
        shown = await page.until("readings", lambda shown: shown["meter_cents"] == 0.5)
        for one, same in zip(shown["drops"], printed["drops"], strict=True):
            assert number(one["give_or_take"]) == pytest.approx(same["standard_error_cents"], abs=0.0051)
        assert page.view["undo"] == "meter accurate to 0.5 cents"

    check()


@in_the_loop
async def test_readings_are_taken_away_and_undone_like_everything():
    page = visitor(None, None, asks.ReadList(LIST))
    await page.until("readings", told(8))
    page.ask(asks.Unread(2))
    assert page.view["undo"] == "reading of string 8 with A removed"
    shown = await page.until("readings", told(7))
    assert not [one for one in shown["readings"] if one["doubt"]]
    page.ask(asks.Undo())
    await page.until("readings", told(8))
    page.ask(asks.Unread())
    assert (await page.until("readings", told(0)))["drops"] == []
    page.ask(asks.Undo(), asks.Undo())
    assert page.view["redo"] == "a list of readings"
    with pytest.raises(BadValue, match="already been removed"):
        page.ask(asks.Unread(0))


@in_the_loop
async def test_what_to_read_next_is_a_touch_away():
    """The strings that were not read come first; touching one puts the chart into its state."""
    page = visitor(None, None, asks.Engage("B", 1.0), asks.Engage("DD", 0.5), asks.Stand(("A",)))
    assert page.view["state"] == "A"
    page.ask(asks.Read(8, "cents", "0.8"))
    shown = await page.until("readings", told(1))
    assert shown["words"].startswith("No drop can be worked out yet")
    assert {one["why"] for one in shown["next"]} == {"not read yet"}
    page.ask(asks.Stand(tuple(shown["next"][0]["changes"])))
    assert page.view["state"] == "open"


def test_a_drop_is_kept_used_at_once_and_known_to_the_command_line(tonegen):
    @in_the_loop
    async def keep():
        page = visitor(None, None, asks.ReadList(LIST))
        with pytest.raises(BadValue, match="still being worked out"):
            page.ask(asks.KeepDrop("my-cabinet"))
        await page.until("readings", told(8))
        with pytest.raises(BadValue, match="comes with the program"):
            page.ask(asks.KeepDrop("demo-soft-cabinet"))
        with pytest.raises(BadValue, match="comes with the program"):
            page.ask(asks.KeepDrop("none"))
        for name in ("../my-cabinet", "", "/tmp/x"):
            with pytest.raises(BadValue, match="cannot be used as a name"):
                page.ask(asks.KeepDrop(name))
        page.ask(asks.KeepDrop(" my-cabinet "), asks.Strings((8,)), asks.Engage("A", 1.0))
        assert page.view["setting"]["drop"] == "my-cabinet"
        assert "my-cabinet" in [one["name"] for one in page.shown["choices"]["presets"]["drops"]]
        sagged = page.string(8)["drop"]
        assert number(sagged) == pytest.approx(-2.25, abs=0.1)
        page.ask(asks.Release(), *[asks.Read(8, "cents", "3.6")] * 4)
        await page.until("readings", told(12))
        page.ask(asks.KeepDrop("my-cabinet"), asks.Engage("A", 1.0))  # the same name, other figures
        assert number(page.string(8)["drop"]) < number(sagged) - 0.1
        page.ask(asks.Undo(), asks.Undo(), asks.Undo(), asks.Undo(), asks.Undo())
        assert page.view["setting"]["drop"] == "none"

    keep()
    rig = "--instrument e9-ten-string --drop my-cabinet"
    [tone, _] = tonegen(f"tonegen beats {rig} --changes A --grip 8,6 --json").json["tones"]
    assert tone["drop_cents"] == pytest.approx(-2.7, abs=0.2)


@in_the_loop
async def test_readings_that_cannot_be_meant_are_refused_with_one_line():
    page = visitor()
    for wrong, why in [
        (asks.Read(8, "cents", "sharp"), "is not a number"),
        (asks.Read(8, "cents", ""), "type what the meter shows"),
        (asks.Read(8, "hz", "440"), "check the unit"),
        (asks.Read(8, "beats", "1.5"), "name the tone"),
        (asks.Read(8, "beats", "-1.5", "E3"), "below zero"),
        (asks.Read(8, "beats", "1.5", "E3", "", "0"), "not a time to count over"),
        (asks.Read(30, "cents", "1"), "no string 30"),
        (asks.ReadList("string,changes,cents\n8,A,1\n8,Z,2"), "the list: line 3: "),
        (asks.ReadList("8,A,1"), "there is no column"),
        (asks.ReadList("string,cents"), "no readings"),
        (asks.ReadList("string,cents\n" + "8,1\n" * 1001), "more than 1000 readings"),
        (asks.KeepDrop("mine"), "worked out|tell no drop"),
    ]:
        with pytest.raises((BadValue, BadPreset), match=why) as refused:
            page.ask(wrong)
        assert "\n" not in str(refused.value)
    page.ask(asks.Engage("DD", 0.5))
    with pytest.raises(BadValue, match="DD is half-way"):
        page.ask(asks.Read(8, "cents", "1"))
    assert not page.view["undo"]


@in_the_loop
async def test_readings_survive_a_restart_and_go_with_their_instrument():
    saved = []
    page = visitor(None, saved, asks.ReadList(LIST))
    await page.until("readings", told(8))
    page.engine.write_down()
    again = Visitor(Engine(Kept(replace(saved[-1].setting)), lambda kept: None))
    assert len((await again.until("readings", told(8)))["drops"]) == 2
    again.ask(asks.Choose(instrument="c6-ten-string"))
    await again.until("readings", told(0))
    again.ask(asks.Undo())
    await again.until("readings", told(8))


def test_a_kept_reading_that_means_nothing_any_more_is_said_in_one_line(tmp_path):
    file = tmp_path / "page.json"
    file.write_text('{"setting":{"readings":[{"string":8,"changes":["ZZ"],"unit":"cents","value":"1"}]}}')

    @in_the_loop
    async def check():
        page = Visitor(Engine(KeptFile(file).kept, lambda kept: None))
        shown = await page.until("readings", told(1))
        assert "ZZ" in shown["words"]
        page.ask(asks.Unread(0))
        assert (await page.until("readings", told(0)))["words"] == ""

    check()
