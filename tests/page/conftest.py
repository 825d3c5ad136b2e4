"""A running page that the tests of a module share, where each leaves it as it found it."""

import pytest

from tests.keys.conftest import synthesizers  # noqa: F401
from tests.page.running import RunningPage


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    with RunningPage(tmp_path_factory.mktemp("own")) as page:
        yield page
