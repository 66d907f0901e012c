"""Compiled numerics: arrays in, arrays and a status out.

The march by the method of characteristics, one scenario at a time or 32 side by side. No names, no units, no
files, no errors raised: heads [m], flows [m3/s], everything else SI, and a status that the caller turns into
an error. :mod:`surge.transient` lays out its arrays and calls the marches; its pump curves, statuses and
columns are open to every room above.

Begin with :mod:`surge.kernel.columns` (what stands in which column), :func:`surge.kernel.march.march` and
:mod:`surge.kernel.laws`.
"""
