"""The invented ovens, for every test of this room (tests are no package: loaded by their path)."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def _module(file: str) -> ModuleType:
    name = f"{file}_for_tests"
    path = Path(__file__).with_name(f"{file}.py")
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def ovens() -> ModuleType:
    """Ovens of a few rates, quick to run, with each fact at will."""
    return _module("invented_oven")


@pytest.fixture(scope="session")
def real_ovens() -> ModuleType:
    """Ovens in watts and joules, with a load, at random."""
    return _module("real_ovens")
