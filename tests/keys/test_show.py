"""Messages that choose songs: Song Select of MIDI 1.0, and Show Control by its standard, RP-002.

Bytes, formats and commands of RP-002 are from memory: F0 7F device 02 format command data F7; sound is format
10, music 11, all 7F, lighting 01; GO is 01, STOP 02, LOAD 05, ALL_OFF 08, RESTORE 09; numbers are ASCII.
"""

import pytest

from tonegen.errors import BadValue
from tonegen.keys.midi import ShowCommand, is_show, is_show_for, parse_show, parse_song_select, show_go


def show(body):
    return bytes.fromhex(f"f0 7f {body} f7")


@pytest.mark.parametrize(
    ("body", "device", "command", "number"),
    [
        ("05 02 10 01", 5, ShowCommand.GO, None),
        ("05 02 11 01 37", 5, ShowCommand.GO, 7),
        ("7f 02 7f 01 31 32 00 31 00 31", 127, ShowCommand.GO, 12),
        ("00 02 10 05 34", 0, ShowCommand.LOAD, 4),
        ("05 02 10 08", 5, ShowCommand.ALL_OFF, None),
        ("05 02 10 09", 5, ShowCommand.RESTORE, None),
    ],
)
def test_commands(body, device, command, number):
    read = parse_show(show(body))
    assert (read.device, read.command, read.number) == (device, command, number)


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("05 02 10 01 31 32 2e 35", "12.5 is the number of no song"),
        ("05 02 10 01 31 32 33 34 35 36", "the number of no song"),
        ("05 02 01 01 31", "format 01 is not for sound"),
        ("05 02 55 01 31", "format 55 is not for sound"),
        ("05 02 10 02", "command 02 is none of GO"),
    ],
)
def test_what_is_for_others_or_no_song(body, why):
    with pytest.raises(BadValue, match=why):
        parse_show(show(body))


def test_only_the_device_that_is_meant():
    five, everybody, group = show("05 02 10 01"), show("7f 02 10 01"), show("70 02 10 01")
    assert is_show_for(five, 5)
    assert not is_show_for(five, 6)
    assert is_show_for(five, 127), "who listens as all takes what is for anybody"
    assert is_show_for(everybody, 6)
    assert not is_show_for(group, 5)


def test_go_for_the_lights():
    assert show_go(5, 12) == show("05 02 01 01 31 32")


def test_other_messages_are_none_of_it():
    """A single note change has sub-id 08; identity requests are not real-time."""
    assert not is_show(show("7f 08 02 00 01 3c 3c 00 00"))
    assert not is_show(bytes.fromhex("f0 7e 7f 06 01 f7"))
    assert not is_show(b"\xf0\x7f\x05\x02\xf7")
    with pytest.raises(BadValue, match="no message of Show Control"):
        parse_show(b"\xf0\x7f\x05\x02\x10\xf7")


def test_song_select_counts_from_one():
    """MIDI 1.0: F3 and a number from 0 to 127; shown from 1 as programs are (common practice, no source)."""
    assert parse_song_select(b"\xf3\x00") == 1
    assert parse_song_select(b"\xf3\x7f") == 128
    assert parse_song_select(b"\xf2\x00\x00") is None
