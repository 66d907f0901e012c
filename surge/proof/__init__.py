"""``surge verify``: the program against published figures, worked examples and closed forms.

Each check has its source, its inputs and a working that can be redone on a pocket calculator. The expected
figure never comes from the program.

``reports``, ``cli`` and tests may import it; it imports the rooms that it checks.

Begin with :class:`surge.proof.checks.Check` (what a check is), :mod:`surge.proof.every` (all of them, in
order) and :mod:`surge.proof.speeds` (the simplest ones).
"""
