"""Sounds that may be asked for next, made while the listener still listens."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

from tonegen.ear.afterwards import to_hear
from tonegen.ear.rendering import Clip, HeldSound, Samples, one_after_another
from tonegen.ear.session import Answered, Session
from tonegen.ear.taps import tapped_rate
from tonegen.ear.trials import HELD, Trial, TrialKind, TrialSound, judge

# Sounds one after another, or one that goes on.
Wanted = tuple[TrialSound, ...] | TrialSound


class Ahead:
    """Makes sounds in a thread of its own, and gives those that are ready; the others it makes at once."""

    def __init__(self, sample_rate: int) -> None:
        """Nothing is made yet."""
        self._sample_rate = sample_rate
        self._thread = ThreadPoolExecutor(1, "ahead")
        # What was wanted last, and what was wanted before, which may still be asked for.
        self._clips: tuple[dict[Wanted, Samples], ...] = ({}, {})
        self._held: tuple[dict[Wanted, HeldSound], ...] = ({}, {})

    def look(self, wanted: Callable[[], Iterable[Wanted]]) -> None:
        """Make these, in their order; what they are is worked out in the thread as well."""
        self._clips, self._held = ({}, self._clips[0]), ({}, self._held[0])
        self._thread.submit(self._make, wanted, self._clips, self._held[0])

    def clip(self, sounds: Sequence[TrialSound]) -> Clip:
        """The sounds one after another."""
        wanted = tuple(sounds)
        made = next((clips[wanted] for clips in self._clips if wanted in clips), None)
        return Clip(one_after_another(sounds, self._sample_rate) if made is None else made)

    def held(self, sound: TrialSound) -> HeldSound:
        """A sound that goes on, from its beginning."""
        made = next((held.pop(sound) for held in self._held if sound in held), None)
        return HeldSound(sound, self._sample_rate) if made is None else made

    def wait(self) -> None:
        """Until all is made that was wanted."""
        self._thread.submit(lambda: None).result()

    def close(self) -> None:
        """End the thread, once what it is at is made."""
        self._thread.shutdown(cancel_futures=True)

    def _make(
        self,
        wanted: Callable[[], Iterable[Wanted]],
        clips: tuple[dict[Wanted, Samples], ...],
        held: dict[Wanted, HeldSound],
    ) -> None:
        made, before = clips
        for one in wanted():
            if isinstance(one, TrialSound):
                held[one] = HeldSound(one, self._sample_rate)
            elif one in before:
                made[one] = before[one]
            else:
                made[one] = one_after_another(one, self._sample_rate)


def may_follow(trial: Trial, session: Session, feedback: bool) -> Iterator[Wanted]:
    """What can be heard after the answer to a trial: it itself once more, with feedback, then the next.

    What is heard of a number that was answered is not known beforehand.
    """
    if feedback:
        for choice in range(len(trial.choices)):
            answered = Answered(trial, float(choice), judge(trial, float(choice)))
            yield tuple(one.sound for one in to_hear(answered))
    for following in session.could_come():
        if following.task.kind in HELD:
            yield from dict.fromkeys((following.sounds[0], following.sounds[-1]))
        else:
            yield following.sounds
    if trial.task.kind is TrialKind.RATE:
        tapped_rate((0.0, 1.0, 2.0))  # what it imports is there before the answer needs it
