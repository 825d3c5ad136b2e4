"""Open Sound Control 1.0: packets to bytes and back, and message templates filled in with a tuning.

Conventions: numbers go out as int32 and float32, the types that every receiver knows; float32 keeps a
frequency to 0.0001 cents. Source: the OSC 1.0 specification, whose sentences stand above what obeys them.
An own codec, because a bad argument must refuse the packet, be answered, and never shift those behind it.
"""

import re
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

from tonegen.errors import BadValue

Argument = int | float | str | bytes
_DEEPEST_BUNDLE: Final = 8
_LARGEST_FLOAT: Final = 3.4028234663852886e38  # of 32 bits


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
    tags, data = ",", b""
    for argument in message.arguments:
        if isinstance(argument, str):
            tags, data = tags + "s", data + _padded(argument)
        elif isinstance(argument, bytes):
            tags, data = tags + "b", data + struct.pack(">i", len(argument)) + argument
            data += bytes(-len(argument) % 4)
        elif isinstance(argument, float):
            if not (isfinite(argument) and abs(argument) <= _LARGEST_FLOAT):
                raise BadValue(f"{argument:g} cannot go into an OSC message; it must be a finite number")
            tags, data = tags + "f", data + struct.pack(">f", argument)
        else:
            if not -(1 << 31) <= argument < 1 << 31:
                raise BadValue(f"{argument} is too large for an OSC message; it holds 32 bits")
            tags, data = tags + "i", data + struct.pack(">i", argument)
    _check_address(message.address)
    return _padded(message.address) + _padded(tags) + data


def decode(packet: bytes) -> list[Message]:
    """The messages of a packet, those of bundles in order, whatever their time tags.

    Raises BadValue for anything that is not OSC 1.0; all of a packet is read, or none.
    """
    return list(_messages(packet, 0))


def _messages(packet: bytes, depth: int) -> Iterator[Message]:
    # "The size of an OSC packet is always a multiple of 4."
    if not packet or len(packet) % 4:
        raise BadValue(f"a packet of {len(packet)} bytes is not OSC; its size is a multiple of 4")
    if not packet.startswith(b"#bundle\0"):
        yield _message(packet)
        return
    if depth == _DEEPEST_BUNDLE or len(packet) < 16:
        raise BadValue("an OSC bundle is cut short or nested too deep")
    at = 16  # behind "#bundle" and the time tag
    while at < len(packet):
        (size,) = struct.unpack_from(">i", packet, at)
        at += 4
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
        argument: Argument
        if tag == "s":
            argument, at = _string(packet, at)
        elif tag in "TF":
            argument = int(tag == "T")
        elif tag in _FIXED:
            size = struct.calcsize(_FIXED[tag])
            if at + size > len(packet):
                raise BadValue(f"{address}: argument {len(arguments) + 1} is cut short")
            (argument,) = struct.unpack_from(_FIXED[tag], packet, at)
            at += size
        elif tag == "b":
            argument, at = _blob(packet, at, address)
        else:  # "should discard any message whose ... contains any unrecognized OSC Type Tags"
            raise BadValue(f'{address}: arguments of type "{tag}" are not understood; send i, f or s')
        arguments.append(argument)
    if at != len(packet):
        raise BadValue(f"{address}: {len(packet) - at} bytes too many behind its arguments")
    return Message(address, tuple(arguments))


_FIXED: Final = {"i": ">i", "f": ">f", "h": ">q", "d": ">d"}


def _blob(packet: bytes, at: int, address: str) -> tuple[bytes, int]:
    size = struct.unpack_from(">i", packet, at)[0] if at + 4 <= len(packet) else -1
    start = at + 4
    end = start + size
    if size < 0 or end + -size % 4 > len(packet):
        raise BadValue(f"{address}: a blob is cut short")
    return packet[start:end], end + -size % 4


def _string(packet: bytes, at: int) -> tuple[str, int]:
    # "a sequence of non-null ASCII characters followed by a null, followed by 0-3 additional null characters"
    end = packet.find(b"\0", at)
    if end < 0:
        raise BadValue("an OSC string has no end")
    after = end + 4 - end % 4
    if after > len(packet) or any(packet[end:after]):
        raise BadValue("an OSC string is not padded to a multiple of 4 bytes")
    try:
        return packet[at:end].decode(), after
    except UnicodeDecodeError:
        raise BadValue("an OSC string holds bytes that are no text") from None


def _padded(text: str) -> bytes:
    data = text.encode()
    if b"\0" in data:
        raise BadValue("an OSC string cannot hold a null character")
    return data + bytes(4 - len(data) % 4)


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
