"""Measuring sound: estimators that know nothing of how it was made."""

import numpy as np


def hz_of(sound, sample_rate, around_hz, width_hz=20.0):
    """Frequency of the strongest sine near `around_hz`, from how its phase turns.

    The sound is taken down to 0 Hz; the phase of many short averages, weighted by a window, grows in a line.
    """
    wave, rate = _near_zero(sound, sample_rate, around_hz, width_hz)
    inner = slice(len(wave) // 8, -(len(wave) // 8))
    phase = np.unwrap(np.angle(wave[inner])) / (2 * np.pi)
    slope = np.polynomial.polynomial.polyfit(np.arange(len(phase)) / rate, phase, 1)[1]
    return around_hz + slope


def beat_of(sound, sample_rate, around_hz, width_hz=40.0):
    """Beats per second, unsigned, of two partials near `around_hz`: the line in the squared envelope."""
    wave, rate = _near_zero(sound, sample_rate, around_hz, width_hz)
    inner = slice(len(wave) // 16, -(len(wave) // 16))
    envelope = np.abs(wave[inner]) ** 2
    envelope = (envelope - envelope.mean()) * np.hanning(len(envelope))
    size = 1 << (len(envelope) * 16).bit_length()
    spectrum = np.abs(np.fft.rfft(envelope, size))
    peak = int(spectrum[1:].argmax()) + 1
    left, top, right = np.log(spectrum[peak - 1 : peak + 2])
    return (peak + 0.5 * (left - right) / (left - 2 * top + right)) * rate / size


def phase_turns_of(sound, sample_rate, hz, others_hz=()):
    """Phase, in turns of a sine, at the first frame, by least squares against the sines that are there."""
    seconds = np.arange(len(sound)) / sample_rate
    angles = 2 * np.pi * np.multiply.outer(seconds, np.array([hz, *others_hz]))
    fitted = np.linalg.lstsq(np.hstack([np.sin(angles), np.cos(angles)]), sound, rcond=None)[0]
    return np.arctan2(fitted[1 + len(others_hz)], fitted[0]) / (2 * np.pi) % 1.0


def splash_db(sound, sample_rate, above_hz, frames=1024):
    """The loudest moment above `above_hz`, in dB of full scale: where a click shows and a tone does not.

    The spectrum of each short stretch, under a window whose side lobes lie below -90 dB.
    """
    steps = np.arange(frames) / frames
    window = sum(  # F. J. Harris, Proc. IEEE 66 (1978), the four-term Blackman-Harris window of -92 dB
        (-1) ** k * a * np.cos(2 * np.pi * k * steps)
        for k, a in enumerate((0.35875, 0.48829, 0.14128, 0.01168))
    )
    stretches = np.lib.stride_tricks.sliding_window_view(sound, frames)[:: frames // 8]
    spectrum = np.abs(np.fft.rfft(stretches * window, axis=1)) / window.sum() * 2
    first = int(np.ceil(above_hz * frames / sample_rate))
    return 20 * np.log10(spectrum[:, first:].max() + 1e-12)


def turns_apart(one, other):
    """Distance of two phases around the circle, 0 to 0.5."""
    return abs((one - other + 0.5) % 1.0 - 0.5)


def _near_zero(sound, sample_rate, around_hz, width_hz):
    """The part of the sound within half of `width_hz` of `around_hz`, around 0 Hz, and its own rate."""
    spectrum = np.fft.fft(np.asarray(sound, dtype=np.float64))
    count, bins = len(sound), int(width_hz * len(sound) / sample_rate) // 2 * 2
    centre = round(around_hz * count / sample_rate)
    around = np.arange(centre - bins // 2, centre + bins // 2)
    taper = np.hanning(bins + 1)[:bins]
    rate = sample_rate * bins / count
    narrow = np.fft.ifft(np.fft.ifftshift(spectrum[around] * taper))
    shift = centre * sample_rate / count - around_hz
    return narrow * np.exp(2j * np.pi * shift * np.arange(bins) / rate), rate
