"""A foot board at the page without a set: controllers are learned, and pedals stand where they stand."""

import pytest

from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadValue
from tonegen.keys.foot_bench import FootBench
from tonegen.page.foot.feet import learned, travels_of
from tonegen.page.foot.part import FootPart
from tonegen.page.keeping import Kept
from tonegen.page.setting import Foot, PedalControl, Setting

A, B, E, F = (PedalControl(change, 20 + at, 1) for at, change in enumerate("ABEF"))


def control(number, value, channel=1):
    """MIDI 1.0, table I: a control change is 1011nnnn 0ccccccc 0vvvvvvv."""
    return bytes((0xB0 + channel - 1, number, value))


def test_a_controller_is_learned_by_its_number_and_channel():
    foot = learned(Foot("Board"), "A", control(20, 127, 3))
    assert foot == Foot("Board", (PedalControl("A", 20, 3),))


def test_a_controller_moves_one_pedal_and_a_pedal_has_one_controller():
    foot = Foot("Board", (A, B))
    assert learned(foot, "B", control(20, 90)).pedals == (PedalControl("B", 20, 1),)
    assert learned(foot, "A", control(30, 90)).pedals == (B, PedalControl("A", 30, 1))


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ("a pedal on its way up", control(20, 12)),
        ("a note", bytes((0x90, 60, 100))),
        ("a program", bytes((0xC0, 5))),
        ("all notes off, which is no controller", control(123, 127)),
        ("a clock", bytes((0xF8,))),
    ],
)
def test_what_is_no_press_of_a_controller_is_waited_over(what, message):
    assert learned(Foot("Board"), "A", message) is None, what


@pytest.mark.parametrize(("value", "travel"), [(0, 0.0), (64, 64 / 127), (127, 1.0)])
def test_a_pedal_stands_where_its_controller_stands_also_half_way(value, travel):
    assert travels_of((A, B), control(21, value)) == {"B": travel}


def test_other_messages_move_nothing():
    others = (control(20, 64, 2), control(19, 64), bytes((0x90, 20, 64)), bytes((0xF0, 0x7D, 0xF7)))
    assert [travels_of((A, B), other) for other in others] == [{}] * 4


def with_pedals(*pedals):
    page = visitor(Kept(Setting(foot=Foot("", pedals))))
    return page, page.engine.part(FootPart).take


@in_the_loop
def test_pedals_move_on_the_page_and_half_a_pedal_is_half():
    page, take = with_pedals(A, B)
    take(control(20, 127))
    take(control(21, 32))

    assert page.view["playing"]["travels"] == {"A": 1.0, "B": 32 / 127}
    assert page.view["undo"] == ""  # what feet do is not undone
    take(control(20, 0))
    assert page.view["playing"]["travels"] == {"B": 32 / 127}


@in_the_loop
def test_two_levers_of_one_knee_wait_for_each_other():
    """Common practice, no source: one knee cannot push E and F at once."""
    page, take = with_pedals(E, F)
    take(control(22, 127))
    take(control(23, 127))
    assert page.view["state"] == "E"
    take(control(22, 0))
    assert page.view["state"] == "F"


@in_the_loop
def test_pedals_of_another_steel_are_kept_and_move_nothing():
    page, take = with_pedals(A)
    page.ask(asks.Choose(instrument="c6-ten-string"))
    take(control(20, 127))
    assert page.view["playing"]["travels"] == {}
    assert page.engine.at.setting.foot.pedals == (A,)


@in_the_loop
def test_nothing_is_learned_without_a_board_or_for_no_pedal():
    page, _ = with_pedals()
    with pytest.raises(BadValue, match="choose the input"):
        page.ask(asks.LearnPedal("A"))
    with pytest.raises(BadValue, match="no change"):
        page.ask(asks.LearnPedal("Q"))


def test_of_a_controller_that_moves_fast_the_newest_counts():
    bench = FootBench()
    for value in range(128):
        bench.take(control(20, value))
        bench.take(control(21, 127 - value))
        bench.take(bytes((0x90, 60, 100)))

    assert bench.came(0) == (control(20, 127), control(21, 0))
    assert bench.came(0) == ()
