"""Going through a tuning order by ear: which step is heard, and how, as keys are pressed.

Pure: it holds the place in the plan and says which tones should sound; the command line plays them.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from tonegen.order.steps import Order, Reference, TuningStep
from tonegen.sounding import Sounding, sound, tone_of_hz, tones_to_play
from tonegen.synthesis.timbre import Timbre, Tone

KEYS: Final = (
    "n or Enter: next   b: back   r: again   q: quit\n"
    "p: only the beating partials   t: only the tone that you tune to"
)


class StepHeard(StrEnum):
    """What of a step is heard: its two tones, the partials of them that beat, or what is tuned to alone."""

    BOTH = "both"
    BEATING = "beating"
    AGAINST = "against"


@dataclass(frozen=True, slots=True)
class Listening:
    """A place in a plan."""

    plan: Order
    reference_hz: float
    at: int = 0
    heard: StepHeard = StepHeard.BOTH
    ended: bool = False
    again: bool = False  # picked again, as a string is

    @property
    def step(self) -> TuningStep:
        """The step that is heard."""
        return self.plan.steps[self.at]

    def pressed(self, key: str) -> "Listening":
        """The place after a key, by its name or letter; one without a meaning changes nothing."""
        if key in ("n", "enter", "space", "right"):
            last = self.at + 1 == len(self.plan.steps)
            return replace(self, at=self.at + (not last), ended=last, again=False)
        if key in ("b", "left", "backspace"):
            return replace(self, at=max(self.at - 1, 0), again=False)
        if key == "r":
            return replace(self, again=True)
        if key in _HEARD_BY_KEY:
            other = _HEARD_BY_KEY[key]
            return replace(self, heard=StepHeard.BOTH if self.heard is other else other, again=False)
        if key in ("q", "\x04"):  # the latter: Ctrl-D
            return replace(self, ended=True)
        return self

    def sounding(self) -> Sounding:
        """The two tones of the step and the interval between them."""
        step = self.step
        tuned, other = str(step.tune), str(step.against)
        if isinstance(step.against, Reference):
            other = step.against.name
        low, high = (other, tuned) if step.tune_is_high else (tuned, other)
        tones = (
            replace(tone_of_hz(step.low_hz, self.reference_hz, low), stiffness=step.low_stiffness),
            replace(tone_of_hz(step.high_hz, self.reference_hz, high), stiffness=step.high_stiffness),
        )
        return sound(tones, self.reference_hz, step.ratio, step.multiple)

    def tones(self, timbre: Timbre) -> tuple[Tone, ...]:
        """What the engine should sound, each tone named by its place in `sounding`.

        That is the target of the step, or just the pair of partials that beats, or what is tuned to alone.
        Whatever the timbre, partials lie where the plan says: they beat as its steps do.
        """
        worn = replace(timbre, follows_string=True)
        tones = tones_to_play(self.sounding(), worn, only_beating=self.heard is StepHeard.BEATING)
        if self.heard is StepHeard.AGAINST:
            return (tones[0 if self.step.tune_is_high else 1],)
        return tones


_HEARD_BY_KEY: Final = {"p": StepHeard.BEATING, "t": StepHeard.AGAINST}
