"""What pictures, animations and comparisons show, as figures; nothing is drawn here.

So tests can look at the figures of a picture, and ``plots`` draws the same figures in every form.

Rooms that show may import it; it imports ``rules`` and ``transient``.

Begin with :func:`surge.views.subject.subject_of` (which scenario and places a picture is of),
:func:`surge.views.line.line_picture` (pressures from shore to ship) and :func:`surge.views.compare.compare`
(two cases side by side).
"""
