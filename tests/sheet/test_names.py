"""Names in any script: the sheet as PDF is made, keeps its standards, and says where it shows boxes."""

from __future__ import annotations

import io
import json
import re
from typing import Any

import pypdf
import pytest
import typst
from support.inputs.case_text import STARTER
from support.inputs.names import SCRIPTS, names_of

from surge.api.check import check
from surge.api.sheet import make_sheet
from surge.case.file import read_case
from surge.errors import CaseError, RequestError
from surge.reports.letters import BOXES, lacking, letters
from surge.sheet import typeset
from surge.sheet.sketch import label, sketch
from surge.sheet.typeset import sheet_pdf

PARTS = ("shore line", "cargo hose", "deck line", "drop line", "manifold valve", "shore pump", "no. 3 port")
SAID = "Boxesstandforletters"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return make_sheet(read_case(STARTER, filename="x.toml"), window=False).sheet.document()


def text_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"[\s\u200b]+", "", "".join(page.extract_text() for page in pages))


def made(document: dict[str, Any], names: list[str]) -> bytes:
    """The sheet with other names in the place of those of the starter case, in the sketch too."""
    text, case = json.dumps(document), STARTER
    for part, name in zip(PARTS, names, strict=False):
        text = text.replace(part, json.dumps(name)[1:-1])
        case = case.replace(part, json.dumps(name, ensure_ascii=False)[1:-1])
    return sheet_pdf(json.loads(text), sketch(read_case(case, filename="x.toml").lineup, words="line-up"))


@pytest.mark.parametrize("first", range(0, len(SCRIPTS), 3 * len(PARTS)))
def test_a_name_of_any_script_stands_on_the_sheet(document: dict[str, Any], first: int) -> None:
    """Tables and sketch; a sketch inside of a picture ended with an error for a third of these names."""
    assert SAID in BOXES.replace(" ", "")
    names = [*SCRIPTS, *SCRIPTS][first : first + len(PARTS)]
    shown = text_of(made(document, names))
    assert (SAID in shown) == lacking(names)


def test_hostile_names_stand_on_the_sheet(document: dict[str, Any]) -> None:
    names = names_of(11, 2 * len(PARTS))
    for k in (0, len(PARTS)):
        assert made(document, names[k : k + len(PARTS)]).startswith(b"%PDF")


def test_a_plain_sheet_says_nothing_of_boxes(document: dict[str, Any]) -> None:
    shown = text_of(made(document, []))
    assert SAID not in shown
    assert shown.count("dropline") > 3


def test_what_the_typesetter_refuses_is_one_line(
    document: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(*_: Any, **__: Any) -> None:
        raise typst.TypstError("PDF/UA-1 error:\n  no")

    monkeypatch.setattr(typeset, "_fitting", refuses)
    with pytest.raises(RequestError) as caught:
        sheet_pdf(document, "")
    assert "\n" not in str(caught.value)
    assert "write it as HTML" in str(caught.value)


def test_letters_of_the_font_are_those_that_the_drawing_library_finds() -> None:
    from matplotlib.ft2font import FT2Font

    from surge.reports.letters import fonts

    assert letters() == set(FT2Font(str(fonts() / "DejaVuSans.ttf")).get_charmap())
    assert not lacking(["Ìkọ̀wé", "خط الشاطئ", "Ωß"])
    assert not lacking(["±20\u00a0% of\n25.3\u00a0s"])  # blanks and ends of lines are no letters
    assert lacking(["तट"])


@pytest.mark.parametrize("name", ["e\u0301" * 30, "तटरेखाक्ष्म" * 3, "קַוהַחוֹף" * 5, "1\ufe0f\u20e3" * 10])
@pytest.mark.parametrize("width", [20.0, 33.0, 60.0])
def test_no_line_of_a_name_begins_with_an_accent(name: str, width: float) -> None:
    import unicodedata

    assert not [line for line in label(name, width).lines if unicodedata.category(line[0])[0] == "M"]


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("می\u200cخواهم", True),
        ("क्\u200dष", True),
        ("a\u200db", False),
        ("\u200cمی", False),
        ("می\u200c", False),
        ("می\u200c\u200cخ", False),
        ("x\u200bتy", False),
        ("a\u202eb", False),
    ],
)
def test_joiners_stand_between_letters_that_join(name: str, taken: bool) -> None:
    text = STARTER.replace("shore line", name)
    if taken:
        assert check(read_case(text, filename="x.toml")).text()
    else:
        with pytest.raises(CaseError):
            read_case(text, filename="x.toml")
