"""A folder from which the program installs on a computer without internet, and starts by double click.

The room knows wheels and the texts that start them, and nothing of cases. Only :mod:`surge.api` may import
it.

Begin with :func:`surge.offline.collect.collect`, then :mod:`surge.offline.wheels` and
:mod:`surge.offline.starters`.
"""
