"""What was measured and what is stated about valves: stroke-time records, measured curves, limits files.

Files become tests, samples and limits in SI; no row is lost, and what cannot be read is refused with its
row. What the tests prove is judged in ``valves``, which stands above; this room knows of no line-up and
no rule.

Begin with :func:`surge.records.read.load_records` and :class:`surge.records.stroke_tests.StrokeTest`.
"""
