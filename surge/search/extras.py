"""What goes beyond the windows: orders of shutting, shapes of strokes, bands of what is uncertain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.rules.book import RuleBook
from surge.rules.rulings import with_pump_top
from surge.search.band_points import Bands
from surge.search.bands import BandLimits, band_limits
from surge.search.orders import OrderQuestion, order_question
from surge.search.shapes import ShapeAnswer, best_shape
from surge.search.window import Windows
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """Answers that were asked for beside the windows; empty where they were not."""

    orders: tuple[OrderQuestion, ...] = ()
    shapes: tuple[ShapeAnswer, ...] = ()
    bands: tuple[BandLimits, ...] = ()


def asked(
    lineup: LineUp,
    windows: Windows,
    *,
    book: RuleBook,
    orders: bool = False,
    shapes: bool = False,
    bands: Mapping[str, float] | None = None,
    progress: Progress | None = None,
) -> Asked:
    """Answer what is asked beside the windows of a case.

    Parameters
    ----------
    lineup : LineUp
    windows : Windows
        As :func:`surge.search.window.windows_of` found them.
    book : RuleBook
    orders : bool
        Other orders of shutting, for every scenario that has a question of order.
    shapes : bool
        The best two-stage law of each searched valve at its stroke in the case.
    bands : mapping of str to float, optional
        How far figures may be off; see :class:`surge.search.band_points.Bands`.
    progress : callable, optional

    Raises
    ------
    CaseError, GridError, SolveError
    """
    lineup = with_pump_top(lineup, book)
    scenario = {s.name: s for s in lineup.scenarios}
    parts = [p for found in windows.by_valve.values() for p in found]
    questions = (order_question(lineup, s, progress=progress) for s in lineup.scenarios) if orders else ()
    answers = (
        (best_shape(lineup, scenario[p.scenario], p.valve, progress=progress) for p in parts)
        if shapes
        else ()
    )
    wide: tuple[BandLimits, ...] = ()
    if bands is not None:
        wide = tuple(
            band_limits(
                lineup,
                scenario[p.scenario],
                p,
                bands=Bands(**bands),
                book=book,
                sound_speed_doubt=lineup.liquid.sound_speed_doubt,
                progress=progress,
            )
            for p in parts
            if p.shortest is not None
        )
    return Asked(orders=tuple(q for q in questions if q is not None), shapes=tuple(answers), bands=wide)
