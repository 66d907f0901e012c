"""The documents of ``surge records`` as types: what their schema accepts, and what it refuses."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from support.documents import hold_to_schema

from surge import judge_records
from surge.records.text import row_fault
from surge.reports.records_data import fault_document, records_document

RECORDS = Path(__file__).parents[2] / "cases" / "records"
FILE = {"file": "a.csv", "sha256": "0" * 64}
HEAD: dict[str, Any] = {"program": {"name": "surge", "version": "1"}, "records": FILE}
UNREAD = HEAD | {"records": {"file": "a.csv", "sha256": ""}}
FAULT = row_fault(0, "", "a workbook", "a table", "save it as CSV")


@pytest.mark.parametrize("files", [{"limits": FILE, "case": FILE}, {"limits": None, "case": None}])
def test_a_damaged_answer_is_refused(files: dict[str, Any]) -> None:
    limits = RECORDS / "limits.toml" if files["limits"] else None
    answer = judge_records(RECORDS / "stroke-tests.csv", today=date(2026, 2, 20), limits=limits)
    hold_to_schema(records_document(answer, HEAD | files), "records")


@pytest.mark.parametrize("name", ["records", "sheet"])
def test_a_damaged_refusal_is_refused(name: str) -> None:
    head = UNREAD | {"limits": FILE, "case": None}
    hold_to_schema(fault_document([FAULT, FAULT], head), name)
