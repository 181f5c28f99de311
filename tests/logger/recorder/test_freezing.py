"""What a batch freezes in of the ingredients, when the mark that opens it is taken in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from recorder_bench import T0, TOPICS, open_mark

from drivers.mqtt import encode
from logger.conclusions import start_from
from logger.events import BakeTest, Event
from logger.freezing import freeze_from
from logger.intake import Intake, Message
from logger.pantry import with_own
from logger.plan import CentreTest
from logger.planfile import plan_from_document
from logger.running import RunningBatches
from logger.store import Reader, Store

FORMULA = {
    "name": "Frosting",
    "line": [
        {"ingredient": "harbour cream", "amount": "1 cup"},
        {"ingredient": "icing sugar", "amount": "1 1/2 cups"},
        {"ingredient": "unheard-of spice", "amount": "2 g"},
    ],
}
OWN = '[[ingredient]]\nname = "harbour cream"\nmeasures = { cup = "240 g" }\n'


class Desk:
    """An intake on a store whose folder holds the kitchen's own ingredients."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.store = Store(folder)
        self.reader = Reader(folder)
        running = RunningBatches(self.store, start_from)
        self.intake = Intake(self.store, running, TOPICS, self.freeze, self.store.commit)

    def freeze(self, document: Any, pos: int) -> dict[str, Any]:
        return freeze_from(self.reader, document, pos, with_own(self.folder))

    def open(self, formula: dict[str, Any], batch: str = "b1") -> None:
        mark = open_mark(batch=batch, formulas=[formula], mark_id=f"open-{batch}")
        payload = encode(mark)
        self.intake.take(Message(TOPICS.marks, payload, False, T0, len(payload)))
        self.store.commit()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    (tmp_path / "a.ingredients.toml").write_text(OWN, "utf-8")
    desk = Desk(tmp_path)
    yield desk
    desk.reader.close()
    desk.store.close()


def test_the_rows_that_the_formulas_use_are_frozen_in(desk: Desk) -> None:
    desk.open(FORMULA)

    entry = desk.reader.plan_entry("b1")
    assert entry is not None
    rows = entry.document["frozen"]["ingredients"]
    assert [row["name"] for row in rows] == ["Sugars, powdered", "harbour cream"]
    lines = plan_from_document(entry.document).lines
    assert lines is not None
    assert [line.target_kg for line in lines] == pytest.approx([0.240, 0.180, 0.002])


def test_a_later_change_of_the_kitchens_file_does_not_reach_the_batch(desk: Desk) -> None:
    desk.open(FORMULA)
    (desk.folder / "a.ingredients.toml").write_text(OWN.replace("240", "230"), "utf-8")

    desk.open(FORMULA, "b2")

    targets = []
    for batch in ("b1", "b2"):
        entry = desk.reader.plan_entry(batch)
        assert entry is not None
        lines = plan_from_document(entry.document).lines
        assert lines is not None
        targets.append(lines[0].target_kg)
    assert targets == pytest.approx([0.240, 0.230])


def test_earlier_centre_tests_of_the_formula_are_frozen_in(desk: Desk) -> None:
    desk.open(FORMULA)
    test = BakeTest(T0 / 1e6, "moist crumbs", 96.0, 1700.0, "Frosting")
    desk.store.add_events(1, [Event(50, T0, "b1", test)])
    desk.store.commit()

    desk.open(FORMULA, "b2")

    entry = desk.reader.plan_entry("b2")
    assert entry is not None
    plan = plan_from_document(entry.document)
    assert plan.centre_tests == (CentreTest("b1", T0, "moist crumbs", 96.0),)


def test_a_formula_that_cannot_be_used_opens_nothing_and_says_why(desk: Desk) -> None:
    desk.open({"name": "x", "line": [{"ingredient": "icng sugar", "amount": "1 cup"}]})

    assert desk.reader.plan_entry("b1") is None
    (refused,) = desk.reader.refused()
    assert "did you mean 'icing sugar'" in refused.reason
