"""The commands: each module parses its options, asks for an answer, prints it, and ends with its exit code.

Nothing is computed here, and nobody may import this room but ``__main__``.

Begin with :func:`surge.cli.main.main` (the commands in order), :func:`surge.cli.check.check` (a plain one)
and :mod:`surge.cli.shared` (printing, refusing, progress, writing files).
"""
