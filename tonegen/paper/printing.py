"""How a drawn page becomes a file that prints well. Imports matplotlib when it writes one, not before."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tonegen.errors import BadValue
from tonegen.writing import written_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS: Final = ("pdf", "svg", "png")
DASHES: Final = ("-", "--", "-.", ":", (0, (9, 2)), (0, (6, 2, 1, 2, 1, 2)))
GREY: Final = "0.9"  # still white enough for black print on it
_DOTS_PER_INCH: Final = 200  # of a png


def _format_of(path: Path) -> str:
    """The format that a path asks for by its ending. Raises BadValue for another."""
    ending = path.suffix.lower().removeprefix(".")
    if ending not in FORMATS:
        raise BadValue(f"{path}: pictures are {', '.join(FORMATS)}; end its name in .pdf, for one")
    return ending


def write_figure(draw: Callable[[], "Figure"], path: Path, *, force: bool) -> None:
    """Draw into a file, whole or not at all, in the format of its ending.

    Type stays type in a pdf and an svg, so that it can be searched and enlarged; the same figure gives the
    same file. Raises BadValue for another ending, CannotWrite for a file that exists, unless `force`.
    """
    from matplotlib import rc_context

    kind = _format_of(path)
    settings: Any = {"pdf.fonttype": 42, "svg.fonttype": "none", "svg.hashsalt": "tonegen"}
    stamp: dict[str, Any] = {"pdf": {"CreationDate": None}, "svg": {"Date": None}, "png": {}}[kind]
    with written_whole(path, force=force) as beside:
        drawn = BytesIO()  # on a full disk matplotlib itself fails with more than the disk's error
        with rc_context(settings):
            draw().savefig(drawn, format=kind, dpi=_DOTS_PER_INCH, metadata=stamp)
        beside.write_bytes(drawn.getvalue())
