"""Two takes of one tune: notes told apart, paired, and compared, picked and bowed."""

import json

import numpy as np
import pytest
import soundfile

from tests.listen.strings import RATE, plucked
from tonegen.listen.takes import NoteFinder, TakenNote, paired

# A tune of our own: MIDI keys.
TUNE = (60, 64, 67, 65, 62, 59, 55, 57, 60, 72, 71, 67, 64, 60)


def take(seed, off_cents, *, bowed=False, tune=TUNE):
    """The tune with each note off so much; how long each lasts is different in each take.

    A bowed note goes over into the next without any attack.
    """
    draw = np.random.default_rng(seed)
    sounds, turns = [np.zeros(RATE // 2)], np.zeros(11)
    numbers = np.arange(1, 12)
    for key, cents in zip(tune, np.broadcast_to(off_cents, len(tune)), strict=True):
        hz, seconds = 440 * 2 ** ((key - 69) / 12 + cents / 1200), draw.uniform(0.7, 1.0)
        if bowed:
            t = np.arange(round(seconds * RATE)) / RATE
            phases = turns[:, np.newaxis] + numbers[:, np.newaxis] * hz * t
            sounds.append(np.sum(0.05 / numbers[:, np.newaxis] * np.cos(2 * np.pi * phases), axis=0))
            turns = (turns + numbers * hz * len(t) / RATE) % 1
        else:
            string, _ = plucked(
                draw.integers(1 << 30), hz, 5e-5, seconds=seconds, noise_db=60, falls_cents=2, lasts_seconds=3
            )
            string[-500:] *= np.linspace(1, 0, 500)
            sounds.append(string)
    sound = np.concatenate(sounds)
    return sound + 2e-4 * draw.standard_normal(len(sound))


def off(seed):
    """Some notes 2 to 8 cents off, the others not."""
    draw = np.random.default_rng(seed)
    return np.where(
        draw.random(len(TUNE)) < 0.3, draw.choice([-1, 1], len(TUNE)) * draw.uniform(2, 8, 14), 0.0
    )


@pytest.fixture
def write(tmp_path):
    def written(sound, name, rate=RATE):
        soundfile.write(tmp_path / name, 0.5 * sound, rate, subtype="PCM_24")
        return tmp_path / name

    return written


def notes_of(sound, block=65536):
    finder = NoteFinder(RATE)
    for first in range(0, len(sound), block):
        finder.feed(sound[first : first + block])
    return finder.notes()


@pytest.mark.parametrize("bowed", [False, True], ids=["picked", "bowed"])
def test_notes_are_told_apart(bowed):
    keys = [each.key for each in notes_of(take(1, 0.0, bowed=bowed))]
    assert keys == pytest.approx(TUNE, abs=0.2)


@pytest.mark.long
@pytest.mark.parametrize("bowed", [False, True], ids=["picked", "bowed"])
def test_every_note_that_is_off_is_found_and_no_other(tonegen, write, bowed):
    """2 cents and more; 95 % paired, nine of ten within 0.1; all of the second take is 1.3 cents up."""
    errors, claims, found, wanted = [], [], [], []
    for seed in range(1 if bowed else 3):
        cents = off(seed)
        first = write(take(10 + seed, 0.0, bowed=bowed), "first.wav")
        second = write(take(20 + seed, cents + 1.3, bowed=bowed), "second.wav")
        told = json.loads(tonegen(f"tonegen listen takes {first} {second} --json").out)
        assert told["common_cents"] == pytest.approx(1.3, abs=0.05)
        assert 0.12 < told["common_error_cents"] < 0.13  # two clocks that nobody measured
        assert len(told["notes"]) >= 0.95 * len(TUNE)
        errors += [note["cents"] - truth - 1.3 for note, truth in zip(told["notes"], cents, strict=True)]
        claims += [note["error_cents"] for note in told["notes"]]
        found += [note["differs"] for note in told["notes"]]
        wanted += [truth != 0 for truth in cents]
    assert np.quantile(np.abs(errors), 0.9) < 0.1
    assert np.mean(np.abs(errors) < 2 * np.array(claims)) >= 0.9
    assert np.median(claims) < 0.05
    assert found == wanted


def test_a_note_that_is_left_out_is_passed_over():
    first = [TakenNote(float(n), 0, 1, key) for n, key in enumerate((60, 64, 67, 65, 62))]
    assert paired(first, first[:2] + first[3:]).pairs == ((0, 0), (1, 1), (3, 2), (4, 3))
    assert (
        paired(first[:3], [TakenNote(each.seconds, 0, 1, each.key + 2) for each in first[:3]]).semitones == 2
    )


def test_what_would_beat_is_told(tonegen, write):
    """5 cents of C4: 0.76 beats a second at its first partial, 261.6 Hz."""
    tune, cents = TUNE[6:10], np.array([0.0, 0.0, 5.0, 0.0])
    first, second = (
        write(take(1, 0.0, tune=tune), "first.wav"),
        write(take(2, cents, tune=tune), "second.wav"),
    )
    told = json.loads(tonegen(f"tonegen listen takes {first} {second} --json").out)
    beats = {round(each["hz"]): each["beats_per_second"] for each in told["notes"][2]["beats"]}
    lowest = min(beats)
    assert lowest == pytest.approx(262, abs=4)
    assert beats[lowest] == pytest.approx(0.76, abs=0.03)
    shown = tonegen(f"tonegen listen takes {first} {second}").out
    assert "C4" in shown
    assert "4 notes compared" in shown


def test_a_take_beside_itself(tonegen, write):
    path = write(take(1, 0.0, tune=TUNE[:3]), "first.wav")
    assert (
        "3 notes compared; none differs by more than 1 cent"
        in tonegen(f"tonegen listen takes {path} {path}").out
    )


def test_a_take_with_a_wrong_rate_in_its_header_is_asked_about(tonegen, write):
    """Recorded at 48000, said to be 44100: 147 cents lower."""
    first, second = write(take(1, 0.0), "first.wav"), write(take(2, 0.0), "second.wav", 44100)
    told = tonegen.refused(f"tonegen listen takes {first} {second}")
    assert "1.5 semitones lower" in told
    assert "is its sample rate right, 44100 Hz?" in told


@pytest.mark.long
def test_takes_at_different_rates_are_compared(tonegen, write):
    from scipy.signal import resample_poly

    sound = take(3, 0.0)
    first, second = write(sound, "first.wav"), write(resample_poly(sound, 147, 160), "second.wav", 44100)
    told = json.loads(tonegen(f"tonegen listen takes {first} {second} --json").out)
    assert np.abs([each["cents"] for each in told["notes"]]).max() < 0.05


def test_takes_that_cannot_be_compared(tonegen, write):
    first = write(take(1, 0.0), "first.wav")
    other = write(take(2, 0.0, tune=(50, 49, 75, 74, 48, 47, 70, 50, 73, 46, 49, 68, 46, 47)), "other.wav")
    silent = write(np.zeros(2 * RATE), "silent.wav")
    assert "another tune than" in tonegen.refused(f"tonegen listen takes {first} {other}")
    assert "nothing heard" in tonegen.refused(f"tonegen listen takes {first} {silent}")
    assert "no such file" in tonegen.refused(f"tonegen listen takes {first} gone.wav")
