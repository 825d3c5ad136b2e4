"""The page's messages as types for its scripts: `python -m tests.page.types` writes them beside the scripts.

A field that is renamed here and not there turns the scripts' own check red.
"""

import importlib
import pkgutil
from collections.abc import Iterable
from pathlib import Path
from typing import Final, get_args

import msgspec
from msgspec import Struct, inspect

import tonegen.page
from tonegen.page import server
from tonegen.page.asked import Asked
from tonegen.page.engine import Redo, Undo
from tonegen.page.registry import everything_asked

WRITTEN: Final = Path(server.__file__).parent / "static" / "messages.d.ts"
_HEAD: Final = """\
// What pages ask and what they are shown. Written by `python -m tests.page.types`; not by hand.

"""
_PLAIN: Final = {
    inspect.AnyType: "unknown",
    inspect.NoneType: "null",
    inspect.BoolType: "boolean",
    inspect.IntType: "number",
    inspect.FloatType: "number",
    inspect.StrType: "string",
}


def everything_shown() -> list[type[Struct]]:
    """Every message that a page is shown: the structs of the page with a type of their own."""
    for module in pkgutil.walk_packages(tonegen.page.__path__, "tonegen.page."):
        importlib.import_module(module.name)
    found, waiting = [], [Struct]
    while waiting:
        kind = waiting.pop()
        waiting += kind.__subclasses__()
        tagged = kind is not Struct and kind.__struct_config__.tag is not None
        if tagged and kind.__module__.startswith("tonegen.page.") and not issubclass(kind, Asked):
            found.append(kind)
    return sorted(found, key=lambda kind: str(kind.__struct_config__.tag))


class _Written:
    """Types as they are written; structs that stand inside others are kept under their names."""

    def __init__(self) -> None:
        self.named: dict[str, str] = {}

    def of(self, kind: inspect.Type) -> str:
        """A type. Raises TypeError for one that no message has had yet."""
        match kind:
            case inspect.Metadata(type=inner):
                return self.of(inner)
            case inspect.LiteralType(values=values):
                return " | ".join(msgspec.json.encode(value).decode() for value in values)
            case inspect.EnumType(cls=cls):
                return " | ".join(msgspec.json.encode(one).decode() for one in cls)
            case inspect.UnionType(types=types):
                return " | ".join(self.of(one) for one in types)
            case inspect.TupleType(item_types=items):
                return f"[{', '.join(self.of(one) for one in items)}]"
            case inspect.VarTupleType(item_type=item) | inspect.ListType(item_type=item):
                return f"Array<{self.of(item)}>"
            case inspect.DictType(value_type=value):
                return f"Record<string, {self.of(value)}>"
            case inspect.StructType(cls=cls, fields=fields, array_like=True):
                self.named[cls.__name__] = f"[{', '.join(self._labelled(one) for one in fields)}]"
                return cls.__name__
            case inspect.StructType(cls=cls, fields=fields):
                self.named[cls.__name__] = self.fields(fields)
                return cls.__name__
        if type(kind) in _PLAIN:
            return _PLAIN[type(kind)]
        raise TypeError(f"messages have no {kind} yet: say here how a script sees it")

    def fields(self, fields: tuple[inspect.Field, ...], may_lack: bool = False) -> str:
        """The fields of a struct in braces; what is asked may lack those with a default."""
        written = "; ".join(self._labelled(one, may_lack) for one in fields)
        return f"{{ {written} }}" if written else "Record<string, never>"

    def _labelled(self, field: inspect.Field, may_lack: bool = False) -> str:
        return f"{field.encode_name}{'?' if may_lack and not field.required else ''}: {self.of(field.type)}"


def types() -> str:
    """The whole file."""
    written = _Written()
    asks = get_args(everything_asked(server.Ping, Undo, Redo))
    asked = sorted(inspect.multi_type_info(asks), key=lambda kind: kind.tag)
    shown = inspect.multi_type_info(everything_shown())
    parts = [
        _table("Asks", ((kind.tag, written.fields(kind.fields, may_lack=True)) for kind in asked)),
        _table("Shows", ((kind.tag, written.of(kind)) for kind in shown)),
    ]
    named = (f"export type {name} = {body};\n" for name, body in sorted(written.named.items()))
    return _HEAD + "\n".join([*parts, *named])


def _table(name: str, rows: Iterable[tuple[object, str]]) -> str:
    lines = "".join(f"  {tag}: {kind};\n" for tag, kind in rows)
    return f"export interface {name} {{\n{lines}}}\n"


if __name__ == "__main__":
    WRITTEN.write_text(types(), encoding="utf-8")
