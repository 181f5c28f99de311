"""The lock that keeps a store to one writing process."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from logger.store.schema import FILE_NAME, StoreError


class StoreBusy(StoreError, BlockingIOError):
    """Another process writes to this store."""


def lock(folder: Path) -> int:
    """Lock the folder of a store, made when missing; the descriptor to close, which frees it.

    Raises:
        StoreBusy: another process writes to it.
        StoreError: the folder cannot be used.
    """
    path = folder / FILE_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(folder / "log.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        raise StoreError(path, f"the folder {folder} cannot be used: {error}") from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        holder = os.pread(descriptor, 32, 0).decode(errors="replace").strip() or "unknown"
        os.close(descriptor)
        raise StoreBusy(
            path,
            f"{path} is being written by another process (id {holder}); "
            "stop that one, or give this one another folder",
        ) from error
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
    return descriptor
