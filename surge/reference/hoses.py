"""Types of cargo hose: ratings, test and burst factors, temperatures, swell and wave speed.

Hoses differ in stiffness by far more than pipes, and no measured wave speeds of marine hoses were found.
Where the swell of the hose itself is not known, a band has to do, and the worst over all of it counts. The
stiff end makes the greater instant-stop rise inside the hose. The soft end matters too: it reflects the waves
of the shore and deck lines differently and moves their timing, so that the peak may come later and elsewhere.
Peak pressure is not a monotone function of wave speed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from surge.reference.rows import look_up, matching
from surge.units import ZERO_CELSIUS

WAVE_SPEED_BAND = (250.0, 700.0)  # [m/s] when the swell of a hose is not known; see BAND_SOURCE
SWELL_BAND = (0.002, 0.02)  # [-] growth of the volume at 10 bar(g); assumed, no source
BAND_SOURCE = (
    "common practice, no source: 250 to 700 m/s, about what a swell of 2 % to 0.2 % at 10 bar gives with gas "
    "oil (computed)"
)


@dataclass(frozen=True, kw_only=True)
class HoseType:
    """A type of hose as its standard or code describes it; the certificate of the hose itself governs.

    Attributes
    ----------
    rating : float or None
        Rated working pressure [Pa gauge]; None: the maker's, and the case must give it.
    test_factor, burst_factor : float
        Test and least burst pressure as multiples of the rating [-].
    includes_surge : bool or None
        Whether the rating is meant to include surge; None is "not known".
    temperatures : (float, float) or None
        Lowest and highest of the cargo [K]; None: no figure found, ask the maker.
    swell : (float, float) or None
        Band of the growth in volume at 10 bar(g) [-]; None: no figure at all.
    wave_speed : (float, float or None)
        Soft and stiff end [m/s]; None: as stiff as the free liquid's own sound speed.
    wave_speed_source : str
    note : str
    """

    name: str
    rating: float | None
    test_factor: float
    burst_factor: float
    includes_surge: bool | None
    temperatures: tuple[float, float] | None
    source: str
    status: str
    swell: tuple[float, float] | None = SWELL_BAND
    wave_speed: tuple[float, float | None] = WAVE_SPEED_BAND
    wave_speed_source: str = BAND_SOURCE
    note: str = ""

    @property
    def test_pressure(self) -> float | None:
        """Test pressure at the rating [Pa gauge]."""
        return None if self.rating is None else self.rating * self.test_factor

    @property
    def burst(self) -> float | None:
        """Least burst pressure at the rating [Pa gauge]."""
        return None if self.rating is None else self.rating * self.burst_factor

    @property
    def validity(self) -> str:
        """Cargo temperatures, in words."""
        if self.temperatures is None:
            return "temperature limits not known: ask the maker"
        low, high = (t - ZERO_CELSIUS for t in self.temperatures)
        return f"cargo from {low:.4g} to {high:.4g} C"

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"hose {self.name} {self.source} {self.note}"


@dataclass(frozen=True, kw_only=True)
class HoseTestInterval:
    """How often a hose has to be pressure-tested."""

    months: int
    source: str
    status: str
    validity: str


HOSE_TEST_INTERVAL = HoseTestInterval(
    months=12,
    source="ISGOTT 5th edition (2006), 18.2.6 and 18.2.8: test at 1.5 x rated working pressure",
    status="read",
    validity="never more than 12 months; a maker, terminal or port may ask for less",
)

_OIL = (-20.0 + ZERO_CELSIUS, 82.0 + ZERO_CELSIUS)
_TESTED = "ISGOTT 5th edition (2006) 18.2.6: test at 1.5 x rated working pressure (read)"

_RUBBER = HoseType(
    name="rubber dock hose",
    rating=None,
    test_factor=1.5,
    burst_factor=4.0,
    includes_surge=False,
    temperatures=_OIL,
    source="EN 1765: bore 50 to 500 mm, -20 to 82 C, at most 50 % aromatics (scope read); pressure classes "
    f"and burst factor 4 from memory; {_TESTED}; that the rating leaves surge out is from memory",
    status="read in part",
    note="a peak above the rating is a breach all the same: the hose is withdrawn and tested again",
)
_COMPOSITE = HoseType(
    name="composite hose",
    rating=None,
    test_factor=1.5,
    burst_factor=4.0,
    includes_surge=None,
    temperatures=None,
    source="EN 13765 and ISO 27127: types by pressure, and burst factor 4, from memory with low confidence; "
    + _TESTED,
    status="from memory",
    note="the IGC code asks for a burst factor of 5 (5.7); so does the IBC code (from memory)",
)
_OFFSHORE = HoseType(
    name="floating or submarine hose",
    rating=None,
    test_factor=1.5,
    burst_factor=5.0,
    includes_surge=None,
    temperatures=_OIL,
    source="OCIMF guide to manufacturing and purchasing hoses for offshore moorings (GMPHOM): pressure "
    f"classes, burst factor 5 and temperatures, from memory; {_TESTED}",
    status="from memory",
)
_GAS = HoseType(
    name="liquefied gas hose",
    rating=None,
    test_factor=1.5,
    burst_factor=5.0,
    includes_surge=None,
    temperatures=None,
    source="IGC code 5.7: maximum working pressure at least 10 bar, burst at least 5 times that, each hose "
    "tested at not less than 1.5 times it and not more than two fifths of its burst pressure",
    status="read",
    note="10 bar is the least that the code allows; a new type is cycled 200 times from 0 to twice its "
    "maximum working pressure",
)
_METAL = HoseType(
    name="braided metal hose",
    rating=None,
    test_factor=1.5,
    burst_factor=4.0,
    includes_surge=None,
    temperatures=None,
    source="33 CFR 156.170(c): metallic hose tested at 1.5 x maximum allowable working pressure (read); "
    "33 CFR 154.500: burst at least 4 times the greatest pump or relief pressure with static head (read)",
    status="read",
    swell=None,
    wave_speed=(WAVE_SPEED_BAND[0], None),
    wave_speed_source="no figure found: from the soft end for rubber hoses to the sound speed of the liquid",
    note="the rating is its maker's; one maker advises that a shock peak stay below half of the maximum "
    "working pressure (maker's page, weak)",
)


def _rated(hose: HoseType, *bars: float) -> list[HoseType]:
    return [replace(hose, name=f"{hose.name}, {bar:g} bar", rating=bar * 1e5) for bar in bars]


_ALL = (
    *_rated(_RUBBER, 10, 15),
    *_rated(_COMPOSITE, 4, 7, 10, 14),
    *_rated(_OFFSHORE, 15, 19, 21),
    *_rated(_GAS, 10),
    _METAL,
)
HOSES: Mapping[str, HoseType] = MappingProxyType({hose.name: hose for hose in _ALL})


def hose_type(name: str) -> HoseType:
    """Return a type of hose.

    Parameters
    ----------
    name : str
        A key of ``HOSES``: "rubber dock hose, 10 bar".

    Raises
    ------
    UnknownNameError
        With the types that there are.
    """
    return look_up(HOSES, name, kind="hose type")


def wave_speed_band(hose: HoseType, *, sound_speed: float) -> tuple[float, float]:
    """Return the wave speeds [m/s] at the soft and the stiff end of a hose whose swell is not known.

    Parameters
    ----------
    hose : HoseType
    sound_speed : float
        Of the free liquid [m/s]: no hose can carry waves faster.

    Returns
    -------
    (float, float)
        Soft and stiff end [m/s].

    Notes
    -----
    The stiff one gives the greater instant-stop rise; see the head of this module for why that is not all.
    """
    soft, stiff = hose.wave_speed
    return min(soft, sound_speed), sound_speed if stiff is None else min(stiff, sound_speed)


def search(text: str) -> list[HoseType]:
    """Return the hoses whose name, source or note has every word of ``text``."""
    return matching(HOSES.values(), text)
