"""Steady partials: exact, also after an hour; and the arithmetic of glides."""

import csv
import re
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure import beat_of, hz_of, phase_turns_of, turns_apart
from tonegen.pitch import cents_between
from tonegen.synthesis.bank import Bank, audible_weight, glided_cycles, glided_cycles_per_frame
from tonegen.synthesis.timbre import Timbre, Tone

RATE = 48000
HOUR = 3600 * RATE
STIFF = Path(__file__).parent / "published" / "s4_inharmonicity.csv"


def rendered(bank, frames, turns, first=0, ages=None):
    out = np.empty((frames, bank.channels), dtype=np.float32)
    bank.render(out, first, np.asarray(turns, dtype=np.float64), ages)
    return out


def exact_turns(hz, turns, frame):
    """Where a partial is by exact arithmetic on the numbers as they are given."""
    return float((Fraction(hz) * frame / RATE + Fraction(turns)) % 1)


@pytest.mark.parametrize("first", [0, 1, 12_345, HOUR, 24 * HOUR])
def test_every_frame_is_where_arithmetic_says(first):
    """64 partials against sines of exact phases; the budget is that of float32."""
    random = np.random.default_rng(1)
    hz, turns = random.uniform(20, 20_000, 64), random.random(64)
    gains = random.random((64, 1)) / 64
    bank = Bank(hz / RATE, gains)

    sound = rendered(bank, 3000, turns, first)

    for n in (0, 1, 1023, 1024, 2999):
        phases = np.array([exact_turns(f, p, first + n) for f, p in zip(hz, turns, strict=True)])
        assert sound[n, 0] == pytest.approx(gains[:, 0] @ np.sin(2 * np.pi * phases), abs=5e-7)


def test_after_an_hour_the_phase_agrees_to_a_millionth_of_a_turn():
    hz = [55.1234567, 443.0000001, 2093.0045, 19_876.54321]
    bank = Bank(np.array(hz) / RATE, np.full((4, 1), 0.25))

    sound = rendered(bank, RATE, [0.0, 0.25, 0.5, 0.1], HOUR)[:, 0].astype(np.float64)

    for index, start in enumerate([0.0, 0.25, 0.5, 0.1]):
        others = hz[:index] + hz[index + 1 :]
        measured = phase_turns_of(sound, RATE, hz[index], others)
        assert turns_apart(measured, exact_turns(hz[index], start, HOUR)) < 1e-6


@pytest.mark.parametrize("hz", [27.5, 61.7354, 440.0, 659.2551, 4186.009])
def test_a_tone_is_within_a_thousandth_of_a_cent(hz):
    bank = Bank(np.array([hz / RATE]), np.ones((1, 1)))

    measured = hz_of(rendered(bank, 20 * RATE, [0.3])[:, 0], RATE, hz)

    assert abs(cents_between(hz, measured)) < 0.001


@pytest.mark.parametrize("case", ["INH-B-E4G#4", "INH-B-B3G#4"])
def test_stiff_strings_beat_as_published(case):
    """A third 5:4 and a sixth 5:3 of two stiff plain strings, as heard: s4_inharmonicity.csv."""
    with STIFF.open(encoding="utf-8", newline="") as table:
        [row] = [row for row in csv.DictReader(table) if row["id"] == case]
    low_b, high_b = (float(text) for text in re.findall(r"B_[lh]=(\S+)", row["source"]))
    low_key = {"INH-B-E4G#4": 64, "INH-B-B3G#4": 59}[case]
    low_hz, high_hz = (440 * 2 ** ((key - 69) / 12) for key in (low_key, 68))
    string = Timbre.sloped(8, -6.0, follows_string=True)
    tones = Tone(low_hz, string, stiffness=low_b), Tone(high_hz, string, stiffness=high_b)
    cycles = np.concatenate([tone.hz * tone.partial_multiples() for tone in tones]) / RATE
    bank = Bank(cycles, np.full((16, 1), 1 / 16))

    sound = rendered(bank, 60 * RATE, np.zeros(16))[:, 0]

    assert beat_of(sound, RATE, 5 * low_hz) == pytest.approx(float(row["recomputed"]), abs=0.001)


@given(
    first=st.integers(0, 10**9),
    sizes=st.lists(st.integers(1, 700), min_size=1, max_size=6),
    columns=st.sampled_from([1, 7, 64, 256]),
)
def test_any_blocks_make_the_same_sound(first, sizes, columns):
    hz, turns, gains = np.array([101.0, 997.0, 5003.0]), np.array([0.1, 0.6, 0.9]), np.full((3, 2), 1 / 3)
    decay = np.array([0.0, 0.001, 0.0])
    bank = Bank(hz / RATE, gains, decay, columns)
    ages = np.array([0.0, 50.0, 0.0])
    starts = first + np.cumsum([0, *sizes[:-1]])

    pieces = [rendered(bank, size, turns, int(at), ages) for at, size in zip(starts, sizes, strict=True)]
    whole = rendered(Bank(hz / RATE, gains, decay), sum(sizes), turns, first, ages)

    assert np.concatenate(pieces) == pytest.approx(whole, abs=5e-7)


def test_each_partial_has_its_own_gain_in_each_channel():
    bank = Bank(np.array([400.0, 700.0]) / RATE, np.array([[0.5, 0.0], [0.0, 0.25]]))

    left, right = rendered(bank, 4800, [0.25, 0.25]).T

    frames = np.arange(4800) / RATE
    assert left == pytest.approx(0.5 * np.cos(2 * np.pi * 400 * frames), abs=5e-7)
    assert right == pytest.approx(0.25 * np.cos(2 * np.pi * 700 * frames), abs=5e-7)


def test_a_decay_falls_by_so_many_db_a_second():
    bank = Bank(np.array([1000.0]) / RATE, np.ones((1, 1)), np.array([6.0 / RATE]))

    sound = rendered(bank, 5 * RATE, [0.0], 0, np.array([1.0 * RATE]))[:, 0]

    peaks_db = [20 * np.log10(np.abs(sound[n * RATE : n * RATE + 4800]).max()) for n in range(5)]
    assert np.diff(peaks_db) == pytest.approx([-6.0] * 4, abs=1e-3)
    assert peaks_db[0] == pytest.approx(-6.0, abs=0.02)  # it had been dying away for a second


def test_partials_above_0_45_of_the_sample_rate_are_not_made():
    bank = Bank(np.array([0.45, 0.46, 0.6, 7.3]), np.ones((4, 1)))

    assert not rendered(bank, 1000, [0.25] * 4).any()
    assert audible_weight(np.array([0.0, 0.43])).tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("low_hz", "high_hz"), [(220.0, 220.0), (220.0, 220.0000001), (220.0, 275.6), (880.0, 55.0)]
)
def test_a_glide_adds_up_its_frequency_exactly(low_hz, high_hz):
    """Against the integral of f0 r^(t/T), to 30 digits, within the glide; after it the tone goes on."""
    seconds, glide_frames = 2, 2 * RATE
    frames = np.array([-100.0, 0.0, 1.0, 4321.0, 95_999.0, 96_000.0, 200_000.0])

    passed = glided_cycles(frames, np.array([low_hz / RATE]), np.array([high_hz / RATE]), glide_frames)[0]

    with mpmath.workdps(30):
        low, ratio = mpmath.mpf(low_hz), mpmath.mpf(high_hz) / low_hz

        def cycles(frame):
            if frame < 0:
                return low * frame / RATE
            end = min(frame / RATE, mpmath.mpf(seconds))
            within = mpmath.quad(lambda t: low * ratio ** (t / seconds), [0, end])
            return within + max(frame / RATE - seconds, 0) * mpmath.mpf(high_hz)

        exact = [float(cycles(mpmath.mpf(frame))) for frame in frames]
    assert passed == pytest.approx(exact, rel=1e-12, abs=1e-12)


def test_a_glide_moves_evenly_in_cents():
    frames = np.array([0.0, 250.0, 500.0, 1000.0, 1500.0])

    moving = glided_cycles_per_frame(frames, np.array([0.01]), np.array([0.02]), 1000)[0]

    assert cents_between(0.01, moving) == pytest.approx([0, 300, 600, 1200, 1200])


def test_synthesis_opens_no_device_and_no_file():
    code = "import sys, tonegen.synthesis.player; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert {"sounddevice", "soundfile", "scipy", "click"}.isdisjoint(loaded.stdout.split())
