"""Going through a tuning order by ear: which step is heard, and how, as keys are pressed.

Pure: it holds the place in the plan and says which tones should sound; the command line plays them.
"""

from dataclasses import dataclass, replace
from typing import Final

from tonegen.order.steps import Order, Reference, TuningStep
from tonegen.sounding import Sounding, sound, tone_of_hz, tones_to_play
from tonegen.synthesis.timbre import Timbre, Tone

KEYS: Final = "n or Enter: next   b: back   r: again   p: only the beating partials   q: quit"


@dataclass(frozen=True, slots=True)
class Listening:
    """A place in a plan."""

    plan: Order
    reference_hz: float
    at: int = 0
    only_beating: bool = False
    ended: bool = False
    again: bool = False  # picked again, as a string is

    @property
    def step(self) -> TuningStep:
        """The step that is heard."""
        return self.plan.steps[self.at]

    def pressed(self, key: str) -> "Listening":
        """The place after a key; one without a meaning changes nothing."""
        if key in ("n", "\r", "\n", " ", "\x1b[C"):
            last = self.at + 1 == len(self.plan.steps)
            return replace(self, at=self.at + (not last), ended=last, again=False)
        if key in ("b", "\x1b[D", "\x7f"):
            return replace(self, at=max(self.at - 1, 0), again=False)
        if key == "r":
            return replace(self, again=True)
        if key == "p":
            return replace(self, only_beating=not self.only_beating, again=False)
        if key in ("q", "\x03", "\x04", "\x1b"):
            return replace(self, ended=True)
        return self

    def typed(self, keys: str) -> "Listening":
        """The place after what a terminal gives at once: a key, or several that were pressed quickly."""
        place = self
        for key in [keys] if keys.startswith("\x1b") else keys:
            if not place.ended:
                place = place.pressed(key)
        return place

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
        """What the engine should sound: the target of the step, or just the pair of partials that beats.

        Whatever the timbre, partials lie where the plan says: they beat as its steps do.
        """
        worn = replace(timbre, follows_string=True)
        return tones_to_play(self.sounding(), worn, only_beating=self.only_beating)
