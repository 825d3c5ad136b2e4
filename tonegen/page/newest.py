"""Work in a thread of which only the newest result matters."""

import asyncio
from collections.abc import Callable
from typing import Generic, TypeVar

Wanted = TypeVar("Wanted")
Found = TypeVar("Found")


class Newest(Generic[Wanted, Found]):
    """Works out what was wanted last, and shows it; what was wanted before and is not begun is passed over.

    work : runs in a thread; show : is called in the event loop
    """

    def __init__(self, work: Callable[[Wanted], Found], show: Callable[[Found], None]) -> None:
        """Nothing is wanted."""
        self.found: Found | None = None
        self._work = work
        self._show = show
        self._wanted: list[Wanted] = []
        self._working: asyncio.Task[None] | None = None

    @property
    def busy(self) -> bool:
        """Whether what was wanted last is still being worked out."""
        return self._working is not None

    def want(self, wanted: Wanted) -> None:
        """Work this out, as soon as what is under way is done."""
        self._wanted = [wanted]
        if self._working is None:
            self._working = asyncio.get_running_loop().create_task(self._until_done())

    async def _until_done(self) -> None:
        try:
            while self._wanted:
                found = await asyncio.to_thread(self._work, self._wanted.pop())
                if not self._wanted:
                    self.found = found
        finally:
            self._working = None
        if self.found is not None:
            self._show(self.found)
