"""A bench in a process of its own (`keys.ports_process`), asked from the page's event loop.

What waits there for a port or for a sound holds up nothing here; all is done in the order of asking.
"""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Concatenate, Final, Generic, ParamSpec, TypeVar

from tonegen.errors import TonegenError
from tonegen.keys.ports_process import OneBench, PortsProcess

Given = ParamSpec("Given")
Result = TypeVar("Result")

_ENDING_SECONDS: Final = 25.0


class BenchApart(Generic[OneBench]):
    """One bench. Its process is started when something is first asked of it.

    closing : it is being put back for good.
    """

    def __init__(self, kind: Callable[[], type[OneBench]]) -> None:
        """kind : gives its class, and is called with the first question, since imports take time."""
        self._kind = kind
        self._process: PortsProcess[OneBench] | None = None
        self._thread = ThreadPoolExecutor(1, "bench")
        self._telling: set[asyncio.Task[None]] = set()
        self.closing = False

    def begin(self, what: Callable[[], Result]) -> "asyncio.Future[Result]":
        """Begin something that waits: now, so that what is asked later, the end too, comes after it."""
        return asyncio.get_running_loop().run_in_executor(self._thread, what)

    async def ask(
        self, do: Callable[Concatenate[OneBench, Given], Result], *given: Given.args, **named: Given.kwargs
    ) -> Result:
        """What a method of the bench gives there: see `PortsProcess.call`."""
        return await self.begin(lambda: self.call(do, *given, **named))

    def call(
        self, do: Callable[Concatenate[OneBench, Given], Result], *given: Given.args, **named: Given.kwargs
    ) -> Result:
        """The same, waiting for it: for what is begun with `begin` or `tell`."""
        if self._process is None:
            self._process = PortsProcess(self._kind())
        return self._process.call(do, *given, **named)

    def tell(
        self,
        what: Callable[[], Result],
        then: Callable[[Result], None],
        complain: Callable[[str], object],
        done: Callable[[], None],
        refused: Callable[[], None] = lambda: None,
    ) -> None:
        """Begin something that waits, and tell in the event loop what came of it.

        then : takes the result, unless the bench is closed by then. complain : takes the reason instead, once
        `refused` was called. done : called after either.
        """
        doing = self.begin(what)

        async def run() -> None:
            try:
                result = await doing
            except TonegenError as error:
                refused()
                complain(str(error))
            else:
                if not self.closing:
                    then(result)
            done()

        telling = asyncio.get_running_loop().create_task(run())
        self._telling.add(telling)
        telling.add_done_callback(self._telling.discard)

    async def close(self) -> None:
        """Put back what is there, and wait for it; a very slow receiver is put back without us."""
        self.closing = True
        await asyncio.wait([self.begin(self._end)], timeout=_ENDING_SECONDS)
        self._thread.shutdown(wait=False)

    def _end(self) -> None:
        if self._process is not None:
            self._process.close()
