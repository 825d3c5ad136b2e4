"""What a part of the page listens for, and how it says what was heard: one class for each purpose."""

import dataclasses
from collections.abc import Mapping
from typing import Final, Protocol

from msgspec.structs import replace

from tonegen.errors import BadValue, TonegenError
from tonegen.instrument import Instrument, TuningPoint
from tonegen.listen.beating import Alone, BeatingPair, HeardBeating, strings_of
from tonegen.listen.chord import HeardBeat
from tonegen.listen.heard import UnreadSound
from tonegen.listen.learned import LearnedString
from tonegen.listen.spectrum import Expected
from tonegen.order.steps import Node, Reference, TuningStep, counting_error_beats_per_second
from tonegen.page.hearing.bench import HeardPick, Wanted
from tonegen.page.hearing.shown import Hearing
from tonegen.page.order.part import OrderPart
from tonegen.page.part import Host, Standing
from tonegen.presets.learned import learned_strings
from tonegen.setup.listened import NOTHING, expected, target
from tonegen.setup.rig import Rig
from tonegen.words import rate, side, signed

HOLDS_SECONDS: Final = 2.0
_WITHIN_BEATS: Final = 0.1  # common practice, no source: half a beat in five seconds


class ListeningPurpose(Protocol):
    """Why a part of the page listens."""

    @property
    def words(self) -> str:
        """What the player is to do."""

    def wanted(self) -> Wanted:
        """What is listened for now: the same object while nothing has changed."""

    def told(self, heard: HeardPick | HeardBeating, view: Hearing) -> Hearing:
        """What is shown of something that was heard, from a view that says nothing yet."""


class LearnedNow:
    """What was learned of the strings of the instrument that is set, read when it is another one."""

    def __init__(self, host: Host) -> None:
        """Nothing is read yet."""
        self._host = host
        self._instrument: Instrument | None = None
        self._learned: Mapping[TuningPoint, LearnedString] = NOTHING

    def now(self) -> Mapping[TuningPoint, LearnedString]:
        """By tuning point; nothing where it does not fit the instrument any more, which is said."""
        instrument = self._host.at.rig.instrument
        if self._instrument is not instrument:
            self._instrument, self._learned = instrument, NOTHING
            try:
                self._learned = learned_strings(instrument)
            except TonegenError as error:
                self._host.complain(str(error))
        return self._learned


class FilledReading:
    """A string that is played by itself fills the field of a reading."""

    words = "Pick one string, and let it ring for a second."

    def __init__(self, host: Host) -> None:
        """Nothing is listened for yet."""
        self._host = host
        self._at: Standing | None = None
        self._learned = LearnedNow(host)
        self._wanted: Wanted = None
        self._meant: dict[int, float] = {}

    def wanted(self) -> Wanted:
        """The strings as they sound at their targets with the changes as they stand."""
        at = self._host.at
        if self._at is not at:
            self._at = at
            state = at.rig.state(at.playing.travels)
            found = []
            for string in at.rig.instrument.strings:
                try:
                    found.append(target(at.rig, string.number, state, at.playing.fret))
                except TonegenError:
                    continue  # the bar is where this string has no note
            learned = self._learned.now()
            self._wanted = tuple(expected(at.rig, each, learned) for each in found)
            self._meant = {each.string: each.cents for each in found}
        return self._wanted

    def told(self, heard: HeardPick | HeardBeating, view: Hearing) -> Hearing:
        """What a meter would show of it."""
        assert isinstance(heard, HeardPick)
        if heard.why_not or heard.string not in self._meant:
            return replace(view, words=heard.why_not or "played before a change")
        cents = signed(self._meant[heard.string] + heard.off_cents)
        strings = " or ".join(map(str, heard.strings))
        words = f"Heard string {strings}: {cents} cents, give or take {heard.error_cents:.2f}."
        return replace(view, strings=heard.strings, cents=cents, words=words)


class TunedStep:
    """How the strings of a step of the tuning order beat; goes on once that has held for two seconds."""

    def __init__(self, host: Host) -> None:
        """Begin at the step that is heard."""
        self._host = host
        self._order = host.part(OrderPart)
        self._step: TuningStep | None = None
        self._wanted: BeatingPair | None = None
        self._learned = LearnedNow(host)
        self._passed: set[int] = set()  # a step that the player came back to is left by him alone
        self._held = ""  # what was said of the step before, for as long as its strings ring on
        self.wanted()

    @property
    def words(self) -> str:
        """What to pick in this step."""
        if self._wanted is None:
            return "Go to a step first."
        strings = strings_of(self._wanted)
        if len(strings) == 1:
            return f"Pick string {strings[0]} alone, and let it ring."
        return f"Pick strings {strings[0]} and {strings[1]} together, and let them ring."

    def wanted(self) -> Wanted:
        """The pair of the step."""
        step = self._order.step
        if step is not self._step:
            self._step = step
            self._wanted = None
            if step is None:  # another plan
                self._passed.clear()
            else:
                self._wanted = beating_pair(step, self._host.at.rig, self._learned.now())
        return self._wanted

    def told(self, heard: HeardPick | HeardBeating, view: Hearing) -> Hearing:
        """How it beats, and how it should."""
        assert isinstance(heard, HeardBeating)
        if self._wanted is None or self._step is None:
            return view
        if self._held and (heard.rang_before or self._order.step is not self._step):
            return replace(view, words=self._held)
        self._held = ""
        view, pair = told_beat(heard.beat, self._wanted.within, view), self._wanted
        if isinstance(heard.beat, UnreadSound):
            return view
        should = rate(pair.beats_per_second)
        if should != "pure" and side(pair.beats_per_second) != view.side:
            should = f"{should}, {side(pair.beats_per_second)}"
        words = f"{view.words}; should be {should}."
        if not pair.is_right(heard.beat):
            return replace(view, words=words)
        if heard.right_seconds < HOLDS_SECONDS:
            return replace(view, words=f"{words} That is right.")
        words = f"{words} That is right, and holds."
        if self._host.at.playing.goes_on and self._order.place not in self._passed:
            self._passed.add(self._order.place)
            if self._order.go_on():
                words = f"Held: {words[0].lower()}{words[1:]} On to step {self._order.place + 1}."
                self._held = words
            else:
                words = f"{words} This was the last step; go through the checks."
        return replace(view, words=words)


class CountedPair:
    """How a pair of the grip beats, which fills the count."""

    def __init__(self, host: Host, low: str, high: str) -> None:
        """Listen for these tones. Raises BadValue where they do not sound together, or one is no string."""
        self._host, self._names = host, (low, high)
        self._learned = LearnedNow(host)
        self._at: Standing | None = None
        self._wanted: BeatingPair | None = None
        self.wanted()
        self.words = f"Pick strings {low} and {high} together, and let them ring."

    def wanted(self) -> Wanted:
        """The pair with the changes as they stand; none where it does not sound any more."""
        at = self._host.at
        if self._at is None:
            self._wanted = self._pair(at)
        elif self._at is not at:
            try:
                pair = self._pair(at)
            except TonegenError:
                pair = None
            if _alike(pair, self._wanted):
                pair = self._wanted
            self._wanted = pair
        self._at = at
        return self._wanted

    def _pair(self, at: Standing) -> BeatingPair:
        interval = at.interval(*self._names)
        numbers = interval.low.string, interval.high.string
        state, ratio, multiple = at.rig.state(at.playing.travels), interval.ratio, at.sounding.multiple
        strings = [
            expected(at.rig, target(at.rig, number, state, at.playing.fret), self._learned.now())
            for number in numbers
            if number is not None
        ]
        if len(strings) < 2:
            raise BadValue("only strings are heard; choose a pair without the bass")
        return BeatingPair(
            strings[0], strings[1], ratio.upper * multiple, ratio.lower * multiple,
            interval.beats_per_second, _WITHIN_BEATS,
        )  # fmt: skip

    def told(self, heard: HeardPick | HeardBeating, view: Hearing) -> Hearing:
        """How it beats."""
        assert isinstance(heard, HeardBeating)
        view = told_beat(heard.beat, _WITHIN_BEATS, view)
        return view if isinstance(heard.beat, UnreadSound) else replace(view, words=f"{view.words}.")


def _alike(one: BeatingPair | None, other: BeatingPair | None) -> bool:
    """Whether the same is listened for, to a hundredth of a cent."""
    if one is None or other is None:
        return one is other
    return all(
        abs(mine.hz / yours.hz - 1) < 5e-6 for mine, yours in ((one.low, other.low), (one.high, other.high))
    ) and (one.low_number, one.high_number) == (other.low_number, other.high_number)


def beating_pair(step: TuningStep, rig: Rig, learned: Mapping[TuningPoint, LearnedString]) -> BeatingPair:
    """What is listened for in a step: its strings, or the one that is tuned beside a tone; right within what
    the plan takes a player to count.
    """
    low, high = (step.against, step.tune) if step.tune_is_high else (step.tune, step.against)
    low_number, high_number = step.partials
    alone = Alone.NEITHER
    if isinstance(step.against, Reference):
        alone = Alone.HIGH if step.tune_is_high else Alone.LOW
    return BeatingPair(
        _expected(low, step.low_hz, step.low_stiffness, step, rig, learned),
        _expected(high, step.high_hz, step.high_stiffness, step, rig, learned),
        low_number,
        high_number,
        step.beats_per_second,
        counting_error_beats_per_second(step.beats_per_second, step.ratio, step.multiple),
        alone,
    )


def _expected(
    node: Node,
    hz: float,
    stiffness: float,
    step: TuningStep,
    rig: Rig,
    learned: Mapping[TuningPoint, LearnedString],
) -> Expected:
    """A tone as the plan has it."""
    if isinstance(node, Reference):
        return Expected(0, node.name, hz, stiffness)
    each = expected(rig, target(rig, node.string, step.state, step.fret), learned)
    return dataclasses.replace(each, hz=hz)


def told_beat(beat: HeardBeat | UnreadSound, within: float, view: Hearing) -> Hearing:
    """A beat in words, and how sure it is; or why it cannot be said."""
    if isinstance(beat, UnreadSound):
        return replace(view, words=f"{str(beat)[:1].upper()}{str(beat)[1:]}.")
    beats = abs(beat.beats_per_second)
    which = side(beat.beats_per_second) if beat.side_is_known else ""
    if beats < beat.error:
        words, which = "Pure, as far as is heard", ""
    elif rate(beats) == "pure":
        words, which = "Pure", ""
    else:
        words = f"Beats {rate(beats)}, {which or 'side not heard'}"
    off = f"give or take {beat.error:.2f}/s"
    if beat.error <= within / 2:
        sure = f"Sure, {off}."
    elif beat.error <= within:
        sure = f"Fairly sure, {off}."
    else:
        sure = f"Not sure yet, {off}: let both ring longer."
    return replace(view, words=words, sure=sure, beats_per_second=beats, side=which)
