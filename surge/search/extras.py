"""What is asked beside the windows of a case: other orders, shapes of strokes, what is uncertain, sizes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.rules.book import RuleBook
from surge.search.band_points import Bands
from surge.search.bands import BandLimits, band_limits
from surge.search.judge import Bench
from surge.search.orders import OrderQuestion, order_question
from surge.search.shapes import ShapeAnswer, best_shape
from surge.search.sizes import SizeAnswer, sizes_of
from surge.search.window import Windows
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class Extras:
    """Answers that were asked for beside the windows; empty where they were not."""

    orders: tuple[OrderQuestion, ...] = ()
    shapes: tuple[ShapeAnswer, ...] = ()
    bands: tuple[BandLimits, ...] = ()
    sizes: tuple[SizeAnswer, ...] = ()


def asked(
    lineup: LineUp,
    windows: Windows,
    *,
    book: RuleBook,
    orders: bool = False,
    shapes: bool = False,
    bands: Mapping[str, float] | None = None,
    sizes: bool = False,
    progress: Progress | None = None,
) -> Extras:
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
    sizes : bool
        The smallest size of each relief valve and each surge drum that does.
    progress : callable, optional

    Raises
    ------
    CaseError, GridError, SolveError
    """
    bench = Bench(lineup, book, progress)
    lineup = bench.lineup
    scenario = {s.name: s for s in lineup.scenarios}
    parts = [p for found in windows.by_valve.values() for p in found]
    questions = (
        (order_question(lineup, s, bench=bench, progress=progress) for s in lineup.scenarios)
        if orders
        else ()
    )
    answers = (
        (best_shape(lineup, scenario[p.scenario], p.valve, bench=bench, progress=progress) for p in parts)
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
    return Extras(
        orders=tuple(q for q in questions if q is not None),
        shapes=tuple(answers),
        bands=wide,
        sizes=sizes_of(lineup, windows.by_valve, book=book, progress=progress) if sizes else (),
    )
