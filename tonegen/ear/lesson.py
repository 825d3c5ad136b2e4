"""Lessons: steps that play, show what beats, ask and answer; TOML that a teacher writes himself.

Read from presets/lessons/ or from the user's own folder, like any preset.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Annotated, Final

import numpy as np
from msgspec import Meta, Struct
from numpy.typing import NDArray

from tonegen.ear.rendering import CHANNELS, LOUDEST_RMS_DB, MADE_FOR_DBFS, RAMP_IN_SECONDS, Samples, blocks
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.interval import (
    Audible,
    Direction,
    Ratio,
    audible,
    beats_per_second,
    coincident_hz,
    nearest_ratio,
)
from tonegen.pitch import parse_pitch
from tonegen.presets.files import Fields, locate, named, read
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import Player
from tonegen.synthesis.timbre import Timbre, Tone, beating_only, linear_from_db
from tonegen.words import beats_a_second, side

KIND: Final = "lessons"
DEFAULT: Final = "hearing-beats"
# A glide leaves a second of the start and of the goal to be heard as they are.
_STILL_SECONDS: Final = 1.0
_RATIO: Final = re.compile(r"(\d+[:/]\d+)([+-]\d+(?:\.\d*)?)?c?")
_BAND_TIMBRE: Final = Timbre.sloped(6, -9)

Seconds = Annotated[float, Meta(ge=0.5, le=120)]
Text = Annotated[str, Meta(min_length=1, max_length=1000)]
Tones = Annotated[list[str], Meta(min_length=1, max_length=8)]


class SoundFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[steps.sounds]]."""

    caption: Text
    tones: Tones
    seconds: Seconds
    glide_to: Tones | None = None
    only_beating: bool = False
    partials: Annotated[int, Meta(ge=1, le=32)] = 10
    slope_db_per_octave: Annotated[float, Meta(ge=-60, le=6)] = -6.0
    band: list[str] = []
    band_db: Annotated[float, Meta(ge=-60, le=0)] = -6.0


class QuestionFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[steps.question]; right is counted from 1."""

    ask: Text
    answers: Annotated[list[Text], Meta(min_length=2, max_length=9)]
    right: int
    because: Text


class StepFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[steps]]."""

    title: Text
    say: Text
    sounds: Annotated[list[SoundFields], Meta(min_length=1, max_length=12)]
    question: QuestionFields | None = None


class LessonFields(Fields, kw_only=True):
    """presets/lessons/: steps in their order."""

    steps: Annotated[list[StepFields], Meta(min_length=1, max_length=50)]


@dataclass(frozen=True, slots=True)
class Beat:
    """Two partials that meet, and how fast they beat: signed, wide positive."""

    low: int
    high: int
    ratio: Ratio
    at_hz: float
    beats_per_second: float

    @property
    def how_fast(self) -> str:
        """The rate in words."""
        rate = abs(self.beats_per_second)
        if side(self.beats_per_second) == Direction.PURE:
            return "pure"
        match Audible(str(audible(rate))):
            case Audible.BEATS:
                return f"{beats_a_second(rate)}, {side(self.beats_per_second)}"
            case Audible.ROUGHNESS:
                return f"{rate:.0f} a second, {side(self.beats_per_second)}: too fast to count, rough"
            case Audible.TOO_SLOW:
                return f"one beat in {1 / rate:.0f} seconds, {side(self.beats_per_second)}"


@dataclass(frozen=True, slots=True)
class LessonSound:
    """One sound of a step: tones in Hz that stay, or glide to others."""

    caption: str
    names: tuple[str, ...]
    tones_hz: tuple[float, ...]
    glide_to_hz: tuple[float, ...]
    seconds: float
    timbre: Timbre
    only_beating: bool
    band_hz: tuple[float, ...]
    band_level: float

    def beats(self, of_the_goal: bool = False) -> tuple[Beat, ...]:
        """What beats among the tones, of the partials that they have; at the start, or at the goal."""
        tones = self.glide_to_hz if of_the_goal else self.tones_hz
        found = []
        for low, high in combinations(range(len(tones)), 2):
            # A glide starts and ends near the same ratio, so that both ends are heard against it.
            ratio = nearest_ratio(self.tones_hz[low], self.tones_hz[high])
            if max(ratio.upper, ratio.lower) <= len(self.timbre.multiples):
                rate = float(beats_per_second(tones[low], tones[high], ratio))
                at = float(coincident_hz(tones[low], tones[high], ratio))
                found.append(Beat(low, high, ratio, at, rate))
        return tuple(found)

    @property
    def still_seconds(self) -> float:
        """How long the tones stay at the start, and at the goal, before and after a glide."""
        return min(_STILL_SECONDS, self.seconds / 3)

    def hz_at(self, seconds: NDArray[np.float64]) -> NDArray[np.float64]:
        """Where the tones are at each moment: tones x moments; a glide goes evenly in cents."""
        start, goal = np.log(self.tones_hz), np.log(self.glide_to_hz)
        gone = (seconds - self.still_seconds) / (self.seconds - 2 * self.still_seconds)
        return np.asarray(np.exp(start[:, None] + np.multiply.outer(goal - start, np.clip(gone, 0, 1))))

    def rendered(self, sample_rate: int) -> Samples:
        """The sound, made for the booth's level, its glide from the first second to the last but one."""
        tones: Sequence[Tone] = [
            Tone(hz, self.timbre, name=str(index)) for index, hz in enumerate(self.tones_hz)
        ]
        if self.only_beating:
            tones = beating_only(tones, [(beat.low, beat.high, beat.ratio) for beat in self.beats()])
        band = [
            Tone(hz, _BAND_TIMBRE, level=self.band_level, name=f"band {index}")
            for index, hz in enumerate(self.band_hz)
        ]
        sounding = [*tones, *band]
        player = Player(sample_rate, CHANNELS, _level_dbfs(sounding), FILE_COLUMNS)
        player.set(sounding, ramp_seconds=RAMP_IN_SECONDS)
        out = np.empty((round(self.seconds * sample_rate), CHANNELS), dtype=np.float32)
        still = round(self.still_seconds * sample_rate)
        end = len(out) - round(2 * RAMP_IN_SECONDS * sample_rate)
        player.pull(out[:still])
        if self.glide_to_hz != self.tones_hz:
            goal = {str(index): hz for index, hz in enumerate(self.glide_to_hz)}
            player.glide(goal, self.seconds - 2 * self.still_seconds)
        player.pull(out[still:end])
        player.stop(RAMP_IN_SECONDS)
        player.pull(out[end:])
        return out


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked; `right` is the index of the right answer."""

    ask: str
    answers: tuple[str, ...]
    right: int
    because: str


@dataclass(frozen=True, slots=True)
class LessonStep:
    """What is said and played, and maybe asked."""

    title: str
    say: str
    sounds: tuple[LessonSound, ...]
    question: Question | None


@dataclass(frozen=True, slots=True)
class Lesson:
    """Steps in their order."""

    name: str
    title: str
    steps: tuple[LessonStep, ...]


def lesson(name: str) -> Lesson:
    """The lesson of that name or file. Raises BadPreset naming the file and the field that is wrong."""
    path = locate(KIND, name)
    fields = read(path, LessonFields)
    steps = tuple(_step(step, path, f"steps[{index}]") for index, step in enumerate(fields.steps))
    return Lesson(path.stem, fields.title, steps)


def _step(fields: StepFields, path: Path, where: str) -> LessonStep:
    asked, question = fields.question, None
    if asked:
        with named(path, f"{where}.question"):
            if not 1 <= asked.right <= len(asked.answers):
                raise BadValue(
                    f"right = {asked.right} is not one of the answers; give 1 to {len(asked.answers)}"
                )
        question = Question(asked.ask, tuple(asked.answers), asked.right - 1, asked.because)
    sounds = []
    for index, sound in enumerate(fields.sounds):
        with named(path, f"{where}.sounds[{index}]"):
            sounds.append(_sound(sound))
    return LessonStep(fields.title, fields.say, tuple(sounds), question)


def _sound(fields: SoundFields) -> LessonSound:
    tones = _tones_hz(fields.tones, fields.tones[0])
    goal = _tones_hz(fields.glide_to, fields.tones[0]) if fields.glide_to else tones
    if len(goal) != len(tones):
        raise BadValue(f"glide_to needs one goal for each of the {len(tones)} tones")
    return LessonSound(
        caption=fields.caption,
        names=tuple(fields.tones),
        tones_hz=tones,
        glide_to_hz=goal,
        seconds=fields.seconds,
        timbre=Timbre.sloped(fields.partials, fields.slope_db_per_octave),
        only_beating=fields.only_beating,
        band_hz=_tones_hz(fields.band, fields.tones[0]) if fields.band else (),
        band_level=float(linear_from_db(fields.band_db)),
    )


def _level_dbfs(tones: Sequence[Tone]) -> float:
    """The level for a player at which these tones are no louder than anything else in the booth."""
    levels = np.concatenate([tone.heard_levels() * tone.level for tone in tones])
    levels /= max(1.0, sum(tone.level for tone in tones))
    rms_db = 10 * float(np.log10(np.square(levels).sum() / 2 + 1e-12))
    return MADE_FOR_DBFS - max(0.0, rms_db - LOUDEST_RMS_DB)


def _tones_hz(texts: Sequence[str], first: str) -> tuple[float, ...]:
    """Tones as they are written; ratios stand above the first tone of the sound."""
    root = parse_pitch(first).hz_at(440.0)
    tones = []
    for text in texts:
        ratio = _RATIO.fullmatch(text.strip())
        if ratio:
            just = Ratio.parse(ratio[1])
            tones.append(root * just.upper / just.lower * 2 ** (float(ratio[2] or 0) / 1200))
        else:
            tones.append(float(parse_pitch(text).hz_at(440.0, above_hz=root)))
    low, high = 20.0, 5000.0
    if not all(low <= hz <= high for hz in tones):
        raise BadValue(f"a tone of a lesson lies between {low:g} and {high:g} Hz")
    return tuple(tones)


@dataclass(frozen=True, slots=True)
class Rung:
    """A partial in the picture: 0 is the lowest place of a sound, 1 the highest, on a logarithmic scale.

    meets : whether it meets a partial of another tone
    """

    place: float
    meets: bool


def rungs(sound: LessonSound) -> tuple[tuple[Rung, ...], ...]:
    """The partials of each tone that sound, low to high."""
    hz = np.outer(sound.tones_hz, sound.timbre.multiples)
    low, high = np.log(hz.min() / 1.03), np.log(hz.max() * 1.03)
    meeting = {
        place
        for beat in sound.beats()
        for place in ((beat.low, beat.ratio.upper), (beat.high, beat.ratio.lower))
    }
    return tuple(
        tuple(
            Rung(float((np.log(partial) - low) / (high - low)), (index, number) in meeting)
            for number, partial in enumerate(tone, 1)
            if (index, number) in meeting or not sound.only_beating
        )
        for index, tone in enumerate(hz)
    )


def what_beats(sound: LessonSound) -> tuple[str, ...]:
    """What beats, each pair in a line, at the end as well where the tones glide."""
    lines = []
    for start, goal in zip(sound.beats(), sound.beats(of_the_goal=True), strict=True):
        after = "" if start == goal else f"; at the end {goal.how_fast}"
        numbers = f"partials {start.ratio.upper} and {start.ratio.lower}, at {start.at_hz:.0f} Hz"
        lines.append(f"{_pair(sound, start)}: {numbers}: {start.how_fast}{after}")
    return tuple(lines)


def ladder(sound: LessonSound, columns: int) -> tuple[str, ...]:
    """The partials of each tone on one line, low to high, and beneath what beats: a picture in text.

    Partials stand where they lie on a logarithmic scale; those that meet another tone's are marked.
    """
    label = max(len(name) for name in sound.names) + 2
    lines = []
    for name, tone in zip(sound.names, rungs(sound), strict=True):
        cells = ["·"] * (columns - label)
        for rung in tone:
            cells[int(rung.place * len(cells))] = "◆" if rung.meets else "|"
        lines.append(name.ljust(label) + "".join(cells))
    return (*lines, *what_beats(sound))


@dataclass(frozen=True, slots=True, eq=False)
class Swell(Frozen):
    """How a pair swells and fades: loudness from 0 to 1 in cells of equal length over the whole sound.

    too_fast : where a cell holds more than half a beat, which no eye could follow
    """

    pair: str
    loud: NDArray[np.float64]
    too_fast: NDArray[np.bool_]


def swelling(sound: LessonSound, cells: int) -> tuple[Swell, ...]:
    """Every pair, glide and all, as if its two partials were equally loud; they start together."""
    fine = 32
    seconds = (np.arange(cells * fine) + 0.5) / fine * sound.seconds / cells
    tones = sound.hz_at(seconds)
    middle = slice(fine // 2, None, fine)
    found = []
    for beat in sound.beats():
        rate = beats_per_second(tones[beat.low], tones[beat.high], beat.ratio)
        turns = np.cumsum(rate) * sound.seconds / (cells * fine)
        too_fast = np.abs(rate[middle]) * sound.seconds / cells > 0.5
        found.append(Swell(_pair(sound, beat), np.abs(np.cos(np.pi * turns[middle])), too_fast))
    return tuple(found)


def swells(sound: LessonSound, columns: int) -> tuple[str, ...]:
    """How each pair swells, a line of blocks for each; grey where it is too fast to follow."""
    if not sound.beats():
        return ()
    label = max(len(_pair(sound, beat)) for beat in sound.beats()) + 2
    lines = []
    for swell in swelling(sound, columns - label):
        cells = zip(swell.loud.tolist(), swell.too_fast.tolist(), strict=True)
        lines.append(swell.pair.ljust(label) + "".join("▒" if fast else blocks(one) for one, fast in cells))
    return tuple(lines)


def _pair(sound: LessonSound, beat: Beat) -> str:
    return f"{sound.names[beat.low]} and {sound.names[beat.high]}"
