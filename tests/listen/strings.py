"""Strings made with known truth: partials by the law of stiff strings, each written out as a sum of sines.

Nothing here is taken from the program. Law: H. Fletcher, J. Acoust. Soc. Am. 36 (1964); that partials stray
from it and that a string rings in two ways at once: G. Weinreich, J. Acoust. Soc. Am. 62 (1977), from memory.
"""

import numpy as np

RATE = 48000


def partial_hz(hz, number, b):
    """Partial of a string whose first partial is at hz."""
    return hz * number * np.sqrt((1 + b * number**2) / (1 + b))


def plucked(seed, hz, b=1e-4, seconds=1.0, rate=RATE, *, noise_db=20.0, strays_cents=0.0, two_ways_cents=0.0,
            falls_cents=0.0, fall_seconds=0.2, partials=20, lasts_seconds=4.6):  # fmt: skip
    """A picked string, and by how many cents it lies above hz on average as it falls.

    noise_db : how far white noise lies below it; strays_cents : standard deviation of each partial's own way.
    """
    draw = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate)) / rate
    fall = falls_cents * np.exp(-t / fall_seconds)
    fallen = falls_cents * fall_seconds * (1 - np.exp(-t / fall_seconds))
    sound = np.zeros(len(t))
    for number in range(1, partials + 1):
        at = partial_hz(hz, number, b) * 2 ** (strays_cents * draw.standard_normal() / 1200)
        if at > 0.45 * rate:
            break
        level = np.exp(0.3 * draw.standard_normal()) / number
        dies = 6.9 / lasts_seconds * (1 + 0.1 * number)
        turns = at * (t + np.log(2) / 1200 * fallen)
        sound += level * np.exp(-dies * t) * np.cos(2 * np.pi * (turns + draw.uniform()))
        if two_ways_cents:
            apart = 2 ** (draw.uniform(-two_ways_cents, two_ways_cents) / 1200)
            other = np.cos(2 * np.pi * (turns * apart + draw.uniform()))
            sound += 0.5 * level * np.exp(-dies / 2 * t) * other
    power = np.mean(sound**2)
    sound += draw.standard_normal(len(t)) * np.sqrt(power * 10 ** (-noise_db / 10))
    return 0.05 * sound / np.sqrt(power), fall.mean()


def pink(seed, frames):
    """Noise whose power falls by 3 dB an octave, of mean square 1."""
    waves = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames))
    waves[1:] /= np.sqrt(np.arange(1, len(waves)))
    waves[0] = 0
    noise = np.fft.irfft(waves, frames)
    return noise / noise.std()
