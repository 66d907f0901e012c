"""Which letters the fonts of pages and pictures have, so that a page can say where it shows boxes instead.

The fonts are those that come with the drawing library: Latin with its accents, Greek, Cyrillic, Armenian,
Georgian, Hebrew, Arabic and Lao. Fonts for every script would be many times as large as the program.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from functools import cache
from importlib.util import find_spec
from pathlib import Path

BOXES = (
    "Boxes stand for letters that the fonts of this page lack. The case file has the names in full; "
    "the sheet as HTML shows them in the reader's own fonts."
)
_FONT = "DejaVuSans.ttf"
_UNICODE = 12  # the form of a table of letters that holds all planes (ISO/IEC 14496-22, "cmap")


def fonts() -> Path:
    """Return the folder of the fonts that come with the drawing library, found without loading it."""
    spec = find_spec("matplotlib")
    assert spec is not None
    assert spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"


@cache
def letters() -> frozenset[int]:
    """Return the code points that the font has a sign for."""
    font = (fonts() / _FONT).read_bytes()
    tables = struct.unpack_from(">H", font, 4)[0]
    start = next(
        offset
        for tag, _, offset, _ in (struct.unpack_from(">4sIII", font, 12 + 16 * k) for k in range(tables))
        if tag == b"cmap"
    )
    count = struct.unpack_from(">H", font, start + 2)[0]
    places = (start + struct.unpack_from(">HHI", font, start + 4 + 8 * k)[2] for k in range(count))
    whole = next(place for place in places if struct.unpack_from(">H", font, place)[0] == _UNICODE)
    groups = struct.unpack_from(">I", font, whole + 12)[0]
    found: set[int] = set()
    for k in range(groups):
        first, last, _ = struct.unpack_from(">III", font, whole + 16 + 12 * k)
        found.update(range(first, last + 1))
    return frozenset(found)


def lacking(texts: Iterable[str]) -> bool:
    """Return whether any of some texts holds a letter that pages and pictures show as a box."""
    odd = {c for text in texts if not text.isascii() for c in text if not c.isspace()}
    return any(ord(c) not in letters() for c in odd)
