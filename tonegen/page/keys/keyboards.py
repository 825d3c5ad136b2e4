"""Keyboards and samplers brought to the steel from a page: planned, sent, passed through and put back.

All that waits for a port happens in a process of its own, in the order in which it was asked of it.
"""

import asyncio
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Final, TypeVar

from msgspec import Struct

from tonegen import presets
from tonegen.errors import BadPreset, BadValue, NoSuchDevice, TonegenError
from tonegen.keys.live import Presence
from tonegen.keys.plan import plan as plan_of
from tonegen.keys.ports_process import Bench, PortsProcess, ports
from tonegen.keys.receivers import Osc, Receiver, receiver
from tonegen.keys.scale import Elsewhere, Policy, scale_of_rig
from tonegen.pitch import note_name, pitch_class_name
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Hands, Record
from tonegen.words import beats_a_second, signed

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan

Result = TypeVar("Result")

_LOOK_SECONDS: Final = 0.5
_ENDING_SECONDS: Final = 25.0
_GATHER_SECONDS: Final = 0.03  # pedals and levers that move together are one state


class KeyRow(Struct, frozen=True):
    """A pitch class or a key: what the steel has there, what is sent, and what remains."""

    name: str
    wanted: str
    sent: str
    left: str


class KeysView(Record, tag="keys", frozen=True):
    """Receivers, ports and offsets. `status` is one of "", "sent", "gone"; `words` says it for a person."""

    receiver: str
    receivers: Mapping[str, str]
    policy: str
    policies: tuple[str, ...]
    follow: bool
    per: str
    by_osc: bool
    rows: tuple[KeyRow, ...]
    spread: tuple[str, ...]
    worst: str
    outputs: tuple[str, ...]
    inputs: tuple[str, ...]
    status: str
    words: str


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
        self._fault = ""  # why there is no plan
        self._apart = PortsProcess()
        self._thread = ThreadPoolExecutor(1, "keyboards")
        self._watching: asyncio.Task[None] | None = None
        self._retuning: asyncio.Task[None] | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._wanted = False
        self._closing = False

    def follow(self, rig: Rig, playing: Hands) -> None:
        """Make the plan for the rig as it is now; a receiver that is tuned already follows."""
        if self._elsewhere is None or self._elsewhere.instrument is not rig.instrument:
            self._elsewhere = Elsewhere(rig.instrument)
        try:
            scale = scale_of_rig(
                rig, playing, follow=self.chosen.follow, policy=Policy(self.chosen.policy),
                elsewhere=self._elsewhere,
            )  # fmt: skip
            self._plan, self._fault = plan_of(scale, self._receiver), ""
        except BadValue as error:
            self._plan, self._fault = None, str(error)
        if self._status == "sent" and self._plan is not None and not self._closing:
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
        if self._status:
            raise BadValue("a receiver is tuned; put it back first")
        kind, _, name = where.partition(" ")
        if not name or kind not in (("osc",) if isinstance(self._receiver, Osc) else ("midi", "virtual")):
            raise BadValue(f'"{where[:60]}" is not a place that this receiver can be reached at')

        def begun(_: None) -> None:
            self._status, self._words = "sent", f"tuned, at {name}"
            if made.receiver.moves_what_sounds:
                self._words += "; send your notes through, or a change of tuning moves notes that sound"
            self._watching = asyncio.get_running_loop().create_task(self._watch(name))

        self._do(lambda: self._apart.call(Bench.tune, where, made), begun)

    def pass_through(self, port: str) -> None:
        """Retune what a keyboard plays into a port on its way to the receiver."""
        made = self._plan
        if made is None or not self._status:
            raise BadValue("send the tuning first, then notes can pass through")

        def begun(to_know: str) -> None:
            if to_know:
                self._complain(to_know)
            tuned_at = self._words.split(";")[0]
            self._words = f"{tuned_at}; notes pass through from {port.removeprefix('virtual ')}"

        self._do(lambda: self._apart.call(Bench.pass_through, port, made), begun)

    def panic(self) -> None:
        """End all notes at the receiver; nothing to do where none is tuned."""
        if self._status:
            self._do(lambda: self._apart.call(Bench.panic), lambda _: None)

    def put_back(self) -> None:
        """Take everything back and let go of the ports."""
        if self._watching is not None:
            self._watching.cancel()
            self._watching = None

        def ended(_: None) -> None:
            self._status, self._words = "", "put back"

        self._do(lambda: self._apart.call(Bench.put_back), ended)

    async def close(self) -> None:
        """Put back, and wait for it."""
        self._closing = True  # nothing is retuned or watched any more, whatever was still under way
        for task in (self._watching, self._retuning):
            if task is not None:
                task.cancel()
        loop = asyncio.get_running_loop()
        await asyncio.wait([loop.run_in_executor(self._thread, self._apart.close)], timeout=_ENDING_SECONDS)
        self._thread.shutdown(wait=False)

    # ------------------------------------------------------------------ in the event loop

    def _do(self, what: Callable[[], Result], then: Callable[[Result], None]) -> None:
        """Do something that waits, in the thread, then say what came of it."""
        loop = asyncio.get_running_loop()
        doing = loop.run_in_executor(self._thread, what)  # now: what is asked later, the end too, comes after

        async def run() -> None:
            try:
                result = await doing
            except TonegenError as error:
                self._complain(str(error))
            else:
                if not self._closing:
                    then(result)
            self._show(self.view())

        task = loop.create_task(run())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _retune(self) -> None:
        """Send the newest plan; while one is under way the next waits, and only the last is sent."""
        self._wanted = True
        if self._retuning is None:
            self._retuning = asyncio.get_running_loop().create_task(self._retune_until_done())

    async def _retune_until_done(self) -> None:
        loop = asyncio.get_running_loop()
        try:
            while self._wanted:
                await asyncio.sleep(_GATHER_SECONDS)
                self._wanted = False
                made = self._plan
                if made is not None:
                    await loop.run_in_executor(self._thread, self._apart.call, Bench.retune, made)
        except TonegenError as error:
            self._complain(str(error))
        finally:
            self._retuning = None

    async def _watch(self, name: str) -> None:
        """Say so when the port goes away, and when it is back."""
        loop = asyncio.get_running_loop()
        tuned = self._words
        told: set[str] = set()
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            try:
                presence = await loop.run_in_executor(self._thread, self._apart.call, Bench.look)
                cautions = await loop.run_in_executor(self._thread, self._apart.call, Bench.cautions)
            except NoSuchDevice as error:
                self._complain(str(error))
                self._status = self._words = ""
                self._show(self.view())
                return
            for words in set(cautions) - told:
                told.add(words)
                self._complain(words)
            status = "gone" if presence is Presence.GONE else "sent"
            if status != self._status:
                self._status = status
                gone = f"{name} is gone; it will be tuned again when it comes back"
                self._words = gone if status == "gone" else tuned
                self._show(self.view())


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


def _worst(made: "Plan | None") -> str:
    if made is None:
        return ""
    worst = made.worst_left
    return f"at worst {abs(worst.cents):.3f} cents off, {beats_a_second(worst.beats_per_second, 3)}"
