"""A player who seldom rests: dense random notes, and a rig that moves under them, on the test's own clock.

`Music` is what is played and moved at which second; `perform` does it. Whoever listens is the test's matter.
"""

import heapq
import os
import random
from dataclasses import dataclass, field
from itertools import cycle

from tonegen.keys.desk import Desk
from tonegen.presets import drop, instrument, temperament
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Song

# Short in the suite; DENSE_SECONDS=120 asks for the long form.
SECONDS = float(os.environ.get("DENSE_SECONDS", "27"))
# What moves within this time is one state, as it is for the program.
GATHER_SECONDS = 0.03
SONGS = {"Waltz": 0, "Reel": 7, "March": 9}
RESTS = ("silence", "pedal", "keys")
TEMPERAMENTS = ("five-limit-just", "quarter-comma-meantone", "vallotti", "equal")


def moving_desk(receiver):
    """A ten-string E9 whose pedals lead the scale, on a cabinet that gives."""
    return Desk(
        {"One": receiver},
        Rig(instrument("e9-ten-string"), temperament("five-limit-just").on(4), drop("demo-soft-cabinet")),
        songs=tuple(Song(*song) for song in SONGS.items()),
        follow=True,
    )


def made_by(desk):
    """The plan of its only receiver."""
    (made,) = desk.plans().values()
    return made


@dataclass
class Music:
    """Seconds and messages of the player, seconds and moves of the rig; both in order.

    channels : that he plays on, as in the bytes. wheel : whether he bends.
    """

    seconds: float
    seed: int = 1
    channels: tuple[int, ...] = (0,)
    wheel: bool = True
    played: list[tuple[float, bytes]] = field(default_factory=list)
    moves: list[tuple[float, object]] = field(default_factory=list)

    def __post_init__(self):
        draw = random.Random(self.seed)
        for channel in self.channels:
            self._notes(draw, channel)
            self._controls(draw, channel)
            for number, kind in zip(range(int(self.seconds / 9 + 0.5)), cycle(RESTS), strict=False):
                self._rest(draw, channel, 9 * number + 4.5, kind)
        self._rig(draw)
        self.played.sort()
        self.moves.sort(key=lambda move: move[0])

    @staticmethod
    def _rests(at):
        """Half of every nine seconds, so that what waits for silence has its turn."""
        return at % 9 >= 4.5

    def _rest(self, draw, channel, begin, kind):
        """Silence, or a chord that rings on the sustain pedal, or on keys that are held."""
        key = draw.randrange(36, 80)
        begin += 0.001 * channel
        pedal = 127 if kind == "pedal" else 0
        for control, value in ((64, pedal), (66, 0), (123, 0)):
            self.played.append((begin, bytes((0xB0 | channel, control, value))))
        if kind != "silence":
            self.played.append((begin + 0.1, bytes((0x90 | channel, key, 80))))
            self.played.append((begin + (4.3 if kind == "keys" else 0.2), bytes((0x80 | channel, key, 64))))

    def _notes(self, draw, channel):
        at = 0.0
        while at < self.seconds:
            if not self._rests(at):
                root = draw.randrange(36, 80)
                for step in draw.sample((0, 3, 4, 5, 7, 12, 16, 19), draw.randrange(1, 6)):
                    begin = at + draw.uniform(0, 0.02)
                    length = draw.choice((0.03, 0.1, 0.4, 1.5, 4.0)) * draw.uniform(0.5, 1.5)
                    off = bytes((0x80 | channel, root + step, 64))
                    self.played.append((begin, bytes((0x90 | channel, root + step, draw.randrange(1, 128)))))
                    self.played.append(
                        (begin + length, draw.choice((off, bytes((0x90 | channel, root + step, 0)))))
                    )
            at += draw.choice((0.02, 0.05, 0.1, 0.3))

    def _controls(self, draw, channel):
        at = 0.5
        while at < self.seconds:
            control = draw.choice((64, 64, 64, 66, 66, 1, 123, 121, 120))
            if self._rests(at):
                pass
            elif control in (64, 66):
                self.played.append((at, bytes((0xB0 | channel, control, draw.choice((0, 40, 64, 127))))))
            elif control == 1 or draw.random() < 0.3:
                self.played.append((at, bytes((0xB0 | channel, control, 0))))
            if self.wheel and draw.random() < 0.3:
                self.played.append((at, bytes((0xE0 | channel, draw.randrange(128), draw.randrange(128)))))
            at += draw.uniform(0.05, 0.8)

    def _rig(self, draw):
        """Pedals, alone and several within a few milliseconds; bar, temperaments and songs now and then."""
        at = 0.3
        while at < self.seconds:
            kind = draw.choice(("pedals", "pedals", "pedals", "sweep", "bar", "temperament", "song"))
            if kind == "pedals":
                for pedal in draw.sample("ABC", draw.randrange(1, 4)):
                    self._move(at + draw.uniform(0, 0.02), "engage", pedal, draw.choice((0.0, 0.5, 1.0)))
            elif kind == "sweep":
                for step in range(11):
                    self._move(at + step * 0.02, "engage", "A", step / 10)
            elif kind == "bar":
                self._move(at, "fret", float(draw.choice((0, 1.5, 3, 5, 8))))
            elif kind == "temperament":
                self._move(at, "temperament", draw.choice(TEMPERAMENTS), None)
            else:
                self._move(at, "song", draw.choice(tuple(SONGS)))
            at += draw.uniform(0.1, 0.9)

    def _move(self, at, knob, *to):
        self.moves.append((at, lambda desk: getattr(desk, knob)(*to)))

    def states(self):
        """The moves gathered: when each state holds, and the moves that lead to it."""
        gathered = []
        for at, move in self.moves:
            if gathered and at <= gathered[-1][0]:
                gathered[-1][1].append(move)
            else:
                gathered.append((at + GATHER_SECONDS, [move]))
        return gathered


def perform(music, desk, receive, retune, send_due=None, until=lambda: False):
    """Play it: messages to `receive`, plans to `retune`, each with its second; `send_due` as of `Tables`.

    until : asked after each of them whether enough was heard
    """
    order = 0
    waiting = []
    for at, message in music.played:
        waiting.append((at, order := order + 1, "played", message))
    for at, moves in music.states():
        waiting.append((at, order := order + 1, "state", moves))
    heapq.heapify(waiting)
    due = None
    while waiting and not until():
        if due is not None and due <= waiting[0][0]:
            due = send_due(due)
            continue
        now, _, kind, what = heapq.heappop(waiting)
        if kind == "played":
            receive(what, now)
        else:
            for move in what:
                move(desk)
            retune(made_by(desk), now)
            due = send_due(now) if send_due else None
