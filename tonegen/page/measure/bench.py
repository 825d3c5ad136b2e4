"""A receiver played and heard in a process of its own, under the guard that puts it back."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from time import perf_counter

from tonegen.errors import TonegenError
from tonegen.frozen import Frozen
from tonegen.keys.left import put_back_left
from tonegen.keys.live import TunedRig
from tonegen.keys.measured import (
    ROUNDS,
    HeardKey,
    HeardReceiver,
    ReceiverHearing,
    ReceiverPlayer,
    TuneReceiver,
)
from tonegen.keys.plan import undo_of
from tonegen.keys.receivers import Receiver
from tonegen.sound.clocks import kept_clock
from tonegen.sound.input import SoundInput, chosen_input


@dataclass(frozen=True, slots=True)
class ReceiverHeardNow(Frozen):
    """How far it is. done, whole : notes. last : what was heard of the newest key; found : at the end."""

    done: int
    whole: int
    last: HeardKey | None
    found: HeardReceiver | None


class ReceiverBench:
    """Plays one receiver and hears it."""

    def __init__(self) -> None:
        """Nothing is opened."""
        self._thread: threading.Thread | None = None
        self._over = threading.Event()
        self._hearing: ReceiverHearing | None = None
        self._last: HeardKey | None = None
        self._failure: TonegenError | None = None

    def begin(
        self, where: str, receiver: Receiver, keys: Sequence[int], device: str | None, channel: int
    ) -> str:
        """Play its keys at a place (see `guard.open_door`), and hear them at an input; the input's name.

        Raises NoSuchDevice; BadValue for a receiver that is sent no notes, or a channel that is not there.
        """
        self.put_back()
        coming = SoundInput(chosen_input(device), channel)
        hearing = ReceiverHearing(receiver, keys, coming.sample_rate, kept_clock(coming.device))
        put_back_left(lambda _: None)
        rig = TunedRig()
        try:
            rig.hold(where, undo_of(receiver), receiver.sysex_seconds)
            coming.__enter__()
        except BaseException:
            rig.close()
            raise
        self._hearing, self._last, self._failure = hearing, None, None
        self._over = threading.Event()
        self._thread = threading.Thread(
            target=self._play, args=(where, receiver, hearing, rig, coming, self._over), daemon=True
        )
        self._thread.start()
        return coming.device.name

    def look(self) -> ReceiverHeardNow:
        """How far it is. Raises what ended it: UnreadSound, NoSuchDevice."""
        if self._failure is not None:
            raise self._failure
        hearing = self._hearing
        if hearing is None:
            return ReceiverHeardNow(0, 0, None, None)
        return ReceiverHeardNow(hearing.done, ROUNDS * len(hearing.keys), self._last, hearing.found)

    def put_back(self) -> None:
        """End the note that sounds, put the receiver back and let go of it."""
        self._over.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _play(
        self,
        where: str,
        receiver: Receiver,
        hearing: ReceiverHearing,
        rig: TunedRig,
        coming: SoundInput,
        over: threading.Event,
    ) -> None:
        try:
            player = ReceiverPlayer(rig.doors[where].door.send)
            for block in coming.blocks():
                if over.is_set() or hearing.found is not None:
                    return
                for each in hearing.feed(block):
                    if isinstance(each, TuneReceiver):
                        rig.tune({where: [(each.plan.messages, receiver.sysex_seconds)]})
                    elif isinstance(each, HeardKey):
                        self._last = each
                    player.do(each, perf_counter())
        except TonegenError as error:
            self._failure = error
        finally:
            coming.__exit__(None, None, None)
            rig.close()
