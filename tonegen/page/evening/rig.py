"""The receivers of the open set, played from a page: in a process of their own, asked how they stand."""

import asyncio
from collections.abc import Callable, Mapping
from typing import Final, TypeVar

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys.ports_process import ports
from tonegen.keys.set_bench import SetBench, SetStanding
from tonegen.page.apart import BenchApart
from tonegen.page.evening.stands import RigStatus
from tonegen.setlist.records import Action, SetList

Result = TypeVar("Result")

_LOOK_SECONDS: Final = 0.05
_SECONDS_TO_PRESS: Final = 30.0
Press = Mapping[str, str | int]


class PlayedRig:
    """The rig of a set. What waits for a port happens in a process of its own, in the order that was asked.

    status : whether it is played. inputs : the MIDI inputs that there were. standing : how it stood last.
    """

    def __init__(
        self,
        stood: Callable[[SetStanding], None],
        show: Callable[[], None],
        complain: Callable[[str], None],
    ) -> None:
        """Nothing is opened.

        stood : takes how it stands, while it is played. show : told of another status. complain : takes a
        line for a person. All in the event loop.
        """
        self.status: RigStatus = ""
        self.inputs: tuple[str, ...] = ()
        self.standing: SetStanding | None = None
        self._stood = stood
        self._show = show
        self._complain = complain
        self._bench = BenchApart(lambda: SetBench)
        self._watching: asyncio.Task[None] | None = None
        self._reading: asyncio.Task[None] | None = None

    def look_for_ports(self) -> None:
        """List the MIDI inputs."""

        def seen(found: tuple[tuple[str, ...], tuple[str, ...]]) -> None:
            _, self.inputs = found

        self._do(ports, seen)

    def read_press(
        self, does: str, heard: Callable[[], None], learned: Callable[[Press | str | None], None]
    ) -> None:
        """Wait for a press that can do this, for half a minute.

        heard : told once a press would be. learned : told of it, of None for no press, or of why none can be.
        """
        if self.status:
            learned("Put the receivers back first: a press is learnt while none is tuned.")
            return
        if self._reading is not None:
            learned("Another page waits for a press already.")
            return
        self._reading = asyncio.get_running_loop().create_task(self._read_press(does, heard, learned))

    def stop_waiting(self) -> None:
        """Wait for no press any more."""
        if self._reading is not None:
            self._reading.cancel()

    async def _read_press(
        self, does: str, heard: Callable[[], None], learned: Callable[[Press | str | None], None]
    ) -> None:
        loop = asyncio.get_running_loop()
        found: Press | str | None = None
        until = loop.time() + _SECONDS_TO_PRESS
        try:
            await self._bench.ask(SetBench.read_presses)
            heard()
            while found is None and loop.time() < until:
                found = await self._bench.ask(SetBench.next_press, does)
        except TonegenError as error:
            found = f"{str(error)[0].upper()}{str(error)[1:]}."
        finally:
            self._reading = None
            if not self._bench.closing:
                if not self.status:
                    self._bench.begin(lambda: self._bench.call(SetBench.put_back))
                learned(found)

    def play(
        self, evening: SetList, place: int, without: tuple[str, ...], keyboards: tuple[str, ...]
    ) -> None:
        """Tune the receivers for the song at a place: see `SetBench.play`. Raises BadValue where they are."""
        if self.status:
            raise BadValue("the receivers are tuned; put them back first")

        def begun(standing: SetStanding) -> None:
            self.status = "played"
            self._watching = asyncio.get_running_loop().create_task(self._watch())
            self._take(standing)

        def refused() -> None:
            self.status = ""

        self.stop_waiting()
        self.status = "begins"
        self._do(lambda: self._bench.call(SetBench.play, evening, place, without, keyboards), begun, refused)
        self._show()

    def press(self, action: Action) -> None:
        """Go on, or back; a press that leads nowhere says so by itself."""
        there = SetBench.next if action is Action.NEXT else SetBench.previous
        self._ask(lambda: self._bench.call(there))

    def load(self, number: int) -> None:
        """Have `next` lead to a song."""
        self._ask(lambda: self._bench.call(SetBench.load, number))

    def move(self, travels: Mapping[str, float]) -> None:
        """Pedals and levers of the steel stand elsewhere."""
        self._ask(lambda: self._bench.call(SetBench.move, dict(travels)))

    def panic(self) -> None:
        """End all that sounds at the receivers."""
        self._ask(lambda: self._bench.call(SetBench.panic))

    def put_back(self) -> None:
        """Put all receivers back."""
        if self.status != "played":
            return
        self._end_watching()
        self.status = "ends"

        def ended(_: object = None) -> None:
            self.status, self.standing = "", None

        self._do(lambda: self._bench.call(SetBench.put_back), ended, ended)
        self._show()

    async def close(self) -> None:
        """Put back, and wait for it."""
        self.stop_waiting()
        self._end_watching()
        await self._bench.close()

    # ------------------------------------------------------------------ in the event loop

    def _ask(self, what: Callable[[], SetStanding]) -> None:
        """Ask something of a rig that is played; why it was refused is among what is told."""

        def asked() -> SetStanding:
            try:
                return what()
            except BadValue:
                return self._bench.call(SetBench.stands)

        if self.status == "played":
            self._do(asked, self._take)

    def _take(self, standing: SetStanding) -> None:
        if self.status == "played":
            self.standing = standing
            self._stood(standing)

    def _do(
        self,
        what: Callable[[], Result],
        then: Callable[[Result], None],
        refused: Callable[[], None] = lambda: None,
    ) -> None:
        """Do something that waits, then say what came of it."""
        self._bench.tell(what, then, self._complain, self._show, refused)

    async def _watch(self) -> None:
        """Ask again and again how it stands: feet, notes and ports go on without the page."""
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            try:
                standing = await self._bench.ask(SetBench.stands)
            except NoSuchDevice as error:
                self.status, self.standing = "", None
                self._complain(str(error))
                self._show()
                return
            self._take(standing)

    def _end_watching(self) -> None:
        if self._watching is not None:
            self._watching.cancel()
            self._watching = None
