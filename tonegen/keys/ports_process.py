"""A receiver attended to in a process of its own, for a program that sounds.

A MIDI system that opens or lists ports lets nothing else of its process run, and JACK waits for the
sound of that very process: it would stop for up to a second. So the ports are kept apart.

What is asked and answered goes through two pipes, each as four bytes of length and a pickled tuple. When the
program ends, killed or not, its pipe closes, and the receiver is put back.
"""

import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from typing import IO, Any, Concatenate, Final, ParamSpec, TypeVar

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys import side_process
from tonegen.keys.left import put_back_left
from tonegen.keys.live import PlayedThrough, Presence, TunedReceiver, keep_pauses_short
from tonegen.keys.plan import Plan
from tonegen.keys.ports import MAY_LOSE_NOTES, MidiInput, inputs, outputs

Given = ParamSpec("Given")
Result = TypeVar("Result")

_SECONDS_TO_FINISH: Final = 25.0


class Bench:
    """All that is done at the ports of one receiver."""

    def __init__(self) -> None:
        """Nothing is opened."""
        self._rig: TunedReceiver | None = None
        self._through: PlayedThrough | None = None
        self._input: MidiInput | None = None

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
        self._rig = TunedReceiver(where, made)

    def retune(self, made: Plan) -> None:
        """Go on in another plan for the same receiver; notes that pass through and sound keep their tune."""
        if self._rig is not None:
            self._rig.retune(made, send=self._through is None)
        if self._through is not None:
            self._through.retune(made)

    def pass_through(self, port: str, made: Plan) -> str:
        """Retune what is played into a port, or into a "virtual NAME", on its way.

        Gives what the player should know about it, "" for nothing. Raises NoSuchDevice; BadValue when no
        receiver is tuned.
        """
        if self._rig is None:
            raise BadValue("send the tuning first, then notes can pass through")
        if self._through is not None:
            self._end_through()
            self._rig.tune_again()  # it may have left something unsent, or moved a channel for its notes
        through = PlayedThrough(self._rig.plan, self._rig.door.send)
        virtual = port.startswith("virtual ")
        self._input = MidiInput(port.removeprefix("virtual "), through.receive, virtual)
        self._through = through
        self.retune(made)
        keep_pauses_short()
        return MAY_LOSE_NOTES if self._input.may_lose_notes else ""

    def look(self) -> Presence:
        """See whether the receiver is there; one that came back is tuned again."""
        if self._rig is None:  # put back in between
            return Presence.THERE
        presence = self._rig.look()
        if presence is Presence.BACK:
            if self._through is not None:
                self._through.start_over()
            else:
                self._rig.tune_again()
        return presence

    def cautions(self) -> tuple[str, ...]:
        """What did not come out as it was played, in sentences."""
        return self._through.cautions if self._through is not None else ()

    def panic(self) -> None:
        """End all notes at the receiver, also those whose end was lost on the way."""
        if self._through is not None:
            self._through.panic()
        elif self._rig is not None:
            self._rig.panic()

    def put_back(self) -> None:
        """Take everything back and let go of the ports."""
        rig, self._rig = self._rig, None
        if rig is not None:
            self._end_through()
            rig.close()

    def _end_through(self) -> None:
        if self._input is not None:
            self._input.close()
            self._input = None
        if self._through is not None:
            self._through.close()
            self._through = None


class PortsProcess:
    """A bench in another process, which is started with the first call and again where it was killed.

    Each call waits for its answer, so make them from one thread, and not from one that sound or pages need.
    """

    def __init__(self) -> None:
        """No process yet."""
        self._process: subprocess.Popen[bytes] | None = None

    def call(
        self, do: Callable[Concatenate[Bench, Given], Result], *given: Given.args, **named: Given.kwargs
    ) -> Result:
        """What a method of `Bench` gives there, as in `call(Bench.retune, made)`.

        Raises what it raises, and NoSuchDevice when the process was killed.
        """
        if self._process is None:
            self._process = side_process.start(__name__, attend.__name__)
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        try:
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
    apart = PortsProcess()
    try:
        return apart.call(do)
    finally:
        apart.close()


def attend() -> None:
    """The other process's whole life: do what is asked until the pipe closes, then put the receiver back."""
    side_process.live_by_the_pipe_alone()
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a system's library prints is no answer
    bench = Bench()
    try:
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
