"""The Kv of passages: given, from a loss factor, or of a stopped cargo pump from its rated point.

Decisions
---------
* The Kv of a stopped pump that is known by its rated flow and head only is a range, and the worst over it
  counts (:mod:`surge.reference.stopped_pumps`). Where one figure has to stand for it, it is the usual one.
"""

from __future__ import annotations

from surge.case import schema_parts as spec
from surge.case.figures import WORST
from surge.case.notes import Notes
from surge.errors import Origin
from surge.hydraulics.formulas import loss_factor_to_kv
from surge.reference.stopped_pumps import SOURCE, STATUS, stopped_pump

_SOME_KV = (1.0, 1e4)  # [m3/h] stand-ins while the faults of a case are being gathered
Ends = tuple[float, float]


def passage_kv(passage: spec.PassageTable, origin: Origin, notes: Notes) -> tuple[float, Ends | None]:
    """Return the Kv of a passage [m3/h of water at 1 bar], and its ends where it is a range."""
    notes.exactly_one(origin, kv=passage.kv, loss_factor=passage.loss_factor, rated_flow=passage.rated_flow)
    _pairs(passage, origin, notes)
    if passage.kv is not None:
        return passage.kv.value, None
    if passage.loss_factor is not None and passage.inside_diameter is not None:
        return loss_factor_to_kv(passage.loss_factor, diameter=passage.inside_diameter.value), None
    if passage.rated_flow is not None and passage.rated_head is not None:
        return _stopped(passage.name, notes.flow(passage.rated_flow), passage.rated_head.value, notes)
    return _SOME_KV[notes.pick], None


def _pairs(passage: spec.PassageTable, origin: Origin, notes: Notes) -> None:
    """Note keys that stand without the one that they belong to."""
    for one, other, expected in (
        ("loss_factor", "inside_diameter", "the bore that the loss factor counts on"),
        ("inside_diameter", "loss_factor", "inside_diameter beside loss_factor only"),
        ("rated_flow", "rated_head", "rated flow and rated head of the stopped pump together"),
        ("rated_head", "rated_flow", "rated flow and rated head of the stopped pump together"),
    ):
        if getattr(passage, one) is not None and getattr(passage, other) is None:
            notes.needs((*origin, one), expected, other)
    if passage.rated_flow is not None and passage.kind != "cargo pump":
        remedy = 'write kind = "cargo pump", or give kv'
        notes.fault((*origin, "rated_flow"), f"a {passage.kind}", "the rated point of a stopped pump", remedy)


def _stopped(name: str, flow: float, head: float, notes: Notes) -> tuple[float, Ends]:
    """Take the range of a stopped pump, and note where it comes from."""
    kv = stopped_pump(flow=flow * 3600.0, head=head)
    value = f"{kv.low:.0f} to {kv.high:.0f} m3/h, {WORST}"
    notes.assume(name, "Kv of the stopped pump", value, f"{SOURCE} ({STATUS})")
    return kv.usual, (kv.low, kv.high)
