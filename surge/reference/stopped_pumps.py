"""What a stopped cargo pump lets through backwards, for people who do not know the Kv of theirs.

The head that a centrifugal pump takes at standstill from a flow that runs backwards through it grows with the
square of that flow. As a share of the rated head at the rated flow it goes by the shape of the impeller.

Decisions
---------
* Cargo pumps are radial. The figure for radial pumps is 0.69 (four-quadrant characteristics, specific speed
  35 in m3/s and m): Donsky 1961, as tabled in Wylie and Streeter, *Fluid Transients in Systems*; from memory.
  Mixed-flow pumps take more, 2 and above.
* Pumps differ: the range of 0.4 to 1.0 around that figure is our own, without a source. The maker's curve of
  the stopped pump, or the gauge at the manifold at a known rate, settles it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

LEAST, USUAL, MOST = 0.4, 0.69, 1.0  # [-] of the rated head, at the rated flow
_BAR = 0.0980665  # [bar] of a metre of water of 1000 kg/m3
SOURCE = (
    "a stopped radial pump takes 0.4 to 1.0 of its rated head at its rated flow backwards (0.69: Donsky "
    "1961, in Wylie and Streeter, Fluid Transients in Systems); the range: common practice, no source. Ask "
    "the maker for the curve of the stopped pump, or read the gauge at the manifold at a known rate"
)
STATUS = "from memory"


class StoppedPump(NamedTuple):
    """Kv of a stopped pump, backwards [m3/h of water at 1 bar]."""

    low: float
    usual: float
    high: float


def stopped_pump(*, flow: float, head: float) -> StoppedPump:
    """Return the range of Kv of a stopped cargo pump from its rated point.

    Parameters
    ----------
    flow : float
        Rated flow [m3/h].
    head : float
        Rated head [m].

    Notes
    -----
    Kv = Q / sqrt(dp), with dp the loss at the rated flow in bar of water: a share of the rated head.

    Examples
    --------
    A pump for 300 m3/h at 125 m: 0.69 x 125 m are 8.46 bar of water, and 300 / sqrt(8.46) = 103.

    >>> [round(kv) for kv in stopped_pump(flow=300.0, head=125.0)]
    [86, 103, 135]
    """

    def kv(share: float) -> float:
        return flow / math.sqrt(share * head * _BAR)

    return StoppedPump(kv(MOST), kv(USUAL), kv(LEAST))
