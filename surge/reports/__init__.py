"""Answers as words, tables and JSON.

Every figure is rounded here, once, to the unsafe side, in the units that the reader chose. A verdict is a
word.

``plots``, ``sheet``, ``api`` and ``cli`` may import it; it imports every room that answers something.

Begin with ``text.TextReport`` (what ``surge check`` prints), ``words.Display`` (how a figure is written) and
``document.answer`` (the JSON document).
"""
