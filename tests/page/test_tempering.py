"""Tempering, the tuning order and the keyboards as pages ask for them, held against the command line."""

from math import log2

import pytest
from msgspec.structs import replace

from tests.page import asks
from tests.page.visitor import Visitor, in_the_loop, visitor
from tonegen.errors import BadValue, TonegenError
from tonegen.page.engine import Engine
from tonegen.page.keeping import Kept
from tonegen.page.keys.part import KeysPart
from tonegen.page.order.ordering import AskedOrder, order_of
from tonegen.page.order.part import OrderPart
from tonegen.presets.files import SHIPPED
from tonegen.words import signed

IN_A_BAND = (asks.Choose(drop="demo-soft-cabinet"), asks.TakeScene("e9-dance-band"))


def fastest_by_pair(intervals, when):
    """Each pair of tones once, at the fret where it beats fastest."""
    pairs = {}
    for each in intervals:
        strings = (each.get("low_string"), each.get("high_string"))
        place = (each["low"], each["high"]) if each["against"] else ""
        pairs.setdefault((*strings, place), []).append(abs(each[when]["beats_per_second"]))
    return [max(rates) for rates in pairs.values()]


def test_a_scene_is_solved_as_on_the_command_line_and_kept_at_one_touch(tonegen):
    printed = tonegen("tonegen temper e9-dance-band --json").json

    @in_the_loop
    async def check():
        page = visitor(None, None, *IN_A_BAND)
        page.ask(asks.Temper())
        offer = await page.until("offer", lambda offer: offer["found"])
        assert [grip["name"] for grip in offer["grips"]] == [grip["name"] for grip in printed["grips"]]
        for grip, same in zip(offer["grips"], printed["grips"], strict=True):
            for when in ("before", "after"):
                told = [abs(interval[f"{when}_beats"]) for interval in grip["intervals"]]
                assert told == pytest.approx(fastest_by_pair(same["intervals"], when), abs=1e-6)
        assert page.cell(6, "open")["offset"] == "+0.0"  # an offer changes nothing yet

        page.ask(asks.TakeOffer())
        for point in printed["points"]:
            column = "+".join(point["changes"]) or "open"
            if column in [one["name"] for one in page.view["columns"]]:
                offset = float(page.cell(point["string"], column)["offset"].replace("−", "-"))
                assert offset == pytest.approx(point["offset_cents"], abs=0.051)
        assert page.view["undo"] == "tempered"
        page.ask(asks.Undo())
        assert page.cell(6, "open")["offset"] == "+0.0"
        page.ask(asks.Redo())
        assert page.cell(6, "open")["offset"] != "+0.0"

    check()


@in_the_loop
async def test_grips_are_chosen_and_weighed_without_a_scene():
    """One grip alone comes out all but pure; its three strings are stiff, each in its own way."""
    page = visitor(None, None, asks.Choose(drop="demo-soft-cabinet", timbre="string"))
    with pytest.raises(BadValue, match="choose at least one grip"):
        page.ask(asks.Temper())
    page.ask(asks.Weigh("A major A+B 3-4-5", 2.0), asks.Temper())
    offer = await page.until("offer", lambda offer: offer["found"])
    [grip] = offer["grips"]
    assert [abs(one["after_beats"]) < 1 for one in grip["intervals"]] == [True] * 3
    assert any("With the strings' own stiffness" in note for note in offer["notes"])
    page.ask(asks.TakeOffer(), asks.TakeGrip("A major A+B 3-4-5"))
    pairs = [f"{pair['rate']} {pair['direction']}" for pair in page.view["pairs"]]
    assert pairs == [one["after"] for one in grip["intervals"]]
    assert not page.shown["offer"]["found"], "what was taken is no offer any more"
    with pytest.raises(BadValue, match="nothing to save"):
        page.ask(asks.TakeOffer())


def test_strings_of_unknown_wire_are_named_in_the_offer_and_the_plan(own_folder):
    """An instrument of the player's own, with no gauge for string 6."""
    mine = own_folder / "instruments" / "mine.toml"
    mine.parent.mkdir(parents=True)
    shipped = (SHIPPED / "instruments" / "e9-ten-string.toml").read_text()
    mine.write_text(shipped.replace('{ open = "G#3", gauge_inches = 0.02 }', '{ open = "G#3" }'))

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Choose(instrument="mine"), asks.Weigh("E major 4-5-6", 1.0))
        page.ask(asks.Temper(), asks.MakePlan())
        offer = await page.until("offer", lambda offer: offer["found"])
        plan = await page.until("order", lambda plan: plan["steps"])
        for said in (offer["notes"], plan["cautions"]):
            assert sum(words.startswith("How stiff string 6 may be is not known") for words in said) == 1

    check()


@in_the_loop
async def test_what_is_touched_is_held():
    page = visitor(None, None, asks.Strings((4, 5)), asks.Offset(5, 3.0))
    page.ask(asks.HoldPoint(5, ()), asks.Weigh("E major 3-4-5", 1.0), asks.Temper())
    assert page.cell(5, "open")["pinned"]
    assert page.shown["asked"]["pins"] == ["string 5 open at +3.0"]
    offer = await page.until("offer", lambda offer: offer["found"])
    assert "string 5 open" not in [point["point"] for point in offer["points"]]
    page.ask(asks.TakeOffer())
    assert page.cell(5, "open")["offset"] == "+3.0"
    page.ask(asks.HoldPoint(5, ()))
    assert not page.cell(5, "open")["pinned"]
    with pytest.raises(BadValue, match="does not move"):
        page.ask(asks.HoldPoint(1, ("A",)))


@in_the_loop
async def test_a_half_stop_is_held():
    page = visitor(None, None, asks.Strings((2, 5)), asks.Engage("DD", 0.5), asks.Offset(2, -4.0))
    page.ask(asks.HoldPoint(2, ("DD",), 0.5), asks.SaveGrip("half"), asks.Weigh("half", 1.0), asks.Temper())
    assert (page.cell(2, "DD:0.5")["pinned"], page.cell(2, "DD")["pinned"]) == (True, False)
    assert page.shown["asked"]["pins"] == ["string 2 with DD at 0.5 at −4.0"]
    await page.until("offer", lambda offer: offer["found"])
    page.ask(asks.TakeOffer())
    assert page.cell(2, "DD:0.5")["offset"] == "−4.0"
    steel = page.engine.at.rig.instrument
    state = steel.state({"DD": 0.5})
    low, high = (
        600 * log2((1 + b * n**2) / (1 + b))
        for b, n in ((steel.stiffness(5, state, 0), 6), (steel.stiffness(2, state, 0), 5))
    )  # how sharp the partials are that meet in a minor third
    third = 1200 * log2(6 / 5) - 300
    assert page.cell(5, "open")["offset"] == signed(-4.0 - third - low + high, 1)
    page.ask(asks.HoldPoint(2, ("DD",), 0.5))
    assert not page.cell(2, "DD:0.5")["pinned"]
    with pytest.raises(BadValue, match=r"between its stops in DD at 0\.4"):
        page.ask(asks.HoldPoint(2, ("DD",), 0.4))


@in_the_loop
async def test_what_no_chosen_grip_asks_about_stays_as_it_is():
    """By its target, and by hand, also where a hand moves it while the offsets are being found."""
    page = visitor(None, None, asks.Choose(temperament="five-limit-just"), asks.Strings((1, 7)))
    page.ask(asks.Offset(7, -4.5), asks.Weigh("E major 3-4-5", 1.0), asks.Temper())
    before = {(cell["string"], cell["column"]): cell["offset"] for cell in page.view["cells"]}
    await page.until("offer", lambda offer: offer["found"])
    page.ask(asks.Offset(1, 2.5), asks.TakeOffer())
    after = {(cell["string"], cell["column"]): cell["offset"] for cell in page.view["cells"]}
    changed = {where for where, offset in after.items() if offset != before[where]}
    assert (before[7, "open"], before[2, "open"], after[1, "open"]) == ("−4.5", "−11.7", "+2.5")
    assert changed - {(1, "open")} <= {(3, "open"), (4, "open"), (5, "open")}
    page.ask(asks.Temper())
    await page.until("offer", lambda offer: offer["found"])
    page.ask(asks.Choose(instrument="c6-ten-string"))
    with pytest.raises(BadValue, match="found for e9-ten-string; choose that instrument"):
        page.ask(asks.TakeOffer())


@in_the_loop
async def test_the_trade_off_is_walked_along():
    page = visitor(None, None, *IN_A_BAND, asks.Temper())
    offer = await page.until("offer", lambda offer: offer["found"])
    last = len(offer["front"]) - 1
    assert last > 10
    assert (offer["front"][0]["up"], offer["front"][last]["up"]) in [(1.0, 0.0), (0.0, 1.0)]
    worst = []
    for place in (0, last):
        page.ask(asks.Along(place))
        intervals = [one for grip in page.shown["offer"]["grips"] for one in grip["intervals"]]
        worst.append(max(abs(one["after_beats"]) for one in intervals if " with " in one["names"]))
    assert min(worst) < max(worst) / 5  # the band is met at one end and not at the other
    with pytest.raises(BadValue, match="no place"):
        page.ask(asks.Along(last + 1))

    page.shown["offer"] = None
    page.ask(asks.Temper())
    again = await page.until("offer", lambda offer: offer and offer["found"])
    assert again["chosen"] == -1  # what was found anew is shown at its own place


@in_the_loop
async def test_a_scene_of_another_instrument_is_refused():
    page = visitor()
    with pytest.raises(BadValue, match="is for c6-ten-string"):
        page.ask(asks.TakeScene("c6-swing-band"))
    with pytest.raises(TonegenError, match="no scene called"):
        page.ask(asks.TakeScene("../scenes/e9-dance-band"))


def test_offsets_are_kept_as_the_players_own_temperament(tonegen):
    @in_the_loop
    async def keep():
        page = visitor(None, None, asks.Strings((5,)), asks.Offset(5, -3.5), asks.Keep("my-e9"))
        assert page.view["setting"]["temperament"] == "my-e9"
        assert page.string(5)["target"] == "−3.5"
        assert not page.cell(5, "open")["moved"]

    keep()
    tone = tonegen("tonegen beats --instrument e9-ten-string --temperament my-e9 --grip 4,5 --json").json
    assert [round(one["offset_cents"], 3) for one in tone["tones"]] == [0.0, -3.5]


def test_a_temperament_brings_along_what_it_was_made_with(tonegen, own_folder):
    """Drop and reference pitch, unless they are chosen with it; what no grip asked for is said."""
    tonegen("tonegen temper e9-dance-band --save my-e9")
    path = own_folder / "temperaments" / "my-e9.toml"
    path.write_text(path.read_text().replace("reference_hz = 440.0", "reference_hz = 442.0"))

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Choose(temperament="my-e9"))
        setting = page.view["setting"]
        assert (setting["drop"], setting["reference_hz"]) == ("demo-soft-cabinet", 442.0)
        cell = page.cell(1, "G")
        assert (cell["offset"], cell["asked"]) == ("(+0.0)", False)
        assert page.cell(4, "open")["asked"]
        page.ask(asks.Undo(), asks.Choose(temperament="my-e9", drop="none", reference_hz=440.0))
        setting = page.view["setting"]
        assert (setting["drop"], setting["reference_hz"]) == ("none", 440.0)
        page.ask(asks.Stand(("G",)), asks.Strings((1,)), asks.Offset(1, 4.0), asks.Keep("my-other"))
        assert page.cell(1, "G")["asked"]
        assert not page.cell(2, "DD:0.5")["asked"]

    check()
    kept = (own_folder / "temperaments" / "my-other.toml").read_text()
    assert 'drop = "none"\nreference_hz = 440.0\n' in kept


def engaged(travels):
    return "+".join(name if way == 1 else f"{name} at {way:g}" for name, way in travels.items())


def in_words(node):
    """A string's stop, or a tone, of the printed order as the page says it."""
    if "tone" in node:
        return f"{node['tone']} ({node['hz']:.2f} Hz)"
    travels = dict.fromkeys(node["changes"], node["travel"])
    stop = f"with {engaged(travels)}" if travels else "open"
    return f"string {node['string']} {stop}, {node['note']}"


@pytest.mark.parametrize(
    ("scene", "temperament", "drop"),
    [("e9-dance-band", "five-limit-just", "demo-soft-cabinet"), ("c6-swing-band", "pythagorean", "none")],
)
def test_the_order_is_the_command_lines_step_by_step(tonegen, scene, temperament, drop):
    printed = tonegen(f"tonegen order {scene} --temperament {temperament} --json").json

    @in_the_loop
    async def check():
        base = asks.Choose(instrument=printed["instrument"], temperament=temperament, drop=drop)
        page = visitor(None, None, base, asks.TakeScene(scene), asks.MakePlan())
        plan = await page.until("order", lambda plan: plan["steps"])
        same = [
            {
                "tune": in_words(step["tune"]),
                "against": in_words(step["against"]),
                "engaged": engaged(step["travels"]) or "no pedals",
                "count": step["count"],
                "sounds_like": step["sounds_like"],
                "sure": f"{step['accuracy_cents']:.1f} cents",
                "listen": f"{step['coincident_hz']:.0f} Hz, {step['pair']}",
                "beats_per_second": pytest.approx(step["beats_per_second"], abs=1e-9),
            }
            for step in printed["steps"]
        ]
        assert [{key: step[key] for key in same[0]} for step in plan["steps"]] == same
        assert [check["pair"].partition(": ")[0] for check in plan["checks"]] == [
            f"{in_words(check['low'])} with {in_words(check['high'])}" for check in printed["checks"]
        ]

    check()


@pytest.mark.parametrize(
    ("changes", "roles", "tune", "cautions"),
    [
        ("CE", '4 = "3", 5 = "1"', "string 4 with C+E, F4", []),
        ("AC", '4 = "4", 5 = "1"', "string 5 with A+C, C#4", ["No foot and two knees hold A+C"]),
    ],
)
def test_a_stop_of_two_changes_that_a_scene_plays_is_in_its_plan(own_folder, changes, roles, tune, cautions):
    """C raises string 4 to F#4, E lowers it: F4, which no stop by itself is. A and C lie two pedals apart."""
    (own_folder / "scenes").mkdir(parents=True)
    (own_folder / "scenes" / "own.toml").write_text(
        'title = "Invented: a stop of two"\nsource = "invented"\ninstrument = "e9-ten-string"\n'
        f'[[grips]]\nname = "own"\nchanges = {list(changes)}\nroot = "C#"\nroles = {{ {roles} }}\n'
    )

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.TakeScene("own"), asks.MakePlan())
        plan = await page.until("order", lambda plan: plan["steps"])
        assert [step["engaged"] for step in plan["steps"] if step["tune"] == tune] == ["+".join(changes)]
        assert [caution.partition(":")[0] for caution in plan["cautions"]] == cautions

    check()


@in_the_loop
async def test_a_plan_is_for_the_grips_of_its_scene():
    scene = "c6-swing-band"
    page = visitor(
        None, None, asks.Choose(instrument="c6-ten-string"), asks.TakeScene(scene), asks.MakePlan()
    )
    await page.until("order", lambda plan: plan["steps"])
    page.ask(asks.TakeScene(""))
    assert page.shown["order"]["stale"]
    page.ask(asks.TakeScene(scene))
    assert not page.shown["order"]["stale"]
    rig = page.engine.at.rig
    of_its_own = order_of(AskedOrder(rig, "")).steps
    assert [step.tune for step in of_its_own] != [
        step.tune for step in order_of(AskedOrder(rig, scene)).steps
    ]
    for not_for_it in ("e9-dance-band", "none such"):  # as a file may be that was written meanwhile
        assert order_of(AskedOrder(rig, not_for_it)).steps == of_its_own


def test_each_step_sounds_and_a_plan_to_other_targets_is_stale():
    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Choose(temperament="five-limit-just"), asks.MakePlan())
        plan = await page.until("order", lambda plan: plan["steps"])
        assert plan["heard"] == "both"
        outlet = page.engine.stage.hear_in_page(16_000, lambda: None)
        page.ask(asks.TurnSound(True))
        for at in (0, 1):  # of a unison the third partials are listened to
            page.ask(asks.GoToStep(at))
            outlet.draw(16_000)
            [beat] = page.engine.moment().beats
            assert beat.turns_per_second == pytest.approx(plan["steps"][at]["beats_per_second"], abs=1e-6)
        page.ask(asks.GoToStep(0, "against"))
        outlet.draw(16_000)
        assert page.shown["order"]["heard"] == "against"
        assert page.engine.moment().beats == ()
        [tone] = page.engine.part(OrderPart).voice(page.engine.at).tones
        assert f"tone E4 ({tone.hz:.2f} Hz)" == plan["steps"][0]["against"]
        page.ask(asks.GoToStep(-1))
        outlet.draw(16_000)
        assert page.shown["order"]["at"] == -1
        assert len(page.engine.moment().beats) == len(page.view["pairs"])
        page.ask(asks.SaveSong("Invented Waltz", 7), asks.Choose(timbre="pure"), asks.Strings((5,)))
        assert not page.shown["order"]["stale"], "the targets are what they were"
        page.ask(asks.Offset(5, 3.0))
        assert page.shown["order"]["stale"]
        page.ask(asks.Undo())
        assert not page.shown["order"]["stale"]
        with pytest.raises(BadValue, match="no such step"):
            page.ask(asks.GoToStep(999))

    check()


@in_the_loop
async def test_a_new_plan_begins_at_the_grip_and_is_stale_where_an_offset_moved_while_it_was_made():
    page = visitor(None, None, asks.MakePlan())
    plan = await page.until("order", lambda plan: plan["steps"])
    with pytest.raises(BadValue, match="no such step"):
        page.ask(asks.GoToStep(len(plan["steps"])))
    page.ask(asks.GoToStep(1))
    page.ask(asks.MakePlan(), asks.Offset(5, 3.0))
    plan = await page.until("order", lambda plan: plan["at"] == -1)
    assert plan["stale"]


def test_what_the_keyboards_would_get_is_the_command_lines_plan(tonegen):
    rig = "--instrument e9-ten-string --temperament five-limit-just --drop demo-soft-cabinet --fret 3"
    printed = tonegen(f"tonegen keys plan {rig} --receiver twelve-channel-bend --json").json

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Choose(temperament="five-limit-just", drop="demo-soft-cabinet"))
        page.ask(asks.Bar(3.0), asks.ShowKeys())
        shown = page.shown["keys"]
        assert [row["name"] for row in shown["rows"]][:3] == ["C", "C#", "D"]
        for row, key in zip(shown["rows"], printed["keys"][60:72], strict=True):
            assert float(row["sent"].replace("−", "-")) == pytest.approx(key["sent_cents"], abs=0.0006)
        page.ask(asks.Receiver("mts-bulk", "least beats", True))
        assert len(page.shown["keys"]["rows"]) == 128
        for wrong in ("../receivers/mpe", "/etc/passwd", ""):
            with pytest.raises(TonegenError, match="no receiver called"):
                page.ask(asks.Receiver(wrong, "mean", False))
        with pytest.raises(BadValue, match="an unknown choice"):
            page.ask(asks.Receiver("mpe", "coin", False))
        with pytest.raises(BadValue, match="send the tuning first"):
            page.ask(asks.PassThrough("anything"))
        with pytest.raises(BadValue, match="not a place"):
            page.ask(asks.Send("osc 127.0.0.1:9000"))
        page.ask(asks.Receiver("osc-per-class", "mean", False), asks.Send("osc 127.0.0.1:9"))
        await page.engine.close()
        keyboards = page.engine.part(KeysPart)._keyboards
        keyboards._bench._thread.shutdown()
        assert keyboards._bench._process._process is None, "what was asked last came before the end"

    check()


@in_the_loop
async def test_taps_along_with_a_beat_say_how_far_from_pure_it_is():
    """Two beats a second on E3-E4: the octave's pair is near 330 Hz, where a cent is 0.19 beats a second."""
    page = visitor(
        None, None, asks.Strings((4, 8)), asks.Tapped("8", "4", tuple(500.0 * n for n in range(9)))
    )
    count = await page.until("count")
    assert count["rate"] == "2.00 beats a second"
    assert count["wide"] == "if wide, +10.47 cents from pure"  # 1200 log2(331.63 / 329.63), by hand
    page.ask(asks.Tapped("8", "4", (0.0, 500.0)))
    assert "at least three" in (await page.until("fault"))["text"]


def test_beats_that_were_counted_say_what_the_command_line_says(tonegen):
    line = "tonegen count --beats 7 --seconds 10 --low E3 --ratio 2:1 --json"
    printed = tonegen(line).json

    @in_the_loop
    async def check():
        page = visitor(None, None, asks.Strings((4, 8)), asks.Counted("8", "4", 7.0, 10.0))
        count = page.shown["count"]
        assert (count["rate"], count["surely"]) == ("0.70 beats a second", "7 in 10 s")
        for side in ("wide", "narrow"):
            cents = f"{printed[f'if_{side}']['cents_from_just']:+.2f}".replace("-", "−")
            assert count[side] == f"if {side}, {cents} cents from pure"
        with pytest.raises(BadValue, match="do not sound together"):
            page.ask(asks.Counted("8", "3", 7.0, 10.0))

    check()


@in_the_loop
async def test_kept_tempering_is_found_again():
    saved = []
    page = visitor(
        None, saved, *IN_A_BAND, asks.Weigh("B major E 4-5-7", 4.0), asks.ChooseObjective("worst-beats")
    )
    page.engine.write_down()
    again = Visitor(Engine(Kept(replace(saved[-1].setting)), lambda kept: None))
    asked = again.shown["asked"]
    assert (asked["scene"], asked["objective"]) == ("e9-dance-band", "worst-beats")
    assert {"name": "B major E 4-5-7", "weight": 4.0} in asked["wanted"]
