"""Kinds of single values that several tables of a case file share."""

from __future__ import annotations

from typing import Annotated

from surge.toml.values import Choice, Number, Quantity, Text
from surge.units import Reading

ELEVATION = Quantity("length", "-500 m", "2000 m")
RATE = Quantity("flow", "0.1 m3/h", "100000 m3/h")
LEVEL = Quantity("level", "-1.2 bar(g)", "1000 bar(g)")
RATING = Quantity("level", "0.1 bar(g)", "1000 bar(g)")
OPENING = Number("opening", 0.0, 1.0)
SIDE = Choice("side", "shore", "ship")
NAME = Text("a name", 60)
LISTED = Text("a name from the program's tables (see `surge list`)", 60)
SOURCE = Text("where the figure comes from", 300)
NOTE = Text("free text", 5000, lines=True)

Name = Annotated[str, NAME]
Opening = Annotated[float, OPENING]
Elevation = Annotated[Reading, ELEVATION]
