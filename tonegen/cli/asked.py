"""What is asked to sound: the options that beats, play and render share, and the tones that they mean."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import wraps
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from tonegen import presets
from tonegen.errors import BadValue, TonegenError
from tonegen.frozen import Frozen
from tonegen.instrument import Grip, Instrument, State, parse_travel
from tonegen.interval import Ratio
from tonegen.pitch import REFERENCE_HZ, WrittenPitch, parse_pitch, parse_pitch_class
from tonegen.setup.context import rig_asked_for
from tonegen.setup.moves import grip_in_state
from tonegen.setup.rig import Bare, Rig, bare_of
from tonegen.setup.setting import Hands, Setup
from tonegen.sounding import Sounding, SoundingTone, sound, tone_as_written
from tonegen.synthesis.timbre import Tone
from tonegen.temperament import EQUAL, Temperament, fitted, on_root

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


def from_0(text: str, what: str) -> float:
    """A number, 0 or more. Raises BadValue, which says what it is not."""
    try:
        number = float(text)
    except ValueError:
        number = -1.0
    if not 0 <= number < float("inf"):
        raise BadValue(f'"{text}" is {what}; give 0 or more')
    return number


def parse_travels(text: str) -> Mapping[str, float]:
    """Changes that are engaged: "A,B", or with a travel from 0 to 1, "DD:0.5". Raises BadValue."""
    travels: dict[str, float] = {}
    for part in filter(str.strip, text.split(",")):
        name, travel = parse_travel(part)
        if name in travels:
            raise BadValue(f"change {name} is listed twice")
        travels[name] = travel
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

    def sounding(self) -> tuple[Sounding, str]:
        """What sounds, with every interval in it, and what the temperament brought along.

        Raises BadValue for options that do not fit together, BadPreset for a preset that is wrong.
        """
        ways = [
            self.instrument is not None,
            self.hz is not None,
            self.low is not None or self.high is not None,
        ]
        if sum(ways) != 1:
            raise BadValue(
                "choose the tones in one way: --low and --high, or --hz, or --instrument with --grip"
            )
        if self.instrument is None:
            bare = self._bare()
            return sound(self._tones(bare), bare.reference_hz, self.ratio), ""
        rig, made_with = rig_asked_for(
            self.instrument, self.temperament, self.root, self.drop, self.reference, self.timbre,
            "" if self.against is None else self.against.text,
        )  # fmt: skip
        grip, state = choose_grip(rig.instrument, self.grip, self.changes)
        sounding = rig.sounding(Hands(dict(state.travels), fret=self.fret), grip)
        return sound(sounding.tones, rig.reference_hz, self.ratio), made_with

    def _bare(self) -> Bare:
        """What is set without an instrument, from which no temperament brings anything along."""
        if self.changes is not None or self.grip is not None or self.fret or self.drop is not None:
            raise BadValue("--changes, --grip, --fret and --drop need an instrument; give --instrument")
        reference_hz = REFERENCE_HZ if self.reference is None else self.reference
        return bare_of(Setup("", self.temperament, self.root, reference_hz=reference_hz, timbre=self.timbre))

    def _tones(self, bare: Bare) -> tuple[SoundingTone, ...]:
        against = () if self.against is None else (_tone(self.against, "--against", bare, EQUAL),)
        if self.hz is not None:
            return (*against, *(_tone(written, "--hz", bare, bare.targets) for written in self.hz))
        if self.low is None or self.high is None:
            raise BadValue("an interval needs both --low and --high")
        low = _tone(self.low, "--low", bare, bare.targets)
        return (*against, low, _tone(self.high, "--high", bare, bare.targets, low.hz))


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


def load_temperament_of(instrument: Instrument, name: str, root: int | None) -> Temperament:
    """A temperament that fits an instrument, built on its root unless another is given."""
    return on_root(fitted(presets.temperament(name), instrument), root, instrument.root)


def choose_grip(
    instrument: Instrument, text: str | None, travels: Mapping[str, float] | None
) -> tuple[Grip, State]:
    """A grip by string numbers or by its saved name, and the state that it is played in.

    A saved grip brings its own changes unless others are given.
    """
    if text is None:
        raise BadValue("--grip: say which strings, such as 3,4,5, or the name of a saved grip")
    return grip_in_state(instrument, text, travels)


def _tone(
    written: WrittenPitch, option: str, bare: Bare, temperament: Temperament, above_hz: float | None = None
) -> SoundingTone:
    try:
        return tone_as_written(written, bare.reference_hz, bare.timbre, temperament, above_hz)
    except BadValue as error:
        raise BadValue(f"{option}: {error}") from None


drop_option = click.option(
    "--drop", type=Preset("drops"),
    help="Cabinet drop; if left out, that with which the temperament was made, else none.",
)  # fmt: skip
reference_option = click.option(
    "--reference", type=float, help="A4 in Hz; if left out, that of the temperament, else 440."
)
root_option = click.option(
    "--root", type=Parsed("note", parse_pitch_class), help="The root of the temperament."
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
    root_option,
    drop_option,
    click.option("--against", type=PITCH, help="A bass note, in equal temperament, to hear it against."),
    reference_option,
    click.option(
        "--timbre", type=Preset("timbres"), default="harmonic", show_default=True,
        help="Partials of the tones; with \"string\" they are stretched by each string's stiffness.",
    ),
)  # fmt: skip


stiff_option = click.option(
    "--timbre", "stiff", type=Preset("timbres"), default="string", show_default=True,
    callback=lambda _context, _parameter, name: presets.timbre(name).follows_string,
    help="Whose partials beat; harmonic leaves the strings' stiffness out.",
)  # fmt: skip


def gathers(record: type[Any], options: Sequence[Callable[[Any], Any]]) -> Callable[[Command], Command]:
    """Give a command these options, gathered in one record of their names that it takes as `asked`."""

    def give(command: Command) -> Command:
        @wraps(command)
        def gathered(**given: Any) -> Any:
            asked = record(**{field.name: given.pop(field.name) for field in fields(record)})
            return command(asked=asked, **given)

        for option in reversed(options):
            gathered = option(gathered)
        return gathered  # type: ignore[return-value]

    return give


asks_what_sounds = gathers(AskedTones, _OPTIONS)


@dataclass(frozen=True, slots=True)
class AskedRig:
    """An instrument and how it is tuned, as they were given."""

    instrument: str
    temperament: str
    root: int | None
    drop: str | None
    reference: float | None

    def rig(self) -> tuple[Rig, str]:
        """The rig, and what the temperament brought along. Raises BadValue and BadPreset."""
        return rig_asked_for(self.instrument, self.temperament, self.root, self.drop, self.reference)


def asks_for_a_rig(temperament_is: str) -> Callable[[Command], Command]:
    """Give a command the options of an instrument and its tuning; it takes them as `asked`."""
    return gathers(
        AskedRig,
        (
            click.option(
                "--instrument", type=Preset("instruments"), required=True, help="By name or TOML file."
            ),
            click.option(
                "--temperament", type=Preset("temperaments"), default="equal", show_default=True,
                help=temperament_is,
            ),
            root_option,
            drop_option,
            reference_option,
        ),
    )  # fmt: skip


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
