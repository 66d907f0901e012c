"""Studies: many line-ups of one kind, uncertain figures, and how sure a number is.

A study file names a case, axes that are crossed, and figures that are uncertain. Its plan is a list of runs.
Every run is the text of a case, read as any case is and judged as ``surge check`` judges it, or searched as
``surge window`` searches. Runs are made in chunks; each chunk is a file of the results, written whole, so
that a study goes on where it was.

Only :mod:`surge.reports`, :mod:`surge.plots`, :mod:`surge.schemas` and :mod:`surge.api` may import this room.
Libraries of the extra ``surge[study]`` are loaded where they are needed.

Begin with :func:`surge.studies.file.load_study`, :class:`surge.studies.plan.Plan` and
:func:`surge.studies.work.run_chunk`.
"""
