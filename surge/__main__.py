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
    from surge.cli.main import entry as run

    run()


if __name__ == "__main__":
    entry()
