"""Work in several threads: what is made once, and errors that do not go by which thread ends first."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from surge.workers import Once, each


def test_what_is_asked_for_twice_at_once_is_made_once() -> None:
    once: Once[str, int] = Once()
    begun, go_on, made = threading.Event(), threading.Event(), []

    def make() -> int:
        made.append(1)
        begun.set()
        assert go_on.wait(60.0)
        return 7

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(once.get, "a", make)
        assert begun.wait(60.0)
        second = pool.submit(once.get, "a", make)
        assert once.find("a") is None  # it is still being made
        go_on.set()
        assert (first.result(), second.result()) == (7, 7)
    assert made == [1]
    assert once.find("a") == 7


def test_an_error_is_not_kept() -> None:
    once: Once[str, int] = Once()

    def fail() -> int:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        once.get("a", fail)
    assert once.find("a") is None
    assert once.get("a", lambda: 3) == 3
    once.keep("a", 4)
    assert once.find("a") == 3


def test_the_first_error_in_order_is_raised_when_all_are_through() -> None:
    """The second fails at once, the first only when the third has ended."""
    ended = threading.Event()

    def work(k: int) -> int:
        if k == 2:
            ended.set()
            return k
        assert k == 1 or ended.wait(60.0)
        raise ValueError(str(k))

    with pytest.raises(ValueError, match=r"^0$"):
        each(work, [0, 1, 2])
    assert ended.is_set()
    assert each(lambda k: 2 * k, [1, 2, 3]) == [2, 4, 6]
