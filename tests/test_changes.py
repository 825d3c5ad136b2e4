"""Every change of `tests.changes` can still be made: its text is there once, and so are its tests."""

import pytest

from tests.changes import CHANGES, fault_of


@pytest.mark.parametrize("file", sorted({change.file for change in CHANGES}))
def test_the_changes_to_a_file_can_be_made(file):
    assert [fault for change in CHANGES if change.file == file and (fault := fault_of(change))] == []
