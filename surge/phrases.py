"""Sentences with numbers in them: quantities, which readers see in units of their own choice, and counts."""

from __future__ import annotations

from collections.abc import Callable, Mapping

Quantity = tuple[str, float]
"""A kind and a value: "pressure" [Pa gauge], "difference" of pressures [Pa], "flow" [m3/s], "length" [m]."""
Phrase = tuple[str | Quantity, ...]

PLAIN: Mapping[str, Callable[[float], str]] = {
    "pressure": lambda v: f"{v / 1e5:.2f} bar(g)",
    "difference": lambda v: f"{v / 1e5:.2f} bar",
    "flow": lambda v: f"{v * 3600:.0f} m3/h",
    "length": lambda v: f"{v:.2f} m",
}


def counted(number: int, one: str, several: str = "") -> str:
    """Return how many there are of something: "1 run", "3 runs"; ``several`` where no "s" makes it so."""
    return f"{number} {one if number == 1 else several or one + 's'}"


def capital(words: str) -> str:
    """Return words with a capital at their beginning, as those of a sentence have."""
    return words[0].upper() + words[1:]


def told(phrase: Phrase, writers: Mapping[str, Callable[[float], str]] = PLAIN) -> str:
    """Return a phrase as text, every quantity in it written out.

    Parameters
    ----------
    phrase : tuple of (str or Quantity)
    writers : mapping of str to callable
        Kind of quantity -> what writes its value, which is in SI: [Pa gauge], [Pa], [m3/s], [m].
    """
    return "".join(part if isinstance(part, str) else writers[part[0]](part[1]) for part in phrase)
