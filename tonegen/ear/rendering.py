"""Trials as sound: each stimulus rendered exactly as its data says, ramped, and a booth that plays them.

Sound is float32, frames x 2 channels, the same in both ears.
"""

from collections import deque
from collections.abc import Sequence
from math import log2
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from tonegen.ear.trials import Bed, TrialSound, sloping
from tonegen.synthesis.bank import FILE_COLUMNS, Bank, raised_cosine
from tonegen.synthesis.player import (
    CEILING_DBFS,
    HIGHEST_STEP_DB,
    QUIET_LEVEL_DBFS,
    RAMP_SECONDS,
    RISE_SECONDS,
    Player,
    checked_level_dbfs,
)
from tonegen.synthesis.timbre import Timbre, Tone, linear_from_db

CHANNELS: Final = 2
# The level of a player beside which the sounds of trials are as loud as their data says: at that level the
# loudest of them stays under it, and a grip is as loud as they are. At any other level all are scaled alike.
MADE_FOR_DBFS: Final = -15.0
# How near to the level the rms of any sound comes: a tone of ten partials that fall by 6 dB an octave.
LOUDEST_RMS_DB: Final = -10.4
RAMP_IN_SECONDS: Final = 0.04
GAP_SECONDS: Final = 0.4
_CROSSFADE_SECONDS: Final = 0.02
_RISE_DB_PER_SECOND: Final = HIGHEST_STEP_DB / RISE_SECONDS
_FALL_DB_PER_SECOND: Final = 200.0
_LOOP_SECONDS: Final = 5.0
_NOISE_HZ: Final = (60.0, 8000.0)
# An equal-tempered major triad on the octave below the lowest tone, in semitones from it.
_BED_SEMITONES: Final = (-12, -8, -5)
_BED_LEVELS_DB: Final = sloping(-9, 4)

_FAINT_TO_LOUD: Final = " ▁▂▃▄▅▆▇█"

Samples = NDArray[np.float32]


def rendered(sound: TrialSound, sample_rate: int) -> Samples:
    """One sound with what sounds beneath it, ramped at both ends."""
    frames = round(sound.seconds * sample_rate)
    hz, amplitude, turns = sound.partials()
    out = _steady(hz, amplitude, turns, frames, sample_rate)
    if sound.bed is not Bed.NONE:
        bed = (_noise if sound.bed is Bed.NOISE else _chord)(sound, frames, sample_rate)
        bed_rms = 10 ** ((sound.level_db + sound.bed_db) / 20)
        out += bed * np.float32(bed_rms / _rms(bed))
        # Partials of a chord beneath may coincide with those of the sound: the level is that of the whole.
        out *= np.float32(np.hypot(10 ** (sound.level_db / 20), bed_rms) / _rms(out))
    ramp_frames = min(round(RAMP_IN_SECONDS * sample_rate), frames // 2)
    ramp = raised_cosine(np.arange(ramp_frames) / ramp_frames).astype(np.float32)
    out[:ramp_frames] *= ramp
    out[frames - ramp_frames :] *= ramp[::-1]
    return np.repeat(out[:, np.newaxis], CHANNELS, axis=1)


def one_after_another(sounds: Sequence[TrialSound], sample_rate: int) -> Samples:
    """The sounds in their order, with a gap between them."""
    gap = np.zeros((round(GAP_SECONDS * sample_rate), CHANNELS), dtype=np.float32)
    parts = [part for sound in sounds for part in (rendered(sound, sample_rate), gap)]
    return np.concatenate(parts[:-1])


def _rms(samples: Samples) -> float:
    return float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))) if samples.size else 0.0


def _steady(
    hz: NDArray[np.float64],
    amplitude: NDArray[np.float64],
    turns: NDArray[np.float64],
    frames: int,
    sample_rate: int,
) -> Samples:
    out = np.empty((frames, 1), dtype=np.float32)
    Bank(hz / sample_rate, amplitude[:, np.newaxis], columns=FILE_COLUMNS).render(out, 0, turns)
    return out[:, 0]


def _chord(sound: TrialSound, frames: int, sample_rate: int) -> Samples:
    hz, amplitude, turns = (values.ravel() for values in _chord_partials(sound))
    return _steady(hz, amplitude, turns, frames, sample_rate)


def _chord_partials(
    sound: TrialSound,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Frequency, amplitude and phase in turns: tones x partials."""
    roots = sound.low_hz * 2 ** (np.array(_BED_SEMITONES) / 12)
    hz = np.outer(roots, np.arange(1, len(_BED_LEVELS_DB) + 1))
    amplitude = np.tile(10 ** (np.array(_BED_LEVELS_DB) / 20), (len(roots), 1))
    return hz, amplitude, _uniform(sound.bed_seed, hz.size).reshape(hz.shape)


def _noise(sound: TrialSound, frames: int, sample_rate: int) -> Samples:
    return _noise_loop(sound.bed_seed, frames, sample_rate)[:frames]


def _noise_loop(seed: int, least_frames: int, sample_rate: int) -> Samples:
    """Pink noise between 60 and 8000 Hz, as much power in each octave; its end joins its beginning.

    Many sines of random phase, which together are as good as normal noise (the central limit theorem).
    """
    length = 1 << (least_frames - 1).bit_length()  # a quick length for the transform
    first, last = (round(edge_hz * length / sample_rate) for edge_hz in _NOISE_HZ)
    lines = np.arange(first, last)
    spectrum = np.zeros(length // 2 + 1, dtype=np.complex128)
    spectrum[lines] = np.exp(2j * np.pi * _uniform(seed, lines.size)) / np.sqrt(lines)
    return np.fft.irfft(spectrum).astype(np.float32)


def _uniform(seed: int, count: int) -> NDArray[np.float64]:
    """Numbers from 0 to 1. The raw output of a bit generator is what numpy promises never to change."""
    return np.asarray((np.random.PCG64(seed).random_raw(count) >> np.uint64(11)) * 2.0**-53)


class Source(Protocol):
    """Something that gives block after block, made for `MADE_FOR_DBFS`.

    peak : what it never exceeds. rms : how loud it is; 0 once it has ended.
    """

    @property
    def peak(self) -> float:
        """Linear."""

    @property
    def rms(self) -> float:
        """Over all channels, as that of a player."""

    def pull(self, out: Samples) -> None:
        """Fill the next block, frames x channels."""


class Clip:
    """Samples from their beginning to their end, then silence."""

    def __init__(self, samples: Samples) -> None:
        """Take the samples, frames x channels."""
        self._samples = samples
        self._at = 0
        self.peak = float(np.abs(samples).max(initial=0.0))
        self._rms = float(np.sqrt(samples.shape[1])) * _rms(samples)

    @property
    def rms(self) -> float:
        """That of the whole clip, until it has ended."""
        return 0.0 if self.ended else self._rms

    @property
    def ended(self) -> bool:
        """All of it was pulled."""
        return self._at >= len(self._samples)

    def pull(self, out: Samples) -> None:
        """Fill the next block."""
        part = self._samples[self._at : self._at + len(out)]
        out[: len(part)] = part
        out[len(part) :] = 0
        self._at += len(part)


class SoundAgain:
    """Samples over and over, with a gap between, until they are taken away."""

    def __init__(self, samples: Samples) -> None:
        """Take the samples, frames x channels; a gap of so many frames as a tenth of them follows."""
        gap = np.zeros((max(len(samples) // 10, 1), samples.shape[1]), dtype=np.float32)
        self._samples = np.concatenate([samples, gap])
        self._at = 0
        self.peak = float(np.abs(samples).max(initial=0.0))
        self.rms = float(np.sqrt(samples.shape[1])) * _rms(samples)

    def pull(self, out: Samples) -> None:
        """Fill the next block."""
        out[:] = self._samples[(self._at + np.arange(len(out))) % len(self._samples)]
        self._at += len(out)


class HeldSound:
    """A sound held until it is taken away, for a listener who taps to it or moves it.

    Its partials begin with the phases and amplitudes of the sound; what is beneath it is held as well.
    """

    def __init__(self, sound: TrialSound, sample_rate: int) -> None:
        """Prepare the sound; it fades in when it is first pulled."""
        hz, amplitude, turns = (values.reshape(len(sound.chord), -1) for values in sound.partials())
        tones = [*zip(hz[:, 0].tolist(), amplitude, turns, strict=True)]
        self._noise = np.zeros(0, dtype=np.float32)
        self._at = 0
        self._ramp_frames = round(RAMP_IN_SECONDS * sample_rate)
        bed_rms = 10 ** ((sound.level_db + sound.bed_db) / 20)
        if sound.bed is Bed.NOISE:
            loop = _noise_loop(sound.bed_seed, round(_LOOP_SECONDS * sample_rate), sample_rate)
            self._noise = loop * np.float32(bed_rms / _rms(loop))
        elif sound.bed is Bed.CHORD:
            bed_hz, bed_amplitude, bed_turns = _chord_partials(sound)
            bed_amplitude *= bed_rms / np.sqrt((bed_amplitude**2).sum() / 2)
            tones += [*zip(bed_hz[:, 0].tolist(), bed_amplitude, bed_turns, strict=True)]
        total = float(sum(levels.sum() for _, levels, _ in tones))
        power = sum(float(np.square(levels).sum()) / 2 for _, levels, _ in tones) + _rms(self._noise) ** 2
        self.peak = total + float(np.abs(self._noise).max(initial=0.0))
        self.rms = float(np.sqrt(CHANNELS * power))
        self._player = Player(
            sample_rate, CHANNELS, level_dbfs=min(20 * float(np.log10(total)), CEILING_DBFS)
        )
        self._player.set(
            [
                Tone(
                    first_hz,
                    Timbre(tuple(range(1, len(levels) + 1)), tuple(levels.tolist()), tuple(phases.tolist())),
                    level=float(levels.sum()) / total,
                    name=str(index),
                )
                for index, (first_hz, levels, phases) in enumerate(tones)
            ],
            ramp_seconds=RAMP_IN_SECONDS,
        )

    def move(self, sound: TrialSound) -> None:
        """Glide to where the sound is now; what is beneath stays."""
        goal = {str(index): hz for index, hz in enumerate(sound.tones_hz.tolist())}
        self._player.glide(goal, RAMP_SECONDS)

    def pull(self, out: Samples) -> None:
        """Fill the next block."""
        self._player.pull(out)
        if self._noise.size:
            at = np.arange(self._at, self._at + len(out))
            fade = raised_cosine(np.minimum(at / self._ramp_frames, 1)).astype(np.float32)
            out += (fade * self._noise[at % self._noise.size])[:, np.newaxis]
            self._at += len(out)


class _Playing:
    """A source at the level that is set: never above it, and never up by more than a step at once."""

    def __init__(self, source: Source, level_dbfs: float, heard_rms: float, sample_rate: int) -> None:
        self.source = source
        self.faded_frames = 0
        self._up, self._down = (
            rate * log2(10) / 20 / sample_rate for rate in (_RISE_DB_PER_SECOND, -_FALL_DB_PER_SECOND)
        )
        self._level_dbfs = self._goal = float("nan")
        self.level(level_dbfs)
        loud = source.rms * self._goal
        highest = heard_rms * float(linear_from_db(HIGHEST_STEP_DB))
        self._gain = self._goal * (min(1.0, highest / loud) if heard_rms > 0 and loud > 0 else 1.0)

    def level(self, level_dbfs: float) -> None:
        """Go to this level."""
        if level_dbfs == self._level_dbfs:
            return
        self._level_dbfs = level_dbfs
        scale = float(linear_from_db(level_dbfs - MADE_FOR_DBFS))
        self._goal = min(scale, float(linear_from_db(level_dbfs)) / max(self.source.peak, 1e-9))

    @property
    def rms(self) -> float:
        """How loud it is at this moment."""
        return self.source.rms * self._gain

    def pull(self, out: Samples) -> None:
        """Fill the next block."""
        self.source.pull(out)
        if self._gain == self._goal:
            out *= np.float32(self._goal)
            return
        octaves = (self._up if self._gain < self._goal else self._down) * np.arange(1, len(out) + 1)
        nearer = np.minimum if self._gain < self._goal else np.maximum
        gains = nearer(self._gain * np.exp2(octaves), self._goal)
        out *= gains.astype(np.float32)[:, np.newaxis]
        self._gain = float(gains[-1])


class Booth:
    """What the device plays during a session: one source at a time, the one before fading out beneath.

    Commands from any thread, blocks pulled by one; it stays open between trials, so that the next one starts
    with the next block. It has the face of a `Player` that `sound.device.play` looks at.

    level_dbfs : what nothing that it plays exceeds; sources keep their differences beneath it
    """

    channels = CHANNELS

    def __init__(self, sample_rate: int, level_dbfs: float = QUIET_LEVEL_DBFS) -> None:
        """Silent until something is played. Raises BadValue for a level above the ceiling."""
        self.sample_rate = sample_rate
        self.frame = 0
        self.sounded_frames = 0  # those in which something was heard
        fade_frames = round(_CROSSFADE_SECONDS * sample_rate)
        fade = raised_cosine(1 - np.arange(fade_frames) / fade_frames)
        self._fade = fade.astype(np.float32)[:, np.newaxis]
        self._level_dbfs = checked_level_dbfs(level_dbfs)
        self._commands: deque[Source | None] = deque()
        self._playing: _Playing | None = None
        self._fading: list[_Playing] = []
        self._scratch = np.empty((0, CHANNELS), dtype=np.float32)
        self._stopped = False

    def play(self, source: Source | None) -> None:
        """Play a source from the next block on, or let it go on; None is silence."""
        self._commands.append(source)

    def level(self, level_dbfs: float) -> None:
        """Change the level of everything, from the next block on. Raises BadValue above the ceiling."""
        self._level_dbfs = checked_level_dbfs(level_dbfs)

    def stop(self, fade_seconds: float = _CROSSFADE_SECONDS) -> None:
        """Fade out, always as fast as between two sources, and be finished."""
        self._commands.append(None)
        self._stopped = True

    def rms_heard(self) -> float:
        """How loud it is at this moment, as an rms; 0 where it is silent."""
        playing = self._playing
        return max((one.rms for one in [*self._fading, *([playing] if playing else [])]), default=0.0)

    @property
    def idle(self) -> bool:
        """Nothing is played, fades out or waits to be played: a block would be silence."""
        return self._playing is None and not self._commands and not self._fading

    @property
    def finished(self) -> bool:
        """Stopped, and silent since."""
        return self._stopped and self.idle

    def pull(self, out: Samples, beside_rms: float = 0.0) -> None:
        """Fill the next block; `beside_rms` is how loud the rest is, which a source does not jump above."""
        while self._commands:
            source = self._commands.popleft()
            before = self._playing
            if before is not None and source is before.source:
                continue
            heard = max(self.rms_heard(), beside_rms)
            if before is not None:
                self._fading.append(before)
            self._playing = None
            if source is not None:
                self._playing = _Playing(source, self._level_dbfs, heard, self.sample_rate)
        self.sounded_frames += len(out) if self.rms_heard() else 0
        if self._playing is None:
            out.fill(0)
        else:
            self._playing.level(self._level_dbfs)
            self._playing.pull(out)
        for fading in self._fading:
            self._add_end_of(fading, out)
        self._fading = [fading for fading in self._fading if fading.faded_frames < len(self._fade)]
        self.frame += len(out)

    def _add_end_of(self, fading: _Playing, out: Samples) -> None:
        frames = min(len(out), len(self._fade) - fading.faded_frames)
        if len(self._scratch) < frames:
            self._scratch = np.empty((frames, CHANNELS), dtype=np.float32)
        end = self._scratch[:frames]
        fading.pull(end)
        end *= self._fade[fading.faded_frames : fading.faded_frames + frames]
        out[:frames] += end
        fading.faded_frames += frames


def strip(sound: TrialSound, cells: int = 48) -> str:
    """The beat of the moved tone drawn over the length of a sound: how loud its coincident pair is.

    Drawn from the phases that sound.
    """
    hz, amplitude, turns = sound.partials()
    ratio, partials = sound.chord[sound.moved], len(sound.levels_db)
    pair = [ratio.upper - 1, sound.moved * partials + ratio.lower - 1]
    t = (np.arange(cells) + 0.5) / cells * sound.seconds
    wave = amplitude[pair] @ np.exp(2j * np.pi * (np.outer(hz[pair], t) + turns[pair][:, np.newaxis]))
    loud = np.abs(wave) / amplitude[pair].sum()
    return "".join(blocks(float(one)) for one in loud)


def blocks(loud: float) -> str:
    """A block that is higher the louder, from 0 to 1.

    >>> blocks(0.0), blocks(0.5), blocks(1.0)
    (' ', '▄', '█')
    """
    return _FAINT_TO_LOUD[round(loud * (len(_FAINT_TO_LOUD) - 1))]
