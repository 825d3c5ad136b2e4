"""The part of the page that hears strings. What it needs is imported when a page first asks."""

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar, Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.page.apart import BenchApart
from tonegen.page.asked import Asked
from tonegen.page.hearing import asks
from tonegen.page.hearing.shown import ChosenInput, Hearing, InputsView, InputView
from tonegen.page.part import Act, Host, Part

if TYPE_CHECKING:
    from tonegen.page.hearing.bench import HearingBench
    from tonegen.page.hearing.learning import LearnedAlone
    from tonegen.page.hearing.purposes import ListeningPurpose

_TAKE_SECONDS: Final = 0.1
_NOTHING_HEARD: Final = "nothing heard; is the right input chosen?"


def _bench() -> "type[HearingBench]":
    from tonegen.page.hearing.bench import HearingBench

    return HearingBench


class HearingPart(Part):
    """Strings are heard in another process; each pick is shown once it rang."""

    def __init__(self, host: Host) -> None:
        """Nothing is listened to."""
        super().__init__(host)
        self._bench = BenchApart(_bench)
        self._view = Hearing()
        self.chosen = ChosenInput()
        self._inputs: tuple[InputView, ...] = ()
        self._round = 0  # counts the times that somebody began or ended it
        self._asked = asks.Listen("")
        self._listening: ListeningPurpose | None = None  # the last that was begun

    def begin(self, chosen: ChosenInput) -> None:
        """Take over which input was chosen."""
        self.chosen = chosen

    def shown(self) -> Iterable[Struct]:
        """Where it listens, and what is heard."""
        return (self._inputs_view(), self._view)

    def leave_alone(self) -> None:
        """Nobody sees what is heard."""
        if self._view.what:
            self._listen(asks.Listen(""))

    async def close(self) -> None:
        """Listen no more."""
        self._round += 1
        await self._bench.close()

    def _listen(self, asked: asks.Listen) -> None:
        self._round += 1
        self._asked = asked
        self.host.work(self._hear(asked, self._round))

    def _choose_input(self, asked: asks.ChooseInput) -> None:
        self.chosen = ChosenInput(asked.name, asked.channel)
        self.host.post(self._inputs_view())
        self.host.accept(self.host.at.plays())  # so that it is written down
        if self._view.what:
            self._listen(self._asked)

    def _show_inputs(self, _: asks.ShowInputs) -> None:
        self.host.work(self._look_for_inputs())

    async def _look_for_inputs(self) -> None:
        from tonegen.page.hearing.bench import HearingBench

        try:
            found = await self._bench.ask(HearingBench.inputs)
        except NoSuchDevice:
            found = ()
        self._inputs = tuple(InputView(name, channels) for name, channels in found)
        self.host.post(self._inputs_view())

    def _inputs_view(self) -> InputsView:
        return InputsView(self._inputs, self.chosen.name, self.chosen.channel)

    def _purpose(self, asked: asks.Listen) -> "ListeningPurpose":
        from tonegen.page.hearing.learning import LearnedAlone
        from tonegen.page.hearing.purposes import CountedPair, FilledReading, TunedStep

        match asked.what:
            case "order":
                return TunedStep(self.host)
            case "count":
                return CountedPair(self.host, asked.low, asked.high)
            case "learn":
                return LearnedAlone(self.host)
            case _:
                return FilledReading(self.host)

    async def _hear(self, asked: asks.Listen, this_round: int) -> None:
        from tonegen.page.hearing.bench import HearingBench

        try:
            if not asked.what:
                await self._bench.ask(HearingBench.put_back)
                self._show(Hearing())
                return
            purpose = self._listening = self._purpose(asked)
            name = await self._bench.ask(HearingBench.listen, self.chosen.name, self.chosen.channel)
            self._show(Hearing(asked.what, name, words=purpose.words))
            wanted = None
            while self._round == this_round:
                if purpose.wanted() is not wanted:
                    wanted = purpose.wanted()
                    await self._bench.ask(HearingBench.listen_for, wanted)
                heard, silent = await self._bench.ask(HearingBench.take, self.host.stage.sounding_hz())
                for each in heard:
                    nothing_yet = Hearing(asked.what, name, pick=self._view.pick + 1)
                    self._show(purpose.told(each, nothing_yet))
                await self._learn(purpose)
                if silent and not self._view.silent:
                    self._show(replace(self._view, silent=True, strings=(), sure="", words=_NOTHING_HEARD))
                await asyncio.sleep(_TAKE_SECONDS)
        except TonegenError as error:
            lost = isinstance(error, NoSuchDevice) and "keyboards" in str(error)
            self.host.complain("the sound input has stopped; listen again" if lost else str(error))
            self._show(Hearing())

    async def _learn(self, purpose: "ListeningPurpose") -> None:
        """Work out what was learned of strings that were picked often enough."""
        from tonegen.listen.heard import UnreadSound
        from tonegen.page.hearing.bench import HearingBench
        from tonegen.page.hearing.learning import LearnedAlone

        if isinstance(purpose, LearnedAlone):
            for string, picks, expected in purpose.due():
                try:
                    found = await self._bench.ask(HearingBench.learn, picks, expected)
                except UnreadSound as why:
                    purpose.learned(string, why)
                else:
                    purpose.learned(string, found)

    def _learner(self) -> "LearnedAlone":
        from tonegen.page.hearing.learning import LearnedAlone

        if not isinstance(self._listening, LearnedAlone):
            raise BadValue("nothing is being learned; press Learn my strings first")
        return self._listening

    def _say_which(self, asked: asks.NamePick) -> None:
        self._learner().say_which(asked.string)

    def _keep_learned(self, _: asks.KeepLearned) -> None:
        self._learner().keep()

    def _show(self, view: Hearing) -> None:
        self._view = view
        self.host.post(view)

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.Listen: _listen,
        asks.ChooseInput: _choose_input,
        asks.ShowInputs: _show_inputs,
        asks.NamePick: _say_which,
        asks.KeepLearned: _keep_learned,
    }
