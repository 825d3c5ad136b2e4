"""The part of the page whose pedals and levers a foot board moves. Ports are opened once one was chosen."""

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar, Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.page.apart import BenchApart
from tonegen.page.asked import Asked
from tonegen.page.foot import asks
from tonegen.page.part import Act, Host, Part, Standing
from tonegen.page.play import moves
from tonegen.page.setting import Foot
from tonegen.setup import moves as hands_moves

if TYPE_CHECKING:
    from tonegen.keys.foot_bench import FootBench

_WAITS_SECONDS: Final = 0.5  # for a message, before it is seen whether the port is still there
_LOOKS_AGAIN_SECONDS: Final = 2.0


class FootRow(Struct, frozen=True):
    """A pedal or lever, and the controller that moves it; "" for none."""

    change: str
    control: str


class FootView(Struct, tag="foot", frozen=True):
    """The foot board at the MIDI input `port`, "" for none.

    learns : the change whose controller is waited for, "" for none. pedals : all of the instrument.
    """

    port: str
    learns: str
    pedals: tuple[FootRow, ...]
    words: str


def _bench() -> "type[FootBench]":
    from tonegen.keys.foot_bench import FootBench

    return FootBench


class FootPart(Part):
    """What its controllers move is part of the setting, and so undone, redone and kept."""

    def __init__(self, host: Host) -> None:
        """No port is looked at yet."""
        super().__init__(host)
        self._shown: FootView | None = None
        self._learns = ""
        self._words = ""
        self._port = ""  # that is attended to
        self._attending: asyncio.Task[None] | None = None
        self._bench = BenchApart(_bench)
        self._refused: dict[str, float] = {}  # where pedals stand that could not be engaged so far

    @property
    def _foot(self) -> Foot:
        return self.host.at.setting.foot

    def shown(self) -> Iterable[Struct]:
        """What moves what; the board that was chosen is attended to from the first page on."""
        self._attend_to_the_chosen()
        self._shown = self._view()
        return (self._shown,)

    def follow(self, at: Standing) -> None:
        """Another board, other controllers or another instrument."""
        if self._shown is not None:
            self._attend_to_the_chosen()
            self._show()

    async def close(self) -> None:
        """Let go of the port."""
        if self._attending is not None:
            self._attending.cancel()
        await self._bench.close()

    def take(self, message: bytes) -> None:
        """A controller was moved: it is learned, or moves its pedal to where it stands."""
        from tonegen.page.foot.feet import learned, travels_of

        at = self.host.at
        if self._learns and (foot := learned(self._foot, self._learns, message)):
            change, self._learns = self._learns, ""
            said = f"{change} follows that pedal now, half-way as well."
            self.host.accept(at.sets(f"controller of {change} learned", said=said, foot=foot))
            return
        known = {change.name for change in at.rig.instrument.changes}
        here = [one for one in self._foot.pedals if one.change in known]
        if moved := travels_of(here, message):
            self._refused |= moved
            try:
                wanted = {**at.playing.travels, **self._refused}
                playing = hands_moves.stand(at.rig.instrument, at.playing, wanted)
                self.host.accept(moves.plays(playing, at))
            except BadValue as error:  # it is tried again with the next: the other may be up by then
                self._words = str(error)
                self._show()
            else:
                self._refused = {}
                self._words = ""

    # -- the port --------------------------------------------------------------------------------------

    def _attend_to_the_chosen(self) -> None:
        if self._foot.port == self._port:
            return
        self._port = self._foot.port
        if self._attending is not None:
            self._attending.cancel()
        self._attending = asyncio.get_running_loop().create_task(self._attend(self._port))

    async def _attend(self, port: str) -> None:
        from tonegen.keys.foot_bench import FootBench

        if not port:
            await self._bench.ask(FootBench.put_back)
            return
        while True:
            try:
                await self._bench.ask(FootBench.listen, port)
                self._say(f"Listening at {port}.")
                while True:
                    for message in await self._bench.ask(FootBench.came, _WAITS_SECONDS):
                        self._taken(message)
            except NoSuchDevice as error:
                self._say(f"{str(error).rstrip('.')}. It is taken as soon as it is there.")
            await asyncio.sleep(_LOOKS_AGAIN_SECONDS)

    def _taken(self, message: bytes) -> None:
        try:
            self.take(message)
        except TonegenError as error:
            self.host.complain(str(error))

    # -- what pages see and ask ------------------------------------------------------------------------

    def _view(self) -> FootView:
        said = {one.change: f"controller {one.number}, channel {one.channel}" for one in self._foot.pedals}
        changes = self.host.at.rig.instrument.changes
        rows = tuple(FootRow(change.name, said.get(change.name, "")) for change in changes)
        return FootView(self._foot.port, self._learns, rows, self._words if self._foot.port else "")

    def _show(self) -> None:
        view = self._view()
        if view != self._shown:
            self._shown = view
            self.host.post(view)

    def _say(self, words: str) -> None:
        self._words = words
        self._show()

    def _choose(self, asked: asks.FootInput) -> None:
        from tonegen.page.foot.feet import without_number

        foot = replace(self._foot, port=without_number(asked.port))
        self.host.accept(self.host.at.sets(f"foot board {foot.port or 'none'}", foot=foot))

    def _learn(self, asked: asks.LearnPedal) -> None:
        if asked.change:
            self.host.at.rig.instrument.change(asked.change)
            if not self._foot.port:
                raise BadValue("choose the input of your foot board first")
        self._learns = asked.change
        self._show()

    def _forget(self, asked: asks.ForgetPedal) -> None:
        pedals = tuple(one for one in self._foot.pedals if one.change != asked.change)
        foot = replace(self._foot, pedals=pedals)
        self.host.accept(self.host.at.sets(f"controller of {asked.change} forgotten", foot=foot))

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.FootInput: _choose,
        asks.LearnPedal: _learn,
        asks.ForgetPedal: _forget,
    }
