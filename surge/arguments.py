"""What public functions are given, held against what their signatures say before anything is read.

Decisions
---------
* What an argument may be stands in one place: the annotation of its parameter. A number has its bounds there
  (:class:`Measure`, :class:`Rising`), a choice its words (:mod:`surge.choices`).
* Nothing is guessed. A misspelt word is not passed over, a text is no list of letters, "no" is not False, and
  True is no number.
* The error is the library's own, :class:`surge.errors.ArgumentError`; the command line prints its words.
"""

from __future__ import annotations

import collections.abc
import functools
import inspect
import math
import sys
import types
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from numbers import Integral, Real
from pathlib import Path
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    Literal,
    TypeAlias,
    TypeVar,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from surge.choices import offer
from surge.errors import ArgumentError

if TYPE_CHECKING:
    from pint import Quantity, UnitRegistry

UNIT = {"time": "s", "flow": "m**3/s", "temperature": "kelvin"}
SHOWN = {"time": "s", "flow": "m3/s", "temperature": "K"}
LONGEST_SHOWN = 60  # characters of a value in a message
WORDS: dict[Any, str] = {
    bool: "True or False",
    str: "a text",
    int: "a whole number",
    float: "a number",
    date: "a day",
    Path: "a path",
    types.NoneType: "None",
}

_Function = TypeVar("_Function", bound=Callable[..., Any])


@dataclass(frozen=True, kw_only=True)
class Measure:
    """Of a number: it is one in SI, or a quantity of the library pint, finite and within bounds.

    Attributes
    ----------
    dimension : {"time", "flow", "temperature", ""}
        What it is, and the SI unit of it: [s], [m3/s], [K]; "" for a plain number [-].
    least, most : float
        In that unit.
    wanted : str
        What to write instead of one that is out of bounds; by default the bounds.
    """

    dimension: str = ""
    least: float = -math.inf
    most: float = math.inf
    wanted: str = ""

    def hold(self, name: str, value: Any) -> None:
        """Raise ArgumentError for what is no such number."""
        number = si(name, value, dimension=self.dimension) if self.dimension else _float(value)
        if not (math.isfinite(number) and self.least <= number <= self.most):
            raise ArgumentError(
                (name,), _shown_number(number, self.dimension), self.wanted or f"write {self}"
            )

    def __str__(self) -> str:
        unit = f" {SHOWN[self.dimension]}" if self.dimension else ""
        if math.isinf(self.most):
            return f"a number{unit and f' [{unit.strip()}]'}" + (
                "" if math.isinf(self.least) else f", {self.least:g}{unit} or more"
            )
        return f"a number from {self.least:g} to {self.most:g}{unit}"


@dataclass(frozen=True, kw_only=True)
class Rising:
    """Of a pair of numbers: the second is greater, and both are within bounds.

    Attributes
    ----------
    each : Measure
    example : str
        Such as a user writes it.
    """

    each: Measure
    example: str

    def hold(self, name: str, value: Any) -> None:
        """Raise ArgumentError where the second is not the greater one, or either is out of bounds."""
        low, high = (si(name, one, dimension=self.each.dimension) for one in value)
        if not self.each.least <= low < high <= self.each.most:
            unit = SHOWN[self.each.dimension]
            remedy = f"write the smaller first, {self.each.least:g} to {self.each.most:g} {unit}"
            raise ArgumentError((name,), f"{low:g} and {high:g} {unit}", f"{remedy}, such as {self.example}")


@dataclass(frozen=True, kw_only=True)
class Having:
    """Of an object of a library that is not loaded for it: what it must offer, and what it is called."""

    attribute: str
    called: str

    def hold(self, name: str, value: Any) -> None:
        """Raise ArgumentError for another object."""
        if not hasattr(value, self.attribute):
            raise _unfit(name, value, self.called)


if TYPE_CHECKING:
    Number: TypeAlias = float | Quantity[Any]
    """A number in SI, or a quantity of the library pint."""
    Registry: TypeAlias = UnitRegistry[Any]
else:
    Number = Annotated[object, "a number or a pint quantity"]  # what it is of, a Measure says
    Registry = Annotated[object, Having(attribute="Quantity", called="a registry of the library pint")]


def later(module: str, name: str) -> Any:
    """Return what stands for a class in annotations, where its module is not to be loaded for them.

    Before the module is loaded there is no object of the class.
    """

    class Later(type):
        def __instancecheck__(cls, value: object) -> bool:
            return module in sys.modules and isinstance(value, getattr(sys.modules[module], name))

    return Later(name, (), {})


def checked(function: _Function) -> _Function:
    """Decorate a function: each argument is held against the annotation of its parameter first.

    Raises
    ------
    ArgumentError
        When the function is called: an argument is not what the annotation says.
    """
    signature = inspect.signature(function)
    kinds = {p.name: p for p in signature.parameters.values()}

    @functools.wraps(function)
    def call(*arguments: Any, **named: Any) -> Any:
        for name, value in signature.bind(*arguments, **named).arguments.items():
            if name != "self" and value is not kinds[name].default:
                hold(name, value, hint_of(function, name))
        return function(*arguments, **named)

    return call  # type: ignore[return-value]


@functools.cache
def hint_of(function: Callable[..., Any], name: str) -> Any:
    """Return what a function says of one parameter, as a type; other parameters are not looked at."""
    only = types.SimpleNamespace(__annotations__={name: function.__annotations__[name]})
    return get_type_hints(only, globalns=inspect.unwrap(function).__globals__, include_extras=True)[name]


def hold(name: str, value: Any, hint: Any) -> None:
    """Hold one argument against an annotation.

    Parameters
    ----------
    name : str
        Of the parameter.
    value : object
    hint : object
        A class, a Literal, a Union, or a list, pair, mapping or function of these; see :class:`Measure`,
        :class:`Rising` and :class:`Having` for what else may be asked of it.

    Raises
    ------
    ArgumentError
        It is something else.
    """
    origin = get_origin(hint)
    if origin is Annotated:
        inner, *asked = get_args(hint)
        if value is None and types.NoneType in get_args(inner):
            return
        hold(name, value, inner)
        for one in asked:
            if isinstance(one, (Measure, Rising, Having)):
                one.hold(name, value)
    elif origin in (Union, types.UnionType):
        _hold_one_of(name, value, hint)
    elif origin is Literal:
        if not (isinstance(value, str) and value in get_args(hint)):
            raise ArgumentError((name,), _shown(value), offer(get_args(hint)))
    elif origin in _INSIDE:
        _INSIDE[origin](name, value, hint)
    elif not _is(value, origin or hint):
        raise _unfit(name, value, words_of_hint(hint))


def _is(value: Any, kind: Any) -> bool:
    if kind is collections.abc.Callable:
        return callable(value)
    if kind in (int, float):
        return isinstance(value, Integral if kind is int else Real) and not isinstance(value, bool)
    if kind is date:
        return isinstance(value, date) and not isinstance(value, datetime)  # which compares with no day
    return isinstance(value, kind)


def _hold_one_of(name: str, value: Any, hint: Any) -> None:
    kinds = [kind for kind in get_args(hint) if kind is not types.NoneType]
    if value is None and len(kinds) < len(get_args(hint)):
        return
    if len(kinds) == 1:
        hold(name, value, kinds[0])
    elif not any(_fits(name, value, kind) for kind in kinds):
        raise _unfit(name, value, words_of_hint(hint))


def _fits(name: str, value: Any, hint: Any) -> bool:
    try:
        hold(name, value, hint)
    except ArgumentError:
        return False
    return True


def _hold_list(name: str, value: Any, hint: Any) -> None:
    if isinstance(value, (str, bytes)) or not isinstance(value, collections.abc.Sequence):
        raise _unfit(name, value, words_of_hint(hint))
    for one in value:
        hold(name, one, get_args(hint)[0])


def _hold_tuple(name: str, value: Any, hint: Any) -> None:
    kinds = get_args(hint)
    if not isinstance(value, (tuple, list)) or len(value) != len(kinds):
        raise _unfit(name, value, words_of_hint(hint))
    for one, kind in zip(value, kinds, strict=True):
        hold(name, one, kind)


def _hold_mapping(name: str, value: Any, hint: Any) -> None:
    if not isinstance(value, collections.abc.Mapping):
        raise _unfit(name, value, words_of_hint(hint))
    for key, one in value.items():
        hold(name, key, get_args(hint)[0])
        hold(name, one, get_args(hint)[1])


_INSIDE: dict[Any, Callable[[str, Any, Any], None]] = {
    collections.abc.Sequence: _hold_list,
    collections.abc.Mapping: _hold_mapping,
    tuple: _hold_tuple,
}


def words_of_hint(hint: Any) -> str:
    """Say what an annotation asks for: "a text or None"."""
    origin = get_origin(hint)
    if origin is Annotated:
        inner, *asked = get_args(hint)
        return next((str(a) for a in asked if isinstance(a, (str, Measure))), words_of_hint(inner))
    if origin is Literal:
        return f"one of {', '.join(get_args(hint))}"
    if origin is collections.abc.Callable:
        return "a function"
    inside = [words_of_hint(one) for one in get_args(hint)]
    if origin in (Union, types.UnionType):
        return " or ".join(inside)
    if origin is collections.abc.Sequence:
        return f"a list, each of it {inside[0]}"
    if origin is tuple:
        return f"a pair, each of it {inside[0]}"
    if origin is collections.abc.Mapping:
        return "a dict of texts"
    return WORDS.get(origin or hint, f"a {getattr(hint, '__name__', hint)}")


def _unfit(name: str, value: Any, wanted: str) -> ArgumentError:
    return ArgumentError((name,), _shown(value), f"write {wanted}")


def _shown(value: Any) -> str:
    """A value in a message: a text in quotes, another as its type and what Python prints of it, cut short."""
    text = (
        repr(value)
        if isinstance(value, (str, bytes, int, float, type(None)))
        else f"of type {type(value).__name__}"
    )
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."


def _shown_number(value: float, dimension: str) -> str:
    return f"{value:g} {SHOWN[dimension]}" if dimension else f"{value:g}"


def _float(value: Any) -> float:
    """A real number as a float; a whole one that is too long for a float is infinite."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def si(name: str, value: Number, *, dimension: str) -> float:
    """Return a number in SI: a plain one as it is, a quantity of the library pint converted.

    Parameters
    ----------
    name : str
        Name of the parameter, for the message of a refusal.
    value : float or pint.Quantity
        A float is taken as SI.
    dimension : {"time", "flow", "temperature"}
        What the number is, and the SI unit of it: [s], [m3/s], [K].

    Returns
    -------
    float
        [s], [m3/s] or [K]; finite.

    Raises
    ------
    ArgumentError
        The value is neither a number nor a quantity of this dimension, or it is not finite.
    """
    unit = UNIT[dimension]
    if isinstance(value, bool) or not (isinstance(value, Real) or hasattr(value, "m_as")):
        raise _unfit(name, value, f"a number [{SHOWN[dimension]}] or a pint quantity")
    quantity: Any = value
    if not hasattr(value, "m_as"):
        number = _float(value)
    elif not quantity.is_compatible_with(unit):
        raise ArgumentError((name,), f"{value:~}", f"a {dimension} is wanted; write it in {SHOWN[dimension]}")
    elif isinstance(quantity.magnitude, Real):
        number = _float(quantity.m_as(unit))
    else:
        raise _unfit(name, value, f"one number [{SHOWN[dimension]}], not several and no complex one")
    if not math.isfinite(number):
        raise ArgumentError((name,), f"{number:g}", f"write a finite number [{SHOWN[dimension]}]")
    return number


def si_or_none(name: str, value: Number | None, *, dimension: str) -> float | None:
    """Return a number in SI [s, m3/s or K] as :func:`si` does; None stays None."""
    return None if value is None else si(name, value, dimension=dimension)
