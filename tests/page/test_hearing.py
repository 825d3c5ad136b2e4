"""What the page says and does of what is heard: held against the plan and the grip, in the ear's words."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadValue
from tonegen.listen.beating import Alone, HeardBeating, strings_of
from tonegen.listen.chord import HeardBeat
from tonegen.listen.heard import UnreadSound
from tonegen.listen.learned import LearnedString
from tonegen.listen.spectrum import OwnWays
from tonegen.page.hearing.bench import HeardPick
from tonegen.page.hearing.learning import LearnedAlone
from tonegen.page.hearing.purposes import CountedPair, FilledReading, TunedStep, beating_pair
from tonegen.page.hearing.shown import Hearing
from tonegen.page.order.part import OrderPart

NOTHING_YET = Hearing("order", "pickup")


def beating(rate, error=0.02, held=0.0, side=True, rang_before=False):
    return HeardBeating(3.0, HeardBeat(rate, error, side), held, rang_before)


async def tuning(at):
    """A page that listens to a step of the plan of the usual rig, and the ear's purpose."""
    page = visitor()
    page.ask(asks.MakePlan())
    await page.until("order", lambda order: order["steps"])
    page.ask(asks.GoToStep(at))
    return page, TunedStep(page.engine), page.engine.part(OrderPart)


async def a_step(such_that):
    """The first step of the plan that is such."""
    _, _, order = await tuning(0)
    return next(at for at, step in enumerate(order._plan.steps) if such_that(step))


@in_the_loop
async def test_a_step_says_how_it_beats_how_it_should_and_how_sure_that_is():
    """The plan's own rate and partials are what is listened for."""
    at = await a_step(lambda step: step.beats_per_second > 0.5 and hasattr(step.against, "string"))
    _, ear, order = await tuning(at)
    pair, step = ear.wanted(), order.step
    assert pair.beats_per_second == step.beats_per_second
    assert (pair.low.hz, pair.high.hz) == (step.low_hz, step.high_hz)
    assert (pair.low_number, pair.high_number) == step.partials
    assert sorted(strings_of(pair)) == sorted([step.tune.string, step.against.string])
    assert ear.words.startswith(f"Pick strings {pair.low.string} and {pair.high.string} together")
    should = f"{step.beats_per_second:.2f}/s"
    wide = ear.told(beating(2.1 + step.beats_per_second), NOTHING_YET)
    assert wide.words == f"Beats {2.1 + step.beats_per_second:.2f}/s, wide; should be {should}."
    assert wide.sure == "Sure, give or take 0.02/s."
    narrow = ear.told(beating(-2.1, error=0.4), NOTHING_YET)
    assert narrow.words == f"Beats 2.10/s, narrow; should be {should}, wide."
    assert narrow.sure == "Not sure yet, give or take 0.40/s: let both ring longer."
    unknown = ear.told(beating(2.1, side=False), NOTHING_YET)
    assert unknown.words == f"Beats 2.10/s, side not heard; should be {should}, wide."
    silent = ear.told(HeardBeating(1.0, UnreadSound("string 8 is not heard"), 0.0), NOTHING_YET)
    assert silent.words == "String 8 is not heard."


@in_the_loop
async def test_a_step_against_a_tone_listens_to_the_string_that_is_tuned():
    at = await a_step(lambda step: not hasattr(step.against, "string"))
    page, ear, order = await tuning(at)
    pair = ear.wanted()
    assert pair.alone is (Alone.HIGH if order.step.tune_is_high else Alone.LOW)
    assert strings_of(pair) == [order.step.tune.string]
    below = replace(order.step, tune_is_high=not order.step.tune_is_high)
    other = beating_pair(below, page.engine.at.rig, {})
    assert {pair.alone, other.alone} == {Alone.LOW, Alone.HIGH}
    assert ear.words == f"Pick string {order.step.tune.string} alone, and let it ring."


@in_the_loop
async def test_it_goes_on_by_itself_once_a_step_has_held_for_two_seconds_and_says_so():
    page, ear, order = await tuning(1)
    right = order.step.beats_per_second
    assert ear.told(beating(right, held=1.5), NOTHING_YET).words.endswith("That is right.")
    assert page.shown["order"]["at"] == 1
    told = ear.told(beating(right, held=2.0), NOTHING_YET)
    assert told.words.startswith("Held: ")
    assert told.words.endswith("On to step 3.")
    assert page.shown["order"]["at"] == 2
    assert ear.wanted().beats_per_second == order.step.beats_per_second
    page.ask(asks.GoToStep(1))  # the player wants to look at it again
    ear.wanted()
    assert ear.told(beating(right, held=9.0), NOTHING_YET).words.endswith("That is right, and holds.")
    assert page.shown["order"]["at"] == 1


@in_the_loop
async def test_strings_that_ring_on_from_the_step_before_say_nothing_of_the_next():
    page, ear, order = await tuning(1)
    right = order.step.beats_per_second
    held = ear.told(beating(right, held=2.0), NOTHING_YET).words
    assert ear.told(beating(right, held=2.5), NOTHING_YET).words == held  # told of the same sound
    right = ear.wanted().beats_per_second
    assert ear.told(beating(right, held=2.0, rang_before=True), NOTHING_YET).words == held
    assert page.shown["order"]["at"] == 2
    picked = ear.told(beating(right, held=1.5), NOTHING_YET)
    assert picked.words.endswith("That is right.")
    assert ear.told(beating(right, held=2.0, rang_before=True), NOTHING_YET).words.endswith("On to step 4.")


@in_the_loop
async def test_it_goes_on_by_itself_only_where_it_may_and_not_behind_the_last_step():
    page, ear, order = await tuning(1)
    page.ask(asks.MoveOn(False))
    assert page.view["playing"]["goes_on"] is False
    ear.told(beating(order.step.beats_per_second, held=5.0), NOTHING_YET)
    assert page.shown["order"]["at"] == 1
    page.ask(asks.MoveOn(True), asks.GoToStep(len(page.shown["order"]["steps"]) - 1))
    ear.wanted()
    told = ear.told(beating(order.step.beats_per_second, held=2.0), NOTHING_YET)
    assert told.words.endswith("This was the last step; go through the checks.")
    page.ask(asks.GoToStep(-1))
    assert ear.wanted() is None


@in_the_loop
async def test_whether_it_goes_on_by_itself_is_found_again_after_a_restart():
    saved = []
    page = visitor(None, saved, asks.MoveOn(False))
    await page.engine.close()

    assert visitor(saved[-1]).view["playing"]["goes_on"] is False


@in_the_loop
def test_a_pair_of_the_grip_is_counted():
    """A and B pedal down, strings 5 and 4: a pair that beats as the picture of it says."""
    page = visitor(None, None, asks.Engage("A", 1.0), asks.Engage("B", 1.0), asks.Strings((3, 4, 5)))
    ear = CountedPair(page.engine, "5", "4")
    pair = ear.wanted()
    assert pair.beats_per_second == pytest.approx(page.pair(5, 4)["beats_per_second"])
    told = ear.told(beating(-2.13), NOTHING_YET)
    assert (told.beats_per_second, told.side) == (2.13, "narrow")
    assert told.words == "Beats 2.13/s, narrow."
    page.ask(asks.Counted("5", "4", 21.3, 10, "narrow"))
    counted = page.shown["count"]
    assert counted["wide"] == ""
    assert counted["narrow"].startswith("narrow, −")
    page.ask(asks.Level(-30))
    assert ear.wanted() is pair  # nothing else is listened for
    page.ask(asks.Strings((3,)))
    assert ear.wanted() is None
    with pytest.raises(BadValue, match="do not sound together"):
        CountedPair(page.engine, "5", "4")


@in_the_loop
def test_the_bass_is_no_string_that_is_heard():
    page = visitor(None, None, asks.Choose(against="E2"), asks.Strings((8,)))
    with pytest.raises(BadValue, match="only strings are heard"):
        CountedPair(page.engine, "bass", "8")


@in_the_loop
def test_a_pick_is_what_a_meter_would_show_with_the_changes_as_they_stand():
    page = visitor(None, None, asks.Choose(temperament="equal", drop="demo-soft-cabinet"))
    ear = FilledReading(page.engine)
    wanted = ear.wanted()
    pick = HeardPick((8,), 8, 1.5, 0.04)
    told = ear.told(pick, NOTHING_YET)
    assert told.cents == "+1.50"
    assert told.words == "Heard string 8: +1.50 cents, give or take 0.04."
    assert ear.told(replace(pick, why_not="too short"), NOTHING_YET).words == "too short"
    page.ask(asks.Engage("A", 1.0))
    assert ear.wanted() is not wanted
    drop = float(page.string(8)["drop"].replace("−", "-"))
    assert ear.told(pick, NOTHING_YET).cents == f"{drop + 1.5:+.2f}".replace("-", "−") != "+1.50"


def learned(stiffness=8e-5):
    numbers = np.arange(1.0, 6.0)
    return LearnedString(164.8, stiffness, OwnWays(numbers, 0.1 * numbers, 0.01 + 0 * numbers), 0.12)


def test_strings_are_learned_each_twice_and_kept_with_the_instrument(own_folder):
    @in_the_loop
    def check():
        page = visitor()
        ear = LearnedAlone(page.engine)
        rows = {row["string"]: row for row in page.shown["learned"]["rows"]}
        assert (rows[8]["note"], rows[8]["words"]) == ("E3", "not learned")
        said = ear.told(HeardPick((8,), 8, 0.0, 0.1, number=1), NOTHING_YET).words
        assert said == "Heard string 8. Once more: 1 pick."
        assert ear.due() == ()
        with pytest.raises(BadValue, match="nothing new was learned"):
            ear.keep()
        ear.told(HeardPick(why_not="too short", number=2), NOTHING_YET)
        ear.told(HeardPick((8,), 8, 0.0, 0.1, number=3), NOTHING_YET)
        ((string, picks, expected),) = ear.due()
        assert (string, picks, expected.string) == (8, (1, 3), 8)
        ear.learned(8, learned())
        assert page.shown["learned"]["keeps"] == 1
        ear.keep()
        row = next(row for row in page.shown["learned"]["rows"] if row["string"] == 8)
        assert row["words"] == f"learned on {date.today()}; learn it again once it is new"
        # Heard by what was learned from now on, at the page as well.
        wanted = next(each for each in FilledReading(page.engine).wanted() if each.string == 8)
        assert wanted.stiffness == pytest.approx(8e-5)
        assert wanted.ways is not None
        again = next(each for each in LearnedAlone(page.engine).wanted() if each.string == 8)
        assert again.ways is None  # it is learned anew, whatever was known
        return page.engine.at.rig.instrument

    check()
    page_file = own_folder / "learned" / "e9-ten-string.toml"
    assert page_file.exists()


@in_the_loop
def test_which_of_two_strings_of_one_note_was_picked_is_asked():
    page = visitor()
    ear = LearnedAlone(page.engine)
    told = ear.told(HeardPick((5, 8), 5, 0.0, 0.1, number=1), NOTHING_YET)
    assert told.words == "String 5 or 8? Both play this note; say which it was."
    assert page.shown["learned"]["which"] == [5, 8]
    with pytest.raises(BadValue, match="no pick of that string"):
        ear.say_which(4)
    ear.say_which(8)
    assert page.shown["learned"]["which"] == []
    ear.told(HeardPick((8,), 8, 0.0, 0.1, number=2), NOTHING_YET)
    assert [(string, picks) for string, picks, _ in ear.due()] == [(8, (1, 2))]
    ear.learned(8, UnreadSound("the picks of string 8 are not alike"))
    row = next(row for row in page.shown["learned"]["rows"] if row["string"] == 8)
    assert row["words"] == "not learned: the picks of string 8 are not alike"


def test_what_was_learned_of_another_instrument_is_said(own_folder):
    """The file of this instrument has a string that it has not, or plays another note by now."""
    place = own_folder / "learned" / "e9-ten-string.toml"
    place.parent.mkdir(parents=True)
    place.write_text(
        'title = "x"\ninstrument = "e9-ten-string"\n[[strings]]\nstring = 8\nnote = "F3"\nday = 2026-11-20\n'
        "hz = 175.0\nstiffness = 1e-4\nalike_cents = 0.1\npartials = [1]\ncents = [0.0]\n"
        "error_cents = [0.1]\n"
    )

    @in_the_loop
    def check():
        page = visitor()
        FilledReading(page.engine).wanted()
        assert "string 8 was learned as F3, which it is no longer" in page.shown["fault"]["text"]
        page.shown.pop("fault")
        LearnedAlone(page.engine)
        assert "learn it again" in page.shown["fault"]["text"]

    check()
