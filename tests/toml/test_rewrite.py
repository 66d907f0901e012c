"""Changes to a text in TOML: what is changed is changed, and not a character besides."""

from __future__ import annotations

import tomllib
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surge.toml.rewrite import Written, block, written

TEXT = """# head
title = "a"   # of it

[rate]        # what is agreed
agreed = "600 m3/h"
# between

[points]
"a b" = { elevation = "1 m" } # low
c = { elevation = "2 m" }

# ---- valves ----

[[valve]]
name = "one"
table = [
  ["0 s", 1.0],   # first
  ["9 s", 0.0],
]

[[arm]]
name = "x"

[[valve]]     # the second
name = "two"

# ---- scenarios ----

[[scenario]]
name = "s"

[scenario.shutdown]
at = "5 s"

[[scenario.shutdown.step]]
close = "one"

[[scenario]]
name = "t"
event = [{ at = "1 s" }, { at = "2 s" }]
# the end
"""


def lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    old, new = before.splitlines(), after.splitlines()
    return [x for x in old if x not in new], [x for x in new if x not in old]


def test_a_value_takes_the_place_of_another_and_its_comment_stays() -> None:
    case = Written(TEXT)
    case.set(("title",), 'with "quotes"')
    assert lines_changed(TEXT, case.whole) == (
        ['title = "a"   # of it'],
        ['title = "with \\"quotes\\""   # of it'],
    )


def test_a_new_key_stands_behind_the_last_line_of_its_table() -> None:
    case = Written(TEXT)
    case.set(("rate", "means"), "throttle")
    assert 'agreed = "600 m3/h"\nmeans = "throttle"\n# between' in case.whole
    case.set(("valve", 0, "opening"), 0.5)
    assert "]\nopening = 0.5\n\n[[arm]]" in case.whole
    case.set(("arm", 0, "tested"), date(2026, 3, 14))
    assert 'name = "x"\ntested = 2026-03-14\n\n[[valve]]     # the second' in case.whole


def test_a_table_in_braces_gets_keys_and_loses_them() -> None:
    case = Written(TEXT)
    case.set(("points", "a b", "closed"), True)
    assert '"a b" = { elevation = "1 m", closed = true } # low' in case.whole
    case.unset(("points", "a b", "elevation"))
    assert '"a b" = { closed = true } # low' in case.whole


def test_tables_that_are_not_there_are_made() -> None:
    case = Written(TEXT)
    case.set(("show", "pressure"), "psi", behind=("rate",))
    assert "# between" in case.whole.split("[show]")[1]  # what stood before [points] still does
    case.set(("scenario", 0, "levels", "tank 1"), "2 m")
    assert case.data["scenario"][0]["levels"] == {"tank 1": "2 m"}
    assert case.data["scenario"][0]["shutdown"]["at"] == "5 s"


def test_a_table_joins_its_list_behind_the_last_of_it() -> None:
    case = Written(TEXT)
    case.add(("valve",), {"name": "three"})
    assert 'name = "two"\n\n[[valve]]\nname = "three"\n\n# ---- scenarios ----' in case.whole
    case.add(("scenario", 0, "shutdown", "step"), {"close": "two"})
    assert [s["close"] for s in case.data["scenario"][0]["shutdown"]["step"]] == ["one", "two"]
    case.add(("scenario", 1, "event"), {"at": "3 s"})
    assert [e["at"] for e in case.data["scenario"][1]["event"]] == ["1 s", "2 s", "3 s"]


def test_a_table_stands_behind_another_of_any_kind() -> None:
    case = Written(TEXT)
    case.add_behind(("arm", 0), ("valve",), {"name": "between"})
    assert [v["name"] for v in case.data["valve"]] == ["one", "between", "two"]


def test_what_is_taken_out_takes_its_lines_and_no_comment_of_others() -> None:
    case = Written(TEXT)
    case.unset(("valve", 1))
    gone, new = lines_changed(TEXT, case.whole)
    assert gone == ["[[valve]]     # the second", 'name = "two"']
    assert new == []
    case.unset(("scenario", 0))
    assert [s["name"] for s in case.data["scenario"]] == ["t"]
    assert "# ---- scenarios ----" in case.whole
    case.unset(("scenario", 0, "event", 0))
    assert case.data["scenario"][0]["event"] == [{"at": "2 s"}]
    case.unset(("title",))
    assert case.whole.startswith("# head\n\n[rate]")


@pytest.mark.parametrize("path", [("nothing",), ("valve", 5), ("points", "z"), ("title", "x")])
def test_what_is_not_there_cannot_be_taken_out(path: tuple[str | int, ...]) -> None:
    with pytest.raises((KeyError, IndexError, TypeError)):
        Written(TEXT).unset(path)


def test_a_list_of_tables_is_no_single_value() -> None:
    with pytest.raises(KeyError):
        Written(TEXT).set(("valve",), "x")
    with pytest.raises((KeyError, IndexError)):
        Written(TEXT).set(("valve", 7, "name"), "x")


def test_tables_change_places_with_the_comments_right_above_them() -> None:
    text = "[[s]]\nn = 1  # one\n\n# of the second\n# and more\n[[s]]\nn = 2\n\n# apart\n\n[[s]]\nn = 3"
    case = Written(text)
    case.reorder(("s",), [1, 2, 0])
    assert case.whole == (
        "# of the second\n# and more\n[[s]]\nn = 2\n\n[[s]]\nn = 3\n\n# apart\n\n[[s]]\nn = 1  # one\n"
    )
    case.reorder(("s",), [2, 0, 1])
    assert case.whole == f"{text}\n"
    flat = Written("x = [{ n = 1 }, { n = 2 }] # kept\n")
    flat.reorder(("x",), [1, 0])
    assert flat.whole == "x = [{ n = 2 }, { n = 1 }] # kept\n"


def test_line_ends_and_mark_of_the_beginning_stay() -> None:
    text = "\ufeff" + TEXT.replace("\n", "\r\n")
    case = Written(text)
    case.set(("rate", "agreed"), "1 m3/h")
    case.add(("arm",), {"name": "y"})
    assert case.whole.startswith("\ufeff# head\r\n")
    assert case.whole.count("\n") == case.whole.count("\r\n")


def test_a_last_line_without_its_end_gets_one() -> None:
    case = Written('[[arm]]\nname = "x"')
    case.set(("arm", 0, "rating"), "1 bar(g)")
    assert case.whole == '[[arm]]\nname = "x"\nrating = "1 bar(g)"\n'
    empty = Written("")
    empty.set(("title",), "t")
    assert empty.data == {"title": "t"}


def test_a_block_has_tables_in_it_with_headers_of_their_own() -> None:
    made = block(("scenario",), {"name": "s", "shutdown": {"at": "1 s", "step": [{"close": "v"}]}})
    assert made.split("\n\n") == [
        '[[scenario]]\nname = "s"',
        '[scenario.shutdown]\nat = "1 s"',
        '[[scenario.shutdown.step]]\nclose = "v"\n',
    ]


values: Any = st.recursive(
    st.booleans()
    | st.integers(-(2**62), 2**62)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text()
    | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)


@given(value=values, key=st.text())
def test_every_value_is_read_as_it_was_written(value: Any, key: str) -> None:
    assert tomllib.loads(f"v = {written({key: value})}") == {"v": {key: value}}


@given(text=st.text(max_size=30), name=st.text(max_size=10))
def test_any_text_and_name_can_be_put_into_a_case(text: str, name: str) -> None:
    case = Written(TEXT)
    case.set(("points", name), {"elevation": text})
    case.set(("valve", 0, "name"), text)
    assert case.data["points"][name] == {"elevation": text}
    assert case.data["valve"][0]["name"] == text
    assert case.data["valve"][1]["name"] == "two"


def test_what_toml_does_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="NoneType"):
        written([None])
