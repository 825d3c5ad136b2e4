"""Receivers attended to in a process of their own, for a program that sounds.

A MIDI system that opens or lists ports lets nothing else of its process run, and JACK waits for the
sound of that very process: it would stop for up to a second. So the ports are kept apart.

What is asked and answered goes through two pipes, each as four bytes of length and a pickled tuple. When the
program ends, killed or not, its pipe closes, and the receiver is put back.
"""

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Sequence
from typing import IO, Any, Concatenate, Final, Generic, ParamSpec, Protocol, TypeVar

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys import side_process
from tonegen.keys.leads import follower_of
from tonegen.keys.left import put_back_left
from tonegen.keys.live import Presence
from tonegen.keys.plan import Plan
from tonegen.keys.playing import keep_pauses_short
from tonegen.keys.ports import MAY_LOSE_NOTES, inputs, outputs
from tonegen.keys.set_live import PlayedSet
from tonegen.keys.sets import set_of_one_song
from tonegen.setlist.records import Lead


class ToPutBack(Protocol):
    """What lives in the other process: made without anything, and put back at the end."""

    def put_back(self) -> None:
        """Take everything back and let go of the ports."""


Given = ParamSpec("Given")
Result = TypeVar("Result")
OneBench = TypeVar("OneBench", bound=ToPutBack)

_SECONDS_TO_FINISH: Final = 25.0
_ONE: Final = "The receiver"


class Bench:
    """All that is done at the ports of one receiver."""

    def __init__(self) -> None:
        """Nothing is opened."""
        self._played: PlayedSet | None = None
        self._lead = Lead.OFF

    def ports(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The names of the MIDI outputs and inputs that there are. Notes wait while it looks."""
        return tuple(port.name for port in outputs()), tuple(port.name for port in inputs())

    def put_back_left(self) -> tuple[str, ...]:
        """Put back what programs that were killed left tuned; a line for the player about each."""
        lines: list[str] = []
        put_back_left(lines.append)
        return tuple(lines)

    def tune(self, where: str, made: Plan) -> None:
        """Tune the receiver at a place (see `guard.open_door`), under a guard. Raises NoSuchDevice."""
        self.put_back_left()
        self._played = PlayedSet(set_of_one_song({_ONE: made}, {_ONE: where}), passes=False)
        self._lead = Lead.OFF

    def retune(self, made: Plan) -> None:
        """Go on in another plan for the same receiver; notes that pass through and sound keep their tune."""
        if self._played is not None:
            self._played.playing.retune({_ONE: made})

    def pass_through(self, port: str, made: Plan) -> str:
        """Retune what is played into a port, or into a "virtual NAME", on its way.

        Gives what the player should know about it, "" for nothing. Raises NoSuchDevice; BadValue when no
        receiver is tuned.
        """
        if self._played is None:
            raise BadValue("send the tuning first, then notes can pass through")
        kind, _, name = port.partition(" ")
        virtual = [name] if kind == "virtual" and name else []
        self._played.stop_listening()
        self._played.playing.pass_notes(False)
        self._played.listen_to([] if virtual else [port], virtual)
        self._played.playing.pass_notes(True)
        self.retune(made)
        keep_pauses_short()
        return MAY_LOSE_NOTES if self._played.may_lose_notes else ""

    def follow(self, made: Plan, lead: Lead, strings: Sequence[tuple[int, float]]) -> None:
        """Have new notes follow the chord, by whoever leads; strings : key and offset of each of the steel.

        Raises BadValue for a receiver whose notes cannot.
        """
        if self._played is None:
            return
        if lead is not self._lead:
            self._played.playing.follow(_ONE, None if lead is Lead.OFF else follower_of(made, lead))
            self._lead = lead
        self._played.playing.led_by(_ONE, strings if lead is Lead.STEEL else ())

    def chord(self) -> tuple[tuple[int, float], ...]:
        """Key and offset of each note that sounds and follows the chord."""
        return () if self._played is None else self._played.playing.chord(_ONE)

    def look(self) -> Presence:
        """See whether the receiver is there; one that came back is tuned again."""
        if self._played is None:  # put back in between
            return Presence.THERE
        (presence,) = self._played.look()
        return presence

    def told(self) -> tuple[str, ...]:
        """What the player should know since the last time, in sentences."""
        if self._played is None:
            return ()
        told = self._played.playing.told
        return tuple(told.popleft() for _ in range(len(told)))

    def panic(self) -> None:
        """End all notes at the receiver, also those whose end was lost on the way."""
        if self._played is not None:
            self._played.playing.panic()

    def put_back(self) -> None:
        """Take everything back and let go of the ports."""
        played, self._played = self._played, None
        if played is not None:
            played.close()


class PortsProcess(Generic[OneBench]):
    """A bench in another process, which is started with the first call and again where it was killed.

    Each call waits for its answer, so make them from one thread, and not from one that sound or pages need.
    """

    def __init__(self, kind: type[OneBench]) -> None:
        """No process yet."""
        self._kind = kind
        self._process: subprocess.Popen[bytes] | None = None

    def call(
        self, do: Callable[Concatenate[OneBench, Given], Result], *given: Given.args, **named: Given.kwargs
    ) -> Result:
        """What a method of the bench gives there, as in `call(Bench.retune, made)`.

        Raises what it raises, and NoSuchDevice when the process was killed.
        """
        begins = self._process is None
        if self._process is None:
            self._process = side_process.start(__name__, attend.__name__)
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        try:
            if begins:
                _put(self._process.stdin, (self._kind,))
            _put(self._process.stdin, (do, given, named))
            refusal, result = _get(self._process.stdout)
        except (OSError, EOFError):  # Windows has another error than BrokenPipeError for it
            self.close()
            raise NoSuchDevice(
                "the process that looks after the keyboards has stopped, and they were put back; send again"
            ) from None
        if refusal is not None:
            raise refusal
        answer: Result = result
        return answer

    def close(self) -> None:
        """Put back and end; where a receiver is very slow it goes on without us."""
        process, self._process = self._process, None
        if process is not None:
            side_process.let_go(process, _SECONDS_TO_FINISH)


def ports() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The names of the MIDI outputs and inputs that there are, from a bench where nothing has to wait."""
    return _alone(Bench.ports)


def left_put_back() -> tuple[str, ...]:
    """Put back what programs that were killed left tuned; a line for the player about each."""
    return _alone(Bench.put_back_left)


def _alone(do: Callable[[Bench], Result]) -> Result:
    apart = PortsProcess(Bench)
    try:
        return apart.call(do)
    finally:
        apart.close()


def attend() -> None:
    """The other process's whole life: do what is asked until the pipe closes, then put the receiver back."""
    side_process.live_by_the_pipe_alone()
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a system's library prints is no answer
    bench: ToPutBack | None = None
    try:
        (kind,) = _get(sys.stdin.buffer)
        bench = kind()
        while True:
            do, given, named = _get(sys.stdin.buffer)
            try:
                result, refusal = do(bench, *given, **named), None
            except TonegenError as error:
                result, refusal = None, error
            _put(answers, (refusal, result))
    except (EOFError, OSError):
        pass  # the program has ended
    finally:
        try:
            if bench is not None:
                bench.put_back()
        except TonegenError as error:
            sys.stderr.write(f"tonegen: {error}\n")


def _put(pipe: IO[bytes], content: tuple[Any, ...]) -> None:
    packed = pickle.dumps(content)
    pipe.write(len(packed).to_bytes(4) + packed)
    pipe.flush()


def _get(pipe: IO[bytes]) -> tuple[Any, ...]:
    """Raises EOFError at the end, also in the middle of a message."""
    head = pipe.read(4)
    packed = pipe.read(int.from_bytes(head)) if len(head) == 4 else b""
    if not packed:
        raise EOFError
    content: tuple[Any, ...] = pickle.loads(packed)
    return content
