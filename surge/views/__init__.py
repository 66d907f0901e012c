"""What pictures, animations and comparisons show, as figures; nothing is drawn here.

A picture is held by tests as figures, and drawn by ``plots`` in whatever form is asked for.

Rooms that show may import it; it imports ``rules`` and ``transient``.

Begin with :func:`surge.views.subject.subject_of` (which scenario and places a picture is of),
:func:`surge.views.line.line_picture` (pressures from shore to ship) and :func:`surge.views.compare.compare`
(two cases side by side).
"""
