"""Whole MIDI messages out of a stream of bytes that may be cut, mixed or damaged anywhere.

The MIDI 1.0 rules: running status repeats a channel status, a system message ends it, and real-time bytes
may stand between any two bytes without touching it.
"""

from typing import Final

from tonegen.keys import midi

# A tuning dump has 409 bytes; a sysex that passes this without an end is noise or a lost F7.
LONGEST_SYSEX_BYTES: Final = 65536


def is_whole(message: bytes) -> bool:
    """Whether these bytes are one whole channel message, or a system exclusive one: most of what comes.

    >>> is_whole(bytes.fromhex("90 3c 40")), is_whole(bytes.fromhex("90 3c 40 3e 40"))
    (True, False)
    """
    status = message[0] if message else 0
    if midi.NOTE_OFF <= status < midi.SYSTEM:
        return len(message) == midi.DATA_BYTES[status & midi.KIND_BITS] + 1 and message[1:].isascii()
    return status == midi.SYSEX and message[-1] == midi.END_OF_SYSEX and message[1:-1].isascii()


class Splitter:
    """Splits a byte stream into whole messages, each with its status byte.

    Truncated messages, stray data bytes, undefined statuses and sysex without an end are dropped and
    counted in `dropped`; what follows them is read right.

    >>> [message.hex(" ") for message in Splitter().feed(bytes.fromhex("90 3c 40 3e f8 40"))]
    ['90 3c 40', 'f8', '90 3e 40']
    """

    __slots__ = ("_expected", "_pending", "_running", "dropped")

    def __init__(self) -> None:
        """Nothing pending, no running status."""
        self._pending = bytearray()
        self._expected = 0  # data bytes that the pending message needs; -1 inside a sysex
        self._running = 0
        self.dropped = 0

    def feed(self, chunk: bytes) -> list[bytes]:
        """The messages that `chunk` completes, in order."""
        out: list[bytes] = []
        for byte in chunk:
            if byte >= midi.REAL_TIME:
                if byte in midi.UNDEFINED_REAL_TIME:
                    self.dropped += 1
                else:
                    out.append(bytes((byte,)))
            elif byte >= midi.NOTE_OFF:
                self._status(byte, out)
            else:
                self._data(byte, out)
        return out

    def _status(self, byte: int, out: list[bytes]) -> None:
        pending = self._pending
        if byte == midi.END_OF_SYSEX and pending and pending[0] == midi.SYSEX:
            pending.append(byte)
            out.append(bytes(pending))
            pending.clear()
            return
        if pending:
            self.dropped += 1
            pending.clear()
        if byte < midi.SYSTEM:
            self._running = byte
            self._expected = midi.DATA_BYTES[byte & midi.KIND_BITS]
            pending.append(byte)
            return
        self._running = 0
        if byte == midi.SYSEX:
            self._expected = -1
            pending.append(byte)
        elif (needed := midi.DATA_BYTES.get(byte)) is None:
            self.dropped += 1
        elif needed == 0:
            out.append(bytes((byte,)))
        else:
            self._expected = needed
            pending.append(byte)

    def _data(self, byte: int, out: list[bytes]) -> None:
        pending = self._pending
        if not pending:
            if not self._running:
                self.dropped += 1
                return
            pending.append(self._running)
            self._expected = midi.DATA_BYTES[self._running & midi.KIND_BITS]
        pending.append(byte)
        if self._expected < 0:
            if len(pending) > LONGEST_SYSEX_BYTES:
                self.dropped += 1
                pending.clear()
        elif len(pending) > self._expected:
            out.append(bytes(pending))
            pending.clear()
