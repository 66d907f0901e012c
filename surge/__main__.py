"""``python -m surge``."""

from surge.cli import main

if __name__ == "__main__":
    main(prog_name="surge")
