"""Fixtures of the api's tests: one broker for all, and kitchens served beside it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from drivers.config import BrokerConfig
from logger import broker as brokers
from logger.broker import RunningBroker

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from served import Served, served_at


@pytest.fixture(scope="session")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningBroker]:
    running = brokers.start(BrokerConfig(), tmp_path_factory.mktemp("broker"))
    yield running
    running.stop()


@pytest.fixture
def serve(tmp_path: Path, broker: RunningBroker) -> Iterator[Callable[[str | None], Served]]:
    """Serves a kitchen whose batch stands at a stage; stopped at the end."""
    running: list[Served] = []

    def begin(stage: str | None) -> Served:
        running.append(served_at(tmp_path, broker, stage))
        return running[-1]

    yield begin
    for served in running:
        served.stop()


@pytest.fixture(scope="session")
def standing(
    tmp_path_factory: pytest.TempPathFactory, broker: RunningBroker
) -> Iterator[Callable[[str], Served]]:
    """Kitchens that are only asked, one for each stage, shared by all tests."""
    running: dict[str, Served] = {}

    def begin(stage: str) -> Served:
        if stage not in running:
            running[stage] = served_at(tmp_path_factory.mktemp(stage), broker, stage)
        return running[stage]

    yield begin
    for served in running.values():
        served.stop()
