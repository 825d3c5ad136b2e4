"""Open Sound Control 1.0: packets to bytes and back, and message templates filled in with a tuning.

Conventions: numbers go out as int32 and float32, the types that every receiver knows; float32 keeps a
frequency to 0.0001 cents. Source: the OSC 1.0 specification, whose sentences stand above what obeys them.
python-osc writes and reads each type; the walk over a packet is our own, because a bad argument must refuse
the whole packet, be answered, and never shift those behind it.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.parsing import osc_types

from tonegen.errors import BadValue

Argument = int | float | str | bytes
_DEEPEST_BUNDLE: Final = 8
_LARGEST_FLOAT: Final = 3.4028234663852886e38  # of 32 bits
_BUNDLE_HEAD: Final = 16  # "#bundle" and the time tag


@dataclass(frozen=True, slots=True)
class Message:
    """An address and its arguments."""

    address: str
    arguments: tuple[Argument, ...] = ()


def encode(message: Message) -> bytes:
    """The packet of a message. Raises BadValue for what OSC cannot carry.

    >>> encode(Message("/n_set", (1000, "freq", 440.0))).hex(" ", 4)
    '2f6e5f73 65740000 2c697366 00000000 000003e8 66726571 00000000 43dc0000'
    """
    _check_address(message.address)
    builder = OscMessageBuilder(message.address)
    for argument in message.arguments:
        builder.add_arg(argument, _checked_type(argument))
    return bytes(builder.build().dgram)


def _checked_type(argument: Argument) -> str:
    if isinstance(argument, str):
        if "\0" in argument:
            raise BadValue("an OSC string cannot hold a null character")
        return "s"
    if isinstance(argument, bytes):
        if not argument:
            raise BadValue("an OSC blob cannot be empty")
        return "b"
    if isinstance(argument, float):
        if not (isfinite(argument) and abs(argument) <= _LARGEST_FLOAT):
            raise BadValue(f"{argument:g} cannot go into an OSC message; it must be a finite number")
        return "f"
    if not -(1 << 31) <= argument < 1 << 31:
        raise BadValue(f"{argument} is too large for an OSC message; it holds 32 bits")
    return "i"


def decode(packet: bytes) -> list[Message]:
    """The messages of a packet, those of bundles in order, whatever their time tags.

    Raises BadValue for anything that is not OSC 1.0; all of a packet is read, or none.
    """
    try:
        return list(_messages(packet, 0))
    except (osc_types.ParseError, UnicodeDecodeError):
        raise BadValue("an OSC packet is cut short, or holds bytes that are not text") from None


def _messages(packet: bytes, depth: int) -> Iterator[Message]:
    # "The size of an OSC packet is always a multiple of 4."
    if not packet or len(packet) % 4:
        raise BadValue(f"a packet of {len(packet)} bytes is not OSC; its size is a multiple of 4")
    if not packet.startswith(b"#bundle\0"):
        yield _message(packet)
        return
    if depth == _DEEPEST_BUNDLE or len(packet) < _BUNDLE_HEAD:
        raise BadValue("an OSC bundle is cut short or nested too deep")
    at = _BUNDLE_HEAD
    while at < len(packet):
        size, at = osc_types.get_int(packet, at)
        if size <= 0 or at + size > len(packet):
            raise BadValue(f"an element of an OSC bundle claims {size} bytes, {len(packet) - at} are there")
        yield from _messages(packet[at : at + size], depth + 1)
        at += size


def _message(packet: bytes) -> Message:
    address, at = _string(packet, 0)
    _check_address(address)
    if at == len(packet):  # "Some older implementations ... may omit the OSC Type Tag string."
        return Message(address)
    tags, at = _string(packet, at)
    if not tags.startswith(","):
        raise BadValue(f"{address}: the types of its arguments are missing")
    arguments: list[Argument] = []
    for tag in tags[1:]:
        if tag in "TF":
            arguments.append(int(tag == "T"))
            continue
        if (
            tag not in _READERS
        ):  # "should discard any message whose ... contains any unrecognized OSC Type Tags"
            raise BadValue(f'{address}: arguments of type "{tag}" are not understood; send i, f or s')
        if at >= len(packet) and tag != "b":  # python-osc gives 0 for a number that is not there
            raise BadValue(f"{address}: argument {len(arguments) + 1} is cut short")
        argument, at = _READERS[tag](packet, at)
        arguments.append(argument)
    if at != len(packet):
        raise BadValue(f"{address}: {len(packet) - at} bytes too many after its arguments")
    return Message(address, tuple(arguments))


def _string(packet: bytes, at: int) -> tuple[str, int]:
    text, after = osc_types.get_string(packet, at)
    # "followed by a null, followed by 0-3 additional null characters"
    if any(packet[at + len(text.encode()) : after]):
        raise BadValue("an OSC string is not padded with null characters")
    return text, after


def _blob(packet: bytes, at: int) -> tuple[bytes, int]:
    size, start = osc_types.get_int(packet, at)
    if not 0 <= size <= len(packet) - start:  # python-osc would read on from before a negative size
        raise BadValue("an OSC blob is cut short")
    return osc_types.get_blob(packet, at)


_READERS: Final[Mapping[str, Callable[[bytes, int], tuple[Any, int]]]] = {
    "i": osc_types.get_int,
    "f": osc_types.get_float,
    "s": _string,
    "b": _blob,
    "h": osc_types.get_int64,
    "d": osc_types.get_double,
}


def _check_address(address: str) -> None:
    if not address.startswith("/") or re.search(r"[\s#,*?\[\]{}\x00-\x1f]", address):
        raise BadValue(
            f'{address[:40]!r} is not an OSC address; it begins with "/" and has no spaces or #,*?[]{{}}'
        )


# -- templates -------------------------------------------------------------------------------------------

# What braces may hold, and whether it is text.
PLACES: Final[Mapping[str, str]] = {
    "key": "MIDI key, 0 to 127",
    "class": "pitch class, C = 0",
    "note": "name of the note",
    "channel": "channel of the note, 1 to 16",
    "velocity": "how hard the key was struck, 0 to 1",
    "hz": "frequency",
    "cents": "offset from equal temperament",
    "ratio": "frequency over that of equal temperament",
    "beats": "beats a second against equal temperament, at the fundamental",
}
_PLACE: Final = re.compile(r"\{(\w*)\}")


@dataclass(frozen=True, slots=True)
class Template:
    """A message with places in braces, such as "/tune/{key}" with "f {hz}".

    Each argument is its type, i (whole number), f (number) or s (text), a space, and a value or a place.

    >>> Template.parse("/key/{key}", ("f {hz}", "s steel")).fill({"key": 69, "hz": 441.5})
    Message(address='/key/69', arguments=(441.5, 'steel'))
    """

    address: str
    arguments: tuple[tuple[str, str], ...]

    @classmethod
    def parse(cls, address: str, arguments: tuple[str, ...]) -> "Template":
        """A checked template. Raises BadValue naming the part that is wrong."""
        parts = []
        for text in arguments:
            kind, space, value = text.partition(" ")
            if kind not in ("i", "f", "s") or not space:
                raise BadValue(
                    f'arguments: "{text}" needs a type i, f or s before its value, such as "f {{hz}}"'
                )
            parts.append((kind, value))
        template = cls(address, tuple(parts))
        for text in (address, *(value for _, value in parts)):
            for place in _PLACE.findall(text):
                if place not in PLACES:
                    raise BadValue(f'"{{{place}}}" is not known; braces hold one of: {", ".join(PLACES)}')
        encode(template.fill(dict.fromkeys(PLACES, 1)))
        return template

    def fill(self, values: Mapping[str, int | float | str]) -> Message:
        """The message for these values. Raises BadValue when a text stands where a number must."""
        filled = tuple(_typed(kind, _put(value, values)) for kind, value in self.arguments)
        return Message(_put(self.address, values), filled)


def _put(text: str, values: Mapping[str, int | float | str]) -> str:
    # repr keeps all digits of a float, so that nothing is lost on the way through text
    return _PLACE.sub(lambda place: _plain(values[place[1]]), text)


def _plain(value: int | float | str) -> str:
    return value if isinstance(value, str) else repr(value)


def _typed(kind: str, text: str) -> Argument:
    if kind == "s":
        return text
    try:
        number = float(text)
        return round(number) if kind == "i" else number
    except (ValueError, OverflowError):
        raise BadValue(f'arguments: "{text}" is not a number; write "s" before it to send text') from None
