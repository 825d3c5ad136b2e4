"""Two free tones, each a note, Hz or cents above the other, with what they stand for and how they beat."""

from dataclasses import replace as replaced
from functools import lru_cache

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, TonegenError
from tonegen.interval import Candidate, Ratio, candidates
from tonegen.page.play.view import PairView, pair_view
from tonegen.page.setting import Playing, Setting, TwoTones
from tonegen.page.tones.asks import WriteTones
from tonegen.pitch import nearest_key, note_name, parse_pitch
from tonegen.setup.rig import Rig
from tonegen.sounding import Sounding, SoundingTone, sound, tone_as_written, tones_to_play
from tonegen.synthesis.bank import HIGHEST_CYCLES_PER_FRAME
from tonegen.synthesis.timbre import Timbre, Tone
from tonegen.words import signed

LOW, HIGH = "tone-low", "tone-high"  # by which pages know the lower and the higher tone
_LOWEST_USUAL_SAMPLE_RATE = 44_100


class RatioChoice(Struct, frozen=True):
    """A ratio that the interval may stand for; "" leaves it to be guessed."""

    ratio: str
    words: str


class TwoTonesView(Struct, tag="two", frozen=True):
    """The two tones as they are written and as they sound; `heard` when they sound instead of the grip."""

    written: TwoTones
    low_words: str
    high_words: str
    ratios: tuple[RatioChoice, ...]
    pair: PairView
    heard: bool
    only: bool


def with_tones(setting: Setting, rig: Rig, asked: WriteTones) -> Setting:
    """The setting with other tones. A ratio that was chosen for others and does not fit is guessed again."""
    now = setting.two_tones
    tones = TwoTones(
        now.low if asked.low is None else asked.low.strip(),
        now.high if asked.high is None else asked.high.strip(),
        now.ratio if asked.ratio is None else asked.ratio,
    )
    fitting = {str(candidate.ratio) for candidate in _candidates(_sounding(tones, rig))}
    if asked.ratio is None and tones.ratio not in fitting:
        tones = replace(tones, ratio="")
    return replace(setting, two_tones=tones)


def tuned(setting: Setting, rig: Rig, to: str) -> Setting:
    """The setting with the tone written second moved until the interval is pure, or whole semitones."""
    sounding = sounding_of(setting, rig)
    first, second = sounding.tones
    interval = sounding.intervals[0]
    cents = interval.ratio.cents if to == "pure" else 100.0 * round(interval.cents / 100)
    written = f"{(-cents if second.hz < first.hz else cents) + 0.0:.6f}".rstrip("0").rstrip(".")
    tones = replace(setting.two_tones, high=f"{written}c")
    _sounding(tones, rig)  # says so where they would be too far apart to be written
    return replace(setting, two_tones=tones)


def sounding_of(setting: Setting, rig: Rig) -> Sounding:
    """The two tones as they are written, and their interval. Raises BadValue for what cannot be read."""
    return _sounding(setting.two_tones, rig)


def tones_of(setting: Setting, rig: Rig, playing: Playing) -> tuple[Tone, ...]:
    """The two tones for the player, as the pages know them."""
    sounding = sounding_of(setting, rig)
    only = playing.two_tones_only and _view(setting.two_tones, rig.reference_hz, rig.timbre).pair.plays
    low = sounding.intervals[0].low
    return tuple(
        replaced(tone, name=LOW if source is low else HIGH)
        for tone, source in zip(
            tones_to_play(sounding, rig.timbre, split=playing.split, only_beating=only),
            sounding.tones,
            strict=True,
        )
    )


def refuse_silence(setting: Setting, rig: Rig) -> None:
    """Raise BadValue for a tone that is too high to be made at any usual sample rate."""
    highest_hz = HIGHEST_CYCLES_PER_FRAME * _LOWEST_USUAL_SAMPLE_RATE
    for tone in sounding_of(setting, rig).tones:
        if tone.hz >= highest_hz:
            raise BadValue(f"{tone.name} makes no sound; tones are heard up to {highest_hz:g} Hz")


def view_of(setting: Setting, rig: Rig, playing: Playing) -> TwoTonesView:
    """The two tones in the words of the page."""
    shown = _view(setting.two_tones, rig.reference_hz, rig.timbre)
    return replace(shown, heard=playing.two_tones, only=playing.two_tones_only)


def _sounding(tones: TwoTones, rig: Rig) -> Sounding:
    return _sounding_at(tones, rig.reference_hz, rig.timbre)


@lru_cache(maxsize=32)
def _sounding_at(tones: TwoTones, reference_hz: float, timbre: Timbre) -> Sounding:
    ratio = Ratio.parse(tones.ratio) if tones.ratio else None
    first = _tone("lower", tones.low, reference_hz, timbre)
    second = _tone("upper", tones.high, reference_hz, timbre, first.hz)
    return sound((first, second), reference_hz, ratio)


def _tone(
    which: str, text: str, reference_hz: float, timbre: Timbre, above_hz: float | None = None
) -> SoundingTone:
    try:
        return tone_as_written(parse_pitch(text), reference_hz, timbre, above_hz=above_hz)
    except TonegenError as error:
        raise BadValue(f"{which} tone: {error}") from None


def _candidates(sounding: Sounding) -> tuple[Candidate, ...]:
    return candidates(sounding.intervals[0].cents)


@lru_cache(maxsize=32)
def _view(tones: TwoTones, reference_hz: float, timbre: Timbre) -> TwoTonesView:
    sounding = _sounding_at(tones, reference_hz, timbre)
    interval = sounding.intervals[0]
    guessed = sound(sounding.tones, reference_hz).intervals[0].ratio
    chosen = () if not tones.ratio else (Candidate(interval.ratio, interval.cents_from_just),)
    found = {candidate.ratio: candidate for candidate in (*_candidates(sounding), *chosen)}
    return TwoTonesView(
        written=tones if not tones.ratio else replace(tones, ratio=str(interval.ratio)),
        low_words=_in_words(sounding.tones[0], reference_hz),
        high_words=_in_words(sounding.tones[1], reference_hz),
        ratios=(
            RatioChoice("", f"guessed: {_named(guessed)}"),
            *(
                RatioChoice(str(ratio), f"{_named(ratio)}, {signed(candidate.cents_from_just)} c")
                for ratio, candidate in found.items()
            ),
        ),
        pair=replace(pair_view(interval, set(timbre.multiples)), low=LOW, high=HIGH, strings=""),
        heard=False,
        only=False,
    )


def _named(ratio: Ratio) -> str:
    return f"{ratio} {ratio.name}".rstrip()


def _in_words(tone: SoundingTone, reference_hz: float) -> str:
    """The nearest note with its offset, and Hz."""
    key, cents = nearest_key(tone.hz, reference_hz)
    return f"{note_name(int(key))} {signed(float(cents))} c, {tone.hz:.2f} Hz"
