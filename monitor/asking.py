"""A question from another thread to the one that decides, and where its answer goes."""

import queue
from dataclasses import dataclass, field
from typing import Any

from monitor.model import Reply


@dataclass(slots=True)
class Ask:
    """Somebody waits for an answer: a command's values, or entries for the book."""

    name: str
    values: Any
    by: str
    answer: "queue.SimpleQueue[Reply]" = field(default_factory=queue.SimpleQueue)
