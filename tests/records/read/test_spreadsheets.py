"""Spreadsheets as other programs write them: sparse, formulas, dates, errors, far cells, hidden."""

import io
import resource
import zipfile
from datetime import date, datetime, time, timedelta

import pytest
import xlwt
from odf import table as ods
from odf.opendocument import OpenDocumentSpreadsheet
from odf.text import P
from openpyxl import Workbook
from openpyxl.styles import NamedStyle

from miner.records import read_client
from miner.records.findings import Findings
from miner.records.read.spreadsheet import read_sheet, sheet_names

DAY, CLOCK = datetime(2026, 3, 2), "YYYY-MM-DD HH:MM"
ROWS = [
    ["when", "value", "food", "note"],
    [datetime(2026, 3, 2, 8, 5), 101, None, None],
    [datetime(2026, 3, 3, 0, 0), 5.5, "Rice 150 g\nSpinach", None],
    [],
    [datetime(2026, 3, 3, 0, 5), None, None, "x"],
]
AS_TEXT = [
    ["when", "value", "food", "note"],
    ["2026-03-02T08:05:00", "101", "", ""],
    ["2026-03-03T00:00:00", "5.5", "Rice 150 g Spinach", ""],
    [],
    ["2026-03-03T00:05:00", "", "", "x"],
]


def xlsx(rows, *, name="Sheet", then=None) -> bytes:
    made = Workbook()
    made.active.title = name
    for row in rows:
        made.active.append(row)
    if then:
        then(made)
    return _bytes(made.save)


def xls(rows, *, then=None) -> bytes:
    made = xlwt.Workbook()
    sheet = made.add_sheet("Sheet")
    style = xlwt.easyxf(num_format_str=CLOCK)
    for at, row in enumerate(rows):
        for column, value in enumerate(row):
            if value is not None:
                dated = isinstance(value, date)
                sheet.write(at, column, value, *([style] if dated else []))
    if then:
        then(made, sheet)
    return _bytes(made.save)


def ods_of(rows, *extra) -> bytes:
    """Rows of values; what is a cell of OpenDocument already stays as it is."""
    made = OpenDocumentSpreadsheet()
    sheet = ods.Table(name="Sheet")
    for row in rows:
        line = ods.TableRow()
        for value in row:
            line.addElement(_ods_cell(value))
        sheet.addElement(line)
    for line in extra:
        sheet.addElement(line)
    made.spreadsheet.addElement(sheet)
    return _bytes(made.save)


def _ods_cell(value):
    if isinstance(value, ods.Element):
        return value
    if value is None:
        return ods.TableCell()
    if isinstance(value, datetime):
        return ods.TableCell(valuetype="date", datevalue=value.isoformat())
    if isinstance(value, date):
        return ods.TableCell(valuetype="date", datevalue=value.isoformat())
    if isinstance(value, int | float):
        return ods.TableCell(valuetype="float", value=value)
    cell = ods.TableCell(valuetype="string")
    for line in value.split("\n"):
        cell.addElement(P(text=line))
    return cell


def _bytes(save) -> bytes:
    buffer = io.BytesIO()
    save(buffer)
    return buffer.getvalue()


def edited(raw: bytes, edit) -> bytes:
    """Return a spreadsheet whose first sheet has other XML."""
    changed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(changed, "w") as new:
        for item in old.infolist():
            content = old.read(item.filename)
            if item.filename in ("xl/worksheets/sheet1.xml", "content.xml"):
                content = edit(content)
            new.writestr(item.filename, content)
    return changed.getvalue()


def rows_of(raw: bytes, part: str | None = None, decimal: str = "."):
    findings = Findings()
    rows = read_sheet("s", raw, part, decimal, findings)
    return [_stripped(row) for row in rows], findings.items


def _stripped(row):
    while row and not row[-1]:
        row = row[:-1]
    return row


def codes(items) -> dict[str, tuple[int, int | None]]:
    return {item.code: (item.count, item.row) for item in items}


@pytest.mark.parametrize("made", [xlsx, xls, ods_of])
def test_every_kind_gives_the_same_rows(made):
    rows, found = rows_of(made(ROWS))
    assert rows == [_stripped(row) for row in AS_TEXT]
    assert set(codes(found)) <= {"old_spreadsheet"}


def test_rows_of_which_only_some_cells_are_stored():
    """Empty cells are not stored at all: rows of 2, 3, 7 and 10 cells under a header of 11."""
    head = "".join(
        f'<c r="{mark}1" t="inlineStr"><is><t>{mark}</t></is></c>' for mark in "ABCDEFGHIJK"
    )
    lines = [("A2", "B2"), ("A3", "C3", "K3"), tuple(f"{m}4" for m in "ABCDEFG"),
             tuple(f"{m}5" for m in "BCDEFGHIJK")]  # fmt: skip
    body = "".join(
        f'<row r="{at}">' + "".join(f'<c r="{cell}"><v>{at}</v></c>' for cell in line) + "</row>"
        for at, line in enumerate(lines, start=2)
    )
    sheet = f'<sheetData><row r="1">{head}</row>{body}</sheetData>'.encode()
    raw = edited(xlsx([]), lambda xml: xml.replace(b"<sheetData></sheetData>", sheet))
    rows, _ = rows_of(raw)
    assert rows == [
        list("ABCDEFGHIJK"),
        ["2", "2"],
        ["3", "", "3", *[""] * 7, "3"],
        ["4"] * 7,
        ["", *["5"] * 10],
    ]


@pytest.mark.parametrize("made", [xlsx, xls, ods_of])
def test_a_table_that_begins_further_down_keeps_its_rows_and_columns(made):
    rows, _ = rows_of(made([[], [], [None, None, "when", "value"], [None, None, DAY, 1]]))
    assert rows[2] == ["", "", "when", "value"]
    assert rows[3][3] == "1"


def test_a_formula_without_a_saved_value_is_found():
    raw = xlsx([["when", "value"], [datetime(2026, 3, 2, 8, 5), "=A1"], [DAY, 7]])
    _, found = rows_of(raw)
    assert codes(found) == {"formula_without_value": (1, 2)}
    assert found[0].column == "B"
    saved = edited(
        raw, lambda xml: xml.replace(b"<v></v>", b"<v>5</v>").replace(b"<v />", b"<v>5</v>")
    )
    rows, found = rows_of(saved)
    assert (rows[1][1], codes(found)) == ("5", {})
    blank = edited(
        raw, lambda xml: xml.replace(b'<c r="B2"', b'<c r="B2" t="str"')
    )  # a formula that says ""
    assert codes(rows_of(blank)[1]) == {}


def test_a_formula_without_a_saved_value_in_open_document():
    cell = ods.TableCell(formula="of:=1+1")
    broken = ods.TableCell(formula="of:=1/0", valuetype="string", stringvalue="")
    broken.addElement(P(text="#DIV/0!"))
    _, found = rows_of(ods_of([["when", "value"], [DAY, cell], [DAY, broken]]))
    assert codes(found) == {"formula_without_value": (1, 2), "error_in_cell": (1, 3)}


def test_errors_in_cells_are_reported_with_their_words():
    def edit(xml: bytes) -> bytes:
        return xml.replace(b't="n"><v>5<', b't="e"><v>#N/A<')

    rows, found = rows_of(edited(xlsx([["when", "value"], [datetime(2026, 3, 2, 8, 5), 5]]), edit))
    assert rows[1] == ["2026-03-02T08:05:00"]
    assert codes(found) == {"error_in_cell": (1, 2)}
    assert "#N/A" in found[0].what


def test_of_an_old_spreadsheet_it_is_said_what_cannot_be_seen():
    raw = xls([["when", "value"]], then=lambda _, sheet: sheet.write(1, 1, xlwt.Formula("1+1")))
    _, found = rows_of(raw)
    assert "cannot be seen" in found[0].what


@pytest.mark.parametrize(
    ("shown", "alone"),
    [
        *[("YYYY-MM-DD", True), ("DD/MM/YY", True), ('[$-809]d "shown" mmmm yyyy', True)],
        *[("YYYY-MM-DD HH:MM", False), ("D.M.YY H:MM:SS", False)],
    ],
)
def test_a_midnight_is_a_time_where_the_cell_shows_a_time_of_day(shown, alone):
    def style(book):
        book.add_named_style(NamedStyle("own", number_format=shown))
        book.active["A2"].style = "own"

    rows, _ = rows_of(xlsx([["when"], [DAY]], then=style))
    expected = "2026-03-02" if alone else "2026-03-02T00:00:00"
    assert rows[1] == [expected]


def test_a_date_alone_in_an_old_sheet_is_told_from_the_midnight_of_a_trace():
    trace = [[DAY + timedelta(minutes=5 * at)] for at in range(-3, 4)]
    rows, _ = rows_of(xls([["when"], *trace]))
    assert rows[4] == ["2026-03-02T00:00:00"]
    rows, _ = rows_of(xls([["when"], [datetime(2026, 3, 1, 19)], [DAY], [datetime(2026, 3, 3, 8)]]))
    assert rows[2] == ["2026-03-02"]


def test_times_of_day_lengths_and_decimal_signs():
    rows, _ = rows_of(xlsx([["a"], [time(8, 30), timedelta(hours=26), 1.5, True]]), decimal=",")
    assert rows[1] == ["08:30:00", "26:00:00", "1,5", "True"]


def test_the_calendar_that_begins_in_1904():
    def begins_later(book):
        book.epoch = datetime(1904, 1, 1)

    rows, _ = rows_of(xlsx([["a"], [datetime(2026, 3, 2, 8, 5)]], then=begins_later))
    assert rows[1] == ["2026-03-02T08:05:00"]


FAR = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'


@pytest.mark.parametrize("where", ["row and column", "column", "row"])
def test_a_stray_cell_far_away_is_harmless(where):
    cells = {
        "row and column": FAR,
        "column": b'<row r="9"><c r="XFD9"><v>1</v></c></row></sheetData>',
        "row": b'<row r="1048576"><c r="B1048576"><v>1</v></c></row></sheetData>',
    }
    many = [*ROWS, *[[datetime(2026, 3, 4), 1]] * 600]
    raw = edited(xlsx(many), lambda xml: xml.replace(b"</sheetData>", cells[where]))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    rows, found = rows_of(raw)
    assert rows[: len(AS_TEXT)] == [_stripped(row) for row in AS_TEXT]
    assert codes(found) == {"far_cell": (1, None)}
    assert len(rows) == len(many)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000  # kB


def test_a_stray_cell_far_away_in_open_document_is_harmless():
    def blank(rows):
        line = ods.TableRow(numberrowsrepeated=rows)
        line.addElement(ods.TableCell(numbercolumnsrepeated=16_384))
        return line

    stray = ods.TableRow()
    stray.addElement(ods.TableCell(numbercolumnsrepeated=16_000))
    stray.addElement(_ods_cell(1))
    raw = ods_of(ROWS, blank(1_000_000), stray, blank(40_000))
    rows, found = rows_of(raw)
    assert rows[: len(AS_TEXT)] == [_stripped(row) for row in AS_TEXT]
    assert codes(found) == {"far_cell": (1, None)}


def test_a_sheet_that_claims_a_thousand_million_rows():
    def claim(content: bytes) -> bytes:
        return content.replace(b'ref="A1:B3"', b'ref="A1:XFD1048576"').replace(
            b"A2", b"A1000000000"
        )

    raw = edited(xlsx([["when", "value"], ["x", None], ["y", 101]]), claim)
    rows, found = rows_of(raw)
    assert rows == [["when", "value"], [], ["y", "101"]]
    assert codes(found) == {"far_cell": (1, None)}


def test_merged_cells_are_asked_about():
    raw = xlsx(ROWS, then=lambda book: book.active.merge_cells("A2:A3"))
    _, found = rows_of(raw)
    assert codes(found) == {"merged_cells": (1, 2)}


def test_the_one_sheet_that_is_shown_is_read_and_hidden_ones_are_named():
    def more(book):
        book.create_sheet("Lists").sheet_state = "hidden"
        book.create_chartsheet("Chart")

    raw = xlsx(ROWS, then=more)
    rows, found = rows_of(raw)
    assert rows[1][1] == "101"
    assert codes(found) == {"hidden_sheet": (1, None)}
    assert sheet_names("s", raw) == ["Sheet"]
    assert rows_of(raw, "Lists")[0] == []


@pytest.mark.parametrize(("made", "name"), [(xlsx, "s.xlsx"), (xls, "s.xls"), (ods_of, "s.ods")])
def test_one_sheet_feeds_two_streams(folder, made, name):
    folder.write(name, made(ROWS))
    entry = '[[source]]\nfile = "{}"\nstream = "{}"\n[source.columns]\ntime = "when"\n{} = "{}"\n'
    folder.write(
        "sources.toml",
        entry.format(name, "glucose", "glucose_mg_dl", "value")
        + '[source.units]\nglucose_mg_dl = "mg/dL"\n'
        + entry.format(name, "meals", "label", "food"),
    )
    client = read_client(folder.path)
    assert client.streams["glucose"]["row"].tolist() == [2, 3]
    assert client.streams["meals"]["label"].tolist() == ["Rice 150 g Spinach"]
    assert client.streams["meals"]["row"].tolist() == [3]
