"""What is asked to sound: the options that beats, play and render share, and the tones that they mean."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import wraps
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from tonegen import presets
from tonegen.drop import NO_DROP
from tonegen.errors import BadValue, TonegenError
from tonegen.frozen import Frozen
from tonegen.instrument import Grip, Instrument, State
from tonegen.interval import Ratio
from tonegen.pitch import REFERENCE_HZ, WrittenPitch, checked_reference_hz, parse_pitch, parse_pitch_class
from tonegen.presets.context import Around, around
from tonegen.sounding import Sounding, SoundingTone, sound, tone_of_hz, tone_of_key, tones_of_grip
from tonegen.synthesis.timbre import Timbre, Tone
from tonegen.temperament import PitchClassTemperament, Temperament

Command = TypeVar("Command", bound=Callable[..., Any])


class Parsed(click.ParamType[Any]):
    """A value that a function of the core parses; its error names the option."""

    def __init__(self, name: str, parse: Callable[[str], Any]) -> None:
        """Take the name shown in help, and the function."""
        self.name = name
        self._parse = parse

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Parse a text; anything else is parsed already."""
        if not isinstance(value, str):
            return value
        try:
            return self._parse(value)
        except TonegenError as error:
            where = f"{param.opts[0]}: " if param else ""
            raise type(error)(f"{where}{error}") from None


class Preset(click.ParamType[Any]):
    """The name of a preset or a TOML file, completed from those that exist."""

    name = "preset"

    def __init__(self, kind: str) -> None:
        """Take the kind, such as instruments."""
        self.kind = kind

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """The names that begin so."""
        return [CompletionItem(name) for name in presets.names(self.kind) if name.startswith(incomplete)]


def complete_grips(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The saved grips, whose names begin so, of the instrument that is on the line already."""
    try:
        grips = presets.instrument(ctx.params.get("instrument") or "").grips
    except TonegenError:
        return []
    return [CompletionItem(grip.name) for grip in grips if grip.name.startswith(incomplete)]


def parse_text(text: str) -> str:
    """A name of something outside, as it is. Raises BadValue for bytes that are no text."""
    try:
        text.encode()
    except UnicodeEncodeError:
        raise BadValue(f'"{text}" is not UTF-8 text; give the name as the program lists it') from None
    return text


def parse_travels(text: str) -> Mapping[str, float]:
    """Changes that are engaged: "A,B", or with a travel from 0 to 1, "DD:0.5". Raises BadValue."""
    travels: dict[str, float] = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        name, separator, travel = part.partition(":")
        try:
            number = float(travel) if separator else 1.0
        except ValueError:
            raise BadValue(f'"{part}" is not a change with a travel; write one such as DD:0.5') from None
        if name in travels:
            raise BadValue(f"change {name} is listed twice")
        travels[name] = number
    return travels


def parse_hz_list(text: str) -> tuple[WrittenPitch, ...]:
    """Frequencies or notes, separated by commas. Raises BadValue for an empty list."""
    pitches = tuple(parse_pitch(part) for part in text.split(",") if part.strip())
    if not pitches:
        raise BadValue("give at least one frequency, such as 220,275.6")
    return pitches


PITCH = Parsed("pitch", parse_pitch)
TEXT = Parsed("text", parse_text)


@dataclass(frozen=True, slots=True)
class AskedTones(Frozen):
    """The shared options, as they were given."""

    low: WrittenPitch | None
    high: WrittenPitch | None
    ratio: Ratio | None
    hz: tuple[WrittenPitch, ...] | None
    instrument: str | None
    changes: Mapping[str, float] | None
    grip: str | None
    fret: float
    temperament: str
    root: int | None
    drop: str | None
    against: WrittenPitch | None
    reference: float | None
    timbre: str

    def sounding(self, timbre: Timbre) -> tuple[Sounding, str]:
        """What sounds in a timbre, with every interval in it, and what the temperament brought along.

        Raises BadValue for options that do not fit together, BadPreset for a preset that is wrong.
        """
        rig = self._around()
        tones = tuple(self._tones(rig, timbre))
        if self.against is not None:
            tones = (_tone(self.against, "--against", rig.reference_hz, timbre), *tones)
        return sound(tones, rig.reference_hz, self.ratio), rig.words

    def _around(self) -> Around:
        """The drop and the reference pitch; without an instrument no temperament brings any along."""
        if self.instrument is None:
            return Around(
                NO_DROP, checked_reference_hz(REFERENCE_HZ if self.reference is None else self.reference)
            )
        instrument = presets.instrument(self.instrument)
        temperament = load_temperament_of(instrument, self.temperament, self.root)
        return around(temperament, instrument, self.drop, self.reference)

    def _tones(self, rig: Around, timbre: Timbre) -> Iterable[SoundingTone]:
        reference_hz = rig.reference_hz
        ways = [
            self.instrument is not None,
            self.hz is not None,
            self.low is not None or self.high is not None,
        ]
        if sum(ways) != 1:
            raise BadValue(
                "choose the tones in one way: --low and --high, or --hz, or --instrument with --grip"
            )
        if self.instrument is not None:
            return self._tones_of_instrument(self.instrument, rig, timbre)
        if self.changes is not None or self.grip is not None or self.fret or self.drop is not None:
            raise BadValue("--changes, --grip, --fret and --drop need an instrument; give --instrument")
        temperament = load_temperament(self.temperament, self.root or 0, self.root is not None)
        if self.hz is not None:
            return [_tone(written, "--hz", reference_hz, timbre, temperament) for written in self.hz]
        if self.low is None or self.high is None:
            raise BadValue("an interval needs both --low and --high")
        low = _tone(self.low, "--low", reference_hz, timbre, temperament)
        return [low, _tone(self.high, "--high", reference_hz, timbre, temperament, low.hz)]

    def _tones_of_instrument(self, name: str, rig: Around, timbre: Timbre) -> Iterable[SoundingTone]:
        instrument = presets.instrument(name)
        grip, state = choose_grip(instrument, self.grip, self.changes)
        temperament = load_temperament_of(instrument, self.temperament, self.root)
        return tones_of_grip(
            instrument, grip, state, self.fret, temperament, rig.drop, rig.reference_hz, timbre
        )


def refuse_silence(sounding: Sounding, tones: Sequence[Tone], sample_rate: int) -> None:
    """Raise BadValue for a tone too high for the sample rate, or when no partial of any tone is heard."""
    from tonegen.synthesis.bank import HIGHEST_CYCLES_PER_FRAME

    highest_hz = HIGHEST_CYCLES_PER_FRAME * sample_rate
    for tone in sounding.tones:
        if tone.hz >= highest_hz:
            raise BadValue(
                f"{tone.name} makes no sound: at a sample rate of {sample_rate} Hz partials go up to "
                f"{highest_hz:g} Hz; give a higher --sample-rate"
            )
    if not any(tone.heard_levels()[tone.partial_multiples() * tone.hz < highest_hz].any() for tone in tones):
        raise BadValue(
            "--only-beating: no partials of these tones beat with each other; give two tones or more, and a "
            "timbre that has the partials, such as harmonic"
        )


def load_temperament(name: str, root: int, root_was_given: bool) -> Temperament:
    """A temperament on a root; one of tuning points takes none."""
    temperament = presets.temperament(name)
    if isinstance(temperament, PitchClassTemperament):
        return temperament.on(root)
    if root_was_given:
        raise BadValue(
            f"--root: {temperament.name} gives every tuning point its own offset and takes no root"
        )
    return temperament


def load_temperament_of(instrument: Instrument, name: str, root: int | None) -> Temperament:
    """A temperament for an instrument, built on its root unless another is given."""
    return load_temperament(name, instrument.root if root is None else root, root is not None)


def choose_grip(
    instrument: Instrument, text: str | None, travels: Mapping[str, float] | None
) -> tuple[Grip, State]:
    """A grip by string numbers or by its saved name, and the state that it is played in.

    A saved grip brings its own changes unless others are given.
    """
    if text is None:
        raise BadValue("--grip: say which strings, such as 3,4,5, or the name of a saved grip")
    numbers = [part.strip() for part in text.replace("-", ",").split(",")]
    if all(part.isascii() and part.isdigit() and len(part) < 4 for part in numbers):
        state = instrument.state(travels or {})
        return instrument.grip_of(tuple(map(int, numbers)), state), state
    grip = instrument.grip(text)
    if travels is None:
        return grip, instrument.state(grip.changes)
    state = instrument.state(travels)
    return instrument.grip_of(grip.strings, state), state


def _tone(
    written: WrittenPitch,
    option: str,
    reference_hz: float,
    timbre: Timbre,
    temperament: Temperament | None = None,
    above_hz: float | None = None,
) -> SoundingTone:
    if written.key is not None:
        offset = written.cents + (temperament.offset_of_key(written.key) if temperament else 0.0)
        return tone_of_key(written.key, offset, reference_hz, written.text, timbre)
    try:
        hz = written.hz_at(reference_hz, above_hz=above_hz)
    except BadValue as error:
        raise BadValue(f"{option}: {error}") from None
    return tone_of_hz(hz, reference_hz, "" if written.hz is not None else written.text, timbre)


drop_option = click.option(
    "--drop", type=Preset("drops"),
    help="Cabinet drop; if left out, that with which the temperament was made, else none.",
)  # fmt: skip
reference_option = click.option(
    "--reference", type=float, help="A4 in Hz; if left out, that of the temperament, else 440."
)
_OPTIONS = (
    click.option("--low", type=PITCH, help="Lower tone: a note (A3), with cents (A3+5), or Hz."),
    click.option("--high", type=PITCH, help="Upper tone: the same, or cents above the lower (386.3c)."),
    click.option("--ratio", type=Parsed("ratio", Ratio.parse), help="The ratio it stands for, such as 5:4."),
    click.option("--hz", type=Parsed("hz,hz", parse_hz_list), help="Any number of tones, in Hz or as notes."),
    click.option("--instrument", type=Preset("instruments"), help="An instrument, by name or TOML file."),
    click.option("--changes", type=Parsed("A,B", parse_travels), help="Pedals and levers; DD:0.5 is half."),
    click.option(
        "--grip", metavar="3,4,5", shell_complete=complete_grips,
        help="Strings picked together, or a saved grip of the instrument.",
    ),
    click.option("--fret", type=float, default=0.0, show_default=True, help="Bar position."),
    click.option(
        "--temperament", type=Preset("temperaments"), default="equal", show_default=True,
        help="A temperament, or one of your own.",
    ),
    click.option("--root", type=Parsed("note", parse_pitch_class), help="The root of the temperament."),
    drop_option,
    click.option("--against", type=PITCH, help="A bass note, in equal temperament, to hear it against."),
    reference_option,
    click.option(
        "--timbre", type=Preset("timbres"), default="harmonic", show_default=True,
        help="Partials of the tones; with \"string\" they are stretched by each string's stiffness.",
    ),
)  # fmt: skip


def asks_what_sounds(command: Command) -> Command:
    """Give a command the shared options, gathered in one `AskedTones` named `asked`."""

    @wraps(command)
    def gathered(**options: Any) -> Any:
        asked = AskedTones(**{field.name: options.pop(field.name) for field in fields(AskedTones)})
        return command(asked=asked, **options)

    for option in reversed(_OPTIONS):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]


def asks_how_it_sounds(command: Command) -> Command:
    """Give a command the options of level, ears and partials."""
    for option in reversed((
        click.option(
            "--level", type=float, default=-24.0, show_default=True,
            help="Ceiling for all tones together, in dB of full scale; -6 at most.",
        ),
        click.option("--split", is_flag=True, help="The lowest tone in the left ear, the rest in the right."),
        click.option("--only-beating", is_flag=True, help="Only the partials that beat."),
    )):  # fmt: skip
        command = option(command)
    return command
