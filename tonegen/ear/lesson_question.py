"""What a lesson asks: to choose, to count, to tap, to set or to sing, and what becomes of the answer."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tonegen.words import beats_a_second, many, signed


class AnswerForm(StrEnum):
    """How a question of a lesson is answered."""

    CHOOSE = "choose"
    COUNT = "count"
    TAP = "tap"
    SET = "set"
    SING = "sing"


# How near an answer must come unless the lesson says otherwise: beats, percent of the rate, cents. A count is
# one off where it starts and ends between beats; the others are common practice, no source.
USUALLY_WITHIN: Final = {AnswerForm.COUNT: 1.0, AnswerForm.TAP: 10.0, AnswerForm.SET: 3.0}
HOW_IT_WENT: Final = ("I had it", "I was an octave away", "not yet")


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a sound of the step.

    answers : what there is to choose from; () where the answer is a number
    right : the index of the right answer; beats in the whole sound; beats a second; 0, the cents left
    within : how far a number may be off: beats, percent, cents
    about : the sound that goes on while the question stands, by its index
    sung_hz : the tone to be sung, else 0
    """

    ask: str
    form: AnswerForm
    answers: tuple[str, ...]
    right: float
    because: str
    about: int
    within: float = 0.0
    sung_hz: float = 0.0

    def is_right(self, answer: float) -> bool:
        """Whether an answer is right, or near enough."""
        match self.form:
            case AnswerForm.TAP:
                return abs(answer / self.right - 1) * 100 <= self.within
            case AnswerForm.COUNT | AnswerForm.SET:
                return abs(answer - self.right) <= self.within
        return answer == self.right

    def verdict(self, answer: float) -> str:
        """What became of an answer, and why.

        >>> Question("How many?", AnswerForm.COUNT, (), 12.0, "It beats so.", 0, within=1.0).verdict(15)
        'Not quite: you counted 15, it beat 12.0 times. It beats so.'
        """
        right = self.is_right(answer)
        close = "Yes" if right else "Not quite"
        match self.form:
            case AnswerForm.COUNT:
                said = f"{close}: you counted {answer:g}, it beat {self.right:.1f} times."
            case AnswerForm.TAP:
                said = f"{close}: you tapped {beats_a_second(answer, 2)}, it has {self.right:.2f}."
            case AnswerForm.SET:
                away = "on it" if abs(answer) < 0.05 else f"{signed(answer, 1)} cents from it"
                said = f"{close}: you are {away}."
            case AnswerForm.SING:
                # Who sang says so: a microphone would hear the tone that goes on as well.
                said = "Well sung." if right else "Hear the tone again, and sing it."
            case AnswerForm.CHOOSE:
                said = "Yes." if right else f"No: {self.answers[int(self.right)]}."
        return f"{said} {self.because}"

    @property
    def what_to_do(self) -> str:
        """How near it must come, in a line; "" where one chooses."""
        match self.form:
            case AnswerForm.COUNT:
                return f"Within {many(self.within, 'beat')} is right."
            case AnswerForm.TAP:
                return f"Within {self.within:g} % is right; eight taps are good."
            case AnswerForm.SET:
                return f"Within {many(self.within, 'cent')} is right."
            case AnswerForm.SING:
                return "Sing it aloud or in your head, then hear the tone and say how it went."
        return ""
