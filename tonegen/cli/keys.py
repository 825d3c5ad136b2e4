"""tonegen keys."""

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tonegen import presets
from tonegen.cli.asked import (
    Parsed,
    Preset,
    load_drop,
    load_temperament,
    load_temperament_of,
    parse_travels,
)
from tonegen.cli.show import as_json, print_json, print_table, signed
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz, parse_pitch_class
from tonegen.writing import written_whole

if TYPE_CHECKING:
    from tonegen.keys.desk import Desk
    from tonegen.keys.live import Rig
    from tonegen.keys.messages import Tuning
    from tonegen.keys.plan import Plan
    from tonegen.keys.receivers import Receiver
    from tonegen.keys.tones import Tones

Command = TypeVar("Command", bound=Callable[..., Any])
_LOOK_SECONDS = 0.25
_LARGEST_MIDI_FILE_BYTES = 200_000_000


@click.group(invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Bring keyboards and samplers to the temperament, by MIDI and OSC.

    \b
    tonegen keys plan --instrument e9-ten-string --fret 3 --receiver twelve-channel-bend
    tonegen keys file in.mid out.mid --temperament five-limit-just --root G --receiver mpe
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def parse_pair(text: str) -> tuple[str, str]:
    """NAME=VALUE. Raises BadValue."""
    name, equals, value = text.rpartition("=")
    if not (equals and name.strip() and value.strip()):
        raise BadValue(f'"{text}" needs a name, an equals sign and a value')
    return name.strip(), value.strip()


def parse_song(text: str) -> tuple[str, int]:
    """A song's name and the pitch class of its key, "Waltz=D". Raises BadValue."""
    name, key = parse_pair(text)
    return name, parse_pitch_class(key)


def parse_weight(text: str) -> tuple[str, float]:
    """A grip's name and how much it counts. Raises BadValue."""
    name, number = parse_pair(text)
    try:
        weight = float(number)
    except ValueError:
        weight = -1.0
    if not 0 <= weight < float("inf"):
        raise BadValue(f'"{number}" is not a weight; give 0 or more, such as 2')
    return name, weight


def parse_pedal(text: str) -> tuple[int, str]:
    """A controller number and the change that it moves, "20=A". Raises BadValue."""
    number, change = parse_pair(text)
    if not (number.isascii() and number.isdigit() and int(number) < 120):
        raise BadValue(f'"{number}" is not a MIDI controller; give 0 to 119')
    return int(number), change


@dataclass(frozen=True, slots=True)
class AskedScale:
    """The options that say what the keyboards are brought to, as they were given."""

    instrument: str | None
    temperament: str
    root: int | None
    drop: str
    fret: float | None
    song_key: int | None
    changes: dict[str, float] | None
    grip: tuple[str, ...]
    weight: tuple[tuple[str, float], ...]
    policy: str | None
    fill: str
    reference: float

    def desk(self, receiver: "Receiver") -> "Desk":
        """The knobs set so. Raises BadValue for options that do not fit together."""
        from tonegen.keys.desk import Desk
        from tonegen.keys.scale import Policy, fret_of_song_key, scale_of_dumps
        from tonegen.temperament import OwnTemperament

        reference_hz = checked_reference_hz(self.reference)
        if self.temperament.lower().endswith(".syx"):
            return Desk(
                receiver, fixed_scale=scale_of_dumps(_tunings(Path(self.temperament)), reference_hz),
                reference_hz=reference_hz,
            )  # fmt: skip
        instrument_name = self.instrument
        if instrument_name is None:
            temperament = load_temperament(self.temperament, self.root or 0, self.root is not None)
            if not isinstance(temperament, OwnTemperament):
                self._refuse_without_instrument()
                return Desk(receiver, temperament, reference_hz=reference_hz)
            instrument_name = temperament.instrument_name
        instrument = presets.instrument(instrument_name)
        if self.fret is not None and self.song_key is not None:
            raise BadValue("--fret and --song-key both say where the bar is; give one")
        fret = self.fret or 0.0
        if self.song_key is not None:
            fret = fret_of_song_key(instrument, self.song_key)
        policy = self.policy or ("grip-first" if self.grip else "mean")
        for name, _ in self.weight:
            instrument.grip(name)
        return Desk(
            receiver,
            load_temperament_of(instrument, self.temperament, self.root),
            instrument,
            load_drop(instrument, self.drop),
            instrument.checked_fret(fret),
            dict(instrument.state(self.changes).travels) if self.changes is not None else {},
            self.changes is not None,
            self.grip,
            dict(self.weight),
            Policy(policy.replace("-", " ")),
            load_temperament(self.fill, 0, False),
            reference_hz,
        )

    def _refuse_without_instrument(self) -> None:
        given = [
            option
            for option, value in (
                ("--fret", self.fret), ("--song-key", self.song_key), ("--changes", self.changes),
                ("--grip", self.grip or None), ("--policy", self.policy),
            )
            if value is not None
        ]  # fmt: skip
        if given:
            raise BadValue(f"{' and '.join(given)} belong to an instrument; give --instrument")


def _tunings(path: Path) -> list["Tuning"]:
    """All tuning messages of a file of system exclusive messages."""
    from tonegen.keys.messages import parse_tuning
    from tonegen.keys.stream import Splitter

    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadValue(f"{path}: cannot be read: {(error.strerror or '').lower()}") from None
    messages = [message for message in Splitter().feed(data) if message[0] == 0xF0]
    if not messages:
        raise BadValue(f"{path}: holds no system exclusive message (F0 to F7)")
    try:
        return [parse_tuning(message) for message in messages]
    except BadValue as error:
        raise BadValue(f"{path}: {error}") from None


_NOTE = Parsed("note", parse_pitch_class)
_SCALE_OPTIONS = (
    click.option("--instrument", type=Preset("instruments"), help="Follow its strings; name or TOML file."),
    click.option(
        "--temperament", type=Preset("temperaments"), default="equal", show_default=True,
        help="A temperament, one of your own, or a tuning dump (.syx).",
    ),
    click.option("--root", type=_NOTE, help="What the temperament is built on."),
    click.option("--drop", type=Preset("drops"), default="none", show_default=True, help="Cabinet drop."),
    click.option("--fret", type=float, help="Bar position."),
    click.option("--song-key", type=_NOTE, help="The song's key, in place of --fret."),
    click.option(
        "--changes", type=Parsed("A,B", parse_travels), help="Follow all strings with these engaged."
    ),
    click.option("--grip", multiple=True, help="A saved grip to follow; give more, the first leads."),
    click.option(
        "--weight", multiple=True, type=Parsed("grip=number", parse_weight), help="How much a grip counts."
    ),
    click.option(
        "--policy", type=click.Choice(["grip-first", "mean", "least-beats"]),
        help="Who is right where strings disagree: the first grip, the mean, or least beats against it.",
    ),
    click.option(
        "--fill", type=Preset("temperaments"), default="equal", show_default=True,
        help="Gives the notes that no string plays.",
    ),
    click.option("--reference", type=float, default=REFERENCE_HZ, show_default=True, help="A4 in hz."),
)  # fmt: skip

_receiver = click.option(
    "--receiver", type=Preset("receivers"), required=True, help="What is tuned, by name or TOML file."
)
_out = click.option("--out", metavar="PORT", help="MIDI output, by name or part of it.")
_virtual_out = click.option("--virtual-out", metavar="NAME", help="Make a MIDI output of this name.")
_to = click.option("--to", metavar="HOST:PORT", help="Where OSC goes.")
_song = click.option(
    "--song", multiple=True, type=Parsed("name=key", parse_song), help="A song and its key, such as Waltz=D."
)
_seconds = click.option("--seconds", type=float, help="How long; until Ctrl-C when left out.")


def asks_for_a_scale(wrapped: Command) -> Command:
    """Give a command the options of the scale, gathered in one `AskedScale` named `asked`."""

    @wraps(wrapped)
    def gathered(**options: Any) -> Any:
        asked = AskedScale(**{field.name: options.pop(field.name) for field in fields(AskedScale)})
        return wrapped(asked=asked, **options)

    for option in reversed(_SCALE_OPTIONS):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]


@command.command(name="plan")
@asks_for_a_scale
@_receiver
@as_json
def plan_(asked: AskedScale, receiver: str, in_json: bool) -> None:
    """Show what each key will get, before anything is sent."""
    from tonegen.keys.receivers import receiver as load

    made = asked.desk(load(receiver)).plan()
    if in_json:
        print_json({"receiver": receiver, **_plan_json(made)})
    else:
        _print_plan(receiver, made)


def _plan_json(made: "Plan") -> dict[str, Any]:
    from tonegen.pitch import note_name

    rows = zip(
        made.scale.key_cents.tolist(), made.sent_cents.tolist(), made.left_cents.tolist(), made.hz.tolist(),
        strict=True,
    )  # fmt: skip
    return {
        "keys": [
            {
                "key": key,
                "note": note_name(key, made.scale.flats),
                "offset_cents": offset,
                "sent_cents": sent,
                "left_cents": left,
                "hz": hz,
            }
            for key, (offset, sent, left, hz) in enumerate(rows)
        ],
        "spread": [
            {
                "note": spread.note,
                "lowest_cents": spread.lowest_cents,
                "highest_cents": spread.highest_cents,
                "cents": spread.cents,
                "beats_per_second": spread.beats_per_second,
                "strings": list(spread.strings),
            }
            for spread in made.scale.spread
        ],
        "worst_left": {
            "cents": made.worst_left.cents,
            "beats_per_second": made.worst_left.beats_per_second,
        },
    }


def _print_plan(receiver: str, made: "Plan") -> None:
    from tonegen.pitch import note_name

    scale = made.scale
    heard = range(60, 72) if len(scale.heard_keys) == 88 else scale.heard_keys
    rows = [
        (
            note_name(key, scale.flats),
            signed(scale.key_cents[key]),
            signed(made.sent_cents[key], 3),
            signed(made.left_cents[key], 3),
            f"{made.hz[key]:.3f}",
            f"{abs(made.beats_left[key]):.3f}",
        )
        for key in heard
    ]
    print_table(
        ["key", ">wanted", ">sent", ">left", ">hz", ">beats/s left"],
        rows,
        f"{scale.name} to {receiver}; A4 = {scale.reference_hz:g} Hz, offsets in cents",
    )
    if scale.spread:
        print_table(
            ["note", ">lowest", ">highest", ">beats/s", "strings that disagree"],
            [
                (one.note, signed(one.lowest_cents), signed(one.highest_cents),
                 f"{one.beats_per_second:.2f}", "; ".join(one.strings))
                for one in scale.spread
            ],
        )  # fmt: skip
    worst = made.worst_left
    click.echo(
        f"At worst {abs(worst.cents):.3f} cents are left, {worst.beats_per_second:.3f} beats a second."
    )


@command.command()
@asks_for_a_scale
@click.option(
    "--receiver",
    "receivers",
    type=Preset("receivers"),
    required=True,
    multiple=True,
    help="What is tuned, by name or TOML file; give more where several share the port.",
)
@_out
@_virtual_out
@_to
@click.option("--out-syx", type=click.Path(path_type=Path), help="Write the tuning message to a file.")
@click.option("--keep", is_flag=True, help="Leave the receiver tuned and end; keys reset puts it back.")
@_seconds
@as_json
def send(
    asked: AskedScale,
    receivers: tuple[str, ...],
    out: str | None,
    virtual_out: str | None,
    to: str | None,
    out_syx: Path | None,
    keep: bool,
    seconds: float | None,
    in_json: bool,
) -> None:
    """Tune a receiver, keep it in tune, and put it back at the end.

    \b
    tonegen keys send --instrument e9-ten-string --fret 3 --receiver mts-octave --out PORT
    tonegen keys send --temperament quarter-comma-meantone --root C --receiver mts-bulk --out-syx tuning.syx
    """
    from tonegen.keys.receivers import check_together
    from tonegen.keys.receivers import receiver as load

    loaded = {name: load(name) for name in receivers}
    check_together(loaded)
    plans = {name: asked.desk(one).plan() for name, one in loaded.items()}
    live = bool(out or virtual_out or to)
    if live or out_syx is None:
        doors = [(_where(out, virtual_out, to, made), made) for made in plans.values()]
        with ExitStack() as stack:
            rigs = [stack.enter_context(_rig(where, made)) for where, made in doors]
            if keep:
                for rig in rigs:
                    rig.keep()
            else:
                click.echo("The receiver is tuned. Ctrl-C puts it back.", err=True)
                _stay([_looking(rig, rig.tune_again) for rig in rigs], seconds)
    if out_syx is not None:
        _write_syx(out_syx, list(plans.values()))
    if in_json:
        for name, made in plans.items():
            sent = {"messages": len(made.messages), "bytes": sum(map(len, made.messages))}
            print_json({"receiver": name, **sent, **_plan_json(made)})


def _write_syx(path: Path, plans: Sequence["Plan"]) -> None:
    sysex = b"".join(message for made in plans for message in made.messages if message[0] == 0xF0)
    if not sysex:
        raise BadValue("--out-syx: this receiver is not tuned by system exclusive messages; take an mts one")
    with written_whole(path, force=True) as beside:
        beside.write_bytes(sysex)


def _where(out: str | None, virtual_out: str | None, to: str | None, made: "Plan") -> str:
    """The door's text for the guard. Raises BadValue unless exactly the right one was given."""
    from tonegen.keys.osc_port import parse_address
    from tonegen.keys.receivers import Osc

    given = [text for text in (out, virtual_out, to) if text]
    if isinstance(made.receiver, Osc):
        if len(given) != 1 or not to:
            raise BadValue("an OSC receiver needs --to HOST:PORT, such as --to 127.0.0.1:9000")
        parse_address(to)
        return f"osc {to}"
    if len(given) != 1 or to:
        raise BadValue("say where MIDI goes: --out PORT (see: tonegen keys ports), or --virtual-out NAME")
    return f"midi {out}" if out else f"virtual {virtual_out}"


@contextmanager
def _rig(where: str, made: "Plan") -> Iterator["Rig"]:
    from tonegen.keys.live import Rig

    rig = Rig(where, made)
    try:
        yield rig
    finally:
        rig.close()


def _looking(rig: "Rig", came_back: Callable[[], None]) -> Callable[[], None]:
    """A look at the receiver, told to the player when it goes and when it comes back."""
    from tonegen.keys.live import Presence

    was = [Presence.THERE]

    def look() -> None:
        now = rig.look()
        if now is Presence.GONE and was[0] is not Presence.GONE:
            click.echo("The receiver has gone; it will be tuned again when it is back.", err=True)
        if now is Presence.BACK:
            came_back()
            click.echo("The receiver is back, and tuned.", err=True)
        was[0] = now

    return look


def _stay(
    each_time: Sequence[Callable[[], None]], seconds: float | None, wake: threading.Event | None = None
) -> None:
    """Do these again and again until the time is over or Ctrl-C; at once when woken."""
    from time import monotonic

    if seconds is not None and not seconds > 0:
        raise BadValue(f"--seconds {seconds:g} is not possible; give more than 0")
    wake = wake or threading.Event()
    until = monotonic() + seconds if seconds is not None else float("inf")
    try:
        while (left := until - monotonic()) > 0:
            wake.wait(min(_LOOK_SECONDS, left))
            wake.clear()
            for do in each_time:
                do()
    except KeyboardInterrupt:
        pass  # the usual way to end


@command.command()
@click.argument("source", metavar="IN.MID", type=click.Path(path_type=Path))
@click.argument("target", metavar="OUT.MID", type=click.Path(path_type=Path))
@asks_for_a_scale
@_receiver
@as_json
def file(source: Path, target: Path, asked: AskedScale, receiver: str, in_json: bool) -> None:
    """Retune a Standard MIDI File; tempo, tracks, programs and lyrics stay.

    \b
    tonegen keys file in.mid out.mid --temperament five-limit-just --root G --receiver mpe
    """
    from tonegen.keys.files import retune
    from tonegen.keys.receivers import receiver as load

    made = asked.desk(load(receiver)).plan()
    try:
        if source.stat().st_size > _LARGEST_MIDI_FILE_BYTES:
            raise BadValue(f"{source}: larger than 200 MB; that is no song")
        retuned = retune(source.read_bytes(), made)
    except OSError as error:
        raise BadValue(f"{source}: cannot be read: {(error.strerror or str(error)).lower()}") from None
    except BadValue as error:
        raise BadValue(f"{source}: {error}") from None
    with written_whole(target, force=True) as beside:
        beside.write_bytes(retuned.data)
    result = {
        "receiver": receiver,
        "notes": retuned.notes,
        "set_up_seconds": retuned.set_up_seconds,
        "clipped_bends": retuned.clipped,
        "worst_left": _plan_json(made)["worst_left"],
    }
    if in_json:
        print_json(result)
    else:
        click.echo(
            f"{target}: {retuned.notes} notes retuned; on a MIDI cable the set-up at the start "
            f"takes {retuned.set_up_seconds:.1f} s"
        )
    if retuned.clipped:
        click.echo(
            f"{retuned.clipped} bends reach beyond the bend range; raise bend_range_semitones", err=True
        )


@command.command()
@asks_for_a_scale
@_receiver
@click.option("--in", "in_port", metavar="PORT", help="MIDI input, by name or part of it.")
@click.option("--virtual-in", metavar="NAME", help="Make a MIDI input of this name.")
@_out
@_virtual_out
@_to
@click.option(
    "--pedal", multiple=True, type=Parsed("controller=change", parse_pedal),
    help="A MIDI controller that is a pedal or lever, such as 20=A; scale and tones follow it.",
)  # fmt: skip
@click.option(
    "--listen", "listen_at", metavar="HOST:PORT",
    help="Take OSC in as well, to move pedals, bar and temperament, and to play tones.",
)  # fmt: skip
@_song
@_seconds
def through(
    asked: AskedScale,
    receiver: str,
    in_port: str | None,
    virtual_in: str | None,
    out: str | None,
    virtual_out: str | None,
    to: str | None,
    pedal: tuple[tuple[int, str], ...],
    listen_at: str | None,
    song: tuple[tuple[str, int], ...],
    seconds: float | None,
) -> None:
    """Retune what is played, as it is played.

    \b
    tonegen keys through --in PORT --out PORT --receiver mpe --temperament my-e9
    """
    from tonegen.keys.live import Pedals, Through
    from tonegen.keys.ports import MidiInput
    from tonegen.keys.receivers import receiver as load

    if bool(in_port) == bool(virtual_in):
        raise BadValue("say where notes come from: --in PORT (see: tonegen keys ports), or --virtual-in NAME")
    desk = asked.desk(load(receiver))
    desk.songs = dict(song)
    made = desk.plan()
    for _, change in pedal:
        if desk.instrument is None:
            raise BadValue("--pedal moves a change of an instrument; give --instrument")
        desk.instrument.change(change)
    where = _where(out, virtual_out, to, made)
    with ExitStack() as stack:
        rig = stack.enter_context(_rig(where, made))
        player = Through(made, rig.door.send, dict(pedal))
        stack.callback(player.finish)
        source = MidiInput(in_port or virtual_in or "", player.receive, virtual=bool(virtual_in))
        stack.callback(source.close)

        def retuned(made: "Plan") -> None:
            player.retune(made)
            rig.retune(made, send=player.rotation is None)

        pedals = Pedals(desk.move, lambda why: click.echo(f"tonegen: {why}", err=True))
        plays = [True]

        def listen() -> None:
            if plays[0] and not source.is_there():
                plays[0] = False
                player.finish()  # its note-offs will not come any more
                click.echo("The keyboard has gone; it will be heard again when it is back.", err=True)
            elif not plays[0] and source.reconnect():
                plays[0] = True
                click.echo("The keyboard is back.", err=True)

        desk.changed = retuned
        heard = f"; listening at {_driven_by_osc(stack, desk, listen_at)}" if listen_at else ""
        click.echo(f"Notes pass through retuned{heard}. Ctrl-C ends and puts the receiver back.", err=True)
        _keep_pauses_short()

        def follow() -> None:
            pedals.follow(player.travels)

        _stay([_looking(rig, player.start_over), follow, listen], seconds, player.moved)


def _driven_by_osc(stack: ExitStack, desk: "Desk", listen: str) -> str:
    """Let OSC turn the desk's knobs and play tones; where it is heard, its port a real one."""
    from tonegen.keys.osc_port import OscInput, parse_address

    host, port = parse_address(listen)
    desk.sounder = speakers = _Speakers()
    stack.callback(speakers.close)
    source = OscInput(desk, host, port)
    stack.callback(source.close)
    return f"{host}:{source.port}"


def _keep_pauses_short() -> None:
    """No pause of the interpreter between a note's arrival and its way out."""
    import gc
    import sys

    gc.collect()
    gc.freeze()
    gc.disable()  # what is made for each note is freed by its count alone
    sys.setswitchinterval(0.0005)


@command.command()
@_receiver
@_out
@_to
def reset(receiver: str, out: str | None, to: str | None) -> None:
    """Put a receiver back: notes off, bends to the centre, equal temperament.

    \b
    tonegen keys reset --out PORT --receiver mpe
    """
    import numpy as np

    from tonegen.keys.guard import open_door, send_all
    from tonegen.keys.plan import plan
    from tonegen.keys.receivers import receiver as load
    from tonegen.keys.scale import scale_of_classes

    made = plan(scale_of_classes("equal", np.zeros(12)), load(receiver))
    door = open_door(_where(out, None, to, made))
    try:
        send_all(door, made.undo, made.receiver.sysex_seconds)
    finally:
        door.close()


@command.command()
@as_json
def ports(in_json: bool) -> None:
    """List the MIDI ports there are."""
    from tonegen.keys.ports import inputs, outputs

    found = {
        "inputs": [port.name for port in inputs()],
        "outputs": [port.name for port in outputs()],
    }
    if in_json:
        print_json(found)
        return
    for kind, names in found.items():
        print_table([kind], [(name,) for name in names] or [("none",)])


@command.command()
@asks_for_a_scale
@_receiver
@_to
@click.option(
    "--listen", metavar="HOST:PORT", default="127.0.0.1:9001", show_default=True,
    help="Where OSC is taken in, to move pedals, bar and temperament.",
)  # fmt: skip
@_song
@_seconds
def osc(
    asked: AskedScale,
    receiver: str,
    to: str | None,
    listen: str,
    song: tuple[tuple[str, int], ...],
    seconds: float | None,
) -> None:
    """Tune by OSC, and let OSC move pedals, bar, temperament and tones.

    \b
    tonegen keys osc --temperament my-e9 --to 127.0.0.1:9000 --receiver osc-per-key
    """
    from tonegen.keys.receivers import Osc
    from tonegen.keys.receivers import receiver as load

    loaded = load(receiver)
    if not isinstance(loaded, Osc):
        raise BadValue(f"{receiver} is sent MIDI, not OSC; take an osc receiver, or tonegen keys send")
    desk = asked.desk(loaded)
    desk.songs = dict(song)
    made = desk.plan()
    with ExitStack() as stack:
        rig = stack.enter_context(_rig(_where(None, None, to, made), made))
        desk.changed = rig.retune
        heard = _driven_by_osc(stack, desk, listen)
        click.echo(f"Tuned by OSC; listening at {heard}. Ctrl-C puts it back.", err=True)
        _stay([], seconds)


class _Speakers:
    """Tones on the default sound device, which is opened when the first is asked for, and then stays open."""

    def __init__(self) -> None:
        self._tones: Tones | None = None
        self._thread: threading.Thread | None = None
        self._end = threading.Event()

    def play(self, hz: Mapping[str, float]) -> None:
        if self._tones is None or self._thread is None or not self._thread.is_alive():
            self._tones = self._opened()
        self._tones.play(hz)

    def glide(self, hz: Mapping[str, float]) -> None:
        if self._tones is not None:
            self._tones.glide(hz)

    def stop(self) -> None:
        if self._tones is not None:
            self._tones.stop()

    def close(self) -> None:
        self._end.set()
        if self._thread is not None:
            self._thread.join(5.0)

    def _opened(self) -> "Tones":
        from tonegen.keys.tones import Tones
        from tonegen.player import HEARING_CAUTION, Player
        from tonegen.sound.device import choose, output_devices, play

        device = choose(None, output_devices())
        player = Player(device.sample_rate, channels=min(device.channels, 2))
        click.echo(HEARING_CAUTION, err=True)

        def sound() -> None:
            try:
                play(player, device, stop=self._end)
            except NoSuchDevice as error:
                click.echo(f"tonegen: {error}", err=True)

        self._thread = threading.Thread(target=sound, name="tones", daemon=True)
        self._thread.start()
        return Tones(player, presets.timbre("harmonic"))
