"""The door of the house: one function for each command, which returns the answer.

Notebooks, scripts and the command line come in here and nowhere else, so that they cannot differ. The public
names stand in :mod:`surge`. A function reads the files that it is given, computes, and returns a frozen
answer, which keeps the case that it was made from. The answer's methods give it as words, as plain data, as
pictures, and as quantities of the library pint. Numbers come in as SI or as such quantities.

Only :mod:`surge.cli` and :mod:`surge.page` may import this room.

Begin with :func:`surge.api.check.check` and what it returns, and with :class:`surge.api.answers.CaseAnswer`.
"""
