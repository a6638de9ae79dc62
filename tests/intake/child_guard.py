"""A process of its own that takes messages in and acknowledges only the first few; the tests kill it.

Arguments: port, client id, topic, file to write what was taken to, how many to acknowledge, and perhaps the
delay of its Will [s].
"""

import os
import queue
import sys
import time
from pathlib import Path

from monitor.intake import link
from monitor.intake.mqtt import Intake
from monitor.model import Message
from monitor.settings import Broker


def main() -> None:
    """Take messages until killed; the file exists once the link is up."""
    port, client_id, topic, file, limit, *will_delay_s = sys.argv[1:]
    if will_delay_s:
        link.WILL_DELAY_S = int(will_delay_s[0])
    events: queue.SimpleQueue = queue.SimpleQueue()
    broker = Broker(port=int(port), client_id=client_id)
    intake = Intake(broker, [topic], Path, events.put, time.time)
    intake.start()
    acknowledged = 0
    while not events.get().ok:
        pass
    with Path(file).open("wb") as out:
        while True:
            event = events.get()
            if not isinstance(event, Message):
                continue
            out.write(event.payload + b"\n")
            out.flush()
            os.fsync(out.fileno())
            if acknowledged < int(limit):
                intake.acknowledge([event])
                acknowledged += 1


if __name__ == "__main__":
    main()
