"""The numbers in the docstrings are true."""

import doctest
from types import ModuleType

import pytest

from simulators import frames, kitchen_time


@pytest.mark.parametrize("module", [frames, kitchen_time])
def test_every_example_in_a_docstring_gives_what_it_says(module: ModuleType) -> None:
    result = doctest.testmod(module)

    assert result.attempted > 0
    assert result.failed == 0
