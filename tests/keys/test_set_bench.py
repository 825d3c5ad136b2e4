"""A set played from another process: all that is asked reaches its receivers, which are always put back."""

from dataclasses import replace

import pytest

from tonegen.errors import BadPreset, BadValue, NoSuchDevice
from tonegen.keys import journal
from tonegen.keys.osc import decode
from tonegen.keys.ports_process import PortsProcess
from tonegen.keys.set_bench import SetBench
from tonegen.presets.sets import set_list

SET = """
title = "Invented"
instrument = "e9-ten-string"
temperament = "five-limit-just"
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
follows = "steel"
[[songs]]
name = "Waltz"
key = "E"
[[songs]]
name = "Polka"
follows = {{ Low = "quarter-comma-meantone" }}
line = "Count in slow"
[[songs]]
name = "March"
"""


@pytest.fixture
def evening(tmp_path, synthesizers):
    low, high = (one.where.removeprefix("osc ") for one in synthesizers)
    path = tmp_path / "night.toml"
    path.write_text(SET.format(low=low, high=high))
    return set_list(str(path))


@pytest.fixture
def apart():
    apart = PortsProcess(SetBench)
    yield apart
    apart.close()


def offsets(synthesizer):
    """What the twelve pitch classes are sent."""
    return {packet[0].arguments[0]: packet[0].arguments[1] for packet in map(decode, synthesizer.take(12))}


def test_a_song_is_gone_on_to_and_shown_and_all_is_put_back(apart, evening, synthesizers):
    low, _ = synthesizers
    begun = apart.call(SetBench.play, evening, 0, (), ())
    assert (begun.state["song"], begun.state["next"]) == ("Waltz", "Polka")
    assert set(offsets(low).values()) == {0.0}
    gone = apart.call(SetBench.next)
    assert (gone.state["song"], gone.state["next_number"], gone.told) == ("Polka", 3, ())
    assert len(low.take(11)) == 11, "all but the root"
    while [one["state"] for one in apart.call(SetBench.stands).state["receivers"]] != ["ready", "ready"]:
        pass  # until the last of them has gone out
    shown = apart.call(SetBench.load, 1)
    assert (shown.state["song"], shown.state["next"]) == ("Polka", "Waltz")
    apart.call(SetBench.next)
    low.take(11)
    with pytest.raises(BadValue, match="none before the first"):
        apart.call(SetBench.previous)
    assert apart.call(SetBench.stands).told == ("There is none before the first song.",)
    apart.call(SetBench.put_back)
    assert len(low.take(12)) == 12
    assert journal.left() == ()


def test_pedals_of_the_page_reach_what_follows_the_steel(apart, evening, synthesizers):
    """A pedal of the E9's, at its stop, raises strings 5 and 10 from B to C#."""
    _, high = synthesizers
    apart.call(SetBench.play, evening, 0, (), ())
    rest = offsets(high)
    moved = apart.call(SetBench.move, {"A": 1.0})
    assert moved.by_feet == {}, "which the page knows"
    there = decode(high.take(1)[0])[0].arguments
    assert there[1] != rest[there[0]]


def test_where_the_program_is_gone_its_receivers_are_put_back(apart, evening, synthesizers):
    low, _ = synthesizers
    apart.call(SetBench.play, evening, 1, (), ())
    assert any(offsets(low).values())
    apart.close()
    assert set(offsets(low).values()) == {0.0}


def test_what_cannot_be_played_is_said_and_nothing_is_left_tuned(apart, evening):
    with pytest.raises(NoSuchDevice, match="MIDI"):
        apart.call(SetBench.play, evening, 0, (), ("No such keyboard",))
    with pytest.raises(BadValue, match="no receiver is left"):
        apart.call(SetBench.play, evening, 0, ("Low", "High"), ())
    with pytest.raises(BadPreset, match="no-such"):
        apart.call(SetBench.play, replace(evening, temperament="no-such"), 0, (), ())
    with pytest.raises(BadValue, match="not played"):
        apart.call(SetBench.next)
    assert journal.left() == ()
