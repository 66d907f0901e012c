"""Compiling for the machine at hand, and keeping what was compiled for the next time.

What the program calls is an *entry* (:func:`entry`): the march, and the march of a block. It is compiled with
all that it calls into one object file, which the next start loads by itself: the compiler (numba) is needed
to make it, and not to use it.

Decisions
---------
* The name of the file has a hash of the sources of the kernel, of the processor and of the versions that
  compiled it. So nothing stale is ever loaded; what is damaged, or cannot be loaded, is compiled anew. That
  takes some ten seconds and changes no figure.
* Where it cannot be kept (no folder that can be written, a full disk) the work goes on; ``TROUBLE`` says why.
* Compiled code takes arrays without reference counts (``_nrt=False``): counting made a march of a hundred
  nodes three times as long. So nothing compiled may allocate or return an array; the compiler refuses what
  does.
* Compiled code that asks for anything but the mathematical library of the system is refused where it is made:
  an object that is loaded by itself finds nothing else. Then, and on a machine where no object can be loaded,
  the compiler's own way in is used, and every start compiles.
* Called from Python, what is no entry runs as plain Python; so does all of it with NUMBA_DISABLE_JIT=1.
* Where a loop over nodes or lanes writes a new value or keeps the old one, it says :data:`pick`,
  :data:`larger` or :data:`smaller`. A condition in Python's words becomes a store under a mask there, which
  takes some processors ten times as long: on one of them marches became 1.2 to 1.7 times as fast.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from functools import cached_property
from typing import Any

import numpy as np

from surge.kernel import objects

PLAIN = os.environ.get("NUMBA_DISABLE_JIT", "0") not in ("", "0")
"""Whether the kernel runs as plain Python, as its tests ask for with the compiler's own switch."""

TROUBLE: list[str] = objects.TROUBLE

AROUND: list[Callable[[], AbstractContextManager[None]]] = []
"""What is entered while an entry is compiled that takes long: so that whoever calls the kernel can say so."""

_ONCE = threading.Lock()  # many threads may call an entry for the first time


class Part:
    """A function of the kernel: plain Python to Python, a compiled function to the compiler.

    Parameters
    ----------
    function : callable
    options : dict
        For the compiler.
    """

    def __init__(self, function: Callable[..., Any], options: dict[str, Any]) -> None:
        self.function, self.options = function, options
        self.__doc__, self.__name__ = function.__doc__, function.__name__
        self.__module__ = function.__module__

    def __call__(self, *args: Any) -> Any:
        """Run it as plain Python."""
        return self.function(*args)

    @cached_property
    def dispatcher(self) -> Any:
        """The function as the compiler knows it."""
        return _njit(**self.options)(self.function)

    @property
    def _numba_type_(self) -> Any:
        """What the compiler takes it for where another function calls it."""
        return self.dispatcher._numba_type_


def _njit(**options: Any) -> Any:
    from numba import njit

    return njit(nogil=True, error_model="numpy", _nrt=False, **options)


class Entry(Part):
    """A function of the kernel that Python calls: compiled, or loaded, when it is first called.

    Its first argument is a named tuple of arrays, the others are arrays, numbers and truth values. All arrays
    are contiguous, and it knows one kind of each.

    Parameters
    ----------
    function : callable
    results : int
        Whole numbers that it returns.
    takes_long : bool
        Whether compiling it takes many seconds.
    """

    def __init__(self, function: Callable[..., Any], results: int, *, takes_long: bool = False) -> None:
        super().__init__(function, {"no_cpython_wrapper": True, "no_cfunc_wrapper": True})
        self.results, self.takes_long = results, takes_long
        self.native: Callable[..., Any] | None = None

    def __call__(self, bundle: Any, *args: Any) -> Any:
        """Run it compiled; see the function's own words."""
        if PLAIN:
            return self.function(bundle, *args)
        if self.native is None:
            with _ONCE:
                self.native = self.native or self._ready(bundle, args)
        return self.native(bundle, *args)

    def _ready(self, bundle: Any, args: tuple[Any, ...]) -> Callable[..., Any]:
        try:
            return Native(self, bundle, args)
        except RuntimeError as error:
            TROUBLE.append(str(error))
            return _njit()(self.function)

    def kept(self) -> bool:
        """Whether an object of it is kept that can be loaded."""
        return PLAIN or self.native is not None or objects.find(self.__name__) is not None


def jit(function: Callable[..., Any]) -> Part:
    """Mark a function that others of the kernel call."""
    return Part(function, {"no_cpython_wrapper": True, "no_cfunc_wrapper": True})


def inlined(function: Callable[..., Any]) -> Part:
    """Mark a law that is put where it is used: handing arrays to a function costs more than a law."""
    return Part(function, {"forceinline": True})


class Choice(Part):
    """A function of two numbers of one kind that the compiler turns into one instruction without a branch.

    Parameters
    ----------
    function : callable
        Of a condition, the number where it holds, and the other one.
    """

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function, {})

    @cached_property
    def dispatcher(self) -> Any:
        """What the compiler writes for it."""
        from numba.extending import intrinsic

        @intrinsic
        def select(_: Any, condition: Any, one: Any, other: Any) -> Any:
            def gen(context: Any, builder: Any, __: Any, args: Any) -> Any:
                from llvmlite.ir import Instruction

                condition, new, old = args
                new = context.cast(builder, new, one, other)
                # Frozen, it is to the compiler no more what stands in memory, which need not be written.
                kept = Instruction(builder.block, old.type, "freeze", [old])
                builder.block.instructions.append(kept)
                builder.position_at_end(builder.block)
                return builder.select(condition, new, kept)

            return other(condition, one, other), gen

        return select

    @property
    def _numba_type_(self) -> Any:
        """What the compiler takes it for where another function calls it."""
        from numba.core.registry import cpu_target

        made = self.dispatcher
        cpu_target.typing_context.refresh()
        return cpu_target.typing_context.resolve_value_type(made)


def entry(*, results: int, takes_long: bool = False) -> Callable[[Callable[..., Any]], Entry]:
    """Mark a function that Python calls; see :class:`Entry`."""
    return lambda function: Entry(function, results, takes_long=takes_long)


class Native:
    """An entry as machine code, called with the addresses of its arrays.

    Parameters
    ----------
    entry : Entry
    bundle, args
        Of the first call: they tell the kinds of arrays and numbers.
    """

    def __init__(self, entry: Entry, bundle: Any, args: tuple[Any, ...]) -> None:
        self.arrays = [i for i, a in enumerate(args) if isinstance(a, np.ndarray)]
        self.floats = [i for i, a in enumerate(args) if isinstance(a, float)]
        self.whole = [i for i in range(len(args)) if i not in {*self.arrays, *self.floats}]
        self.kinds = self._kinds([*bundle, *(args[i] for i in self.arrays)])
        self.results = entry.results
        told = f"{self.kinds} floats {self.floats} whole {self.whole} results {self.results}"
        self.call = objects.load(entry.__name__, told, lambda: self._compiled(entry, bundle))
        self.mine = threading.local()

    @staticmethod
    def _kinds(arrays: list[Any]) -> list[tuple[str, int]]:
        return [(a.dtype.str[1:], a.ndim) for a in arrays]

    def __call__(self, bundle: Any, *args: Any) -> Any:
        """Call it; what it returned as a tuple of whole numbers."""
        at, shape = self._addresses(bundle, [args[i] for i in self.arrays])
        whole = np.array([args[i] for i in self.whole], dtype=np.int64)
        floats = np.array([args[i] for i in self.floats], dtype=np.float64)
        out = np.zeros(max(self.results, 1), dtype=np.int64)
        self.call(*(_address(a) for a in (at, shape, whole, floats, out)))
        return tuple(out[: self.results].tolist())

    def _addresses(self, bundle: Any, arrays: list[Any]) -> tuple[Any, Any]:
        """Where the arrays are, and their shapes; those of a bundle are looked up once for many calls."""
        known = getattr(self.mine, "known", None)
        if known is None or known[0] is not bundle:
            self.mine.known = known = (bundle, *self._table(list(bundle), first=0))
        if not arrays:
            return known[1], known[2]
        more = self._table(arrays, first=len(bundle))
        return np.concatenate([known[1], more[0]]), np.concatenate([known[2], more[1]])

    def _table(self, arrays: list[Any], *, first: int) -> tuple[Any, Any]:
        for array, kind in zip(arrays, self.kinds[first : first + len(arrays)], strict=True):
            if not array.flags.c_contiguous or (array.dtype.str[1:], array.ndim) != kind:
                raise TypeError(f"an array of kind {array.dtype} {array.ndim}, where {kind} was compiled for")
        at = np.array([_address(a) for a in arrays], dtype=np.uint64)
        return at, np.array([n for a in arrays for n in a.shape], dtype=np.int64)

    def _compiled(self, entry: Entry, bundle: Any) -> bytes:
        """Compile the entry behind a way in that takes addresses."""
        place = 0
        lines = []
        for i, (kind, count) in enumerate(self.kinds):
            dims = ", ".join(f"shape[{place + k}]" for k in range(count))
            lines.append(f"    a{i} = {kind}_{count}(at[{i}], ({dims},))")
            place += count
        fields = len(bundle)
        given: dict[int, str] = {n: f"a{fields + k}" for k, n in enumerate(self.arrays)}
        given |= {n: f"floats[{k}]" for k, n in enumerate(self.floats)}
        given |= {n: f"whole[{k}]" for k, n in enumerate(self.whole)}
        tables = "\n".join(
            f"    {name} = {kind}_1({name}_, ({size},))"
            for name, kind, size in (
                ("at", "u8", len(self.kinds)),
                ("shape", "i8", max(place, 1)),
                ("whole", "i8", max(len(self.whole), 1)),
                ("floats", "f8", max(len(self.floats), 1)),
                ("out", "i8", max(self.results, 1)),
            )
        )
        call = ", ".join(given[n] for n in sorted(given))
        text = "\n".join(
            [
                "def way_in(at_, shape_, whole_, floats_, out_):",
                tables,
                *lines,
                f"    {''.join(f'out[{k}], ' for k in range(self.results))}{'= ' if self.results else ''}"
                f"entry(Bundle({', '.join(f'a{i}' for i in range(fields))}), {call})",
            ]
        )
        with ExitStack() as stack:
            for around in AROUND if entry.takes_long else ():
                stack.enter_context(around())
            return objects.compiled(text, entry=entry, bundle=type(bundle))


def _address(array: Any) -> int:
    address: int = array.__array_interface__["data"][0]
    return address


@Choice
def pick(condition, one, other):
    """``one`` where the condition holds, else ``other``; both are floats, or both whole numbers."""
    return one if condition else other


@inlined
def larger(a, b):
    """The larger of two floats; ``b`` where one of them is no number."""
    return pick(a > b, a, b)


@inlined
def smaller(a, b):
    """The smaller of two floats; ``b`` where one of them is no number."""
    return pick(a < b, a, b)
