"""Topic names on the wire, built and taken apart in one place.

coolcrumb/<kitchen>/readings/<instrument>      SenML pack, QoS 1, never retained
coolcrumb/<kitchen>/gaps/<instrument>          gap or clock jump, QoS 1, never retained
coolcrumb/<kitchen>/instruments/<instrument>   state and channels, QoS 1, retained
coolcrumb/<kitchen>/drivers/<id>               online or not, Last Will, retained
coolcrumb/<kitchen>/recorder                   id, log id, online, Last Will, retained
coolcrumb/<kitchen>/stored/<instrument>        stored up to, retained
coolcrumb/<kitchen>/marks                      mark, QoS 1, never retained
coolcrumb/<kitchen>/commands/<instrument>      and answers/<instrument>
coolcrumb/<kitchen>/events/<event kind>        courtesy copy, never retained
coolcrumb/<kitchen>/now/<batch>                present state, retained, cleared at its end
"""

from __future__ import annotations

from dataclasses import dataclass

ROOT = "coolcrumb"


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one kitchen.

    >>> Topics("harbour-steps").readings("bench-scale")
    'coolcrumb/harbour-steps/readings/bench-scale'
    >>> Topics("harbour-steps").parse("coolcrumb/harbour-steps/readings/bench-scale")
    ('readings', 'bench-scale')
    """

    kitchen: str

    def every(self, kind: str) -> str:
        """The pattern of all topics of a kind, for a subscription."""
        return f"{ROOT}/{self.kitchen}/{kind}/+"

    def _of(self, kind: str, name: str) -> str:
        return f"{ROOT}/{self.kitchen}/{kind}/{name}"

    def readings(self, instrument: str) -> str:
        return self._of("readings", instrument)

    def gaps(self, instrument: str) -> str:
        return self._of("gaps", instrument)

    def instruments(self, instrument: str) -> str:
        return self._of("instruments", instrument)

    def drivers(self, driver_id: str) -> str:
        return self._of("drivers", driver_id)

    def stored(self, instrument: str) -> str:
        return self._of("stored", instrument)

    def commands(self, instrument: str) -> str:
        return self._of("commands", instrument)

    def answers(self, instrument: str) -> str:
        return self._of("answers", instrument)

    def events(self, kind: str) -> str:
        return self._of("events", kind)

    def now(self, batch: str) -> str:
        return self._of("now", batch)

    @property
    def recorder(self) -> str:
        return f"{ROOT}/{self.kitchen}/recorder"

    @property
    def marks(self) -> str:
        return f"{ROOT}/{self.kitchen}/marks"

    def parse(self, topic: str) -> tuple[str, str] | None:
        """Kind and name of a topic of this kitchen (name '' for recorder and marks), else None."""
        head = f"{ROOT}/{self.kitchen}/"
        if not topic.startswith(head):
            return None
        kind, _, name = topic.removeprefix(head).partition("/")
        return kind, name
