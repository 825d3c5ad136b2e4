"""A frozen record cannot be changed: neither its fields, nor the arrays and mappings in them."""

import pickle
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from importlib import import_module
from inspect import getmembers, isclass
from pkgutil import walk_packages
from types import UnionType
from typing import Any, Union, get_args, get_origin

import msgspec
import numpy as np
import pytest

import tonegen
from tonegen import presets
from tonegen.copedent import copedent
from tonegen.drop import Drop
from tonegen.dropfit.fit import fit_drop
from tonegen.dropfit.readings import PitchReading
from tonegen.frozen import ReadOnly
from tonegen.keys import midi
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import Scale, scale_of_classes
from tonegen.order.plan import tuning_order
from tonegen.page.setting import Playing, Setting
from tonegen.presets.scenes import scene
from tonegen.setup.rig import Files, rig_of
from tonegen.setup.setting import MovedPoint, SavedGrip
from tonegen.sounding import sound, tones_of_grip
from tonegen.temperament import EQUAL
from tonegen.tempering.temper import Objective, temper

E9 = presets.instrument("e9-ten-string")
SOFT = presets.drop("demo-soft-cabinet")


def frozen_classes() -> list[type]:
    """Every frozen record of the package."""
    found = {}
    for module in walk_packages(tonegen.__path__, "tonegen."):
        for _, each in getmembers(import_module(module.name), isclass):
            if each.__module__.startswith("tonegen.") and is_frozen(each):
                found[f"{each.__module__}.{each.__qualname__}"] = each
    return list(found.values())


def is_frozen(each: type) -> bool:
    if is_dataclass(each):
        return each.__dataclass_params__.frozen
    return issubclass(each, msgspec.Struct) and each.__struct_config__.frozen


def stand_in(hint: Any) -> list[Any]:
    """Something writable of the type of a field, where it is an array or a mapping; else nothing."""
    kind = get_origin(hint) or hint
    if meaning := getattr(kind, "__value__", None):  # from numpy 2.5 on NDArray is the name of a type
        kind = get_origin(meaning)
    if kind in (Union, UnionType):
        return [made for each in get_args(hint) for made in stand_in(each)][:1]
    if isclass(kind) and issubclass(kind, np.ndarray):
        return [np.zeros(12)]
    if isclass(kind) and issubclass(kind, Mapping):
        return [{"A": next(iter(stand_in(get_args(hint)[1])), None)}]
    return []


def hints(each: type) -> dict[str, Any]:
    """The types of the fields that it is made of. One in quotes is another record's, asked by itself."""
    is_struct = issubclass(each, msgspec.Struct)
    names = each.__struct_fields__ if is_struct else [it.name for it in fields(each) if it.init]
    found: dict[str, Any] = {}
    for base in reversed(each.__mro__):
        found |= vars(base).get("__annotations__", {})
    return {name: None if isinstance(found[name], str) else found[name] for name in names}


def with_arrays_or_mappings() -> list[type]:
    return [each for each in frozen_classes() if any(map(stand_in, hints(each).values()))]


def parts(record: Any) -> Iterator[Any]:
    """The record and everything within it."""
    yield record
    if is_dataclass(record):
        within = [getattr(record, field.name) for field in fields(record)]
    elif isinstance(record, msgspec.Struct):
        within = [getattr(record, name) for name in record.__struct_fields__]
    elif isinstance(record, Mapping):
        within = [*record, *record.values()]
    elif isinstance(record, tuple | list | frozenset):
        within = list(record)
    else:
        within = []
    for each in within:
        yield from parts(each)


def assert_nothing_can_be_written(record: Any) -> None:
    for part in parts(record):
        if is_dataclass(part) or isinstance(part, msgspec.Struct):
            if not is_frozen(type(part)):
                continue
            name = next(iter(hints(type(part))))
            with pytest.raises((AttributeError, TypeError)):  # TypeError: CPython 3.11, frozen with a base
                setattr(part, name, None)
        elif isinstance(part, np.ndarray):
            with pytest.raises(ValueError, match="read-only"):
                part[...] = 99
        elif isinstance(part, Mapping):
            with pytest.raises(TypeError):
                part["another"] = 99
        assert not isinstance(part, list | set | bytearray), f"{part!r} within {record!r}"


@pytest.mark.parametrize("each", with_arrays_or_mappings(), ids=lambda each: each.__qualname__)
def test_arrays_and_mappings_of_every_frozen_record_are_read_only(each):
    """Made of stand-ins, so that a new record is asked as well."""
    given = {name: next(iter(stand_in(hint)), None) for name, hint in hints(each).items()}
    if each is Scale:  # the one that looks at what it is given
        given |= {"key_cents": np.zeros(128), "reference_hz": 440.0}

    assert_nothing_can_be_written(each(**given))


def setting() -> Setting:
    """As it is at the page after some work."""
    moved = MovedPoint(4, (), 3.0)
    return Setting(
        drop=SOFT.name, moved=(moved,), grips=(SavedGrip("mine", (3, 4), {"A": 1.0}),), weights={"mine": 2.0}
    )


RIG = {
    "instrument": lambda: E9,
    "drop": lambda: SOFT,
    "state": lambda: E9.state({"A": 0.5, "B": 1.0}),
    "temperament": lambda: presets.temperament("werckmeister-3"),
    "timbre": lambda: presets.timbre("string"),
    "receiver": lambda: receiver("mpe"),
    "scene": lambda: scene("e9-dance-band"),
    "copedent": lambda: copedent(E9, EQUAL, SOFT, 440.0),
    "sounding": lambda: sound(
        tones_of_grip(E9, E9.grips[0], E9.state(["A"]), 3.0, EQUAL, SOFT, 440.0), 440.0
    ),
    "order": lambda: tuning_order(E9, EQUAL, SOFT, 440.0),
    "drop fit": lambda: fit_drop(E9, [PitchReading(4, (), 0.0), PitchReading(4, ("A",), -3.0)]),
    "least squares": lambda: temper(scene("e9-dance-band")),
    "least worst": lambda: temper(scene("e9-dance-band"), Objective.WORST_BEATS),
    "own temperament": lambda: temper(scene("e9-dance-band")).temperament("mine"),
    "bend": lambda: midi.bend(1, 50.0),
    "plan": lambda: plan(scale_of_classes("equal", np.zeros(12)), receiver("mts-octave")),
    "setting": setting,
    "playing": lambda: Playing(travels={"A": 1.0}),
    "page": lambda: rig_of(setting(), Files()),
}


@pytest.mark.parametrize("name", RIG)
def test_nothing_of_a_rig_can_be_written(name):
    assert_nothing_can_be_written(RIG[name]())


def test_what_was_given_stays_as_it_was():
    """A record takes copies: its giver can write into his own, and the record does not see it."""
    cents = {"A": {4: -2.0}}
    drop = Drop("mine", cents)

    cents["A"][4] = 99.0

    assert drop.cents["A"][4] == -2.0


@pytest.mark.parametrize(
    "write",
    [
        lambda drops: drops.update(A=0.0),
        lambda drops: drops.pop("A"),
        lambda drops: drops.popitem(),
        lambda drops: drops.clear(),
        lambda drops: drops.setdefault("B", 0.0),
        lambda drops: drops.__delitem__("A"),
        lambda drops: drops.__ior__({"B": 0.0}),
    ],
)
def test_a_read_only_mapping_refuses_every_way_of_writing(write):
    drops = ReadOnly({"A": -2.0})

    with pytest.raises(TypeError, match="read-only"):
        write(drops)

    assert drops == {"A": -2.0}


def test_a_state_goes_to_another_process_and_comes_back():
    state = E9.state({"A": 0.5})

    assert pickle.loads(pickle.dumps(state)) == state
