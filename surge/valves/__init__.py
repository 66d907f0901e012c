"""What tests prove about valves, and what a measured stroke does in a line-up.

Tests from ``records`` are held against limits from a limits file or from windows; the older ones give drift
and scatter. A measured curve becomes a stroke law on the unsafe side and is run beside the assumed one.

Rooms that show may import it; it imports ``records``, ``search`` and ``rules``.

Begin with :func:`surge.valves.judge.judge` (what each test proves),
:func:`surge.valves.findings.findings_of_records` (one finding a valve and direction) and
:func:`surge.valves.curve.stroke_of` (from a measured curve to a law).
"""
