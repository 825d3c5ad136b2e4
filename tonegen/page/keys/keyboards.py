"""Keyboards and samplers brought to the steel from a page: planned, sent, passed through and put back.

All that waits for a port happens in a process of its own, in the order in which it was asked of it.
"""

import asyncio
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, TypeVar

from msgspec import Struct

from tonegen import presets
from tonegen.errors import BadPreset, BadValue, NoSuchDevice, TonegenError
from tonegen.keys.explained import KeyExplained, explained
from tonegen.keys.leads import check_follows, usual_following
from tonegen.keys.live import Presence
from tonegen.keys.plan import plan as plan_of
from tonegen.keys.ports_process import Bench, ports
from tonegen.keys.receivers import Osc, Receiver, receiver
from tonegen.keys.scale import Elsewhere, Policy, scale_of_rig, scale_of_temperament, strings_of_rig
from tonegen.page.apart import BenchApart
from tonegen.pitch import note_name, pitch_class_name
from tonegen.setlist.records import Lead
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Hands, Record
from tonegen.temperament import EQUAL
from tonegen.words import beats_a_second, signed

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan

Result = TypeVar("Result")

_LOOK_SECONDS: Final = 0.5
_GATHER_SECONDS: Final = 0.03  # pedals and levers that move together are one state


class KeyRow(Struct, frozen=True):
    """A pitch class or a key: what the steel has there, what is sent, and what remains."""

    name: str
    wanted: str
    sent: str
    left: str


class ChordRow(Struct, frozen=True):
    """A note that sounds: the offset that it got, and which neighbours asked for what."""

    name: str
    got: str
    asked: tuple[str, ...]


class KeysView(Record, tag="keys", frozen=True):
    """Receivers, ports and offsets. `words` say the status for a person.

    status : "", "sending", "sent" or "gone". seconds : that the sending takes on a MIDI cable; 0 by OSC.
    """

    receiver: str
    receivers: Mapping[str, str]
    policy: str
    policies: tuple[str, ...]
    follow: bool
    lead: str
    leads: tuple[str, ...]
    chord: tuple[ChordRow, ...]
    per: str
    by_osc: bool
    rows: tuple[KeyRow, ...]
    spread: tuple[str, ...]
    worst: str
    outputs: tuple[str, ...]
    inputs: tuple[str, ...]
    status: str
    words: str
    seconds: float


class Chosen(Struct, frozen=True):
    """What is chosen for the keyboards. `follow` takes all strings in the state of the pedals."""

    receiver: str = "twelve-channel-bend"
    policy: str = Policy.MEAN.value
    follow: bool = False


class Keyboards:
    """The receiver of one rig: what it would get, and the port that it is tuned through.

    show : takes the view whenever it changed; complain : a line for a person. Both in the event loop.
    """

    def __init__(self, show: Callable[[KeysView], None], complain: Callable[[str], None]) -> None:
        """Nothing is looked for, and nothing sent."""
        self.chosen = Chosen()
        self._show = show
        self._complain = complain
        self._receiver: Receiver = receiver(self.chosen.receiver)
        self._plan: Plan | None = None
        self._elsewhere: Elsewhere | None = None
        self._outputs: tuple[str, ...] = ()
        self._inputs: tuple[str, ...] = ()
        self._status = self._words = ""
        self._seconds = 0.0
        self._fault = ""  # why there is no plan
        self._lead = Lead.OFF
        self._strings: tuple[tuple[int, float], ...] = ()
        self._chord: tuple[tuple[int, float], ...] = ()  # key and offset of what sounds
        self._bench = BenchApart(lambda: Bench)
        self._watching: asyncio.Task[None] | None = None
        self._retuning: asyncio.Task[None] | None = None
        self._wanted = False

    def follow(self, rig: Rig, playing: Hands) -> None:
        """Make the plan for the rig as it is now; a receiver that is tuned already follows."""
        if self._elsewhere is None or self._elsewhere.instrument is not rig.instrument:
            self._elsewhere = Elsewhere(rig.instrument)
        try:
            scale = scale_of_rig(
                rig, playing, follow=self.chosen.follow, policy=Policy(self.chosen.policy),
                elsewhere=self._elsewhere,
            )  # fmt: skip
            if self._lead is Lead.BASS:
                scale = scale_of_temperament(EQUAL, rig.reference_hz)
            made = plan_of(scale, self._receiver)
            if self._lead is not Lead.OFF:
                check_follows(made, self._lead, usual_following(self._lead))
            self._strings = strings_of_rig(rig, playing) if self._lead is Lead.STEEL else ()
            self._plan, self._fault = made, ""
        except BadValue as error:
            self._plan, self._fault = None, str(error)
        if self._status == "sent" and self._plan is not None and not self._bench.closing:
            self._retune()

    def choose(self, name: str, policy: str, follow: bool) -> None:
        """Another receiver or policy. Raises BadPreset or BadValue; another receiver only once put back."""
        chosen = Chosen(name, policy, follow)
        if policy not in [one.value for one in Policy]:
            raise BadValue(f'"{policy[:40]}" is an unknown choice; choose one of those shown')
        if chosen.receiver != self.chosen.receiver:
            if self._status:
                raise BadValue("put the receiver back before choosing another")
            if chosen.receiver not in presets.names("receivers"):
                raise BadPreset(f'there is no receiver called "{chosen.receiver[:40]}"')
            self._receiver = receiver(chosen.receiver)
        self.chosen = chosen
        if not self._status:
            self._words = ""

    def be_led(self, lead: str) -> None:
        """Have new notes follow the chord, by whoever leads, from the next `follow` on. Raises BadValue."""
        if lead not in list(Lead):
            raise BadValue(f'"{lead[:40]}" is an unknown choice; choose one of those shown')
        self._lead, self._chord = Lead(lead), ()

    def view(self) -> KeysView:
        """What pages show."""
        made = self._plan
        per_class = made is not None and made.per_class
        return KeysView(
            self.chosen.receiver,
            {name: presets.files.title("receivers", name) for name in presets.names("receivers")},
            self.chosen.policy,
            tuple(policy.value for policy in Policy),
            self.chosen.follow,
            self._lead.value,
            tuple(one.value for one in Lead),
            tuple(map(_chord_row, explained(self._chord, self._strings))),
            "pitch class" if per_class else "key",
            isinstance(self._receiver, Osc),
            _rows(made, per_class) if made else (),
            tuple(
                f"{one.note}: {signed(one.lowest_cents, 1)} to {signed(one.highest_cents, 1)} cents, "
                f"{beats_a_second(one.beats_per_second)}; {'; '.join(one.strings)}"
                for one in (made.scale.spread if made else ())
            ),
            _worst(made),
            self._outputs,
            self._inputs,
            self._status,
            self._fault or self._words,
            self._seconds,
        )

    def plan(self) -> "Plan":
        """The plan for what is chosen. Raises BadValue where the rig allows none."""
        if self._plan is None:
            raise BadValue(self._fault)
        return self._plan

    def look_for_ports(self) -> None:
        """List the MIDI ports."""

        def seen(found: tuple[tuple[str, ...], tuple[str, ...]]) -> None:
            self._outputs, self._inputs = found

        self._do(ports, seen)

    def send(self, where: str) -> None:
        """Tune the receiver at "midi NAME", "virtual NAME" or "osc HOST:PORT", under a guard.

        Raises BadValue where there is nothing to send, or it cannot go there.
        """
        made = self.plan()
        name = self._checked(where)

        def begun(_: None) -> None:
            self._status, self._words = "sent", f"tuned, at {name}"
            if made.receiver.moves_what_sounds:
                self._words += "; pass your notes through here, or held notes move with the tuning"
            self._watching = asyncio.get_running_loop().create_task(self._watch(name))
            if self._plan not in (made, None):  # the rig moved on meanwhile
                self._retune()

        def refused() -> None:
            self._status = self._words = ""

        size, self._seconds = _size_and_seconds(made, where)
        self._status, self._words = "sending", f"sending {size} bytes to {name}"
        self._do(lambda: self._bench.call(Bench.tune, where, made), begun, refused)

    def to_measure(self, where: str) -> tuple[str, Receiver]:
        """The receiver that is chosen, by its name, to be heard at a place as for `send`. Raises BadValue."""
        self._checked(where)
        return self.chosen.receiver, self._receiver

    def _checked(self, where: str) -> str:
        """The name of a place that the receiver can be reached at while it is not tuned. Raises BadValue."""
        if self._status:
            raise BadValue("a receiver is tuned; put it back first")
        kind, _, name = where.partition(" ")
        if not name or kind not in (("osc",) if isinstance(self._receiver, Osc) else ("midi", "virtual")):
            raise BadValue(f'"{where[:60]}" is not a place that this receiver can be reached at')
        return name

    def pass_through(self, port: str) -> None:
        """Retune what a keyboard plays into a port on its way to the receiver."""
        made = self._plan
        if made is None or self._status not in ("sent", "gone"):
            raise BadValue("send the tuning first, then notes can pass through")

        def begun(to_know: str) -> None:
            if to_know:
                self._complain(to_know)
            tuned_at = self._words.split(";")[0]
            self._words = f"{tuned_at}; notes pass through from {port.removeprefix('virtual ')}"

        lead, strings = self._lead, self._strings

        def pass_through() -> str:
            to_know = self._bench.call(Bench.pass_through, port, made)
            self._bench.call(Bench.follow, made, lead, strings)
            return to_know

        self._do(pass_through, begun)

    def panic(self) -> None:
        """End all notes at the receiver; nothing to do where none is tuned."""
        if self._status:
            self._do(lambda: self._bench.call(Bench.panic), lambda _: None)

    def put_back(self) -> None:
        """Take everything back and let go of the ports."""
        if self._watching is not None:
            self._watching.cancel()
            self._watching = None

        def ended(_: None) -> None:
            self._status, self._words = "", "put back"

        self._words = "putting it back"
        self._do(lambda: self._bench.call(Bench.put_back), ended)

    async def close(self) -> None:
        """Put back, and wait for it."""
        for task in (self._watching, self._retuning):
            if task is not None:
                task.cancel()
        await self._bench.close()

    # ------------------------------------------------------------------ in the event loop

    def _do(
        self,
        what: Callable[[], Result],
        then: Callable[[Result], None],
        refused: Callable[[], None] = lambda: None,
    ) -> None:
        """Do something that waits, then say what came of it."""
        self._bench.tell(what, then, self._complain, lambda: self._show(self.view()), refused)

    def _retune(self) -> None:
        """Send the newest plan; while one is under way the next waits, and only the last is sent."""
        self._wanted = True
        if self._retuning is None:
            self._retuning = asyncio.get_running_loop().create_task(self._retune_until_done())

    async def _retune_until_done(self) -> None:
        try:
            while self._wanted:
                await asyncio.sleep(_GATHER_SECONDS)
                self._wanted = False
                made = self._plan
                if made is not None:
                    await self._bench.ask(Bench.retune, made)
                    await self._bench.ask(Bench.follow, made, self._lead, self._strings)
        except TonegenError as error:
            self._complain(str(error))
        finally:
            self._retuning = None

    async def _watch(self, name: str) -> None:
        """Say so when the port goes away, and when it is back."""
        tuned = self._words
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            try:
                presence = await self._bench.ask(Bench.look)
                told = await self._bench.ask(Bench.told)
                chord = await self._bench.ask(Bench.chord)
            except NoSuchDevice as error:
                self._complain(str(error))
                self._status = self._words = ""
                self._show(self.view())
                return
            for words in told:
                self._complain(words)
            if chord != self._chord:
                self._chord = chord
                self._show(self.view())
            status = "gone" if presence is Presence.GONE else "sent"
            if status != self._status:
                self._status = status
                gone = f"{name} is gone; it will be tuned again when it comes back"
                self._words = gone if status == "gone" else tuned
                self._show(self.view())


def _size_and_seconds(made: "Plan", where: str) -> tuple[int, float]:
    """How many bytes tune a receiver, and how long they take on a MIDI cable; 0 by OSC."""
    from tonegen.keys.set_times import song_costs
    from tonegen.keys.sets import set_of_one_song

    name = "receiver"
    ((cost,),) = song_costs(set_of_one_song({name: made}, {name: where}))
    return cost.bytes, (cost.seconds or 0.0) + cost.pause_seconds


def _rows(made: "Plan", per_class: bool) -> tuple[KeyRow, ...]:
    scale = made.scale
    keys = range(60, 72) if per_class else range(128)
    return tuple(
        KeyRow(
            pitch_class_name(key, scale.flats) if per_class else f"{key} {note_name(key, scale.flats)}",
            signed(float(scale.class_cents[key % 12] if per_class else scale.key_cents[key])),
            signed(float(made.sent_cents[key]), 3),
            signed(float(made.left_cents[key]), 3),
        )
        for key in keys
    )


def _chord_row(one: KeyExplained) -> ChordRow:
    """The three neighbours that ask most."""
    return ChordRow(
        note_name(one.key),
        signed(one.cents, 1),
        tuple(
            f"{note_name(wish.key)}{' of the steel' if wish.elsewhere else ''}, "
            f"{signed(wish.wants_cents, 1)} for {wish.ratio}"
            for wish in one.wishes[:3]
        ),
    )


def _worst(made: "Plan | None") -> str:
    if made is None:
        return ""
    worst = made.worst_left
    return f"at worst {abs(worst.cents):.3f} cents off, {beats_a_second(worst.beats_per_second, 3)}"
