"""Damage to tables, texts and bytes: wrong types, units, signs, names, missing and doubled parts, codings."""

from __future__ import annotations

import json
import math
import random
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any


@dataclass(frozen=True)
class Raw:
    """A value as TOML source, whatever it is."""

    source: str


NAMES = (
    *(
        "",
        " ",
        "manifold",
        "manifold valve",
        "berth",
        "x\u0000y",
        "a\x1b[2Jb",
        "\u202eevlav",
        "a\u2066b\u2069",
    ),
    *("line\nbreak", "tab\tbed", "<b>bold</b>", "</script><script>alert(1)</script>", "=1+2", "@SUM(A1)"),
    *(
        "'; drop table",
        "ventil \u00e6\u00f8\u00e5",
        "\u9600\u95e8",
        "\U0001f6a2",
        "e\u0301" * 5,
        "\ufeffvalve",
    ),
    *("v" * 300, "v" * 5000, "%s%n%d", "{0}", "$HOME", "\\..\\..", "../../etc/passwd", "a\u2028b", "\u200b"),
    *(
        "manifold  valve",
        "Manifold Valve",
        "\ud7ff",
        "\ufffe",
        "\x85",
        "\xa0",
        "\x7f",
        "#let x = 1",
        "*bold*",
    ),
)
NUMBERS: tuple[Any, ...] = (
    *(0, 1, -1, 2, 0.5, 1.0, -0.0, 1e-320, 1e-300, 1e-9, 1e9, 1e18, 1e300, 10**30, -(10**17)),
    *(Raw("nan"), Raw("-inf"), Raw("inf"), Raw("1e309"), Raw("-1e309"), Raw("9" * 400), Raw("9" * 5000)),
    *(Raw("0x7fffffffffffffff"), Raw("0b1"), Raw("1_000"), Raw("1__0"), Raw("+0"), Raw("00"), Raw("3,5")),
)
UNITS = (
    *(
        "m",
        "mm",
        "km",
        "ft",
        "inch",
        "bar",
        "bar(g)",
        "bar(a)",
        "barg",
        "psi(g)",
        "kPa(a)",
        "Pa",
        "m3/h",
        "t/h",
    ),
    *(
        "bbl/h",
        "s",
        "min",
        "ms",
        "h",
        "degC",
        "K",
        "kg/m3",
        "m/s",
        "mm2/s",
        "mPa s",
        "GPa",
        "%",
        "gpm",
        "bananas",
    ),
    *("", " ", "M", "BAR", "m3", "m³/h", "bar (g)", "s s", "m\u00b2", "°C", "\u0000", "m;", "m\n"),
)
FIGURES = (
    *(
        "0",
        "-0",
        "1",
        "-1",
        "0.5",
        "3,5",
        "1.234,5",
        "1,000",
        "1e3",
        "1e309",
        "-1e309",
        "1e-400",
        "1e-9",
        "nan",
    ),
    *(
        "inf",
        "0.0000001",
        "99999999",
        "1e15",
        "9" * 400,
        "١٢",
        "½",
        "0x10",
        "1_000",
        "12 12",
        "--1",
        "+5",
        ".5",
    ),
    *("5.", "", "600", "20", "25", "2400", "740", "100", "3600", "86400"),
)
WORDS = (
    *("gate", "globe", "linear", "two-stage", "step", "table", "throttle", "pump speed", "supply pressure"),
    *("shore", "ship", "both", "anchored throughout", "steel", "GRP", "start", "topping off", "standard"),
    *("12 inch", "DN 300", "gasoline", "crude oil", "butterfly", "M*", "[", "[!", "order to indicator"),
    *("12 months", "0 days", "9999 years", "cargo pump", "fixed loss", "required", "off", "at most"),
)
EXTRA = ("x", "nme", "lenght", "ratng", "", "a b", "__class__", "schema", "type", "valve", "ä", "k" * 400)


def odd_value(dice: random.Random, like: Any = None, *, deep: bool = False) -> Any:
    """Return a value that may be wrong in many ways, often near to one of the right form."""
    kind = dice.randrange(11 if deep else 14)
    if kind < 4:
        return f"{dice.choice(FIGURES)} {dice.choice(UNITS)}"
    if kind == 4 and isinstance(like, str):
        return _damaged_text(dice, like)
    if kind == 5 and isinstance(like, str) and (found := re.match(r"([-+0-9.eE]+)(.*)", like)):
        factor = dice.choice(["1e-12", "0.001", "0.1", "0.9", "1.5", "3", "10", "1000", "1e6", "1e12", "-1"])
        try:
            return f"{float(found[1]) * float(factor):.6g}{found[2]}"
        except ValueError:
            return like
    if kind == 6:
        return dice.choice(NAMES)
    if kind == 7:
        return dice.choice(WORDS)
    if kind in (8, 9):
        return dice.choice(NUMBERS)
    if kind == 10:
        return dice.choice(
            [True, False, [], {}, [[]], date(2026, 2, 30 - 2), datetime(2026, 1, 1, 0, 0), time(7)]
        )
    if kind == 11:
        return [odd_value(dice, like, deep=True) for _ in range(dice.choice([1, 2, 2, 3, 40]))]
    if kind == 12:
        return [
            [odd_value(dice, deep=True), odd_value(dice, deep=True)]
            for _ in range(dice.choice([1, 2, 3, 30]))
        ]
    return {dice.choice([*NAMES, *EXTRA]): odd_value(dice, deep=True) for _ in range(dice.choice([1, 2, 5]))}


def _damaged_text(dice: random.Random, text: str) -> str:
    at = dice.randrange(len(text) + 1)
    part = dice.choice([dice.choice(NAMES), "", " ", ",", ".", "-", "\u00a0", chr(dice.randrange(1, 0x2FFF))])
    return dice.choice(
        [text[:at] + part + text[at:], text[:at] + part, part + text[at:], text * 2, text.upper()]
    )


def places_in(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return every path in tables and lists."""
    items: Iterable[tuple[Any, Any]] = ()
    if isinstance(data, dict):
        items = list(data.items())
    elif isinstance(data, list):
        items = list(enumerate(data))
    found = [path] if path else []
    for key, child in items:
        found += places_in(child, (*path, key))
    return found


def damage_data(dice: random.Random, data: dict[str, Any]) -> None:
    """Damage tables and lists at some places; one time in four only by other figures of the right form."""
    if dice.random() < 0.25:
        _other_figures(dice, data)
        return
    for _ in range(dice.choice([1, 1, 1, 2, 3, 6, 12])):
        places = places_in(data)
        if not places:
            return
        path = dice.choice(places)
        holder: Any = data
        for key in path[:-1]:
            holder = holder[key]
        _damage_at(dice, holder, path[-1], data)


def _other_figures(dice: random.Random, data: dict[str, Any]) -> None:
    """Multiply some figures: what comes out can often be read, and may be odd as a line-up."""
    for _ in range(dice.choice([1, 1, 2, 3, 6])):
        *path, key = dice.choice(places_in(data))
        holder: Any = data
        for part in path:
            holder = holder[part]
        found = re.match(r"([-+0-9.eE]+)(.*)", holder[key]) if isinstance(holder[key], str) else None
        factor = dice.choice([0.0, -1.0, 1e-3, 0.1, 0.5, 0.9, 0.99, 1.01, 1.1, 2.0, 10.0, 1e3])
        if found and re.fullmatch(r"[-+]?[0-9.]+(e[-+]?[0-9]+)?", found[1]):
            holder[key] = f"{float(found[1]) * factor:.6g}{found[2]}"
        elif isinstance(holder[key], int | float) and not isinstance(holder[key], bool):
            holder[key] *= factor


def _damage_at(dice: random.Random, holder: Any, key: Any, data: dict[str, Any]) -> None:
    value = holder[key]
    kind = dice.randrange(10)
    if kind < 5:
        holder[key] = odd_value(dice, value)
    elif kind == 5:
        del holder[key]
    elif kind == 6 and isinstance(holder, list):
        holder.insert(dice.randrange(len(holder) + 1), json.loads(json.dumps(value, default=str)))
    elif kind == 6:
        holder[dice.choice(EXTRA) or key] = odd_value(dice, value)
    elif kind == 7 and isinstance(holder, dict):
        holder[_damaged_text(dice, str(key))] = holder.pop(key)
    elif kind == 8:
        names = [v for v in _texts(data) if len(v) < 60]
        holder[key] = dice.choice(names) if names else "x"
    elif isinstance(value, list):
        dice.shuffle(value)
    else:
        holder[key] = [value] if dice.random() < 0.5 else {"value": value}


def _texts(data: Any) -> list[str]:
    if isinstance(data, dict):
        data = list(data.values())
    if isinstance(data, list):
        return [t for child in data for t in _texts(child)]
    return [data] if isinstance(data, str) else []


# TOML


def toml_of(data: dict[str, Any]) -> str:
    """Return tables as TOML: simple keys first, then tables and lists of tables."""
    lines: list[str] = []
    _write_table(data, (), lines)
    return "\n".join(lines) + "\n"


def _write_table(table: dict[str, Any], path: tuple[str, ...], lines: list[str]) -> None:
    later = []
    for key, value in table.items():
        tables = isinstance(value, list) and value and all(isinstance(v, dict) for v in value)
        if (isinstance(value, dict) or tables) and len(path) < 4:
            later.append((key, value))
        else:
            lines.append(f"{_key(key)} = {_value(value)}")
    for key, value in later:
        header = ".".join(_key(k) for k in (*path, key))
        for each in value if isinstance(value, list) else [value]:
            lines.append(f"\n[[{header}]]" if isinstance(value, list) else f"\n[{header}]")
            _write_table(each, (*path, key), lines)


def _key(key: Any) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", str(key)) else json.dumps(str(key))


def _value(value: Any) -> str:
    if isinstance(value, Raw):
        return value.source
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=len(value) % 2 == 0).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(_value(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{_key(k)} = {_value(v)}' for k, v in value.items())} }}"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return value.isoformat() if isinstance(value, date | time) else repr(value)


LINES = (
    *("[pipe]", "[[pipe]]", "[liquid]", "[points]", '[points.""]', "[[scenario]]", "[[scenario.event]]", "]"),
    *(
        "[scenario.shutdown]",
        "[[scenario.shutdown.step]]",
        "[[valve]]",
        "[[rule]]",
        "[a.b.c.d]",
        "key",
        "= 1",
    ),
    *(
        "\x00",
        "\ufeff",
        "schema = 1",
        "schema = 2",
        "tags = []",
        'tags = ["X*"]',
        "[" * 50,
        "{" * 50,
        '"""',
        "'''",
    ),
    *(
        "[" + ".".join("a" * 60) + "]",
        "x = " + "[" * 60 + "]" * 60,
        "x = " + "[" * 4000,
        "a." * 900 + "a = 1",
    ),
    *(
        "# " + "c" * 30000,
        "x = 2026-02-30",
        "x = 12 m",
        "x = 'a",
        "\r",
        "x = \\u0041",
        "x = {a = 1",
        "x=1 y=2",
    ),
)


def damage_lines(dice: random.Random, text: str, mark: str = "=") -> str:
    """Damage a text line by line."""
    lines = text.split("\n")
    for _ in range(dice.choice([1, 1, 2, 3, 8])):
        at = dice.randrange(max(len(lines), 1))
        kind = dice.randrange(9)
        if not lines or kind == 0:
            lines.insert(at, dice.choice(LINES))
        elif kind == 1:
            del lines[at : at + dice.choice([1, 1, 2, 10])]
        elif kind == 2:
            lines[at:at] = lines[at : at + dice.choice([1, 2, 20])]
        elif kind == 3 and mark in lines[at]:
            cells = lines[at].split(mark)
            cells[dice.randrange(len(cells))] = dice.choice([*FIGURES, *NAMES, *WORDS, '"1 m"', "true"])
            lines[at] = mark.join(cells)
        elif kind == 4:
            lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
        elif kind == 5:
            lines[at] = _damaged_text(dice, lines[at])
        elif kind == 6:
            other = dice.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 7:
            lines[at] += dice.choice(
                [
                    _run(dice),
                    f'{mark}"{_run(dice)}"',
                    f'{mark}"x{_run(dice)}y"',
                    mark,
                    mark * 30,
                    '"',
                    "'",
                    "\t",
                    "x" * 40000,
                    "\r",
                    '"' + mark + '"',
                ]
            )
        else:
            lines[at] = dice.choice(NAMES)
    return "\n".join(lines)


def _run(dice: random.Random) -> str:
    """Many times the same few characters: what makes a careless pattern take for ever."""
    part = dice.choice(
        [*" ,.;:()[]{}'\"\\#=-_0e%*?a\t\u00a0", "1,", "a ", "0.", "a.", "((", "[a", "*a", ", "]
    )
    return part * dice.choice([50, 3000, 19_000, 100_000])


def damage_bytes(dice: random.Random, content: bytes) -> bytes:
    """Damage bytes: cut, flip, insert, code otherwise, or throw all of it away."""
    kind = dice.randrange(10)
    at = dice.randrange(len(content) + 1)
    if kind < 2:
        return content[:at]
    if kind == 2:
        return dice.randbytes(dice.choice([0, 1, 2, 20, 400]))
    if kind == 3:
        return (
            content[:at] + dice.choice([b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\x1a"]) + content[at:]
        )
    if kind == 4:
        text = content.decode("utf-8", "replace")
        coding = dice.choice(
            ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp037", "utf-8-sig", "utf-7"]
        )
        return text.encode(coding, "replace")
    if kind == 5:
        return (
            dice.choice([b"PK\x03\x04", b"%PDF-1.7", b"\x89PNG", b"\xd0\xcf\x11\xe0", b"\x1f\x8b", b"{}"])
            + content
        )
    if kind == 6:
        return content.replace(b"\n", dice.choice([b"\r", b"\r\n", b"\n\n", b"", b"\n\0"]))
    mutable = bytearray(content)
    for _ in range(dice.choice([1, 3, 30])):
        if mutable:
            mutable[dice.randrange(len(mutable))] = dice.randrange(256)
    return bytes(mutable)
