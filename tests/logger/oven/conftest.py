"""The invented oven, and forty random sessions of it, for every test of this room."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def ovens() -> ModuleType:
    """The module with the invented oven (tests are no package, so it is loaded by its path)."""
    name = "oven_invented_for_tests"
    path = Path(__file__).with_name("invented_oven.py")
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module
