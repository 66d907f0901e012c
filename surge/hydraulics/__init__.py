"""Closed formulas, losses along pipes, and the steady flow from which every transient starts.

Floats, arrays and line-ups in SI go in, floats and arrays come out. Whoever computes may import the room:
reference values, the march, searches, proofs, cases. It uses the line-up (:mod:`surge.model`) and the pump
curves of the kernel, and knows nothing of time.

Begin with :mod:`surge.hydraulics.formulas` (wave speed, instant-stop rise, friction, Kv) and
:func:`surge.hydraulics.steady.steady_state`.
"""
