"""What the keyboards are brought to, and where it goes: the options that the keys commands share."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from tonegen import presets
from tonegen.cli.asked import (
    TEXT,
    Parsed,
    Preset,
    drop_option,
    from_0,
    gathers,
    parse_travels,
    reference_option,
)
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz, parse_pitch_class, parse_song_key
from tonegen.reading import read_whole
from tonegen.setup.context import rig_asked_for
from tonegen.setup.moves import bar, stand
from tonegen.setup.rig import Bare, bare_of
from tonegen.setup.setting import Hands, Setup, Song
from tonegen.temperament import OwnTemperament, on_root

if TYPE_CHECKING:
    from tonegen.keys.desk import Desk
    from tonegen.keys.receivers import Receiver

Command = TypeVar("Command", bound=Callable[..., Any])
_LARGEST_MIDI_FILE_BYTES: Final = 200_000_000


def parse_pair(text: str) -> tuple[str, str]:
    """NAME=VALUE. Raises BadValue."""
    name, equals, value = text.rpartition("=")
    if not (equals and name.strip() and value.strip()):
        raise BadValue(f'"{text}" needs a name, an equals sign and a value')
    return name.strip(), value.strip()


def parse_song(text: str) -> Song:
    """A song and its key, "Waltz=D". Raises BadValue."""
    name, key = parse_pair(text)
    return Song(name, *parse_song_key(key))


def parse_weight(text: str) -> tuple[str, float]:
    """A grip's name and how much it counts. Raises BadValue."""
    name, number = parse_pair(text)
    return name, from_0(number, "not a weight")


def parse_seconds(text: str) -> float:
    """How long. Raises BadValue, before anything is sent."""
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not seconds > 0:
        raise BadValue(f'"{text}" is not a length of time; give seconds, more than 0')
    return seconds


@dataclass(frozen=True, slots=True)
class AskedScale(Frozen):
    """The options that say what the keyboards are brought to, as they were given."""

    instrument: str | None
    temperament: str
    root: int | None
    drop: str | None
    fret: float | None
    song_key: int | None
    changes: dict[str, float] | None
    grip: tuple[str, ...]
    weight: tuple[tuple[str, float], ...]
    policy: str | None
    fill: str
    reference: float | None

    def desk(self, receivers: "Mapping[str, Receiver]", songs: tuple[Song, ...] = ()) -> "Desk":
        """The knobs set so. Raises BadValue for options that do not fit together."""
        from tonegen.keys.desk import Desk
        from tonegen.keys.dumps import scale_of_file
        from tonegen.keys.scale import Policy

        songs = tuple({song.name: song for song in songs}.values())  # the last of a name
        reference_hz = checked_reference_hz(REFERENCE_HZ if self.reference is None else self.reference)
        if self.temperament.lower().endswith(".syx"):
            apart = (("--instrument", self.instrument), ("--root", self.root), *self._of_an_instrument)
            self._refuse("cannot be combined with a tuning dump, which is complete in itself", *apart)
            dump, cautions = scale_of_file(Path(self.temperament), reference_hz)
            for words in cautions:
                _say_once(words)
            return Desk(receivers, Bare(reference_hz=reference_hz), songs=songs, fixed_scale=dump)
        instrument_name = self.instrument
        if instrument_name is None:
            bare = bare_of(Setup("", self.temperament, self.root, reference_hz=reference_hz))
            if not isinstance(bare.targets, OwnTemperament):
                self._refuse(
                    "cannot be used without an instrument; give --instrument", *self._of_an_instrument
                )
                return Desk(receivers, bare, songs=songs)
            instrument_name = bare.targets.instrument_name
        rig, made_with = rig_asked_for(
            instrument_name, self.temperament, self.root, self.drop, self.reference
        )
        if self.fret is not None and self.song_key is not None:
            raise BadValue("--fret and --song-key both say where the bar is; give one")
        fret = self.fret or 0.0
        if self.song_key is not None:
            fret = rig.instrument.fret_of_key(self.song_key)
        policy = self.policy or ("grip-first" if self.grip else "mean")
        for name, _ in self.weight:
            rig.instrument.grip(name)
        hands = stand(rig.instrument, bar(rig.instrument, Hands(), fret), self.changes or {})
        _say_once(made_with)
        return Desk(
            receivers,
            rig,
            hands,
            songs,
            self.changes is not None,
            self.grip,
            dict(self.weight),
            Policy(policy.replace("-", " ")),
            on_root(presets.temperament(self.fill), None),
            stays=frozenset(
                part
                for part, value in (("drop", self.drop), ("reference_hz", self.reference))
                if value is not None
            ),
        )

    @property
    def _of_an_instrument(self) -> tuple[tuple[str, object], ...]:
        """The options that mean something with an instrument only; None for those not given."""
        return (
            ("--fret", self.fret), ("--song-key", self.song_key), ("--changes", self.changes),
            ("--grip", self.grip or None), ("--weight", self.weight or None), ("--policy", self.policy),
            ("--drop", self.drop),
            ("--fill", None if self.fill == "equal" else self.fill),
        )  # fmt: skip

    @staticmethod
    def _refuse(why: str, *options: tuple[str, object]) -> None:
        given = [option for option, value in options if value is not None]
        if given:
            raise BadValue(f"{' and '.join(given)} {why}")


def read_song(path: Path) -> bytes:
    """A MIDI file, whole. Raises BadValue for one that cannot be read."""
    return read_whole(path, _LARGEST_MIDI_FILE_BYTES, "larger than 200 MB; that is not a song")


def _say_once(words: str) -> None:
    """Say what the temperament brought along, or what is doubtful, however many receivers are tuned to it."""
    said = click.get_current_context().meta.setdefault(__name__, {""})
    if words not in said:
        said.add(words)
        click.echo(words, err=True)


_NOTE = Parsed("note", parse_pitch_class)
_SCALE_OPTIONS = (
    click.option("--instrument", type=Preset("instruments"), help="Follow its strings; name or TOML file."),
    click.option(
        "--temperament", type=Preset("temperaments"), default="equal", show_default=True,
        help="A temperament, one of your own, or a tuning dump (.syx).",
    ),
    click.option("--root", type=_NOTE, help="The root of the temperament."),
    drop_option,
    click.option("--fret", type=float, help="Bar position."),
    click.option("--song-key", type=_NOTE, help="The song's key, in place of --fret."),
    click.option(
        "--changes", type=Parsed("A,B", parse_travels), help="Follow all strings with these engaged."
    ),
    click.option("--grip", multiple=True, help="A saved grip to follow; give several, and the first leads."),
    click.option(
        "--weight", multiple=True, type=Parsed("grip=number", parse_weight), help="How much a grip counts."
    ),
    click.option(
        "--policy", type=click.Choice(["grip-first", "mean", "least-beats"]),
        help="What to follow where strings disagree: the first grip, the mean, or the fewest beats.",
    ),
    click.option(
        "--fill", type=Preset("temperaments"), default="equal", show_default=True,
        help="The temperament of notes that no string plays.",
    ),
    reference_option,
)  # fmt: skip

receiver_option = click.option(
    "--receiver", type=Preset("receivers"), required=True, help="The receiver to tune, by name or TOML file."
)
out_option = click.option("--out", type=TEXT, metavar="PORT", help="MIDI output, by name or part of it.")
virtual_out_option = click.option(
    "--virtual-out", type=TEXT, metavar="NAME", help="Create a virtual MIDI output with this name."
)
to_option = click.option("--to", metavar="HOST:PORT", help="Where to send OSC.")
song_option = click.option(
    "--song", multiple=True, type=Parsed("name=key", parse_song), help="A song and its key, such as Waltz=D."
)
mpe_keyboard_option = click.option(
    "--mpe-keyboard", is_flag=True,
    help="The keyboard that you play is in MPE mode; needed only where its first notes are not recognised.",
)  # fmt: skip
seconds_option = click.option(
    "--seconds", type=Parsed("number", parse_seconds), help="How long; until Ctrl-C if left out."
)


asks_for_a_scale = gathers(AskedScale, _SCALE_OPTIONS)
