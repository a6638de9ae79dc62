"""The daemon in a process of its own, with waits short enough for a test, and a pass that may hang.

`python -m tests.liveness.child CONFIG`: while a file `hang` lies beside CONFIG, the guard's thread stands.
"""

import os
import sys
import time
from pathlib import Path

from monitor import app, keeping, liveness
from monitor.cli.run import run


def main() -> int:
    """Run until told to stop."""
    config = Path(sys.argv[1])
    liveness.PASS_LATE_S = 2.0
    liveness.LOOK_EVERY_S = 0.1
    app.PASS_AT_LEAST_EVERY_S = 0.5
    keeping.HELD_WHEN_IDLE = 2
    keeping.RETRY_AFTER_S = 0.2
    one_pass = app.Guard.one_pass

    def may_hang(guard: app.Guard) -> None:
        while (config.parent / "hang").exists():
            time.sleep(0.01)
        one_pass(guard)

    app.Guard.one_pass = may_hang  # type: ignore[method-assign]
    return run(["--config", str(config)], os.environ)


if __name__ == "__main__":
    sys.exit(main())
