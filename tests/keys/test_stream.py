"""Bytes as they come off a stage: cut, mixed, damaged."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonegen.keys.stream import LONGEST_SYSEX_BYTES, Splitter, is_whole


def split(text):
    splitter = Splitter()
    return " | ".join(message.hex(" ") for message in splitter.feed(bytes.fromhex(text))), splitter.dropped


@pytest.mark.parametrize(
    ("stream", "messages", "dropped"),
    [
        ("90 3c 40 3e 40", "90 3c 40 | 90 3e 40", 0),  # running status
        ("90 3c f8 40", "f8 | 90 3c 40", 0),  # a clock inside a note
        ("f0 7f fe 01 f8 f7", "fe | f8 | f0 7f 01 f7", 0),  # real-time inside a sysex
        ("90 3c 90 3e 40", "90 3e 40", 1),  # a note cut short
        ("f0 01 02 90 3c 40", "90 3c 40", 1),  # a sysex cut short
        ("3c 40 90 3c 40", "90 3c 40", 2),  # stray data
        ("f7 90 3c 40", "90 3c 40", 1),  # stray end of sysex
        ("90 3c 40 f0 f7 3c 40", "90 3c 40 | f0 f7", 2),  # a sysex ends running status
        ("c0 05 06 d0 07", "c0 05 | c0 06 | d0 07", 0),
        ("f1 10 f2 01 02 f3 03 f6", "f1 10 | f2 01 02 | f3 03 | f6", 0),
        ("f4 f5 f9 fd", "", 4),  # undefined
    ],
)
def test_streams(stream, messages, dropped):
    assert split(stream) == (messages, dropped)


def test_a_sysex_without_an_end_is_let_go():
    splitter = Splitter()

    assert splitter.feed(b"\xf0" + b"\x01" * (LONGEST_SYSEX_BYTES + 10)) == []
    assert splitter.dropped > 0
    assert splitter.feed(b"\x90\x3c\x40") == [b"\x90\x3c\x40"]


@given(st.binary(), st.data())
def test_any_bytes_however_they_are_cut(data, draw):
    at = draw.draw(st.integers(0, len(data)))
    whole, halves = Splitter(), Splitter()

    assert whole.feed(data) == halves.feed(data[:at]) + halves.feed(data[at:])
    whole.feed(b"\xf6")  # whatever was pending is let go
    assert whole.feed(b"\x90\x3c\x40") == [b"\x90\x3c\x40"]


@given(st.binary(max_size=6))
def test_what_is_taken_for_whole_is_what_the_splitter_gives_as_it_is(data):
    if is_whole(data):
        assert Splitter().feed(data) == [data]


@pytest.mark.parametrize("text", ["90 3c 40", "c0 05", "d3 01", "e0 00 40", "f0 7e f7", "f0 f7"])
def test_whole_messages(text):
    assert is_whole(bytes.fromhex(text))


@pytest.mark.parametrize("text", ["", "90", "90 3c", "90 3c ff", "90 3c 40 40", "c0 05 06", "f0 01", "3c 40"])
def test_what_is_not_whole(text):
    assert not is_whole(bytes.fromhex(text))
