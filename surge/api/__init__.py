"""The door of the house: one function for each answer; the answer as words, document, pictures, quantities.

Notebooks, scripts and the command line come in here and nowhere else, so that they cannot differ. The public
names stand in :mod:`surge`. A function reads what it is given, computes, and returns a frozen answer that
keeps the case that it was made from. Here units are taken off and put on: whoever has pint may use it.

Only :mod:`surge.cli` may import this room.

Begin with :func:`surge.api.check.check` and what it returns, and with :class:`surge.api.answers.CaseAnswer`.
"""
