"""What every answer has: words, a document, quantities; and, if it was made from one case, that case.

A document is the answer as plain data in SI, as it stands in JSON. A signature says which program and which
case an answer comes from; it stands on every picture and at the end of every text.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from surge import __version__
from surge.arguments import Registry, checked
from surge.choices import DrawnKind
from surge.units import printable

if TYPE_CHECKING:
    from surge.case.file import Case
    from surge.reports.document import Head
    from surge.reports.words import Display
    from surge.units import ShowUnits

Json = dict[str, Any]

LONGEST_NAME = 80  # characters of a case's path in a signature, so that its hash is seen wherever it stands


def signature(case: Case) -> str:
    """Return in a line which program and which case, with its hash, an answer comes from."""
    name = case.filename if len(case.filename) <= LONGEST_NAME else f"...{case.filename[-LONGEST_NAME:]}"
    return f"surge {__version__}, case {printable(name)}, sha256 {case.sha256[:16]}"


def parts_of(made: Any) -> dict[str, Any]:
    """Return the fields of a frozen dataclass by name, as they are."""
    return {f.name: getattr(made, f.name) for f in fields(made)}


def data(document: Any) -> Json:
    """Return a frozen document as plain data, as it stands in JSON."""
    from surge.reports.document import as_json

    plain: Json = as_json(document)
    return plain


def written(document: Any) -> Iterator[str]:
    """Yield a document as JSON text, in ASCII: whatever a terminal's coding, it stays whole."""
    from surge.reports.document import as_pieces

    return as_pieces(document)


class Answer(ABC):
    """An answer that can be given in several forms, all with the same figures."""

    @abstractmethod
    def text(self) -> str:
        """Return the answer in words, as the command prints it: verdict first, cautions last."""

    @abstractmethod
    def document(self) -> Json:
        """Return the answer as plain data in SI; ``surge schema`` tells what each key means."""

    def json(self) -> str:
        """Return the document as JSON text."""
        return "".join(self.json_pieces())

    def json_pieces(self) -> Iterator[str]:
        """Yield the JSON text piece by piece, for answers that are large: no more of them is held at once."""
        return written(self.document())

    @checked
    def quantities(self, registry: Registry | None = None) -> Json:
        """Return the document, with every number that has a unit as a quantity of the library pint.

        Parameters
        ----------
        registry : pint.UnitRegistry, optional
            The registry that the quantities belong to; by default pint's application registry.

        Returns
        -------
        dict
            The document, with keys that no longer end in a unit: ``pressure_pa_gauge`` is ``pressure_gauge``,
            ``time_s`` is ``time``.
        """
        from surge.api.quantities import with_units

        return with_units(self.document(), registry)


@dataclass(frozen=True, kw_only=True, eq=False)
class CaseAnswer(Answer):
    """An answer that was made from one case.

    Attributes
    ----------
    case : Case
        The case, as it was read.
    units : ShowUnits
        Units of words and pictures. A document is always in SI.
    """

    case: Case
    units: ShowUnits

    @property
    def display(self) -> Display:
        """How words and pictures write a figure: its unit and its rounding."""
        from surge.reports.words import Display

        return Display(units=self.units, density=self.case.lineup.liquid.density)

    @property
    def signature(self) -> str:
        """Which program and which case, with its hash, the answer comes from."""
        return signature(self.case)

    @property
    def head(self) -> Head:
        """The first keys of the document: program and case."""
        from surge.reports.document import head_of

        return head_of(__version__, self.case.filename, self.case.sha256)

    def signed(self, lines: list[str]) -> str:
        """Join lines to a text, and end it with the signature."""
        return "\n".join([*lines, "", self.signature])


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture, or its figures as a table, as the bytes of a file.

    A notebook shows a PNG or SVG when it is the last line of a cell.

    Attributes
    ----------
    content : bytes
        The whole file.
    kind : {"png", "svg", "pdf", "csv"}
        What the file is.
    """

    content: bytes
    kind: DrawnKind

    @checked
    def save(self, path: str | Path) -> None:
        """Write the file, over an existing one."""
        Path(path).write_bytes(self.content)

    def _repr_png_(self) -> bytes | None:
        return self.content if self.kind == "png" else None

    def _repr_svg_(self) -> str | None:
        return self.content.decode() if self.kind == "svg" else None
