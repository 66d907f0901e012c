"""Figures of a case found from a recorded pressure: least squares on marches, with intervals and doubts.

The room takes a case, a scenario of it and a record, and changes nothing but the figures that are asked for.
It judges no limit: what a fitted case keeps, a check of its written copy says. Rooms from
:mod:`surge.reports` on may import it.

Begin with :func:`surge.fitting.fit.fit_figures` and what it returns, then :mod:`surge.fitting.figures` (which
figures) and :mod:`surge.fitting.estimate` (how).
"""
