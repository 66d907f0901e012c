"""The commands: each module parses its options, asks for an answer, prints it, and ends with its exit code.

Nothing is computed here, and nobody may import this room but ``__main__``.

Begin with ``main.main`` (the commands in order), ``check.check`` (a plain one) and ``shared`` (printing,
refusing, progress, writing files).
"""
