"""Everything that a page can ask, by name, whichever part of the page answers it."""

from tonegen.page.engine import Redo, Undo
from tonegen.page.registry import PARTS

__all__ = ["Redo", "Undo"]

globals().update({asked.__name__: asked for part in PARTS for asked in (*part.changes, *part.acts)})
