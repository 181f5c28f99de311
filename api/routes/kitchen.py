"""The kitchen, its instruments, its health."""

from __future__ import annotations

from fastapi import APIRouter, Path

from api.answers import (
    CommandAnswer,
    CommandBody,
    HealthAnswer,
    InstrumentAnswer,
    InstrumentsAnswer,
    KitchenAnswer,
    LiveValue,
)
from api.deps import Kitchen, KitchenDep
from api.live import reading_document
from api.refusal import Refusal, answers
from drivers.reading import MICROSECOND, seconds
from logger.store import StoreError

router = APIRouter(tags=["kitchen"])


def instruments_of(kitchen: Kitchen) -> list[InstrumentAnswer]:
    """Every instrument that was announced or sent a reading, by name."""
    now_us = kitchen.clock.now_us()
    try:
        known = {state.instrument: state for state in kitchen.reader.instruments()}
    except StoreError:
        known = {}  # no log yet: live values stand all the same
    latest = sorted(kitchen.live.latest.copy().values(), key=lambda reading: reading.name)
    out = []
    for name in sorted({*known, *(reading.instrument for reading in latest)}):
        state = known.get(name)
        out.append(
            InstrumentAnswer(
                name=name,
                state=state.state if state else None,
                since_at=seconds(state.t_us) if state else None,
                channels=[
                    LiveValue(
                        **reading_document(reading), age_s=(now_us - reading.t_us) / MICROSECOND
                    )
                    for reading in latest
                    if reading.instrument == name
                ],
            )
        )
    return out


@router.get("/api/kitchen", responses=answers())
def kitchen(kitchen: KitchenDep) -> KitchenAnswer:
    """Who the kitchen is, what time it is there, and what its instruments say."""
    return KitchenAnswer(
        title=kitchen.config.title,
        kitchen=kitchen.config.kitchen,
        time_zone=kitchen.views.zone_name(),
        now=seconds(kitchen.clock.now_us()),
        speed=kitchen.clock.speed(),
        current=kitchen.live.current,
        instruments=instruments_of(kitchen),
    )


@router.get("/api/instruments", responses=answers())
def instruments(kitchen: KitchenDep) -> InstrumentsAnswer:
    """The instruments with their states and newest values."""
    return InstrumentsAnswer(instruments=instruments_of(kitchen))


@router.post("/api/instruments/{name}/commands", responses=answers(404, 409))
def command(
    kitchen: KitchenDep,
    body: CommandBody,
    name: str = Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$", examples=["bench-scale"]),
) -> CommandAnswer:
    """Tare or zero an instrument; answers when the instrument has."""
    if all(instrument.name != name for instrument in instruments_of(kitchen)):
        raise Refusal(404, f"There is no instrument {name!r}.", "GET /api/instruments lists them.")
    answer = kitchen.desk.command(name, body.command)
    return CommandAnswer(id=str(answer["answer"]), done=True, text=str(answer.get("text", "")))


@router.get("/healthz", responses=answers())
def health(kitchen: KitchenDep) -> HealthAnswer:
    """Whether the page's side works; 503 when a thread of it has ended."""
    if not kitchen.live.alive or not kitchen.wire.alive:
        raise Refusal(503, "A thread of the live side has ended.", "Restart `coolcrumb serve`.")
    try:
        log_id = kitchen.reader.log_id()
    except StoreError:
        log_id = None
    connected = kitchen.wire.connected.is_set()
    return HealthAnswer(
        status="ok" if connected and log_id else "waiting",
        broker=connected,
        log=log_id,
        streams=kitchen.live.streams,
    )
