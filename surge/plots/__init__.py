"""Drawing: figures of ``views``, ``search`` and ``valves`` become files in PNG, SVG, PDF, GIF, HTML or MP4.

The drawing library is imported here only, and only when something is drawn. Lines, hatching and words tell
everything, and colours only help: a grey print loses nothing. The same input gives the same bytes.

Only ``api`` and ``cli`` may import it.

Begin with :func:`surge.plots.frame.draw` (the page around every picture, and the files),
:func:`surge.plots.time.draw_time` (pressure against time) and :func:`surge.plots.film_files.film_file` (an
animation as a file).
"""
