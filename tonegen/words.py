"""How figures are said, once for terminal, paper and page: a signed number, a rate, its side, a count.

JSON carries the figures themselves. Beat rates are signed, in beats per second, wide positive.
"""

from collections.abc import Sequence

from tonegen.interval import Audible, Direction, audible, direction

MINUS = "−"  # the true one, as wide as the plus above and below it in a column


def signed(value: float, digits: int | None = 2) -> str:
    """A number with its sign, a true minus; zero is never below zero. Without `digits`, all that it has.

    >>> signed(-13.686), signed(-0.001), signed(3, 1), signed(-5.5, None)
    ('−13.69', '+0.00', '+3.0', '−5.5')
    """
    text = f"{value + 0.0:+g}" if digits is None else f"{round(value, digits) + 0.0:+.{digits}f}"
    return text.replace("-", MINUS)


def typed(text: str) -> str:
    """What was typed, or copied from what we print: a true minus stands for the one of the keyboard.

    >>> float(typed("−13.69"))
    -13.69
    """
    return text.replace(MINUS, "-")


def side(beats_per_second: float) -> str:
    """On which side of pure an interval lies.

    >>> side(8.7), side(-0.5), side(0.0)
    ('wide', 'narrow', 'pure')
    """
    return direction(beats_per_second).value


def rate(beats_per_second: float) -> str:
    """How fast it beats, whatever the side.

    >>> rate(8.726), rate(-19.6), rate(0.04), rate(0.0)
    ('8.73/s', '20/s', '1 in 25 s', 'pure')
    """
    beats = abs(beats_per_second)
    if direction(beats) == Direction.PURE:
        return "pure"
    match audible(beats):
        case Audible.ROUGHNESS:
            return f"{beats:.0f}/s"
        case Audible.TOO_SLOW:
            return f"1 in {1 / beats:.0f} s"
        case Audible.BEATS:
            return f"{beats:.2f}/s"


def rate_and_side(beats_per_second: float) -> str:
    """How fast it beats and on which side of pure, and why if it cannot be counted.

    >>> rate_and_side(8.726), rate_and_side(-19.6), rate_and_side(0.04), rate_and_side(0.0)
    ('8.73/s wide', '20/s narrow, rough', '1 in 25 s wide, slow', 'pure')
    """
    if direction(beats_per_second) == Direction.PURE:
        return "pure"
    why = {Audible.ROUGHNESS: ", rough", Audible.TOO_SLOW: ", slow"}
    kind = why.get(audible(beats_per_second), "")
    return f"{rate(beats_per_second)} {side(beats_per_second)}{kind}"


def in_ten_seconds(beats_per_second: float) -> str:
    """What is counted in ten seconds; nothing where no count can be made.

    >>> in_ten_seconds(-8.726), in_ten_seconds(20.0)
    ('87.3', '')
    """
    return f"{abs(beats_per_second) * 10:.1f}" if _countable(beats_per_second) else ""


def a_minute(beats_per_second: float) -> str:
    """The pulse, as a metronome shows it; nothing where no count can be made.

    >>> a_minute(8.726), a_minute(0.0)
    ('524', '')
    """
    return f"{abs(beats_per_second) * 60:.0f}" if _countable(beats_per_second) else ""


def beats_a_second(beats_per_second: float, digits: int = 1) -> str:
    """A rate in a sentence.

    >>> beats_a_second(-8.726)
    '8.7 beats a second'
    """
    return f"{abs(beats_per_second):.{digits}f} beats a second"


def count_of(beats_per_second: float) -> tuple[float, int]:
    """How many beats to count, in how many seconds: 10, or 5 when they are many.

    >>> count_of(-0.7), count_of(4.2), count_of(0.123)
    ((7.0, 10), (21.0, 5), (1.2, 10))
    """
    beats = abs(beats_per_second)
    seconds = 10 if beats <= 3 else 5
    return round(beats * seconds, 0 if beats * seconds >= 3 else 1), seconds


def counted(beats_per_second: float) -> str:
    """A rate as a player counts it.

    >>> counted(-0.7), counted(4.2), counted(0.1)
    ('7 beats in 10 seconds', '21 beats in 5 seconds', '1 beat in 10 seconds')
    """
    beats, seconds = count_of(beats_per_second)
    return f"{many(beats, 'beat')} in {seconds} seconds"


def many(count: float, what: str) -> str:
    """So many things of a kind.

    >>> many(1, "semitone"), many(12, "semitone")
    ('1 semitone', '12 semitones')
    """
    return f"{count:g} {what}{'' if count == 1 else 's'}"


def stiffness_not_known(strings: Sequence[int], so: str) -> str:
    """Of which strings nobody told the wire, what that does, and what to tell.

    >>> stiffness_not_known([3, 5], "the accuracy is wider for it")[:75]
    'How stiff strings 3, 5 may be is not known: the accuracy is wider for it. G'
    """
    several = "s" if len(strings) > 1 else ""
    return (
        f"How stiff string{several} {', '.join(map(str, strings))} may be is not known: {so}. "
        "Give gauge_inches and scale_length_inches in the instrument's file."
    )


def _countable(beats_per_second: float) -> bool:
    return direction(beats_per_second) != Direction.PURE and audible(beats_per_second) == Audible.BEATS
