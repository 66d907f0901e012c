"""All checks, in the order in which they are shown."""

from __future__ import annotations

from surge import (
    proof_allievi,
    proof_books,
    proof_ends,
    proof_friction,
    proof_junctions,
    proof_packing,
    proof_rules,
    proof_speeds,
    proof_waves,
)
from surge.proof import Check

CHECKS: tuple[Check, ...] = (
    *proof_speeds.CHECKS,
    *proof_friction.CHECKS,
    *proof_waves.CHECKS,
    *proof_junctions.CHECKS,
    *proof_ends.CHECKS,
    *proof_books.CHECKS,
    *proof_allievi.CHECKS,
    *proof_packing.CHECKS,
    *proof_rules.CHECKS,
)
