"""All checks, in the order in which they are shown."""

from __future__ import annotations

from surge.proof import allievi as proof_allievi
from surge.proof import attached as proof_attached
from surge.proof import books as proof_books
from surge.proof import cavities as proof_cavities
from surge.proof import ends as proof_ends
from surge.proof import filling as proof_filling
from surge.proof import forces as proof_forces
from surge.proof import friction as proof_friction
from surge.proof import junctions as proof_junctions
from surge.proof import packing as proof_packing
from surge.proof import rules as proof_rules
from surge.proof import speeds as proof_speeds
from surge.proof import unsteady as proof_unsteady
from surge.proof import waves as proof_waves
from surge.proof.checks import Check

CHECKS: tuple[Check, ...] = (
    *proof_speeds.CHECKS,
    *proof_friction.CHECKS,
    *proof_waves.CHECKS,
    *proof_junctions.CHECKS,
    *proof_ends.CHECKS,
    *proof_attached.CHECKS,
    *proof_cavities.CHECKS,
    *proof_forces.CHECKS,
    *proof_filling.CHECKS,
    *proof_books.CHECKS,
    *proof_allievi.CHECKS,
    *proof_packing.CHECKS,
    *proof_unsteady.CHECKS,
    *proof_rules.CHECKS,
)
