"""The live stream (Server-Sent Events)."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Query, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent
from starlette.concurrency import run_in_threadpool

from api.deps import KitchenDep
from api.refusal import answers

router = APIRouter(tags=["live"])


async def _wanted(
    kitchen: KitchenDep,
    batch: str | None = Query(None, description="follow this batch; else the newest open one"),
) -> str | None:
    """The batch asked for, checked before the stream begins: later nothing can be refused."""
    if batch is not None:
        await run_in_threadpool(kitchen.batch, batch)
    return batch


@router.get("/api/stream", response_class=EventSourceResponse, responses=answers(404))
async def stream(
    request: Request,
    kitchen: KitchenDep,
    batch: Annotated[str | None, Depends(_wanted)],
    after: str | None = Query(None, description="go on after this event id"),
    last_event_id: str | None = Header(None),
) -> AsyncIterator[ServerSentEvent]:
    """Messages: `event` (stored; its id resumes), `reading`, `state`, `clock`, `reset`."""
    address = (request.client.host, request.client.port) if request.client else None
    messages = kitchen.live.stream(batch, last_event_id or after, address)
    async for message in messages:
        yield message
