"""OSC packets against python-osc and the specification's own bytes; any bytes are read or refused."""

import contextlib
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc import osc_bundle_builder, osc_message, osc_message_builder

from tonegen.errors import BadValue
from tonegen.keys.osc import PLACES, Message, Template, decode, encode

texts = st.text(st.characters(blacklist_characters="\0", blacklist_categories=("Cs",)), max_size=20)
arguments = st.one_of(
    st.integers(-(2**31), 2**31 - 1), st.floats(width=32, allow_nan=False, allow_infinity=False), texts,
    st.binary(min_size=1, max_size=9),
)  # fmt: skip


def test_the_specification_s_examples():
    """OSC 1.0, section "OSC Message Examples"."""
    first = encode(Message("/oscillator/4/frequency", (440.0,)))
    second = encode(Message("/foo", (1000, -1, "hello", 1.234, 5.678)))

    assert first.hex(" ", 4) == "2f6f7363 696c6c61 746f722f 342f6672 65717565 6e637900 2c660000 43dc0000"
    assert second.hex(" ", 4) == (
        "2f666f6f 00000000 2c696973 66660000 000003e8 ffffffff 68656c6c 6f000000 3f9df3b6 40b5b22d"
    )


@given(st.lists(arguments, max_size=6))
def test_another_library_reads_what_is_written(values):
    packet = encode(Message("/tune/key", tuple(values)))
    read = osc_message.OscMessage(packet)

    assert read.address == "/tune/key"
    assert read.params == values
    assert decode(packet) == [Message("/tune/key", tuple(values))]


@given(st.lists(arguments, max_size=6))
def test_what_another_library_writes_is_read(values):
    bundle = osc_bundle_builder.OscBundleBuilder(osc_bundle_builder.IMMEDIATELY)
    for address in ("/one", "/two"):
        builder = osc_message_builder.OscMessageBuilder(address)
        for value in values:
            kind = {int: "i", float: "f", str: "s", bytes: "b"}[type(value)]
            builder.add_arg(value, kind)
        bundle.add_content(builder.build())

    assert decode(bundle.build().dgram) == [Message("/one", tuple(values)), Message("/two", tuple(values))]


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data):
    for packet in (data, b"/a\0\0" + data, b"/a\0\0,if\0" + data, b"#bundle\0" + bytes(8) + data):
        with contextlib.suppress(BadValue):
            assert all(isinstance(message, Message) for message in decode(packet))


@pytest.mark.parametrize(
    ("packet", "says"),
    [
        (b"/a\0", "multiple of 4"),
        (b"", "multiple of 4"),
        (b"abc\0,\0\0\0", "not an OSC address"),
        (b"/a\0\0,c\0\0\0\0\0A", 'type "c"'),  # refused whole: nothing behind it is shifted
        (b"/a\0\0,f\0\0", "argument 1 is cut short"),
        (b"/a\0\0,s\0\0abcd", "cut short"),
        (b"/a\0\0,b\0\0\0\0\0\x09abcd", "blob is cut short"),
        (b"/a\0\0,i\0\0\0\0\0\1\0\0\0\2", "4 bytes too many"),
        (b"/a\0\0abcd", "cut short"),
        (b"/a\0x,i\0\0\0\0\0\1", "not padded with null"),
        (b"/a\0\0,s\0\0ab\0c", "not padded with null"),
        (b"/a\0\0ab\0\0", "types of its arguments are missing"),
        (b"#bundle\0" + bytes(8) + struct.pack(">i", 400), "claims 400 bytes"),
        ((b"#bundle\0" + bytes(8)) * 1 + struct.pack(">i", -4), "claims -4 bytes"),
        (b"/\xff\xfe\0,\0\0\0", "not text"),
    ],
)
def test_what_is_wrong_with_a_packet(packet, says):
    with pytest.raises(BadValue, match=says):
        decode(packet)


def test_bundles_in_bundles_end_somewhere():
    packet = b"/a\0\0,\0\0\0"
    for _ in range(20):
        packet = b"#bundle\0" + bytes(8) + struct.pack(">i", len(packet)) + packet
    with pytest.raises(BadValue, match="nested too deep"):
        decode(packet)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e39, 2**31, "a\0b"])
def test_what_cannot_be_sent(value):
    with pytest.raises(BadValue):
        encode(Message("/a", (value,)))


def test_templates_keep_every_digit():
    template = Template.parse("/{note}/{class}", ("f {hz}", "i {key}", "s k{key}", "f 0.5"))
    values = dict.fromkeys(PLACES, 0) | {"hz": 441.00000012345, "key": 69, "note": "A4", "class": 9}

    assert template.fill(values) == Message("/A4/9", (441.00000012345, 69, "k69", 0.5))
