"""Files in TOML: from disk to models of their tables, and every fault with its line, its key and a remedy.

Case files, rules files and limits files are read here in the same way; what a key means stands in the
room that reads the file. Above this room stand ``case``, ``rules`` and ``records``; it uses ``units``
and ``errors`` only.

Begin with :mod:`surge.toml.values`, the kinds of single values, and :func:`surge.toml.faults.describe`,
which gives a fault its place.
"""
