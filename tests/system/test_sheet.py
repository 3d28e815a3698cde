#!/usr/bin/python3
"""test_sheet.py BIN SOURCE - spreadsheets: read back by another program's code (openpyxl), sums
worked out again, texts that would like to be formulas. Prints "N passed, N failed".

Sources: the promises of docs/report.md, "The spreadsheet"; formulas from texts: common practice,
no source. Money and masses of the example month: tests/data/example-month.
"""
import io
import json
import os
import re
import subprocess
import sys
import tempfile
import zipfile
from decimal import Decimal

import openpyxl

BIN, SOURCE = sys.argv[1], sys.argv[2]
passed = failed = 0


def it(words, fine):
    global passed, failed
    passed, failed = passed + bool(fine), failed + (not fine)
    if not fine:
        print("not ok:", words)


def run(*args, **more):
    return subprocess.run(args, capture_output=True, timeout=60, check=False, **more)


def books(data):
    """As written, and with the figures that the formulas carry."""
    return (openpyxl.load_workbook(io.BytesIO(data)),
            openpyxl.load_workbook(io.BytesIO(data), data_only=True))


def cells(book):
    return [cell for sheet in book for row in sheet.iter_rows() for cell in row
            if cell.value is not None]


# ---- tables made by hand

def column(label, unit="", nature="text"):
    return {"label": label, "unit": unit, "is": nature}


def table(name, columns, rows, totals=(), fields=False):
    return {"name": name, "fields": fields, "columns": columns, "rows": rows,
            "totals": list(totals)}


def sheet(*tables):
    source = {"title": "Report", "created": "2026-03-31", "tables": list(tables)}
    return run(BIN + "/knockbox-sheet", input=json.dumps(source).encode())


WICKED = ["=1+1", "+1+1", "-1-1", "@SUM(1)", "\t=1+1", "\r=1+1", "=HYPERLINK(\"http://h.test\")",
          "{=1+1}", "http://h.test/", "mailto:a@h.test", "internal:A1", "'=1", "\x01\x1f", "x" * 40000,
          "<b>&\"'", "caf\u00e9 \u202e", "0012", "1e5", "2026-03-31"]

done = sheet(table("Texts", [column("text"), column("of a number", "kg", "number"),
                            column("of a day", "", "day")],
                   [[text, text, text] for text in WICKED]))
it("texts make a spreadsheet", done.returncode == 0)
book, _ = books(done.stdout)
it("no text becomes a formula", not [c for c in cells(book) if c.data_type == "f"])
it("no text becomes a link", not [c for c in cells(book) if c.hyperlink])
it("a text that looks like a formula stands as it is", book["Texts"]["A2"].value == "=1+1")
it("control bytes are replaced", book["Texts"]["A14"].value == "\ufffd\ufffd")
it("a very long text is cut to what a cell holds", len(book["Texts"]["A15"].value) == 32000)
it("only digits make a number", [c.value for c in book["Texts"]["B"]
                                 if isinstance(c.value, (int, float))] == [12])
it("only a day makes a day", [c.coordinate for c in book["Texts"]["C"] if c.is_date] == ["C20"])
it("a day in a column of texts is a text", book["Texts"]["A20"].value == "2026-03-31")

NUMBERS = [["a", "0.100"], ["b", "0.200"], ["c", "-0.083"], ["d", "999999999999.999"],
           ["e", "9999999999999.999"], ["f", "1.03216239024"], ["g", None], ["h", 0], ["total", "0.300"],
           ["total", "0.217"], ["total", "1.0"]]
done = sheet(table("N", [column("what"), column("mass", "kg", "number")], NUMBERS,
                   [[0, 1], [0, 1, 2], [0, 4]]))
book, values = books(done.stdout)
there = book["N"]
it("numbers are numbers", [there.cell(i, 2).value for i in range(2, 6)] ==
   [0.1, 0.2, -0.083, 999999999999.999])
it("a number that no spreadsheet keeps to the last digit is a text",
   there["B6"].value == "9999999999999.999")
it("more decimals than are shown are kept", there["B7"].value == 1.03216239024)
it("not known is a dash, absent is empty", [there["B8"].value, there["B9"].value] == ["\u2013", None])
it("a sum is a formula over its rows", there["B10"].value == "=SUM(B2:B3)")
it("a sum of rows side by side is one range", there["B11"].value == "=SUM(B2:B4)")
it("a sum carries the report's figure", values["N"]["B11"].value == 0.217)
it("a sum with a part that is a text is no formula", there["B12"].value == 1)
it("the unit stands in the heading", there["B1"].value == "mass, kg")

names = ["Same", "same", "A/B[c]:*?\\d", "n" * 40, "n" * 40, "", "caf\u00e9" * 10, "'quoted'"]
done = sheet(*[table(name, [column("x")], [["1"]]) for name in names])
book, _ = books(done.stdout)
it("every table has a sheet of its own", len(book.sheetnames) == len(names) + 1)
it("names of sheets are short and differ",
   len({n.lower() for n in book.sheetnames}) == len(names) + 1 and
   all(len(n) <= 31 for n in book.sheetnames))
it("the same tables give the same bytes",
   sheet(table("N", [column("x")], [["1"]])).stdout == sheet(table("N", [column("x")], [["1"]])).stdout)
for bad in [b"", b"[]", b"{}", b'{"tables": 1}', b'{"tables": [1]}', b"\xff", b'{"tables": [{}]}',
            b'{"tables": [{"columns": [], "rows": [], "totals": [[]], "fields": false}]}']:
    done = run(BIN + "/knockbox-sheet", input=bad)
    it("what are no tables is refused: %r" % bad, done.returncode == 1 and not done.stdout and
       b"no tables" in done.stderr)

# ---- a hub's report


def total_rows(sheet_):
    return [row for row in sheet_.iter_rows(min_row=2)
            if any(c.data_type == "f" for c in row)]


def summed(sheet_, formula):
    inside = re.fullmatch(r"=SUM\(([A-Z]+\d+:[A-Z]+\d+(?:,[A-Z]+\d+:[A-Z]+\d+)*)\)", formula)
    parts = [c for area in inside.group(1).split(",") for row in sheet_[area] for c in row]
    return sum((Decimal(repr(c.value)) for c in parts), Decimal(0))


def figure(book_, name, words):
    rows = [r for r in book_["Figures"].iter_rows(min_row=2) if (r[0].value, r[1].value) == (name, words)]
    return rows[0][2].value if rows else None


with tempfile.TemporaryDirectory(prefix="knockbox-sheet-") as place:
    hub = place + "/hub"
    run(BIN + "/knockbox-hub", "init", hub, "--site", "kitchen")
    daemon = subprocess.Popen([BIN + "/knockbox-hub", "run", hub], stderr=subprocess.PIPE)
    try:
        for line in daemon.stderr:
            if b"ready" in line:
                break

        def box(*args, **more):
            return run(BIN + "/knockbox", *args, "--at", hub, **more)

        for name in ["catalogue", "records"]:
            done = box("import", "%s/tests/data/example-month/%s.jsonl" % (SOURCE, name), "--quiet")
            it("the example's %s go in" % name, done.returncode == 0)
        path = place + "/march.xlsx"
        done = box("report", "2026-03", "--format", "xlsx", "--out", path)
        it("a spreadsheet is written", done.returncode == 0 and os.path.exists(path))
        with open(path, "rb") as file:
            data = file.read()
        it("its parts are whole", zipfile.ZipFile(io.BytesIO(data)).testzip() is None)
        report = json.loads(box("report", "2026-03", "--json").stdout)
        book, values = books(data)
        sums = [(s.title, c.coordinate, summed(s, c.value), values[s.title][c.coordinate].value)
                for s in book for row in total_rows(s) for c in row if c.data_type == "f"]
        it("there are sums", len(sums) > 30)
        it("every sum comes to the figure that it carries",
           not [x for x in sums if x[2] != Decimal(repr(x[3]))])
        stock = {c.value: c.column for c in book["Stock of tubs by site"][1]}
        last = book["Stock of tubs by site"].max_row
        it("the sums of the sites are the report's totals", all(
            Decimal(repr(values["Stock of tubs by site"].cell(last, stock[head]).value)) ==
            Decimal(report["stock"][key]) for head, key in
            [("filled, kg", "filled_kg"), ("closing, kg", "closing_kg"), ("used in batches, kg", "used_kg")]))
        ended = [r for r in values["Where it ended"].iter_rows(min_row=2, values_only=True)]
        it("the destinations come to diverted and disposed", Decimal(repr(ended[-1][1])) ==
           Decimal(report["waste"]["diverted_kg"]) + Decimal(report["waste"]["disposed_kg"]))
        it("figures are numbers", figure(book, "Grounds", "captured in tubs") ==
           float(report["grounds"]["captured_kg"]))
        it("days are days", figure(book, "Period", "first day").isoformat() == "2026-03-01T00:00:00")
        heads = [c.value for c in book["Product"][1]]
        money = [(r[0], r[1], r[heads.index("sold, in its currency")])
                 for r in book["Product"].iter_rows(min_row=2, values_only=True)]
        it("money is in units of its currency", all(
            (p["product"], p["currency"], int(p["sold_minor"]) / 100) in money
            for p in report["product"]))
        it("the time it was made is the report's", str(book.properties.created) == "2026-03-31 00:00:00")
        box("report", "2026-03", "--format", "xlsx", "-o", place + "/again.xlsx")
        with open(place + "/again.xlsx", "rb") as file:
            it("a closed month gives the same bytes", file.read() == data)
        it("to a pipe go the same bytes", box("report", "2026-03", "--format", "xlsx").stdout == data)
        it("nothing is left beside the files",
           sorted(os.listdir(place)) == ["again.xlsx", "hub", "march.xlsx"])
        done = box("report", "2026-03", "--format", "xlsx", "--out", place + "/no/where.xlsx")
        it("a folder that is not there is an error in words", done.returncode == 1 and
           b"where.xlsx" in done.stderr)
        done = box("report", "2026-13", "--format", "xlsx", "--out", path)
        with open(path, "rb") as file:
            it("what is refused leaves the file as it was", done.returncode == 3 and file.read() == data)
    finally:
        daemon.terminate()
        daemon.wait(30)
        daemon.stderr.close()

print("%d passed, %d failed" % (passed, failed))
sys.exit(1 if failed or not passed else 0)
