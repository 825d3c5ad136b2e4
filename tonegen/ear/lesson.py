"""Lessons: steps that play, ask, and show what beats once it was heard; TOML that a teacher writes himself.

Read from presets/lessons/ or from the user's own folder, like any preset.
"""

import re
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from pathlib import Path
from typing import Annotated, Final, Protocol

import numpy as np
from msgspec import Meta, Struct
from numpy.typing import NDArray

from tonegen.ear.lesson_question import HOW_IT_WENT, USUALLY_WITHIN, AnswerForm, Question
from tonegen.ear.rendering import (
    CHANNELS,
    LOUDEST_RMS_DB,
    MADE_FOR_DBFS,
    RAMP_IN_SECONDS,
    Samples,
    SoundAgain,
    Source,
    blocks,
)
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.interval import (
    Audible,
    Direction,
    Ratio,
    audible,
    beats_per_second,
    coincident_hz,
    high_hz_from_beats,
    nearest_ratio,
)
from tonegen.pitch import cents_between, parse_pitch
from tonegen.presets.files import Fields, locate, read
from tonegen.presets.rows import in_row, placed
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import RAMP_SECONDS, Player
from tonegen.synthesis.timbre import Timbre, Tone, beating_only, linear_from_db
from tonegen.words import beats_a_second, side

KIND: Final = "lessons"
DEFAULT: Final = "hearing-beats"
# A glide leaves a second of the start and of the goal to be heard as they are.
_STILL_SECONDS: Final = 1.0
# Of a sound in which a partial goes and comes back: how long it is there first, its way out and its way back.
_WHOLE, _FADING = 1 / 4, 1 / 8
_HIGHEST_SUNG_HZ: Final = 1200.0  # a high voice; common practice, no source
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
    only_partial: Annotated[int, Meta(ge=1, le=32)] | None = None
    fade_partial: Annotated[int, Meta(ge=1, le=32)] | None = None
    shown: bool = False
    partials: Annotated[int, Meta(ge=1, le=32)] = 10
    slope_db_per_octave: Annotated[float, Meta(ge=-60, le=6)] = -6.0
    band: list[str] = []
    band_db: Annotated[float, Meta(ge=-60, le=0)] = -6.0


class QuestionFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[steps.question]; right and sound are counted from 1."""

    ask: Text
    because: Text
    by: AnswerForm = AnswerForm.CHOOSE
    answers: Annotated[list[Text], Meta(min_length=2, max_length=9)] = []
    right: int | None = None
    sound: int | None = None
    within: Annotated[float, Meta(ge=0.1, le=100)] | None = None
    beats_per_second: Annotated[float, Meta(ge=-15, le=15)] | None = None
    partial: Annotated[int, Meta(ge=1, le=32)] | None = None


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
        match audible(rate):
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
    only_partial: int | None = None
    fade_partial: int | None = None
    shown: bool = False
    target_beats_per_second: float = 0.0

    @property
    def off_cents(self) -> float:
        """How far the last tone lies from where it should beat with the first as the question wants it."""
        low, last = self.tones_hz[0], self.tones_hz[-1]
        target = high_hz_from_beats(self.target_beats_per_second, low, nearest_ratio(low, last))
        return float(cents_between(target, last))

    def with_last_moved(self, cents: float) -> "LessonSound":
        """The same with its last tone so far from where it is."""
        factor = 2 ** (cents / 1200)
        tones, goal = ((*hz[:-1], hz[-1] * factor) for hz in (self.tones_hz, self.glide_to_hz))
        return replace(self, tones_hz=tones, glide_to_hz=goal)

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

    @property
    def moves(self) -> bool:
        """Whether it glides, or a partial of it goes and comes back."""
        return self.glide_to_hz != self.tones_hz or self.fade_partial is not None

    def sounding(self) -> list[Tone]:
        """What sounds at the start, the band's tones last."""
        only = None if self.only_partial is None else frozenset({self.only_partial})
        tones: Sequence[Tone] = [
            Tone(hz, self.timbre, only=only, name=str(index)) for index, hz in enumerate(self.tones_hz)
        ]
        if self.only_beating:
            tones = beating_only(tones, [(beat.low, beat.high, beat.ratio) for beat in self.beats()])
        band = [
            Tone(hz, _BAND_TIMBRE, level=self.band_level, name=f"band {index}")
            for index, hz in enumerate(self.band_hz)
        ]
        return [*tones, *band]

    def rendered(self, sample_rate: int) -> Samples:
        """The sound, made for the booth's level, its glide from the first second to the last but one."""
        sounding = self.sounding()
        player = Player(sample_rate, CHANNELS, _level_dbfs(sounding), FILE_COLUMNS)
        player.set(sounding, ramp_seconds=RAMP_IN_SECONDS)
        out = np.empty((round(self.seconds * sample_rate), CHANNELS), dtype=np.float32)
        still = round(self.still_seconds * sample_rate)
        end = len(out) - round(2 * RAMP_IN_SECONDS * sample_rate)
        if self.fade_partial is not None:
            first, *others = sounding
            without = replace(first, only=frozenset(map(int, self.timbre.multiples)) - {self.fade_partial})
            whole, fading = (round(part * len(out)) for part in (_WHOLE, _FADING))
            back = len(out) - whole - fading
            player.pull(out[:whole])
            player.set([without, *others], ramp_seconds=self.seconds * _FADING)
            player.pull(out[whole:back])
            player.set(sounding, ramp_seconds=self.seconds * _FADING)
            still = back
        else:
            player.pull(out[:still])
        if self.glide_to_hz != self.tones_hz:
            goal = {str(index): hz for index, hz in enumerate(self.glide_to_hz)}
            player.glide(goal, self.seconds - 2 * self.still_seconds)
        player.pull(out[still:end])
        player.stop(RAMP_IN_SECONDS)
        player.pull(out[end:])
        return out

    def lasting(self, sample_rate: int) -> Source:
        """The sound for as long as a question stands: held where it stays as it is, else over and over."""
        return SoundAgain(self.rendered(sample_rate)) if self.moves else HeldTones(self, sample_rate)


class HeldTones:
    """The tones of a sound held until they are taken away; the last one can be moved."""

    def __init__(self, sound: LessonSound, sample_rate: int) -> None:
        """Prepare the sound; it fades in when it is first pulled."""
        sounding = sound.sounding()
        level_dbfs = _level_dbfs(sounding)
        self.peak = float(linear_from_db(level_dbfs))
        heard = np.concatenate([tone.heard_levels() * tone.level for tone in sounding])
        heard *= self.peak / max(1.0, sum(tone.level for tone in sounding))
        self.rms = float(np.sqrt(CHANNELS * np.square(heard).sum() / 2))
        self._last = len(sound.tones_hz) - 1
        self._hz = sound.tones_hz[-1]
        self._player = Player(sample_rate, CHANNELS, level_dbfs)
        self._player.set(sounding, ramp_seconds=RAMP_IN_SECONDS)

    def move(self, cents: float) -> None:
        """Glide the last tone so far from where it started."""
        self._player.glide({str(self._last): self._hz * 2 ** (cents / 1200)}, RAMP_SECONDS)

    def pull(self, out: Samples) -> None:
        """Fill the next block."""
        self._player.pull(out)


@dataclass(frozen=True, slots=True)
class LessonStep:
    """What is said and played, and maybe asked."""

    title: str
    say: str
    sounds: tuple[LessonSound, ...]
    question: Question | None

    def heard_at(self, at: int) -> LessonSound:
        """A sound of it, or after the last the tone that is to be sung. Raises BadValue for another."""
        sounds = list(self.sounds)
        if self.question is not None and self.question.sung_hz:
            sounds.append(lone_tone(self.question.sung_hz))
        if not 0 <= at < len(sounds):
            raise BadValue("this step does not have that sound")
        return sounds[at]


@dataclass(frozen=True, slots=True)
class Lesson:
    """Steps in their order."""

    name: str
    title: str
    steps: tuple[LessonStep, ...]


def lesson(name: str) -> Lesson:
    """The lesson of that name or file. Raises BadPreset naming the file and the field that is wrong."""
    path = locate(KIND, name)
    fields = read(path, LessonFields, placed)
    steps = tuple(_step(step, path, f"steps[{index}]") for index, step in enumerate(fields.steps))
    return Lesson(path.stem, fields.title, steps)


def _step(fields: StepFields, path: Path, where: str) -> LessonStep:
    sounds = []
    for index, sound in enumerate(fields.sounds):
        sounds.append(_sound(sound, partial(in_row, path), f"{where}.sounds[{index}]"))
    question = None
    if fields.question:
        question = _question(fields.question, sounds, partial(in_row, path), f"{where}.question")
    return LessonStep(fields.title, fields.say, tuple(sounds), question)


class _In(Protocol):
    """What says of a fault where it is: in which field."""

    def __call__(self, field: str) -> AbstractContextManager[None]:
        """For what is looked at inside."""


# Keys of a question, and the forms of answer that take them.
_TAKEN_BY: Final = {
    "answers": {AnswerForm.CHOOSE, AnswerForm.SING},
    "right": {AnswerForm.CHOOSE, AnswerForm.SING},
    "within": set(USUALLY_WITHIN),
    "beats_per_second": {AnswerForm.SET},
    "partial": {AnswerForm.SING},
}


def _question(fields: QuestionFields, sounds: list[LessonSound], at: _In, where: str) -> Question:
    form = fields.by
    for key, forms in _TAKEN_BY.items():
        with at(f"{where}.{key}"):
            if getattr(fields, key) not in (None, []) and form not in forms:
                raise BadValue(f'a question by "{form}" takes no {key}; leave it out')
    with at(f"{where}.sound"):
        about = len(sounds) if fields.sound is None else fields.sound
        if not 1 <= about <= len(sounds):
            raise BadValue(f"{about} is not a sound of this step; give 1 to {len(sounds)}")
    sound, within = sounds[about - 1], fields.within or USUALLY_WITHIN.get(form, 0.0)
    answers, right, sung_hz = tuple(fields.answers), 0.0, 0.0
    with at(f"{where}.sound"):
        match form:
            case AnswerForm.COUNT | AnswerForm.TAP:
                right = _counted_rate(sound) * (sound.seconds if form is AnswerForm.COUNT else 1)
            case AnswerForm.SET if len(sound.tones_hz) < 2 or sound.moves:
                raise BadValue("to set a tone, the sound needs two tones or more, and no glide or fade")
    if form is AnswerForm.SING:
        answers = answers or HOW_IT_WENT
        with at(f"{where}.partial"):
            sung_hz = sound.tones_hz[0] * (fields.partial or 1)
            if sung_hz > _HIGHEST_SUNG_HZ:
                raise BadValue(
                    f"{sung_hz:.0f} Hz is too high to sing; give a partial below {_HIGHEST_SUNG_HZ:g} Hz"
                )
    if form in _TAKEN_BY["right"]:
        with at(f"{where}.answers"):
            if not answers:
                raise BadValue("a question to choose from needs two answers or more")
        with at(f"{where}.right"):
            one = 1 if fields.right is None and form is AnswerForm.SING else fields.right
            if one is None or not 1 <= one <= len(answers):
                raise BadValue(f"right = {one} is not one of the answers; give 1 to {len(answers)}")
            right = one - 1.0
    if form is AnswerForm.SET:
        sound = sounds[about - 1] = replace(sound, target_beats_per_second=fields.beats_per_second or 0.0)
    return Question(fields.ask, form, answers, right, fields.because, about - 1, within, sung_hz)


def _counted_rate(sound: LessonSound) -> float:
    """How fast the one pair of a sound beats. Raises BadValue where that cannot be counted."""
    beats = sound.beats()
    if len(beats) != 1 or sound.moves:
        raise BadValue("to be counted or tapped, the sound needs two tones that beat, and no glide or fade")
    rate = abs(beats[0].beats_per_second)
    if audible(rate) != Audible.BEATS:
        raise BadValue(f"this sound beats {rate:.2f} times a second; give 0.05 to 15")
    return rate


def _sound(fields: SoundFields, at: _In, where: str) -> LessonSound:
    with at(f"{where}.tones"):
        tones = _tones_hz(fields.tones, fields.tones[0])
    with at(f"{where}.glide_to"):
        goal = _tones_hz(fields.glide_to, fields.tones[0]) if fields.glide_to else tones
        if len(goal) != len(tones):
            raise BadValue(f"glide_to needs one goal for each of the {len(tones)} tones")
    with at(f"{where}.band"):
        band = _tones_hz(fields.band, fields.tones[0]) if fields.band else ()
    for key in ("only_partial", "fade_partial"):
        with at(f"{where}.{key}"):
            number = getattr(fields, key)
            if number is not None and number > fields.partials:
                raise BadValue(f"the tones have {fields.partials} partials; give 1 to {fields.partials}")
    with at(f"{where}.fade_partial"):
        if fields.fade_partial and (fields.glide_to or fields.only_beating or fields.only_partial):
            raise BadValue("a partial fades in a sound that stays; leave out glide_to and only_...")
    return LessonSound(
        caption=fields.caption,
        names=tuple(fields.tones),
        tones_hz=tones,
        glide_to_hz=goal,
        seconds=fields.seconds,
        timbre=Timbre.sloped(fields.partials, fields.slope_db_per_octave),
        only_beating=fields.only_beating,
        band_hz=band,
        band_level=float(linear_from_db(fields.band_db)),
        only_partial=fields.only_partial,
        fade_partial=fields.fade_partial,
        shown=fields.shown,
    )


def _level_dbfs(tones: Sequence[Tone]) -> float:
    """The level for a player at which these tones are no louder than anything else in the booth."""
    # Of the whole tones: one partial alone is as loud as it is in its tone.
    levels = np.concatenate([np.array(tone.timbre.levels) * tone.level for tone in tones])
    levels /= max(1.0, sum(tone.level for tone in tones))
    rms_db = 10 * float(np.log10(np.square(levels).sum() / 2 + 1e-12))
    return MADE_FOR_DBFS - max(0.0, rms_db - LOUDEST_RMS_DB)


def lone_tone(hz: float) -> LessonSound:
    """A tone alone, to be compared with what was sung."""
    tones, timbre = (hz,), Timbre.sloped(6, -6.0)
    return LessonSound(f"{hz:.0f} Hz", (f"{hz:.0f} Hz",), tones, tones, 3.0, timbre, False, (), 0.0)


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
            if ((index, number) in meeting or not sound.only_beating) and sound.only_partial in (None, number)
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
