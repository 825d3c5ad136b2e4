"""Real rigs for tests: a receiver's port to listen at, and the program as a process of its own."""

import queue
import signal
import subprocess
import sys
import time
from pathlib import Path

from tonegen.keys.cable import Cable
from tonegen.keys.live import TunedRig
from tonegen.keys.playing import PlayedEvening
from tonegen.keys.scale import scale_of_temperament
from tonegen.keys.sets import set_of_one_song
from tonegen.presets import temperament
from tonegen.setlist.records import Action, ControlKind, SetControl

ONE = "One"
MEANTONE = scale_of_temperament(temperament("quarter-comma-meantone"))
ROOT = Path(__file__).parents[2]
PATIENCE_SECONDS = 20.0


class Through:
    """Notes through one receiver, "One", in a set of one song, without a port.

    pedals : controllers that are pedals and levers, by their number.
    """

    def __init__(self, made, send, pedals=None, follower=None):
        controls = tuple(
            SetControl("", ControlKind.CONTROL, Action.MOVE, number, change=change)
            for number, change in (pedals or {}).items()
        )
        one = set_of_one_song({ONE: made}, {ONE: "virtual One"}, controls)
        self.playing = PlayedEvening(one, {ONE: Cable(send)})
        self.receive = self.playing.receive
        if follower is not None:
            self.playing.follow(ONE, follower)

    @property
    def rotation(self):
        return self.playing._evening.goings[ONE].rotation

    def retune(self, made):
        self.playing.retune({ONE: made})

    def led_by(self, tones):
        self.playing.led_by(ONE, tones)

    def __getattr__(self, name):
        return getattr(self.playing, name)


def tuned(where, made):
    """A rig of one receiver, tuned."""
    rig = TunedRig()
    rig.hold(where, made.undo, made.receiver.sysex_seconds)
    tune_again(rig, made)
    return rig


def tune_again(rig, made):
    (where,) = rig.doors
    rig.tune({where: [(made.messages, made.receiver.sysex_seconds)]})


class Ear:
    """A MIDI input of the test's own: everything that arrives, with the time."""

    def __init__(self, name):
        from tonegen.keys.ports import MidiInput

        self.arrived = queue.Queue()
        self.input = MidiInput(
            name, lambda message: self.arrived.put((time.perf_counter(), message)), virtual=True
        )

    def next(self, seconds=PATIENCE_SECONDS):
        return self.arrived.get(timeout=seconds)

    def until(self, message, seconds=PATIENCE_SECONDS):
        """All that arrives up to this message, it included, and when that came."""
        heard = []
        while not heard or heard[-1] != message:
            at, one = self.next(seconds)
            heard.append(one)
        return heard, at

    def take(self, count, seconds=PATIENCE_SECONDS):
        return [self.next(seconds)[1] for _ in range(count)]

    def close(self):
        self.input.close()


class Programs:
    """The program, running once or more; all are ended with the test."""

    def __init__(self):
        self.running = []

    def start(self, *arguments):
        code = "from tonegen.cli import main; main()"
        program = subprocess.Popen(
            [sys.executable, "-c", code, *arguments],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.running.append(program)
        return program

    def close(self):
        for program in self.running:
            program.send_signal(signal.SIGINT)
            program.communicate(timeout=PATIENCE_SECONDS)
