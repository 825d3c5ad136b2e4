"""Standard MIDI Files retuned: a file in, the same music out with the tuning of a plan.

Everything that is not a note stays where it was: tempo map, tracks, lyrics, markers, programs, system
exclusive messages split into packets or not. Time is the file's own, in ticks; seconds, which releases need,
follow its tempo map.

An own reader and writer, because packets and escapes (F7 events) must come out as they went in, a fault must
be named by its byte, and a million events must pass in seconds without an object for each.
Source: Standard MIDI Files 1.0 (RP-001).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import merge
from typing import Final

from tonegen.errors import BadValue
from tonegen.keys import midi
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import BendPerClass, BendPerNote, KeyTuning, Osc, Receiver, TuningPerClass
from tonegen.keys.rotation import Rotation, is_reset
from tonegen.keys.tables import TableChanges
from tonegen.words import many

_USUAL_TEMPO_US: Final = 500_000
_LONGEST_DELTA: Final = 0x0FFFFFFF  # what four bytes of seven bits hold
_EMPTY_TEXT: Final = b"\xff\x01\x00"
_END_OF_TRACK: Final = b"\xff\x2f\x00"
_SMPTE_FRAMES_PER_SECOND: Final = {24: 24.0, 25: 25.0, 29: 30000 / 1001, 30: 30.0}
_RING_OUT_SECONDS: Final = 2.0  # before the rig is put back, so that the last chord's ring keeps its tune


@dataclass(frozen=True, slots=True)
class RetunedFile:
    """A file's bytes, and what there is to say about it.

    players : the channels that notes came on, 1 to 16; drums that are left alone among them.
    set_up_seconds : what the set-up takes on a MIDI cable. clipped : bends that the range could not hold.
    """

    data: bytes
    notes: int
    players: frozenset[int]
    set_up_seconds: float
    clipped: int

    @property
    def words(self) -> str:
        """What was done, for a person."""
        return (
            f"{many(self.notes, 'note')} retuned; "
            f"on a MIDI cable the set-up at the start takes {self.set_up_seconds:.1f} s"
        )

    def cautions(self, receiver: Receiver) -> tuple[str, ...]:
        """What did not come out as it was played: sounds that are shared, bends that are cut short."""
        told = []
        if isinstance(receiver, BendPerNote):
            players = self.players - set(receiver.untouched)
            if len(players) > 1:
                told.append(
                    f"The file plays on {len(players)} channels besides drums, which share one sound and its "
                    "volume here; twelve-channel-bend keeps them apart"
                )
        if self.clipped:
            told.append(f"{self.clipped} bends reach beyond the bend range; raise bend_range_semitones")
        return tuple(told)


def retune(data: bytes, made: Plan, note_cents: Sequence[float | None] | None = None) -> RetunedFile:
    """Retune the bytes of a Standard MIDI File.

    note_cents : the offset of each note that is struck, in the order of `song_events`, in place of the
        plan's; None for one that is left as it is.
    Raises BadValue naming the track and byte of a fault, or for a receiver that is not sent MIDI, or that
    cannot give each note its own.
    """
    if isinstance(made.receiver, Osc):
        raise BadValue("an OSC receiver cannot play a MIDI file; choose a receiver that is sent MIDI")
    if note_cents is not None:
        _check_follows(made.receiver)
    header, chunks = _chunks(data)
    layout = int.from_bytes(header[0:2])
    tracks = [body for name, body in chunks if name == b"MTrk"]
    if not tracks:
        raise BadValue("the MIDI file has no track")
    if layout == 2:  # independent patterns: each begins in a receiver of its own
        parts = [_retune_together([track], header, made, None) for track in tracks]
    else:
        parts = [_retune_together(tracks, header, made, note_cents)]
    bodies = iter([body for part in parts for body in part.bodies])
    out = bytearray(b"MThd" + len(header).to_bytes(4) + header)
    for name, body in chunks:
        written = next(bodies) if name == b"MTrk" else body
        out += name + len(written).to_bytes(4) + written
    return RetunedFile(
        bytes(out),
        sum(part.notes for part in parts),
        frozenset(channel + 1 for part in parts for channel in part.players),
        sum(map(len, made.messages)) * midi.SECONDS_PER_BYTE,
        sum(part.clipped for part in parts),
    )


def _check_follows(receiver: Receiver) -> None:
    """Raise BadValue for a receiver whose notes cannot each have an offset of their own in a file."""
    if isinstance(receiver, KeyTuning) and receiver.message == "dump":
        raise BadValue(
            "a dump of all keys cannot follow the chord; choose a receiver with bends, channel or octave "
            "tuning, or single note changes, such as mpe"
        )


def song_events(data: bytes) -> Iterator[tuple[float, bytes]]:
    """The channel messages of a file, and what resets a receiver, each with its time in seconds.

    Raises BadValue naming the track and byte of a fault, or for patterns that do not sound together.
    """
    header, chunks = _chunks(data)
    if int.from_bytes(header[0:2]) == 2:
        raise BadValue("the MIDI file holds patterns that do not sound together (format 2); give one song")
    tracks = [body for name, body in chunks if name == b"MTrk"]
    for _, seconds, _, _, event in _timed(tracks, header):
        if event[0] < midi.SYSTEM or event[0] == midi.SYSEX:
            yield seconds, event


# -- reading ---------------------------------------------------------------------------------------------


def _chunks(data: bytes) -> tuple[bytes, list[tuple[bytes, bytes]]]:
    """The header's body, and the name and body of each chunk behind it."""
    if data[:4] != b"MThd":
        raise BadValue('not a Standard MIDI File: it does not begin with "MThd"')
    found: list[tuple[bytes, bytes]] = []
    at = 0
    while at < len(data):
        size = int.from_bytes(data[at + 4 : at + 8])
        if at + 8 + size > len(data):
            if found and _tracks(found) == int.from_bytes(found[0][1][2:4]):
                break  # all is there: what follows is padding, as some programs leave it
            follow = max(len(data) - at - 8, 0)
            raise BadValue(f"the MIDI file is cut: byte {at} promises {size} bytes, {follow} follow")
        found.append((data[at : at + 4], data[at + 8 : at + 8 + size]))
        at += 8 + size
    header = found[0][1]
    if len(header) < 6 or int.from_bytes(header[0:2]) > 2:
        raise BadValue("the MIDI file's header is damaged; its format is 0, 1 or 2")
    promised, there = int.from_bytes(header[2:4]), _tracks(found)
    if promised != there:
        raise BadValue(f"the MIDI file promises {promised} tracks and has {there}; it was cut or damaged")
    _seconds_per_tick(header, _USUAL_TEMPO_US)
    return header, found[1:]


def _tracks(chunks: list[tuple[bytes, bytes]]) -> int:
    return sum(name == b"MTrk" for name, _ in chunks)


def _seconds_per_tick(header: bytes, tempo_us: int) -> float:
    division = int.from_bytes(header[4:6])
    if division & 0x8000:
        frames = 256 - (division >> 8)
        if frames not in _SMPTE_FRAMES_PER_SECOND or not division & 0xFF:
            raise BadValue(
                f"the MIDI file's SMPTE time of {frames} frames is not known; 24, 25, 29 or 30 are"
            )
        return 1 / (_SMPTE_FRAMES_PER_SECOND[frames] * (division & 0xFF))
    if not division:
        raise BadValue("the MIDI file has no ticks to the quarter note; its header is damaged")
    return tempo_us / 1e6 / division


def _events(track: bytes, number: int) -> Iterator[tuple[int, int, bytes]]:
    """Tick, track and event, the end of the track among them.

    A channel message is whole, with its status; meta and system exclusive events are as they stand in the
    file, with their lengths.
    """
    tick = at = running = 0
    start = 0
    try:
        while True:
            start = at
            byte = track[at]
            at += 1
            delta = byte & 0x7F
            while byte & 0x80:
                byte = track[at]
                at += 1
                delta = delta << 7 | byte & 0x7F
                if at - start > 4:
                    raise _fault(number, start, "a time of more than four bytes")
            tick += delta
            status = track[at]
            if status < midi.SYSTEM:
                if status >= midi.NOTE_OFF:
                    running = status
                    at += 1
                elif not running:
                    raise _fault(number, at, "a data byte where an event must begin")
                end = at + midi.DATA_BYTES[running & midi.KIND_BITS]
                message = (
                    track[at - 1 : end] if status >= midi.NOTE_OFF else bytes((running,)) + track[at:end]
                )
                if track[at] > 0x7F or track[end - 1] > 0x7F:
                    raise _fault(number, at, "a status byte inside an event")
                at = end
                yield tick, number, message
                continue
            first = at
            running = 0
            at += 2 if status == midi.META else 1
            if status not in (midi.SYSEX, midi.END_OF_SYSEX, midi.META) or (
                track[at - 1] > 0x7F and status == midi.META
            ):
                raise _fault(number, first, f"an event {status:02X}, which a file cannot hold")
            length, at = _length(track, at, number)
            at += length
            if at > len(track):
                raise _fault(number, first, f"an event of {length} bytes that goes beyond the track")
            yield tick, number, track[first:at]
            if status == midi.META and track[first + 1] == midi.END_OF_TRACK:
                return
    except IndexError:
        raise _fault(number, start, "an event that is cut short, and no end of the track") from None


def _timed(tracks: list[bytes], header: bytes) -> Iterator[tuple[int, float, float, int, bytes]]:
    """The events of tracks that sound together: tick, seconds, seconds per tick, track and event."""
    sources = [_events(track, number) for number, track in enumerate(tracks)]
    seconds_per_tick = _seconds_per_tick(header, _USUAL_TEMPO_US)
    seconds, last = 0.0, 0
    for tick, track, event in merge(*sources) if len(sources) > 1 else sources[0]:
        if tick != last:
            seconds += (tick - last) * seconds_per_tick
            last = tick
        if event[:3] == b"\xff\x51\x03":
            seconds_per_tick = _seconds_per_tick(header, int.from_bytes(event[3:6]))
        yield tick, seconds, seconds_per_tick, track, event


def _length(track: bytes, at: int, number: int) -> tuple[int, int]:
    start, value = at, 0
    while True:
        byte = track[at]
        at += 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at
        if at - start == 4:
            raise _fault(number, start, "a length of more than four bytes")


def _fault(number: int, at: int, what: str) -> BadValue:
    return BadValue(f"track {number + 1} of the MIDI file has at its byte {at} {what}")


# -- writing ---------------------------------------------------------------------------------------------


class _Writer:
    """Track bodies, written side by side; what is sent goes into `track` at `tick`."""

    __slots__ = ("_last", "bodies", "tick", "track")

    def __init__(self, count: int) -> None:
        self.bodies = [bytearray() for _ in range(count)]
        self._last = [0] * count
        self.track = self.tick = 0

    def send(self, message: bytes) -> None:
        """A message as a receiver takes it."""
        if message[0] == midi.SYSEX:
            message = message[:1] + _quantity(len(message) - 1) + message[1:]
        self.write(message)

    def write(self, event: bytes) -> None:
        """An event as a file holds it."""
        track = self.track
        delta = self.tick - self._last[track]
        self._last[track] = self.tick
        body = self.bodies[track]
        while delta > _LONGEST_DELTA:  # events that were there before are left out
            body += _quantity(_LONGEST_DELTA) + _EMPTY_TEXT
            delta -= _LONGEST_DELTA
        if delta < 0x80:
            body.append(delta)
        else:
            body += _quantity(delta)
        body += event


def _quantity(value: int) -> bytes:
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(value & 0x7F | 0x80)
    return bytes(reversed(out))


@dataclass(slots=True)
class _Part:
    bodies: list[bytearray]
    notes: int
    players: set[int]
    clipped: int


def _retune_together(
    tracks: list[bytes], header: bytes, made: Plan, note_cents: Sequence[float | None] | None
) -> _Part:
    """Tracks that sound at once share the receiver's channels."""
    writer = _Writer(len(tracks))
    rotation = None
    if isinstance(made.receiver, BendPerClass | BendPerNote | TuningPerClass):
        rotation = Rotation(made, writer.send, spread=_has_several_players(tracks, made))
    changes = TableChanges(made) if rotation is None and note_cents is not None else None
    for message in made.messages:
        writer.send(message)
    ends = [0] * len(tracks)
    seconds, last_tick_seconds, notes = 0.0, 0.0, 0
    players: set[int] = set()
    for tick, seconds, tick_seconds, track, event in _timed(tracks, header):
        writer.tick, writer.track, last_tick_seconds = tick, track, tick_seconds
        status = event[0]
        if status < midi.SYSTEM:
            if status & midi.KIND_BITS == midi.NOTE_ON and event[2]:
                key, cents = event[1], note_cents[notes] if note_cents is not None else None
                if cents is not None and rotation is not None:
                    rotation.tune_key(key, cents)
                elif cents is not None and changes is not None:
                    for message in changes.before(key, cents):
                        writer.send(message)
                notes += 1
                players.add(status & midi.CHANNEL_BITS)
            if rotation is None:
                writer.write(event)
            else:
                rotation.receive(event, seconds)
        elif status == midi.META and event[1] == midi.END_OF_TRACK:
            ends[track] = tick
        else:
            writer.write(event)
            if status == midi.SYSEX and is_reset(event[:1] + event[2:]):
                if rotation is None:
                    for message in made.messages:
                        writer.send(message)
                    if changes is not None:
                        changes.start_over()
                else:
                    rotation.start_over()
    if rotation is not None:
        rotation.finish(seconds)
    ends[writer.track] += round(_RING_OUT_SECONDS / last_tick_seconds) if last_tick_seconds else 0
    writer.tick = ends[writer.track]
    for message in made.undo:
        writer.send(message)
    for track, tick in enumerate(ends):
        writer.track, writer.tick = track, tick
        writer.write(_END_OF_TRACK)
    return _Part(writer.bodies, notes, players, rotation.clipped if rotation is not None else 0)


def _has_several_players(tracks: list[bytes], made: Plan) -> bool:
    """Whether notes on more than one channel must share twelve fixed ones."""
    if not isinstance(made.receiver, BendPerClass | TuningPerClass):
        return False
    untouched = {channel - 1 for channel in made.receiver.untouched}
    players = {
        event[0] & midi.CHANNEL_BITS
        for number, track in enumerate(tracks)
        for _, _, event in _events(track, number)
        if event[0] & midi.KIND_BITS == midi.NOTE_ON and event[2]
    }
    return len(players - untouched) > 1
