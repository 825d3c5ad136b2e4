"""Records that stay as they were made.

A frozen dataclass refuses another array, but not another number in the one that it has. One that is `Frozen`
as well has arrays and mappings of its own that are read-only; whoever gave them can go on with theirs.
"""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, NoReturn, TypeVar

import numpy as np

K = TypeVar("K")
V = TypeVar("V")


class ReadOnly(dict[K, V]):
    """A mapping that cannot be written to; a dict all the same, so that JSON and pickle take it.

    >>> drops = ReadOnly({"A": -2.0})
    >>> drops["A"], {**drops, "B": -1.0}
    (-2.0, {'A': -2.0, 'B': -1.0})
    >>> drops["A"] = 0.0
    Traceback (most recent call last):
    TypeError: this mapping is read-only; write into a copy, dict(...)
    """

    __slots__ = ()

    def _refuse(self, *args: object, **kwargs: object) -> NoReturn:
        raise TypeError("this mapping is read-only; write into a copy, dict(...)")

    __setitem__ = __delitem__ = __ior__ = _refuse
    clear = pop = popitem = setdefault = update = _refuse

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickled by its content: the usual way writes item after item."""
        return ReadOnly, (dict(self),)


def read_only(value: Any) -> Any:
    """An array or a mapping as a read-only copy, mappings within it too; anything else as it is.

    >>> read_only(np.zeros(2))[0] = 1.0
    Traceback (most recent call last):
    ValueError: assignment destination is read-only
    """
    if isinstance(value, np.ndarray):
        if value.flags.owndata and not value.flags.writeable:
            return value
        copied = value.copy()
        copied.flags.writeable = False
        return copied
    if isinstance(value, Mapping) and not isinstance(value, ReadOnly):
        return ReadOnly({key: read_only(each) for key, each in value.items()})
    return value


class Frozen:
    """What a frozen dataclass with arrays or mappings builds on.

    >>> from dataclasses import dataclass
    >>> @dataclass(frozen=True)
    ... class Offsets(Frozen):
    ...     cents: np.ndarray
    >>> Offsets(np.zeros(12)).cents[0] = 99.0
    Traceback (most recent call last):
    ValueError: assignment destination is read-only
    """

    __slots__ = ()

    def __post_init__(self) -> None:
        """Take read-only copies."""
        record: Any = self
        for field in fields(record):
            object.__setattr__(self, field.name, read_only(getattr(self, field.name)))
