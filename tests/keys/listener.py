"""A receiver as the standards describe one, to hear what messages do to it.

Written from MIDI 1.0, the MIDI Tuning Standard and MPE 1.1, apart from the code that is tested: it knows
channels, pedals, bends, registered parameters and tuning tables, and answers what sounds at which pitch.
"""

from dataclasses import dataclass
from math import inf, isnan

from tonegen.keys import midi


class Listener:
    def __init__(self, manager=None, members=()):
        self.manager, self.members = manager, tuple(members)
        self.bend = [0] * 17
        self.range_semitones = [2.0] * 17
        self.fine = [0.0] * 17
        self.coarse = [0] * 17
        self.program = [0] * 17
        self.controls = [{} for _ in range(17)]
        self.sustain = [False] * 17
        self.sostenuto = [False] * 17
        self.down = [set() for _ in range(17)]
        self.kept = [set() for _ in range(17)]  # by the sustain pedal
        self.caught = [set() for _ in range(17)]  # by the sostenuto pedal
        self.readers = [midi.ParameterReader() for _ in range(17)]
        self.tables = {}  # program, key -> cents
        self.octave = [[0.0] * 12 for _ in range(17)]
        self.tuning_program = [0] * 17
        self.struck = []  # channel, key, pitch in cents at the moment of each note-on
        self.log = []

    def send(self, message):
        message = bytes(message)
        self.log.append(message)
        status = message[0]
        if status == 0xF0 and message[3] == 0x08:
            self._sysex(message)
        if status >= 0xF0:
            return
        channel = (status & 15) + 1
        kind = status & 0xF0
        if kind == 0x90 and message[2]:
            self.down[channel].add(message[1])
            self.kept[channel].discard(message[1])
            self.struck.append((channel, message[1], self.pitch_cents(channel, message[1])))
        elif kind in (0x80, 0x90):
            self._off(channel, message[1])
        elif kind == 0xE0:
            self.bend[channel] = (message[2] << 7 | message[1]) - 8192
        elif kind == 0xC0:
            self.program[channel] = message[1]
        elif kind == 0xB0:
            self._control(channel, message[1], message[2])

    def close(self):
        pass

    def _zone(self, channel):
        return self.members if channel == self.manager else (channel,)

    def _off(self, channel, key):
        if key in self.down[channel]:
            self.down[channel].discard(key)
            pedal = self.manager or channel
            if self.sustain[pedal]:
                self.kept[channel].add(key)

    def _control(self, channel, controller, value):
        self.controls[channel][controller] = value
        entry = self.readers[channel].read(controller, value)
        if entry:
            self._parameter(channel, *entry)
        for one in self._zone(channel):
            if controller == 64 and value < 64:
                self.kept[one].clear()
            elif controller == 66 and value >= 64 and not self.sostenuto[channel]:
                self.caught[one] = self.down[one] | self.kept[one]
            elif controller == 66 and value < 64:
                if not self.sustain[channel]:
                    self.caught[one].clear()
                else:
                    self.kept[one] |= self.caught[one] - self.down[one]
                    self.caught[one].clear()
            elif controller in (121,):
                self.kept[one].clear()
                self.caught[one].clear()
                self.bend[one] = 0
            elif controller == 120:
                self.down[one].clear()
                self.kept[one].clear()
                self.caught[one].clear()
            elif controller == 123:
                for key in list(self.down[one]):
                    self._off(one, key)
        if controller == 64:
            self.sustain[channel] = value >= 64
        elif controller == 66:
            self.sostenuto[channel] = value >= 64
        elif controller == 121:
            self.sustain[channel] = self.sostenuto[channel] = False

    def _parameter(self, channel, number, msb, lsb):
        if number == midi.BEND_RANGE:
            for one in self.members if channel in self.members else (channel,):
                self.range_semitones[one] = msb + lsb / 100
        elif number == midi.FINE_TUNING:
            self.fine[channel] = ((msb << 7 | lsb) - 8192) * 100 / 8192
        elif number == midi.COARSE_TUNING:
            self.coarse[channel] = msb - 64
        elif number == midi.TUNING_PROGRAM:
            self.tuning_program[channel] = msb
        elif number == midi.MPE_CONFIGURATION and channel in (1, 16):
            step = 1 if channel == 1 else -1
            self.manager = channel if msb else None
            self.members = tuple(channel + step * (1 + place) for place in range(msb))
            for member in self.members:
                self.range_semitones[member] = 48

    def _sysex(self, message):
        tuning = midi.parse_tuning(message)
        if tuning.channels:
            for channel in tuning.channels:
                self.octave[channel] = list(tuning.offset_cents)
        elif tuning.keys:
            for key, cents in zip(tuning.keys, tuning.offset_cents, strict=True):
                if not isnan(cents):
                    self.tables[tuning.program, key] = cents

    def pitch_cents(self, channel, key):
        """Cents above key 0 at equal temperament."""
        channel_cents = 100 * self.coarse[channel] + self.fine[channel]
        bend = self.bend[channel] * self.range_semitones[channel] * 100 / 8192
        if self.manager and channel in self.members:
            bend += self.bend[self.manager] * self.range_semitones[self.manager] * 100 / 8192
        return 100 * key + self.table_cents(channel, key) + channel_cents + bend

    def table_cents(self, channel, key):
        """What the tables of the tuning standard make of a key."""
        return self.tables.get((self.tuning_program[channel], key), 0.0) + self.octave[channel][key % 12]

    def sounding(self):
        """Channel and key of all that a key or a pedal holds."""
        return {
            (channel, key)
            for channel in range(1, 17)
            for key in self.down[channel] | self.kept[channel] | self.caught[channel]
        }


@dataclass
class Note:
    """One that sounds: what the tables made of it, until when it rings; no end while it is held."""

    channel: int
    key: int
    cents: float
    until: float = inf


class TableEar:
    """Hears a receiver that is tuned by tables, at the end of a cable: what moves, and what begins where.

    A real-time change reaches all notes of a key that sound or ring; so does any other, unless the receiver
    obeys the standard there (`obeys`), by which only new notes follow. Only `channels` are listened to.
    """

    SECONDS_PER_BYTE = 10 / 31250  # MIDI 1.0: 31,250 baud, ten bits to the byte

    def __init__(self, release_seconds, obeys=False, channels=midi.ALL_CHANNELS):
        self.listener = Listener()
        self.channels = channels
        self.release_seconds = release_seconds
        self.obeys = obeys
        self.notes = {}
        self.free_at = 0.0
        self.moved = []  # second, key, cents
        self.begun = []  # second, key, cents
        self.bytes_of_tables = 0

    def send(self, message, now):
        """A message handed over; when it has arrived whole."""
        self.free_at = max(self.free_at, now) + len(message) * self.SECONDS_PER_BYTE
        self._arrives(bytes(message), self.free_at)
        return self.free_at

    def _arrives(self, message, at):
        self.notes = {place: note for place, note in self.notes.items() if note.until > at}
        self.listener.send(message)
        kind, channel = message[0] & 0xF0, (message[0] & 0x0F) + 1
        if message[0] == 0xF0 and midi.is_tuning(message):
            self.bytes_of_tables += len(message)
            if message[1] == 0x7F or not self.obeys:
                self._follow(at)
        elif kind == 0x90 and message[2] and channel in self.channels:
            cents = self.listener.table_cents(channel, message[1])
            self.notes[channel, message[1]] = Note(channel, message[1], cents)
            self.begun.append((at, message[1], cents))
        if kind == 0xB0 and message[1] == midi.ALL_SOUND_OFF:
            self.notes = {place: note for place, note in self.notes.items() if note.channel != channel}
        held = self.listener.sounding()
        for place, note in self.notes.items():
            if place not in held and note.until == inf:
                note.until = at + self.release_seconds

    def _follow(self, at):
        for (channel, key), note in self.notes.items():
            cents = self.listener.table_cents(channel, key)
            if cents != note.cents:
                self.moved.append((at, key, cents - note.cents))
                note.cents = cents
