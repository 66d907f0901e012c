"""The case file: a text in TOML becomes a line-up in SI, or all of its faults at once.

The edge of the program: units, names of tables and rows of reference data end here. ``api``, ``cli``,
``reports`` and ``sheet`` read cases; nothing that calculates may know of them.

Begin with :func:`surge.case.file.read_case`. The keys stand in :mod:`surge.case.schema`, what becomes of
them in :mod:`surge.case.build`, elements in :mod:`surge.case.elements`.
"""
