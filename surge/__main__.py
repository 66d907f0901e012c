"""``python -m surge``."""

from surge.cli.main import entry

if __name__ == "__main__":
    entry()
