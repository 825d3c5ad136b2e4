"""What comes in at a sound card, by a card of the tests' own in place of PortAudio's."""

from types import SimpleNamespace

import numpy as np
import pytest

from tests.listen.strings import RATE, plucked
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.listen.heard import heard
from tonegen.listen.spectrum import Expected
from tonegen.sound import device as devices
from tonegen.sound import input as inputs
from tonegen.sound.device import Device

PERIOD = 256


@pytest.fixture
def card(monkeypatch):
    """Opens an input whose card gives this sound, (frames, channels), at once, and then ends."""

    def opened(sound, rate=RATE, channel=0):
        class Stream:
            def __init__(self, callback, finished_callback, **_):
                self.callback, self.finished = callback, finished_callback

            def start(self):
                for first in range(0, len(sound), PERIOD):
                    block = sound[first : first + PERIOD].astype(np.float32)
                    self.callback(block, len(block), None, SimpleNamespace(input_overflow=False))
                self.finished()

            def close(self):
                pass

        binding = SimpleNamespace(InputStream=Stream, PortAudioError=OSError)
        monkeypatch.setattr(inputs, "portaudio", lambda: binding)
        monkeypatch.setattr(devices, "portaudio", lambda: binding)
        return inputs.SoundInput(Device(0, "card", "tests", sound.shape[1], rate, True, True), channel)

    return opened


def taken(card):
    """All that comes in until the card is gone."""
    blocks = []
    with card, pytest.raises(NoSuchDevice, match="was lost while listening"):
        blocks.extend(card.blocks())
    return np.concatenate(blocks)


@pytest.mark.parametrize("rate", [8000, 48000, 192000])
def test_of_two_channels_the_louder_is_heard(card, rate):
    """They would cancel each other; the quieter has a voltage as well, which is no sound."""
    sound, fall = plucked(1, 330.0, 1e-4, noise_db=50, rate=rate)
    hum = 0.002 * np.sin(2 * np.pi * 50 * np.arange(len(sound)) / rate)
    both = np.stack([0.3 - 0.4 * sound + hum, sound], axis=1)
    heard_there = taken(card(both, rate))
    assert heard_there == pytest.approx(sound[: len(heard_there)], abs=1e-6)
    string = heard(heard_there, rate, [Expected(4, "E4", 329.628)])
    assert string.cents == pytest.approx(1200 * np.log2(330 / 329.628) + fall, abs=0.05)


def test_the_chosen_channel_is_heard_however_quiet(card):
    loud, quiet = (level * plucked(1, hz, 1e-4)[0] for level, hz in ((1.0, 330.0), (0.01, 440.0)))
    coming = card(np.stack([quiet, loud], axis=1), channel=1)
    heard_there = taken(coming)
    assert heard_there == pytest.approx(quiet[: len(heard_there)], abs=1e-7)
    assert coming.peak == pytest.approx(np.abs(quiet).max(), rel=1e-5)  # whether it is silent counts there
    with pytest.raises(BadValue, match="has no channel 3; choose one of 1 to 2, or the loudest"):
        card(np.stack([loud, quiet], axis=1), channel=3)


def test_numbers_that_are_none_are_said(card):
    sound = np.zeros((RATE, 1))
    sound[9000] = np.nan
    with card(sound) as coming, pytest.raises(BadValue, match="numbers in its sound that are none"):
        list(coming.blocks())


def test_sound_that_nobody_takes_fills_no_memory_and_is_told(card):
    seconds = 30
    with card(np.zeros((seconds * RATE, 1))) as coming:
        lost = coming.overflows
        blocks = coming.blocks()
        next(blocks)
    assert 0 < lost < seconds * RATE / PERIOD


def test_too_low_a_rate_is_refused(card):
    with pytest.raises(BadValue, match="4000 Hz is too low a rate"):
        card(np.zeros((10, 1)), 4000)
