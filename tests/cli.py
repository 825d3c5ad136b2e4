"""The command line in the test's own process: what it printed, and how it ended."""

import json
import shlex
import sys
from dataclasses import dataclass
from typing import Any

import pytest

from tonegen.cli import main


@dataclass(frozen=True)
class Ended:
    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        assert self.code == 0, self.err
        return json.loads(self.out)


class CommandLine:
    """Call it with the line that a person types."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch = monkeypatch
        self._capsys = capsys

    def __call__(self, line: str) -> Ended:
        self._capsys.readouterr()
        self._monkeypatch.setattr(sys, "argv", shlex.split(line, comments=False))
        with pytest.raises(SystemExit) as ended:
            main()
        printed = self._capsys.readouterr()
        return Ended(int(ended.value.code or 0), printed.out, printed.err)

    def refused(self, line: str, code: int = 2) -> str:
        """The one line that says why; nothing else is printed."""
        ended = self(line)
        assert (ended.code, ended.out) == (code, ""), ended
        assert ended.err.startswith("tonegen: ")
        assert ended.err.count("\n") == 1
        assert ended.err.endswith("\n")
        return ended.err.removeprefix("tonegen: ").rstrip()
