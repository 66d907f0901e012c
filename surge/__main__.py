"""``python -m surge``, and the command ``surge``.

An interrupt ends the command in one line from here on, while most of the program still loads.
"""

import os
import signal


def _leave(*_: object) -> None:
    os.write(2, b"Aborted!\n")
    os._exit(1)


def entry() -> None:
    """Load the command line and run it."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _leave)
    # Threads of numpy's linear algebra fight those of the marches: steady flow in 250 pipes took five times
    # as long. A library leaves this to whoever uses it.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from surge.cli.main import entry as run

    run()


if __name__ == "__main__":
    entry()
