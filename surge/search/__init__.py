"""How fast, how slowly, how much: what the trade asks, answered by many marches.

Windows of stroke times, greatest safe rates, orders of shutting, shapes of strokes, bands of what is
uncertain, and the chart of rate against stroke time. Many marches find an answer; full runs with their errors
confirm it.

Rooms that show may import it, and ``valves``; it imports ``rules`` and ``transient``.

Begin with :func:`surge.search.window.windows_of` (what a case asks),
:func:`surge.search.strokes.stroke_limits` (one valve in one scenario) and
:func:`surge.search.smallest.smallest_safe` (the search itself, which knows nothing of pipes).
"""
