"""A case to begin with: the commented starter case, or one written for a berth of so many arms and tanks."""

from __future__ import annotations

from typing import Annotated

from surge.arguments import Measure, checked
from surge.case.template import MOST_ARMS, MOST_TANKS, USUAL_CARGO, template_case
from surge.choices import Through
from surge.errors import ArgumentError, UnknownNameError, likely

ARMS = Measure(
    least=1, most=MOST_ARMS, wanted=f"write 1 to {MOST_ARMS}; for more, copy an arm and its valve in the file"
)
TANKS = Measure(
    least=1,
    most=MOST_TANKS,
    wanted=f"write 1 to {MOST_TANKS}: the tanks that are loaded together; another parcel is another case",
)


@checked
def new_case(
    *,
    arms: Annotated[int | None, ARMS] = None,
    tanks: Annotated[int | None, TANKS] = None,
    through: Through | None = None,
    cargo: str | None = None,
) -> str:
    """Return the text of a commented case file, as ``surge new`` writes it.

    Parameters
    ----------
    arms : int, optional
        Loading arms, each with its manifold valve, which move together; 1 to 8.
    tanks : int, optional
        Tanks of the ship that are loaded, each with its valve and line; 1 to 24.
    through : {"drop lines", "pumps"}, optional
        How the cargo gets down: through drop lines, or through the stopped cargo pumps.
    cargo : str, optional
        A cargo of the program's table, see :func:`surge.list_known`.

    Returns
    -------
    str
        The starter case where nothing is asked for. Else what is not said is one arm, one tank, drop lines
        and gas oil; all figures are invented.

    Raises
    ------
    ArgumentError
        A number out of bounds, or a cargo that the program does not know.

    Examples
    --------
    >>> import surge
    >>> case = surge.read_case(surge.new_case(arms=2, tanks=4, through="pumps"), filename="my-berth.toml")
    >>> len(case.lineup.tanks), [v.name for v in case.lineup.valves if v.group]
    (5, ['manifold valve 1', 'manifold valve 2'])
    """
    if (arms, tanks, through, cargo) == (None, None, None, None):
        from surge.case.file import starter_case

        return starter_case()
    name = cargo or USUAL_CARGO
    try:
        return template_case(arms=arms or 1, tanks=tanks or 1, through=through or "drop lines", cargo=name)
    except UnknownNameError as error:
        near = likely(name, error.known)
        meant = f"did you mean {' or '.join(near)}?" if near else "`surge list liquids` shows all"
        raise ArgumentError(("cargo",), f'"{name}"', meant) from None
