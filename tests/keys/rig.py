"""Real rigs for tests: a MIDI system of the test's own, and the program as a process of its own."""

import os
import queue
import shutil
import signal
import subprocess
import sys
import time
import uuid
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE_SECONDS = 20.0


@contextmanager
def jack_server(period_frames=1024, in_step=False):
    """A JACK server without hardware, alone for whoever started it: MIDI ports as on a real machine.

    in_step : wait for every client in each period, so that a late one loses and doubles nothing; but a
    client that is killed then holds the others up for seconds.
    """
    assert shutil.which("jackd"), "the Debian package jackd2 is needed"
    name = f"tonegen-{uuid.uuid4().hex[:8]}"
    before = {key: os.environ.get(key) for key in ("JACK_DEFAULT_SERVER", "JACK_NO_AUDIO_RESERVATION")}
    os.environ.update({"JACK_DEFAULT_SERVER": name, "JACK_NO_AUDIO_RESERVATION": "1"})
    command = [
        "jackd",
        "--no-realtime",
        *(["--sync"] if in_step else []),
        "-n",
        name,
        "-d",
        "dummy",
        "-r",
        "48000",
    ]
    command += ["-p", str(period_frames)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        waiting = ["jack_wait", "--server", name, "--wait", "--timeout", "20"]
        subprocess.run(waiting, check=True, capture_output=True, timeout=30)
        yield
    finally:
        server.terminate()
        server.wait(10)
        for key, value in before.items():
            os.environ.pop(key, None)
            if value is not None:
                os.environ[key] = value


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
