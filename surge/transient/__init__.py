"""The waves: from a line-up and a scenario to the highest and lowest pressures, each with its error.

All that lies between the two is here: time step and reaches, the arrays of the kernel, marches one by one or
many at once, the watch over every march, the comparison of marches that tells the error. Nothing here knows a
limit or a unit of the trade: pressures [Pa gauge], heads [m], flows [m3/s], times [s].

Rooms that judge, search or show may import it; it imports ``hydraulics``, ``model`` and ``kernel``.

Begin with :func:`surge.transient.run.simulate` (one scenario, with its errors),
:func:`surge.transient.grid.build_grid` (a line-up as arrays) and :class:`surge.transient.watch.Watch` (what
every march must keep).
"""
