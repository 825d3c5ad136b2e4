"""The part of the page that hears what a receiver plays off by itself. Imports what it needs when asked."""

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar, Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.page.apart import BenchApart
from tonegen.page.asked import Asked
from tonegen.page.hearing.part import HearingPart
from tonegen.page.keys.part import KeysPart
from tonegen.page.measure import asks
from tonegen.page.part import Act, Host, Part
from tonegen.pitch import note_name, parse_keys
from tonegen.words import many, signed

if TYPE_CHECKING:
    from tonegen.keys.measured import HeardKey, HeardReceiver
    from tonegen.keys.receivers import Receiver
    from tonegen.page.measure.bench import ReceiverBench

_LOOK_SECONDS: Final = 0.3
_SECONDS_A_KEY: Final = 6
_ROUNDS: Final = (
    "as it is by itself",
    "moved, so that its steps show",
    "with all that was found taken back",
)


class OwnKeyRow(Struct, frozen=True):
    """A key: how far it is off equal by itself, how sure that is, and what is left; in cents."""

    note: str
    own: str
    within: str
    left: str


class ReceiverHeardView(Struct, tag="measuring", frozen=True):
    """How far a receiver is heard. plays : keys are being played. done, whole : notes of all rounds.

    found : it can be saved. to_know : what else is said of it, in sentences.
    """

    plays: bool = False
    done: int = 0
    whole: int = 0
    words: str = ""
    rows: tuple[OwnKeyRow, ...] = ()
    found: bool = False
    to_know: tuple[str, ...] = ()


def _bench() -> "type[ReceiverBench]":
    from tonegen.page.measure.bench import ReceiverBench

    return ReceiverBench


class HearReceiverPart(Part):
    """Plays the receiver that is chosen for the keyboards, key by key, while nothing else sounds."""

    def __init__(self, host: Host) -> None:
        """Nothing is played."""
        super().__init__(host)
        self._bench = BenchApart(_bench)
        self._view = ReceiverHeardView()
        self._found: HeardReceiver | None = None
        self._like = ""
        self._round = 0  # counts the times that somebody began or ended it

    def shown(self) -> Iterable[Struct]:
        """How far it is."""
        return (self._view,)

    def hush(self) -> None:
        """Muted: no key is played either."""
        self._stop(asks.StopHearing())

    def leave_alone(self) -> None:
        """Nobody is there to stop it."""
        self._stop(asks.StopHearing())

    async def close(self) -> None:
        """Put the receiver back."""
        self._round += 1
        await self._bench.close()

    def _begin(self, asked: asks.HearReceiver) -> None:
        from tonegen.keys.measured import check_plays

        playing = self.host.at.playing
        if playing.sounding and not playing.muted:
            raise BadValue("stop the page's own sound first: it would be heard as well")
        keys = parse_keys(asked.keys)
        self._like, receiver = self.host.part(KeysPart).to_measure(asked.where)
        check_plays(receiver)
        self._round += 1
        self._found = None
        self.host.work(self._hear(asked.where, receiver, keys, self._round))

    def _stop(self, _: asks.StopHearing) -> None:
        if self._view.plays:
            self._round += 1
            self.host.work(self._put_back("stopped, and the receiver was put back"))

    async def _put_back(self, words: str) -> None:
        from tonegen.page.measure.bench import ReceiverBench

        try:
            await self._bench.ask(ReceiverBench.put_back)
        except TonegenError as error:
            words = str(error)
        self._show(replace(self._view, plays=False, words=words))

    def _save(self, asked: asks.SaveReceiver) -> None:
        from tonegen.presets.own import save_receiver

        if self._found is None:
            raise BadValue("nothing was found yet; measure the receiver first")
        name = asked.name.strip()
        save_receiver(name, self._like, self._found.fields)
        self.host.show_presets()
        self.host.part(KeysPart).presets_changed()
        self._show(replace(self._view, words=f"saved as {name}; choose it above to take its habits back"))

    async def _hear(self, where: str, receiver: "Receiver", keys: tuple[int, ...], this_round: int) -> None:
        from tonegen.page.measure.bench import ReceiverBench

        at = self.host.part(HearingPart).chosen
        seconds = _SECONDS_A_KEY * len(keys)
        self._show(ReceiverHeardView(True, 0, 3 * len(keys), "opening the ports"))
        try:
            name = await self._bench.ask(ReceiverBench.begin, where, receiver, keys, at.name, at.channel)
            begun = f"playing {many(len(keys), 'key')} three times, about {seconds} s, heard at {name}"
            self._show(replace(self._view, words=begun))
            while self._round == this_round:
                so_far = await self._bench.ask(ReceiverBench.look)
                if self._round != this_round:
                    return
                if so_far.found is not None:
                    self._found = so_far.found
                    await self._bench.ask(ReceiverBench.put_back)
                    self._show(_outcome(so_far.found, so_far.whole))
                    return
                if so_far.last is not None:
                    words = _told(so_far.last)
                    self._show(replace(self._view, done=so_far.done, words=words))
                await asyncio.sleep(_LOOK_SECONDS)
        except TonegenError as error:
            lost = isinstance(error, NoSuchDevice) and "keyboards" in str(error)
            why = "the process that played it has stopped, and it was put back" if lost else str(error)
            self.host.complain(why)
            await self._put_back("ended, and the receiver was put back")

    def _show(self, view: ReceiverHeardView) -> None:
        if view != self._view:
            self._view = view
            self.host.part(KeysPart).is_measured = view.plays
            self.host.post(view)

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.HearReceiver: _begin,
        asks.StopHearing: _stop,
        asks.SaveReceiver: _save,
    }


def _told(last: "HeardKey") -> str:
    """The newest key in words."""
    of = f"{note_name(last.key)}, {_ROUNDS[last.number - 1]}"
    if last.cents is None:
        return f"{of}: cannot be read, {last.why_not}"
    return f"{of}: {signed(last.cents)} cents off equal, give or take {last.error_cents:.2f}"


def _outcome(found: "HeardReceiver", whole: int) -> ReceiverHeardView:
    """All that is said of a receiver at the end."""
    rows = tuple(
        OwnKeyRow(
            note_name(key),
            signed(cents),
            f"{found.error_cents[key]:.2f}",
            signed(found.left_cents[key]) if key in found.left_cents else "",
        )
        for key, cents in found.own_cents.items()
    )
    left = sorted(abs(cents) for cents in found.left_cents.values())
    words = "heard, and put back"
    if left:
        words += f"; left: {left[len(left) // 2]:.2f} cents in the middle, {left[-1]:.2f} at most"
    step = found.steps.step_cents
    to_know = [
        f"{note_name(key)} cannot be read, and stays as it is: {why}" for key, why in found.why_not.items()
    ]
    if step:
        how = "cuts down to them" if found.steps.rounding == "down" else "goes to the nearest"
        to_know.insert(0, f"it moves in steps of {step:g} cents and {how}: no key can be set more finely")
    return ReceiverHeardView(False, whole, whole, words, rows, True, tuple(to_know))
