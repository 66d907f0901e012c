"""The sheet of a case, as data and as HTML."""

from __future__ import annotations

import surge
from surge.case.file import Case
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.search.window import Windows
from surge.sheet.data import Sheet, sheet_of
from surge.sheet.sketch import sketch
from surge.sheet.typeset import sheet_html
from surge.sheet.valve_tests import Tests


def sheet(
    case: Case,
    windows: Windows | None = None,
    tests: Tests | None = None,
    *,
    assessment: Assessment | None = None,
) -> Sheet:
    assessment = assessment or surge.check(case, remedies=False)
    display = Display(units=case.show, density=case.lineup.liquid.density)
    return sheet_of(case, assessment, windows, display=display, version="0.1.0", tests=tests)


def html_of(case: Case, one: Sheet) -> str:
    return sheet_html(one.document(), sketch(case.lineup, words=one.line_up))
