"""Where values of a study stand in its first case, of which kind they are, and what they are in SI."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from surge.errors import Origin
from surge.studies.keys import leaf_of
from surge.studies.lineups import origins
from surge.studies.notes import Notes
from surge.studies.types import Places
from surge.toml.values import Quantity
from surge.units import QuantityError

SI_UNITS = {
    "length": "m",
    "gauge pressure": "Pa gauge",
    "absolute pressure": "Pa absolute",
    "pressure difference": "Pa",
    "volume flow": "m3/s",
    "mass flow": "kg/s",
    "time": "s",
    "density": "kg/m3",
    "speed": "m/s",
    "kinematic viscosity": "m2/s",
    "dynamic viscosity": "Pa s",
    "modulus": "Pa",
    "volume fraction": "-",
    "temperature": "K",
    "volume": "m3",
    "mass": "kg",
    "Kv": "m3/h at 1 bar",
    "Cv": "m3/h at 1 bar",
}


def places_of(table: Any) -> Places:
    """Return where the value of an axis or of an uncertain figure stands."""
    if table.stroke_of is not None:
        return Places(stroke_of=table.stroke_of)
    return Places(keys=tuple(table.keys or ()) or (str(table.key),))


def leaf_at_places(path: Origin, places: Places, data: Mapping[str, Any], notes: Notes) -> Any:
    """Return the kind of value that keys take in a case; None where they take lists, or are refused.

    Parameters
    ----------
    path : Origin
        Of the axis or figure in the study file.
    places : Places
    data : mapping
        Of the case.
    notes : Notes
        Takes the faults.
    """
    key = "stroke_of" if places.stroke_of else ("keys" if len(places.keys) > 1 else "key")
    try:
        leaves = [leaf_of(origin) for origin in origins(places, data)]
    except QuantityError as error:
        notes.refused((*path, key), error)
        return None
    first = leaves[0]
    for leaf in leaves[1:]:
        if _kind(leaf) != _kind(first):
            remedy = "make an axis of options with set = ... for keys of different kinds"
            notes.fault((*path, key), "keys of different kinds", "keys that take the same value", remedy)
            return None
    return first


def _kind(leaf: Any) -> Any:
    return leaf.dimension if isinstance(leaf, Quantity) else type(leaf)
