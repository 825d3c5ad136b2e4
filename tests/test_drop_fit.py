"""Drop read back from what a pitch meter shows."""

import itertools

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from tests import rigs
from tonegen.drop import Drop
from tonegen.dropfit.fit import Doubt, ReadAgain, fit_drop
from tonegen.dropfit.readings import PitchReading
from tonegen.errors import BadValue
from tonegen.instrument import Change, Instrument, TuningPoint
from tonegen.presets import drop, instrument
from tonegen.presets.readings import readings as load_readings

E9 = instrument("e9-ten-string")
OFFSETS = {TuningPoint(8): 3.0, TuningPoint(5): -1.0, TuningPoint(5, ("A",)): -12.0, TuningPoint(6): -11.0}


def shown(rig, profile, string, changes, offsets):
    """What a perfect meter shows: where the point was tuned, and the sag of the changes beside it."""
    state = rig.state(changes)
    return offsets.get(rig.point(string, state), 0.0) + profile.since_tuned(rig, string, state)


def readings(rig, profile, asked, offsets, noise_cents=0.0, seed=0):
    draw = np.random.default_rng(seed)
    return [
        PitchReading(
            string,
            tuple(changes),
            shown(rig, profile, string, changes, offsets) + draw.normal(0, noise_cents),
        )
        for string, changes in asked
    ]


ASKED = [
    (8, []), (8, ["A"]), (8, ["B"]), (8, []), (8, ["A"]),
    (5, []), (5, ["A"]), (5, ["A", "B"]), (5, ["B"]), (5, ["F"]),
    (6, ["A"]), (6, []), (6, ["B"]), (6, ["B", "C"]),
]  # fmt: skip


def test_exact_readings_give_the_drop_back():
    additive = Drop("invented", drop("demo-soft-cabinet").cents)
    fit = fit_drop(E9, readings(E9, additive, ASKED, OFFSETS))

    found = {(each.string, each.change): each.cents for each in fit.drops}
    assert set(found) == {(8, "A"), (8, "B"), (5, "B"), (5, "F"), (6, "A"), (6, "C")}
    for (string, change), cents in found.items():
        assert cents == pytest.approx(additive.cents[change].get(string, 0.0), abs=1e-9)
    assert {each.point: each.cents for each in fit.points}[TuningPoint(5, ("A",))] == pytest.approx(-12)
    assert not fit.outliers
    assert fit.profile("read").cents["A"][8] == pytest.approx(-2.3)


def test_standard_errors_by_hand():
    """Two readings open and two with the pedal, 0.1 cent each: 0.1 * sqrt(1/2 + 1/2)."""
    asked = [(8, []), (8, []), (8, ["A"]), (8, ["A"])]
    fit = fit_drop(E9, readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS), meter_cents=0.1)

    assert fit.drops[0].standard_error_cents == pytest.approx(0.1)


@pytest.mark.parametrize("slip", range(len(ASKED)))
def test_a_slip_is_found_where_others_decide(slip):
    """A reading 6 cents off: named if the string was read often enough to know; never a wrong one blamed."""
    additive = Drop("invented", drop("demo-soft-cabinet").cents)
    taken = readings(E9, additive, ASKED * 2, OFFSETS, 0.05)
    wrong = taken[slip]
    taken[slip] = PitchReading(wrong.string, wrong.changes, wrong.cents + 6)
    fit = fit_drop(E9, taken + readings(E9, additive, ASKED, OFFSETS, 0.05, seed=7))

    assert [each.reading for each in fit.outliers] == [taken[slip]]
    assert fit.outliers[0].off_cents == pytest.approx(6, abs=0.4)
    for each in fit.drops:
        assert abs(each.cents - additive.cents[each.change].get(each.string, 0.0)) < 0.3


@st.composite
def read_rigs(draw):
    """Any instrument, any drop, and readings enough to decide it, some of them twice, in any order."""
    strings = draw(st.integers(1, 5))
    changes = []
    for number in range(draw(st.integers(1, 4))):
        moved = draw(st.sets(st.integers(1, strings), min_size=0 if strings == 1 else 1, max_size=strings))
        changes.append(
            Change(f"C{number}", {string: draw(st.sampled_from([-2, -1, 1, 2])) for string in moved})
        )
    rig = Instrument("any", "", rigs.strings(*range(40, 40 + 5 * strings, 5)), tuple(changes))
    seed = draw(st.integers(0, 2**32 - 1))
    random = np.random.default_rng(seed)
    asked = []
    for string in range(1, strings + 1):
        asides = [change.name for change in changes if string not in change.semitones]
        own = [change.name for change in changes if string in change.semitones]
        asked += [(string, [])] * draw(st.integers(1, 3))
        asked += [(string, [name]) for name in own for _ in range(draw(st.integers(0, 2)))]
        asked += [(string, [name]) for name in asides for _ in range(draw(st.integers(1, 2)))]
        asked += [(string, [*own[:1], name]) for name in asides if draw(st.booleans())]
        if len(asides) > 1:
            asked.append((string, asides[:2]))
    random.shuffle(asked)
    profile = Drop("any", {
        change.name: {string: float(random.uniform(-8, 0)) for string in range(1, strings + 1)}
        for change in changes
    })  # fmt: skip
    offsets = {point: float(random.uniform(-30, 30)) for point in rig.tuning_points()}
    return rig, profile, asked, offsets, seed


@pytest.mark.long
def test_drop_within_three_stated_errors_99_percent_of_the_time():
    """0.1 cent of noise on random instruments: 99 figures of 100 within three standard errors."""
    inside = []

    @given(read_rigs())
    @settings(max_examples=150, deadline=None, derandomize=True, database=None)
    def read_one(drawn):
        rig, profile, asked, offsets, seed = drawn
        fit = fit_drop(rig, readings(rig, profile, asked, offsets, 0.1, seed))
        for each in fit.drops:
            # Only differences from the string's own changes can be read, as in Instrument.drop_cents.
            true = profile.cents[each.change][each.string]
            inside.append(abs(each.cents - true) <= 3 * each.standard_error_cents)

    read_one()
    assert len(inside) > 500
    assert np.mean(inside) >= 0.99


@pytest.mark.parametrize("seed", range(12))
def test_good_readings_are_not_refused(seed):
    additive = Drop("invented", drop("demo-soft-cabinet").cents)
    assert not fit_drop(E9, readings(E9, additive, ASKED * 3, OFFSETS, 0.1, seed)).outliers


def test_few_readings_that_scatter_are_trusted_less():
    """By hand: four readings a cent apart in pairs, two to spare; the meter's claim counts as three more.

    Three sigmas are widened to Student's t; each of the four may be the slip.
    """
    taken = [PitchReading(8, (), 0.0), PitchReading(8, (), 1.0)]
    taken += [PitchReading(8, ("A",), -3.0), PitchReading(8, ("A",), -2.0)]
    fit = fit_drop(E9, taken, meter_cents=0.1)

    scatter = np.sqrt((4 * 0.5**2 + 3 * 0.1**2) / 5)
    wider = scipy.stats.t.ppf(0.99865, 5) / 3
    assert fit.drops[0].cents == pytest.approx(-3)
    assert [each.refused for each in fit.outliers] == [False] * 4
    assert fit.drops[0].standard_error_cents == pytest.approx(scatter * wider, rel=1e-3)


def test_a_poor_meter_is_noticed():
    """A meter that says 0.1 but scatters by 1 cent: the stated errors grow with what is seen."""
    asked = [(8, []), (8, ["A"]), (8, ["B"])] * 8
    fit = fit_drop(E9, readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS, 1.0, 3), meter_cents=0.1)

    assert fit.scatters[0].cents == pytest.approx(1, rel=0.4)
    assert all(each.standard_error_cents > 0.3 for each in fit.drops)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_slip_is_found_beside_the_scatter_of_a_poor_meter(seed):
    """A meter that says 0.1 but scatters by 1 cent: 15 cents are a slip of the hand, what scatters is not."""
    asked = [(8, []), (8, ["A"]), (8, ["B"])] * 8
    taken = readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS, 1.0, seed)
    wrong = taken[4] = PitchReading(8, taken[4].changes, taken[4].cents + 15)
    fit = fit_drop(E9, taken, meter_cents=0.1)

    assert [each.reading for each in fit.outliers] == [wrong]


def test_what_cannot_be_told_apart_is_said():
    """A and F always together: their sum is read, neither of the two."""
    asked = [(6, []), (6, ["A", "F"]), (6, ["A", "F"])]
    fit = fit_drop(E9, readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS))

    assert not fit.drops
    assert fit.undecided == ((6, "A"), (6, "F"))


def test_the_next_readings_help_most():
    """One string read but for F: that reading comes before a second look at what is known."""
    rig = Instrument("two", "", rigs.strings(60, 55), (Change("A", {1: 2}), Change("B", {1: 1})))
    asked = [(2, []), (2, ["A"]), (1, []), (1, ["A"]), (1, ["B"])]
    fit = fit_drop(rig, readings(rig, Drop("any", {}), asked, {}))

    first = fit.next_readings[0]
    assert (first.string, first.changes) == (2, ("B",))
    gains = [each.gain_cents for each in fit.next_readings]
    assert gains == sorted(gains, reverse=True)
    assert first.gain_cents == pytest.approx(6 - np.hypot(0.1, 0.1), abs=0.01)


def test_nothing_read():
    with pytest.raises(BadValue, match="no readings"):
        fit_drop(E9, [])


def test_what_two_pedals_give_together_is_found_where_readings_say_so():
    """The demo cabinet: exact readings of all that it says come back, its combination too."""
    soft = drop("demo-soft-cabinet")
    for together, cents in soft.combinations.items():
        for string in cents:
            names = sorted(together)
            asked = [(string, each) for each in ([], names[:1], names[1:], names)] * 2
            profile = fit_drop(E9, readings(E9, soft, asked, OFFSETS)).profile("read")
            state = E9.state(names)
            assert profile.since_tuned(E9, string, state) == pytest.approx(
                soft.since_tuned(E9, string, state), abs=1e-6
            )
            assert profile.combinations


def with_combinations(rig, profile, share):
    """The same cabinet, where any two changes give a share of their sum."""
    names = [change.name for change in rig.changes]
    return Drop("any", profile.cents, {
        frozenset(pair): {
            string.number: share() * sum(profile.cents[name][string.number] for name in pair)
            for string in rig.strings
        }
        for pair in itertools.combinations(names, 2)
    })  # fmt: skip


@given(read_rigs())
@settings(max_examples=40, deadline=None, derandomize=True, database=None)
def test_exact_readings_of_any_cabinet_with_combinations_of_two_come_back(drawn):
    """Every state that was read is given back within 1e-6 cents, read twice or by the finest of meters."""
    rig, profile, asked, offsets, seed = drawn
    random = np.random.default_rng(seed)
    pairs = with_combinations(rig, profile, lambda: random.uniform(0.5, 1))
    names = [change.name for change in rig.changes]
    asked = [(string.number, list(each)) for string in rig.strings
             for size in range(3) for each in itertools.combinations(names, size)]  # fmt: skip
    for taken, meter in ((asked * 2, 0.1), (asked, 0.001)):
        fit = fit_drop(rig, readings(rig, pairs, taken, offsets), meter)
        found = fit.profile("read")
        assert not any(each.refused for each in fit.outliers)
        for string, changes in asked:
            state = rig.state(changes)
            assert found.since_tuned(rig, string, state) == pytest.approx(
                pairs.since_tuned(rig, string, state), abs=1e-6 if meter == 0.1 else 0.01
            )
        for each in fit.drops:
            assert each.cents == pytest.approx(profile.cents[each.change][each.string], abs=1e-6)


def test_combinations_are_not_invented_from_noise():
    """300 strings whose pedals add, 0.1 cent of noise: not one combination; by the test's rate 0.3."""
    additive = Drop("invented", {"A": {8: -2.3}, "B": {8: -1.5}})
    asked = [(8, each) for each in ([], ["A"], ["B"], ["A", "B"]) for _ in range(2)]
    found = sum(
        len(fit_drop(E9, readings(E9, additive, asked, OFFSETS, 0.1, seed)).combinations)
        for seed in range(300)
    )
    assert found <= 3


@pytest.mark.long
def test_drops_are_within_three_stated_errors_where_two_pedals_give_less():
    """30 % less than the sum, 0.1 cent of noise, seldom enough to be seen as a combination: 99 of 100."""
    inside = []

    @given(read_rigs())
    @settings(max_examples=250, deadline=None, derandomize=True, database=None)
    def read_one(drawn):
        rig, profile, asked, offsets, _ = drawn
        names = [change.name for change in rig.changes]
        less = with_combinations(rig, profile, lambda: 0.7)
        singles = {(string, tuple(changes)) for string, changes in asked}
        for string in rig.strings:  # every change alone, so that its drop is known without the sum
            for change in [[], *([name] for name in names)]:
                if (string.number, tuple(change)) not in singles:
                    asked.append((string.number, change))
        fit = fit_drop(rig, readings(rig, less, asked, offsets, 0.1, len(inside)))
        inside.extend(
            abs(each.cents - profile.cents[each.change][each.string]) <= 3 * each.standard_error_cents
            for each in fit.drops
        )

    read_one()
    assert len(inside) > 700
    assert np.mean(inside) >= 0.99


def test_a_muddled_string_changes_nothing_of_another():
    good = readings(E9, drop("demo-soft-cabinet"), ASKED, OFFSETS, 0.05)
    muddled = [PitchReading(4, changes, cents) for changes, cents in
               [((), 3.0), ((), 9.0), (("A",), -4.0), (("A",), 5.0), (("B",), 1.0)]]  # fmt: skip
    alone, both = fit_drop(E9, good), fit_drop(E9, [*muddled, *good])

    assert [each for each in both.drops if each.string != 4] == list(alone.drops)
    assert [each for each in both.points if each.point.string != 4] == list(alone.points)
    assert [each for each in both.scatters if each.string != 4] == list(alone.scatters)


def test_every_reading_that_may_be_the_slip_is_read_again_first():
    """Two against two: nothing says which is wrong. A third decides."""
    taken = [PitchReading(8, (), 3.0), PitchReading(8, (), 9.0), PitchReading(8, ("A",), 0.7)]
    fit = fit_drop(E9, taken)
    assert [(each.reading, each.refused) for each in fit.outliers] == [(taken[0], False), (taken[1], False)]
    assert [(each.string, each.changes, each.doubt) for each in fit.read_again] == [
        (8, (), Doubt.CONTRADICTS)
    ]

    decided = fit_drop(E9, [*taken, PitchReading(8, (), 3.1)])
    assert [(each.reading, each.refused) for each in decided.outliers] == [(taken[1], True)]
    assert decided.read_again[0].doubt is Doubt.SLIP


def test_one_reading_together_that_is_far_from_the_sum_may_be_a_slip_of_any():
    """Four readings, each once: A+B stands 6 cents too low, or A or B, or open; it is read again first."""
    cents = {(): 3.0, ("A",): 0.7, ("B",): 1.5, ("A", "B"): -6.8}
    fit = fit_drop(E9, [PitchReading(8, changes, value) for changes, value in cents.items()])
    assert {each.reading.changes for each in fit.outliers} == set(cents)
    assert {each.changes for each in fit.read_again} == set(cents)
    assert fit.combinations[0].sum_cents == pytest.approx(-3.8)


def test_a_drop_that_rises_is_doubted_and_not_saved():
    fit = fit_drop(E9, [PitchReading(8, (), 0.7), PitchReading(8, ("A",), 3.0), PitchReading(8, ("B",), 0.1)])
    assert [(each.change, each.rises) for each in fit.drops] == [("A", True), ("B", False)]
    assert fit.read_again[0] == ReadAgain(8, ("A",), Doubt.RISES)
    assert dict(fit.profile("mine").cents) == {"B": {8: pytest.approx(-0.6)}}


def test_scatter_of_a_poor_meter_is_not_a_row_of_slips():
    """As above, without any slip: with the meter's claim for the scatter, most of it would be refused."""
    asked = [(8, []), (8, ["A"]), (8, ["B"])] * 8
    for seed in range(6):
        taken = readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS, 1.0, seed)
        assert not [each for each in fit_drop(E9, taken, meter_cents=0.1).outliers if each.refused]


def test_a_count_without_a_side_is_told_by_the_others():
    """With A string 8 sags, unless two readings say that it rises; one count alone says nothing."""
    count = PitchReading(8, ("A",), 2.2, other_cents=-2.2)
    fit = fit_drop(E9, [PitchReading(8, (), 0.0), count])
    assert fit.drops[0].cents == pytest.approx(-2.2)
    risen = fit_drop(E9, [PitchReading(8, (), 0.0), count, *[PitchReading(8, ("A",), 2.2)] * 2])
    assert risen.drops[0].cents == pytest.approx(2.2)

    unsure = fit_drop(E9, [PitchReading(8, (), 1.0, other_cents=-1.0)])
    assert unsure.read_again == (ReadAgain(8, (), Doubt.SIDE),)


HEADING = "string,changes,cents,hz,beats,seconds,side,against,ratio\n"


@pytest.mark.parametrize(("line", "cents"), [
    ("8,,2,,,,,,", 2.0),
    ("8,,,165.0043,,,,,", 2.0),
    ("8,,,,1.905,10,wide,E3,", 2.0),
    ("8,,,,19.05,100,narrow,E3,", -2.0),
    # 4:5 below G#3 that is pure above E3 + 2 cents: the string is the lower one, narrow when it is sharp.
    ("8,,,,9.525,10,narrow,206.0172,5:4", 2.0),
])  # fmt: skip
def test_a_reading_in_any_unit(tmp_path, line, cents):
    """By hand: E3 is 164.8138 Hz, 2 cents are 0.1905 Hz; five times as fast at its fifth partial."""
    file = tmp_path / "meter.csv"
    file.write_text(HEADING + line)
    [read] = load_readings(file, E9)
    assert read.cents == pytest.approx(cents, abs=0.005)
    assert read.other_cents is None


def test_a_count_is_as_good_as_its_time_and_pitch_allow(tmp_path):
    """By hand: a whole beat in 10 s, 1 / sqrt(6) of it known, is 0.0408 Hz; at 164.81 Hz 0.429 cents."""
    file = tmp_path / "meter.csv"
    file.write_text(HEADING + "8,,,,2,10,,E3,\n8,,,,2,20,,E3,\n4,,,,2,10,,E4,\n")
    long, longer, high = load_readings(file, E9)
    assert long.error_cents == pytest.approx(0.429, abs=0.001)
    assert longer.error_cents == pytest.approx(long.error_cents / 2, rel=1e-3)
    assert high.error_cents == pytest.approx(long.error_cents / 2, rel=1e-3)
    assert long.other_cents == pytest.approx(-long.cents, abs=0.01)


@pytest.mark.parametrize(("line", "says"), [
    ("8,,,164.8,3,,,E3,", "gives hz and beats; give only one of them"),
    ("8,,,,-3,,,E3,", "beats: -3 is below zero; count from 0 up, and give wide or narrow as side"),
    ("8,,,,3,0,,E3,", "seconds: 0 is not a time to count over"),
    ("8,,,,3,-10,,E3,", "seconds: -10 is not a time to count over"),
    ("8,,,,3,,sharp,E3,", 'side: "sharp" is neither wide nor narrow'),
])  # fmt: skip
def test_readings_that_cannot_be_meant(tonegen, tmp_path, line, says):
    """One line with the file and the line; exit 2."""
    file = tmp_path / "meter.csv"
    file.write_text(HEADING + line)
    told = tonegen.refused(f"tonegen drop {file} --instrument e9-ten-string")
    assert told.startswith(f"{file}: line 2: ")
    assert says in told


def test_a_combination_is_saved_and_what_rises_is_not(tonegen, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text("string,changes,cents\n" + "8,,3.0\n8,A,0.7\n8,B,1.5\n8,A+B,0.3\n8,C,4.5\n" * 3)
    shown = tonegen(f"tonegen drop {file} --instrument e9-ten-string --save my-cabinet").out
    assert "String 8 with A+B is not the sum, which would be −3.80" in shown
    assert "Left out: drop of string 8 with C, +1.50 cents" in shown
    lines = shown.splitlines()
    again = lines.index("Read this again: string 8 with C (the string would rise, and cabinets sag)")
    assert again < next(at for at, line in enumerate(lines) if line.startswith("Read next"))
    saved = drop("my-cabinet")
    assert saved.combinations == {frozenset("AB"): {8: pytest.approx(-2.7)}}
    assert saved.of(8, {"A": 1.0, "B": 1.0}) == pytest.approx(-2.7)
    assert "C" not in saved.cents


def test_a_saved_combination_that_new_readings_contradict_is_gone(tonegen, tmp_path):
    """The cabinet was mended: 8 gives the sum now. What they do not contradict, or did not read, stays."""
    file = tmp_path / "meter.csv"
    single = "8,,3.0\n8,A,0.7\n8,B,1.5\n4,,0.0\n4,A,-1.0\n4,B,-2.0\n"
    save = f"tonegen drop {file} --instrument e9-ten-string --save my-cabinet"
    file.write_text("string,changes,cents\n" + (single + "8,A+B,0.3\n4,A+B,-2.4\n") * 3)
    tonegen(save)
    before = drop("my-cabinet").combinations[frozenset("AB")]
    assert {*before} == {4, 8}

    file.write_text("string,changes,cents\n" + single * 3 + "8,A+B,0.3\n")
    tonegen(save)
    assert drop("my-cabinet").combinations == {frozenset("AB"): before}

    file.write_text("string,changes,cents\n" + (single + "8,A+B,-0.8\n") * 3)
    told = tonegen(save).out
    assert "Gone: string 8 with A+B; it is the sum, −3.80 cents" in told
    assert drop("my-cabinet").combinations == {frozenset("AB"): {4: before[4]}}

    file.write_text("string,changes,cents\n" + (single + "4,A+B,-3.0\n") * 3)
    tonegen(save)
    assert drop("my-cabinet").combinations == {}
