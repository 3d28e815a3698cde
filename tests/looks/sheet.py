"""sheet.py FOLDER - every FOLDER/NAME.xlsx through LibreOffice, which works out each formula anew; each sum is then
the figure that the page FOLDER/NAME.html prints. Prints "N passed, N failed".

The figures that the file carries beside its formulas are spoiled before, so none can come from there.
"""
import glob
import html.parser
import io
import os
import re
import subprocess
import sys
import tempfile
import zipfile
from decimal import Decimal

import openpyxl

FOLDER = sys.argv[1]
ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""
passed = failed = 0


def it(words, fine, more=""):
    global passed, failed
    passed, failed = passed + bool(fine), failed + (not fine)
    if not fine:
        print("not ok: %s%s" % (words, ": %s" % (more,) if more else ""), flush=True)


def spoiled(data):
    """The same file with 987654321 as the figure of every formula."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for item in source.infolist():
            part = source.read(item.filename)
            if item.filename.startswith("xl/worksheets/"):
                part = re.sub(rb"(</f>)<v>[^<]*</v>", rb"\1<v>987654321</v>", part)
            target.writestr(item, part)
    return out.getvalue()


def worked_out(paths, place):
    """The files as LibreOffice writes them after opening them."""
    home = os.path.join(place, "home")
    os.makedirs(home + "/user")
    with open(home + "/user/registrymodifications.xcu", "w", encoding="utf-8") as f:
        f.write(ALWAYS)
    done = subprocess.run(["soffice", "-env:UserInstallation=file://" + home, "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML",
                           "--outdir", os.path.join(place, "out")] + paths, capture_output=True, timeout=600, check=False)
    it("LibreOffice opens and saves them", done.returncode == 0, done.stderr[-300:])


class Totals(html.parser.HTMLParser):
    """Of each table of the page, by its caption: heads and the cells of its rows that are totals."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.table, self.row, self.cell, self.kind = {}, None, None, None, ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.table = {"rows": []}
        elif tag == "tr" and self.table is not None:
            self.row, self.kind = [], dict(attrs).get("class", "")
        elif tag in ("td", "th", "caption") and self.table is not None:
            self.cell = ""

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data

    def handle_endtag(self, tag):
        if tag == "caption":
            self.tables[self.cell] = self.table
        elif tag in ("td", "th") and self.row is not None:
            self.row.append(self.cell)
        elif tag == "tr" and self.row is not None:
            self.table["rows"].append((self.kind, self.row))
            self.row = None
        if tag in ("td", "th", "caption"):
            self.cell = None

    def totals(self, caption):
        """Every number of the total rows, or of the column "total" of a table on its side."""
        rows = self.tables.get(caption, {"rows": []})["rows"]
        cells = [c for kind, row in rows if kind == "total" for c in row[1:]]
        heads = rows[0][1] if rows else []
        for i, head in enumerate(heads):
            if head in ("total", "diverted or disposed"):
                cells += [row[i] for _, row in rows[1:] if i < len(row)]
        return [number(c) for c in cells if number(c) is not None]


def number(text):
    """"GBP 1,234.50" and "1234.50" are one number."""
    found = re.fullmatch(r"(?:[A-Z]{3} )?(-?[\d,]*\d(?:\.\d+)?)", text.strip().replace("\u2212", "-"))
    return Decimal(found.group(1).replace(",", "")) if found else None


def near(value, figure):
    """Binary fractions of a sum of thousands of cells, against its digits."""
    return abs(Decimal(repr(float(value))) - figure) < Decimal("0.0000005")


def check(name, source, result, page):
    book = openpyxl.load_workbook(source)
    carried = openpyxl.load_workbook(source, data_only=True)
    anew = openpyxl.load_workbook(result, data_only=True)
    formulas = 0
    for sheet in book:
        left = page.totals(sheet.title) if page else []
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                formulas += 1
                want, got = carried[sheet.title][cell.coordinate].value, anew[sheet.title][cell.coordinate].value
                words = "%s, %s %s %s" % (name, sheet.title, cell.coordinate, cell.value)
                fine = isinstance(got, (int, float)) and near(got, Decimal(repr(want)))
                it(words + ": LibreOffice comes to the figure of the report", fine, (want, got))
                printed = [x for x in left if isinstance(got, (int, float)) and near(got, x)]
                it(words + ": the page prints it", printed, (got, left[:12]))
                if printed:
                    left.remove(printed[0])
    return formulas


with tempfile.TemporaryDirectory(prefix="knockbox-sheets-") as place:
    sources = sorted(glob.glob(os.path.abspath(FOLDER) + "/*.xlsx"))
    os.makedirs(place + "/in")
    for path in sources:
        with open(path, "rb") as f, open(os.path.join(place, "in", os.path.basename(path)), "wb") as out:
            out.write(spoiled(f.read()))
    worked_out(sorted(glob.glob(place + "/in/*.xlsx")), place)
    n = 0
    for path in sources:
        with open(path[:-5] + ".html", encoding="utf-8") as f:
            page = Totals(f.read())
        n += check(os.path.basename(path), path, os.path.join(place, "out", os.path.basename(path)), page)
    it("there are sums", n > 100, n)
    print("%d sums in %d spreadsheets" % (n, len(sources)))

print("%d passed, %d failed" % (passed, failed))
sys.exit(1 if failed or not passed else 0)
