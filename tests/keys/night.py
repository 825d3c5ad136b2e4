"""A night on stage: a rig of several receivers, each heard at the end of its own cable, and hands and feet.

Each listener is written from the standards, apart from the code that is tested, on a cable of 31,250 baud
with ten bits to the byte (MIDI 1.0). It knows at which pitch each note began, and complains when one moves.
"""

import random
from dataclasses import dataclass, field, replace
from math import inf

from tests.keys.listener import Listener
from tonegen.keys.cable import Cable
from tonegen.keys.evening import Evening
from tonegen.keys.going import Waits, waits_of
from tonegen.keys.sets import set_plan
from tonegen.presets.sets import set_list

SECONDS_PER_BYTE = 10 / 31250
RELEASE_SECONDS = 2.0
ENDED_JUST_NOW = 0.05  # the program counts a ring on its own clock, a cable's length away
LARGEST_MOVE_CENTS = 0.1

STORED = """
title = "Invented: keeps the tunings of an evening, on two channels"
means = "key tuning"
message = "dump"
programs = 8
select = [1, 2]
"""
RIG = {
    "Piano": "twelve-channel-bend", "Organ": "mts-octave", "Single": "mts-single-note", "Pad": "mpe",
    "Sampler": "stored",
}  # fmt: skip
TUNINGS = (
    "quarter-comma-meantone on C", "quarter-comma-meantone on D", "vallotti on C", "equal",
    "five-limit-just on A", "five-limit-just on A", "vallotti on E", "young-2 on G",
)  # fmt: skip


def write(folder, rig=None, songs=TUNINGS, head="", sends=True):
    """The file of a night: all receivers follow the same; every third song has sounds of its own."""
    (folder / "stored.toml").write_text(STORED)
    lines = ['title = "Invented"', head]
    for name, receiver in (rig or RIG).items():
        asked = str(folder / "stored.toml") if receiver == "stored" else receiver
        lines += ["[[receivers]]", f'name = "{name}"', f'receiver = "{asked}"', f'port = "{name}"']
        lines += ['follows = "equal"']
    lines += ["[[controls]]", 'from = "board"', 'on = "control 80"', 'does = "next"']
    lines += ["[[controls]]", 'from = "board"', 'on = "control 81"', 'does = "previous"']
    lines += ["[[controls]]", 'from = "board"', 'on = "program"', 'does = "number"']
    for place, tuning in enumerate(songs):
        follows = ", ".join(f'{name} = "{tuning}"' for name in rig or RIG)
        lines += ["[[songs]]", f'name = "Song {place + 1}"', 'key = "C"', f"follows = {{ {follows} }}"]
        if sends and place % 3 == 1:
            for name in rig or RIG:
                lines += ["[[songs.sends]]", f'to = "{name}"', f"program = {place + 1}", "channel = 1"]
    path = folder / "night.toml"
    path.write_text("\n".join(lines) + "\n")
    return replan(path)


def replan(path):
    """The plan of a file as it is now."""
    return set_plan(set_list(str(path))).checked()


@dataclass
class Sounding:
    """A note that sounds or rings: the pitch that it began with."""

    cents: float
    until: float = inf


@dataclass
class StageEar:
    """Hears one receiver at the end of its cable."""

    waits: Waits
    listener: Listener = field(default_factory=Listener)
    free_at: float = -inf
    notes: dict = field(default_factory=dict)
    moved: list = field(default_factory=list)
    late_tables: list = field(default_factory=list)  # while something sounded, where silence is waited for
    begun: list = field(default_factory=list)  # second, channel, key, cents above equal
    waited: list = field(default_factory=list)  # how long each note waited for what went out between notes
    programs: list = field(
        default_factory=list
    )  # second of each, and whether anything was held on its channel
    wanted: object = None  # the plan that it is on its way to
    there_at: float = inf  # when the keys of a piano stood there
    bytes: int = 0
    played_until: float = -inf  # when what the player himself brought about has arrived
    is_back: bool = False  # and not yet ready again

    def send(self, message, now):
        self.free_at = max(self.free_at, now) + len(message) * SECONDS_PER_BYTE
        self.bytes += len(message)
        self.arrives(bytes(message), self.free_at)

    def arrives(self, message, at):
        self.notes = {place: note for place, note in self.notes.items() if note.until > at}
        sounded = bool(self.notes)
        kind, channel = message[0] & 0xF0, (message[0] & 0x0F) + 1
        if kind == 0xC0:
            self.programs.append((at, any(one == channel for one, _ in self.listener.sounding())))
        self.listener.send(message)
        if kind == 0x90 and message[2]:
            cents = self.listener.pitch_cents(channel, message[1])
            self.notes[channel, message[1]] = Sounding(cents)
            self.begun.append((at, channel, message[1], cents - 100 * message[1]))
        elif message[0] == 0xF0 or kind in (0xB0, 0xE0):
            if message[0] == 0xF0 and sounded and self.waits is Waits.SILENCE:
                self.late_tables.append(at)
            if kind == 0xB0 and message[1] == 120:
                self.notes = {place: note for place, note in self.notes.items() if place[0] != channel}
            for (one, key), note in self.notes.items():
                cents = self.listener.pitch_cents(one, key)
                # where channels run out, the ring that is nearest its end gives way
                counts = note.until == inf or self.waits is not Waits.NOTHING
                if counts and abs(cents - note.cents) > LARGEST_MOVE_CENTS:
                    self.moved.append((at, key, cents - note.cents))
                    note.cents = cents
        if self.wanted is not None and self.there_at == inf and self.in_tune(self.wanted) < 0.01:
            self.there_at = at
        held = self.listener.sounding()
        for place, note in self.notes.items():
            if place not in held and note.until == inf:
                note.until = at + RELEASE_SECONDS - ENDED_JUST_NOW

    def in_tune(self, made):
        """What the keys of a piano stand off the plan by now, at most, where it is tuned by tables."""
        return max(
            abs(self.listener.table_cents(channel, key) - made.sent_cents[key])
            for channel in (1, 2)
            for key in range(21, 109)
        )


class Night:
    """The evening with its listeners, on the test's own clock."""

    def __init__(self, made, place=0):
        self.made = made
        self.now = 0.0
        self.ears = {}
        cables = {}
        for name in made.receivers:
            self.ears[name] = StageEar(waits_of(made.receivers[name]))
            cables[name] = Cable(lambda message, name=name: self._send(name, message))
            for message in made.start(name, place):
                self.ears[name].arrives(message, -inf)
        self.evening = Evening(made, cables, place)
        self.gone = set()
        self.due = None

    def _send(self, name, message):
        if name not in self.gone:
            self.ears[name].send(message, self.now)

    def at(self, now):
        """Let time go on, and what is due go out when it is due."""
        while self.due is not None and self.due <= now:
            self.now = self.due
            again = self._between()
            assert again is None or again > self.now
            self.due = again
        self.now = now
        return self

    def _between(self):
        return self.evening.send_due(self.now)

    def play(self, text):
        """What the player sends, in hex."""
        message = bytes.fromhex(text) if isinstance(text, str) else text
        counts = {name: len(ear.begun) for name, ear in self.ears.items()}
        sizes = {name: ear.bytes for name, ear in self.ears.items()}
        self.evening.receive(message, self.now)
        for name, ear in self.ears.items():
            if ear.is_back:  # from nothing: until it is set up there is nothing to be in time with
                ear.is_back = self.evening.goings[name].has_sends or ear.free_at > self.now
            elif len(ear.begun) > counts[name]:
                ear.waited.append(ear.begun[-1][0] - max(self.now, ear.played_until))
            ear.played_until = max(ear.played_until, self.now) + SECONDS_PER_BYTE * (ear.bytes - sizes[name])
        return self

    def press(self, text="b0507f"):
        """The foot board; the right switch unless another is said."""
        outcome = self.evening.receive(bytes.fromhex(text), self.now, "board")
        self.due = self._between()
        return outcome

    def go_away(self, name):
        self.gone.add(name)
        self.evening.gone(name)

    def come_back(self, name):
        """Switched on again: it knows nothing."""
        self.gone.discard(name)
        self.ears[name] = replace(self.ears[name], listener=Listener(), notes={}, free_at=-inf, is_back=True)
        self.evening.back(name, self.now)
        self.due = self._between()

    def settle(self):
        """Hands and feet off, and time enough for everything."""
        for text in ("b04000", "b14000", "b04200", "b14200", "b07b00", "b17b00"):
            self.play(text)
        self.at(self.now)
        for _ in range(100):
            self.due = self._between()
            self.at(self.now + 0.2)
        return self


OFTEN = (*["note"] * 14, *["pedal"] * 3, "press", "number", "port")


def events(count, seed=1):
    """Kinds of things that happen, each with the seconds since the last: dense, with a rest now and then."""
    draw = random.Random(seed)
    down = []
    for place in range(count):
        rest = place % 200 >= 170
        if place % 200 == 170:  # hands and feet up, so that what waits for silence has its turn
            for key, channel in down:
                yield 0.01, "play", bytes((0x80 | channel, key, 64))
            down.clear()
            for channel in (0, 1):
                yield 0.0, "play", bytes((0xB0 | channel, 64, 0))
                yield 0.0, "play", bytes((0xB0 | channel, 66, 0))
        pause = draw.choice((0.1, 0.3, 0.5)) if rest else draw.choice((0.001, 0.01, 0.03, 0.1, 0.3))
        kinds = ("wait", "wait", "wait", "wait", "press") if rest else OFTEN
        kind = draw.choice(kinds)
        if kind == "note":
            channel = draw.choice((0, 0, 0, 1))
            if len(down) > 6 or (down and draw.random() < 0.5):
                key, channel = down.pop(draw.randrange(len(down)))
                yield pause, "play", bytes((0x80 | channel, key, 64))
            else:
                key = draw.randrange(40, 80)
                if (key, channel) not in down or draw.random() < 0.1:  # a note-off lost now and then
                    down.append((key, channel))
                yield pause, "play", bytes((0x90 | channel, key, draw.randrange(1, 128)))
        elif kind == "pedal":
            pedal = draw.choice((64, 64, 66))
            yield pause, "play", bytes((0xB0 | draw.choice((0, 0, 1)), pedal, draw.choice((0, 0, 127))))
        elif kind == "press":
            yield pause, "press", draw.choice(("b0507f", "b0507f", "b0517f", "b05000"))
        elif kind == "number":
            yield pause, "press", f"c0{draw.randrange(0, 8):02x}"
        elif kind == "port":
            yield pause, "port", draw.choice((*RIG,))
        else:
            yield pause, "wait", None
