"""The receivers of a set, played from the page by the engine of `set play`; OSC receivers stand for all."""

import pytest

from tests.page import asks
from tests.page.test_evening import write
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadValue
from tonegen.keys import journal
from tonegen.keys.osc import decode

SET = """\
title = "Invented: a rig"
instrument = "e9-ten-string"
again_seconds = 0

[[receivers]]
name = "Low"
receiver = "osc-per-class"
to = "{low}"
follows = "equal"

[[receivers]]
name = "High"
receiver = "osc-per-class"
to = "{high}"

[[songs]]
name = "Waltz"
key = "G"

[[songs]]
name = "Polka"
key = "C"
follows = {{ Low = "quarter-comma-meantone on key" }}
"""


@pytest.fixture
def rig(own_folder, synthesizers):
    low, high = (one.where.removeprefix("osc ") for one in synthesizers)
    return write(own_folder, SET.format(low=low, high=high))


def offsets(synthesizer, count):
    return {
        decode(packet)[0].arguments[0]: decode(packet)[0].arguments[1] for packet in synthesizer.take(count)
    }


def now_is(number):
    return lambda shown: shown["now"] == number


def all_are(state):
    return lambda shown: {one["state"] for one in shown["receivers"]} == {state}


@in_the_loop
async def test_the_receivers_follow_the_page_from_song_to_song(rig, synthesizers):
    low, _ = synthesizers
    page = visitor(None, None, asks.OpenSet("invented"))
    shown = page.shown["setrig"]
    assert [(one["name"], one["state"]) for one in shown["receivers"]] == [("Low", ""), ("High", "")]
    page.ask(asks.PlaySet())
    assert page.shown["setrig"]["status"] == "begins"
    await page.until("setrig", all_are("ready"))
    assert set(offsets(low, 12).values()) == {0.0}
    await page.until("evening", now_is(1))
    assert page.view["fret"] == 3.0

    page.ask(asks.NextSong())
    await page.until("evening", now_is(2))
    assert (page.view["fret"], page.shown["evening"]["next"]) == (8.0, 0)
    assert any(offsets(low, 11).values())
    page.ask(asks.NextSong())
    await page.until("evening", lambda shown: shown["words"] == "That was the last song.")
    page.ask(asks.ShowNext(1))
    await page.until("evening", lambda shown: shown["next"] == 1)
    page.ask(asks.NextSong())
    await page.until("evening", now_is(1))
    low.take(11)  # a song that is left before it was reached would send nothing
    page.ask(asks.NextSong())
    await page.until("evening", now_is(2))
    low.take(11)
    page.ask(asks.PreviousSong())
    await page.until("evening", now_is(1))
    low.take(11)

    page.ask(asks.PutSetBack())
    await page.until("setrig", lambda shown: shown["status"] == "")
    assert set(offsets(low, 12).values()) == {0.0}
    assert journal.left() == ()
    await page.engine.close()


@in_the_loop
async def test_the_pages_pedals_reach_what_follows_the_steel(rig, synthesizers):
    """The A pedal raises the E9's B to C#: the offset of the pitch class that it comes to changes."""
    _, high = synthesizers
    page = visitor(None, None, asks.Choose(temperament="five-limit-just"), asks.OpenSet("invented"))
    rig.write_text(rig.read_text().replace("again_seconds", 'temperament = "five-limit-just"\nagain_seconds'))
    page.ask(asks.OpenSet("invented"), asks.PlaySet())
    await page.until("setrig", all_are("ready"))
    offsets(high, 12)
    page.ask(asks.Engage("A", 1.0))
    assert len(high.take(1)) == 1
    await page.engine.close()


@in_the_loop
async def test_nothing_of_a_set_is_changed_or_opened_while_its_receivers_are_tuned(rig, synthesizers):
    page = visitor(None, None, asks.OpenSet("invented"), asks.PlaySet(without=("High",)))
    await page.until("setrig", lambda shown: shown["receivers"][0]["state"] == "ready")
    assert page.shown["setrig"]["receivers"][1]["state"] == ""
    for refused in (
        asks.OpenSet("demo-duo"), asks.CopySet("again"), asks.PlaySet(), asks.SaveSet("", "", ()),
    ):  # fmt: skip
        with pytest.raises(BadValue, match=r"put (them|the receivers) back (first|before)"):
            page.ask(refused)
    page.ask(asks.LearnPress("next"))
    learned = await page.until("presslearned", lambda shown: not shown["waits"])
    assert learned["words"].startswith("Put the receivers back first")
    await page.engine.close()
    assert journal.left() == ()


@in_the_loop
async def test_what_cannot_be_played_is_said_and_can_be_tried_again(rig):
    page = visitor(None, None, asks.OpenSet("invented"), asks.PlaySet(keyboards=("No such keyboard",)))
    await page.until("fault", lambda shown: "MIDI" in shown["text"])
    await page.until("setrig", lambda shown: shown["status"] == "")
    page.ask(asks.LearnPress("next", by="me"))
    learned = await page.until("presslearned", lambda shown: not shown["waits"])
    assert (learned["by"], learned["on"]) == ("me", "")
    assert learned["words"].startswith("There is no MIDI input")
    page.ask(asks.OpenSet("page"))
    with pytest.raises(BadValue, match="no receivers"):
        page.ask(asks.PlaySet())
    await page.engine.close()
