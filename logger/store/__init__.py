"""The log on disk: hand-typed tables, named migrations, one writer, readers that cannot write.

`Store` appends (one transaction for a record and the events it gave); `Reader` answers.
"""

from logger.store.charts import Chart, ChartPoint
from logger.store.draft import NumberedSource
from logger.store.found import BatchRow, EventRow, RefusedRow
from logger.store.lock import StoreBusy
from logger.store.reader import Reader
from logger.store.schema import StoreError, StoreNewer, StoreNotThere
from logger.store.writer import Store, StoreStalled

__all__ = [
    "BatchRow",
    "Chart",
    "ChartPoint",
    "EventRow",
    "NumberedSource",
    "Reader",
    "RefusedRow",
    "Store",
    "StoreBusy",
    "StoreError",
    "StoreNewer",
    "StoreNotThere",
    "StoreStalled",
]
