"""Options that several commands have."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

UNITS = {
    "pressure": "Unit of pressures: bar, psi, kPa, kg/cm2, MPa.",
    "flow": "Unit of flows: m3/h, bbl/h, t/h, L/s ...",
    "length": "Unit of lengths: m, ft.",
    "diameter": "Unit of diameters: mm, inch, m.",
}


def unit_options(*kinds: str) -> Callable[[Command], Command]:
    """Return a decorator that adds the units of the output: of ``kinds``, in this order."""

    def add(command: Command) -> Command:
        for kind in reversed(kinds):
            command = click.option(f"--{kind}", help=UNITS[kind])(command)
        return command

    return add
