"""The sheet that ship and terminal sign: its data, the sketch of the line-up, PDF and HTML.

One frozen structure holds all that is printed; it is the JSON answer as well. Both forms print it and add
nothing.

Only ``api`` and ``cli`` may import it; it imports ``reports`` and the rooms that answer.

Begin with :func:`surge.sheet.data.sheet_of` (everything that stands on the sheet),
:func:`surge.sheet.sketch.sketch` (the line-up as a drawing) and :func:`surge.sheet.typeset.sheet_pdf`.
"""
