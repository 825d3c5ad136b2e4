"""How a drawn page becomes a file that prints well. Imports matplotlib when it writes one, not before."""

from collections.abc import Callable, Sequence
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tonegen.errors import BadValue
from tonegen.writing import refuse_what_exists, written_whole

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
    """Draw one page into a file; see write_pages."""
    write_pages(lambda: [draw()], path, force=force)


def write_pages(draw: Callable[[], Sequence["Figure"]], path: Path, *, force: bool) -> tuple[Path, ...]:
    """Draw into a file, whole or not at all, in the format of its ending; the files that were written.

    A pdf has all pages; an svg or a png has one, and the others stand beside it as name-2, name-3.
    Type stays type in a pdf and an svg, so that it can be searched and enlarged; the same figure gives the
    same file. Raises BadValue for another ending, CannotWrite for a file that exists, unless `force`.
    """
    from matplotlib import rc_context

    kind = _format_of(path)
    if not force:
        refuse_what_exists(path)
    settings: Any = {"pdf.fonttype": 42, "svg.fonttype": "none", "svg.hashsalt": "tonegen"}
    with rc_context(settings):
        files = [_drawn_pdf(draw())] if kind == "pdf" else [_drawn(page, kind) for page in draw()]
    numbers = range(2, len(files) + 1)
    paths = (path, *(path.with_stem(f"{path.stem}-{number}") for number in numbers))
    for other in paths:
        if not force:
            refuse_what_exists(other)
    for place, content in zip(paths, files, strict=True):
        with written_whole(place, force=force) as beside:
            beside.write_bytes(content)
    return paths


def _drawn(page: "Figure", kind: str) -> bytes:
    stamp: dict[str, Any] = {"Date": None} if kind == "svg" else {}
    drawn = BytesIO()  # on a full disk matplotlib itself fails with more than the disk's error
    page.savefig(drawn, format=kind, dpi=_DOTS_PER_INCH, metadata=stamp)
    return drawn.getvalue()


def _drawn_pdf(pages: Sequence["Figure"]) -> bytes:
    from matplotlib.backends.backend_pdf import PdfPages

    drawn = BytesIO()
    with PdfPages(drawn, metadata={"CreationDate": None}) as document:
        for page in pages:
            document.savefig(page)
    return drawn.getvalue()
