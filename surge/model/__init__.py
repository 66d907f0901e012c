"""The line-up in SI, frozen, and what must hold between its parts.

Every room above the kernel speaks of a loading in these types, and may import them. The room itself computes
no flow: it says what is joined to what, how long a wave travels, how an opening follows from strokes, and
which faults a line-up has.

Begin with :class:`surge.model.lineup.LineUp`, :func:`surge.model.validation.checked` and
:mod:`surge.model.stroke`.
"""
