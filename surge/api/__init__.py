"""The door of the house: one function for each answer, and the answer in words, as a document, as pictures.

Notebooks, scripts and the command line come in here and nowhere else, so that they cannot differ; the names
that are public stand in :mod:`surge`. A function reads what it is given, computes, and returns a frozen answer
that keeps the case that it was made from. Here units are taken off and put on: whoever has pint may use it.

Only :mod:`surge.cli` may import this room. Begin with :mod:`surge.api.check`.
"""
