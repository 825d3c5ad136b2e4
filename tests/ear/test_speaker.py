"""A trial heard again, on a device whose time is not the wall clock's."""

import threading
from types import SimpleNamespace

import numpy as np
import pytest

from tonegen.cli.ear import terminal
from tonegen.ear.rendering import Clip

RATE = 8000


@pytest.fixture
def late_device(monkeypatch):
    """A device that takes half a second of sound in each second, as one does that is still opening."""
    device = SimpleNamespace(sample_rate=RATE, heard=[])
    opened = threading.Event()

    def play(player, _, stop):
        device.player = player
        opened.set()
        stop.wait()

    def sleep(seconds):
        opened.wait()
        clock.now += seconds
        out = np.empty((round(seconds * RATE / 2), 2), dtype=np.float32)
        device.player.pull(out)
        device.heard.append(out)

    clock = SimpleNamespace(now=0.0, monotonic=lambda: clock.now, sleep=sleep)
    monkeypatch.setattr(terminal, "time", clock)
    monkeypatch.setattr(terminal, "output_devices", lambda: (device,))
    monkeypatch.setattr(terminal, "choose", lambda *_: device)
    monkeypatch.setattr(terminal, "play", play)
    return device


def test_what_is_heard_again_is_heard_to_its_end_on_a_late_device(late_device):
    sound = np.full((3 * RATE, 2), 0.01, dtype=np.float32)
    with terminal.Speaker(None, no_sound=False, level_dbfs=-24.0) as speaker:
        speaker.hear_out(Clip(sound))

    assert np.count_nonzero(np.concatenate(late_device.heard)[:, 0]) == len(sound)
