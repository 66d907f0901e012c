"""Answers as words, tables and JSON.

Every figure is rounded here, once, against the reader, in the units that the reader chose. A verdict is told
by a word, never by a colour alone.

``plots``, ``sheet``, ``api`` and ``cli`` may import it; it imports every room that answers something.

Begin with :class:`surge.reports.text.TextReport` (what ``surge check`` prints),
:class:`surge.reports.words.Display` (how a figure is written) and
:func:`surge.reports.check_json.answer` (the JSON document).
"""
