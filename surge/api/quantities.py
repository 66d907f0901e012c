"""Documents whose numbers are quantities of the library pint, for notebooks that go on calculating.

The key of a number ends in its unit, so that nothing else needs to be known about a document. Pressures above
the atmosphere keep "gauge" in their key, since pint knows no gauge pressures: whoever wants an absolute one
adds the pressure of the atmosphere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pint import UnitRegistry

# Ending of a key -> unit, and what stays of the ending. The first that fits counts: the longer stands first.
ENDINGS = {
    "_pa_gauge": ("pascal", "_gauge"),
    "_pa_absolute": ("pascal", "_absolute"),
    "_kg_per_m3": ("kilogram / meter ** 3", ""),
    "_m3_per_s": ("meter ** 3 / second", ""),
    "_m3_per_h": ("meter ** 3 / hour", ""),
    "_m_per_s": ("meter / second", ""),
    "_m2_per_s": ("meter ** 2 / second", ""),
    "_s_per_day": ("second / day", ""),
    "_days": ("day", ""),
    "_pa_s": ("pascal * second", ""),
    "_pa": ("pascal", ""),
    "_k": ("kelvin", ""),
    "_m": ("meter", ""),
    "_s": ("second", ""),
}


def with_units(document: dict[str, Any], registry: UnitRegistry[Any] | None = None) -> dict[str, Any]:
    """Return a document in which every number under a key with a unit is a quantity.

    Parameters
    ----------
    document : dict
        Plain data in SI, as an answer's ``document`` gives it.
    registry : pint.UnitRegistry, optional
        The registry that the quantities belong to; by default pint's application registry.

    Returns
    -------
    dict
        The same data; keys have lost their unit. A list of n numbers becomes one quantity, a float64 array of
        shape (n,).
    """
    import pint

    chosen: Any = registry if registry is not None else pint.application_registry
    return _table(document, chosen)


def _table(item: dict[str, Any], registry: Any) -> dict[str, Any]:
    found = {}
    for key, value in item.items():
        ending = next((e for e in ENDINGS if key.endswith(e)), None)
        if ending is None:
            found[key] = _plain(value, registry)
        else:
            unit, kept = ENDINGS[ending]
            found[key.removesuffix(ending) + kept] = _measured(value, registry, unit)
    return found


def _plain(value: Any, registry: Any) -> Any:
    """A value without a unit of its own; there may be some below."""
    if isinstance(value, dict):
        return _table(value, registry)
    if isinstance(value, list):
        return [_plain(child, registry) for child in value]
    return value


def _measured(value: Any, registry: Any, unit: str) -> Any:
    """Everything below a key that ends in a unit."""
    if isinstance(value, dict):
        return {key: _measured(child, registry, unit) for key, child in value.items()}
    if isinstance(value, list):
        if value and all(isinstance(child, (int, float)) for child in value):
            import numpy as np

            return registry.Quantity(np.array(value, dtype=float), unit)
        return [_measured(child, registry, unit) for child in value]
    return registry.Quantity(value, unit) if isinstance(value, (int, float)) else value
