#!/usr/bin/python3
"""test_page.py BIN SOURCE - the page of a report without a browser: what accessibility checkers look
for, contrast by the formula of WCAG 2.2 (relative luminance, SC 1.4.3 and 1.4.11; from memory), and
that it needs nothing from elsewhere. Prints "N passed, N failed".

By hand, with a browser: docs/report.md, "The page".
"""
import html.parser
import re
import subprocess
import sys
import tempfile

BIN, SOURCE = sys.argv[1], sys.argv[2]
VOID = {"meta", "br", "img", "link", "input", "hr", "rect", "line", "circle"}
passed = failed = 0


def it(words, fine):
    global passed, failed
    passed, failed = passed + bool(fine), failed + (not fine)
    if not fine:
        print("not ok:", words)


class Node:
    def __init__(self, tag, attrs, parent):
        self.tag, self.attrs, self.parent = tag, dict(attrs), parent
        self.children, self.text = [], ""

    def all(self, *tags):
        for child in self.children:
            if child.tag in tags:
                yield child
            yield from child.all(*tags)

    def words(self):
        return self.text + "".join(child.words() for child in self.children)


class Page(html.parser.HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.root = self.at = Node("", [], None)
        self.bad = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        node = Node(tag, attrs, self.at)
        self.at.children.append(node)
        if tag not in VOID:
            self.at = node

    def handle_startendtag(self, tag, attrs):
        self.at.children.append(Node(tag, attrs, self.at))

    def handle_endtag(self, tag):
        if tag == self.at.tag:
            self.at = self.at.parent
        elif tag not in VOID:
            self.bad.append(tag)

    def handle_data(self, data):
        self.at.text += data


def luminance(colour):
    colour = colour.lstrip("#")
    if len(colour) == 3:
        colour = "".join(c * 2 for c in colour)
    parts = [int(colour[i:i + 2], 16) / 255 for i in (0, 2, 4)]
    parts = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one, other):
    high, low = sorted([luminance(one), luminance(other)], reverse=True)
    return (high + 0.05) / (low + 0.05)


it("black on white is 21 to 1", abs(contrast("#000", "#ffffff") - 21) < 1e-9)
it("#767676 on white is just over 4.5 to 1", 4.5 < contrast("#767676", "#fff") < 4.6)


def check_frame(name, page, root):
    it(name + ": every tag is closed in its place", not page.bad and page.at is root)
    it(name + ": the page says its language", next(root.all("html")).attrs.get("lang") == "en")
    it(name + ": it has a title", next(root.all("title")).words().startswith("Report of "))
    it(name + ": one main part", len(list(root.all("main"))) == 1)
    levels = [int(h.tag[1]) for h in root.all("h1", "h2", "h3", "h4", "h5", "h6")]
    it(name + ": one first heading, before all others", levels[:1] == [1] and levels.count(1) == 1)
    it(name + ": no level of heading is skipped",
       all(b <= a + 1 for a, b in zip(levels, levels[1:])))
    ids = [n.attrs["id"] for n in root.all(*{n.tag for n in every(root)}) if "id" in n.attrs]
    it(name + ": ids are there once", len(ids) == len(set(ids)))
    return set(ids)


def every(node):
    for child in node.children:
        yield child
        yield from every(child)


def check_pictures(name, root, ids):
    pictures = [s for s in root.all("svg") if s.attrs.get("aria-hidden") != "true"]
    it(name + ": there are pictures", len(pictures) >= 4)
    for svg in pictures:
        words = [c for c in svg.children if c.tag in ("title", "desc")]
        label = svg.attrs.get("aria-labelledby", "").split()
        it(name + ": a picture is an image with a title and its figures in words",
           svg.attrs.get("role") == "img" and [w.tag for w in words] == ["title", "desc"] and
           all(w.words().strip() for w in words) and label == [w.attrs["id"] for w in words] and
           set(label) <= ids)
        fills = [r.attrs["fill"] for r in svg.all("rect")]
        legend = [t for t in svg.all("text")]
        it(name + ": parts of a picture differ by pattern, not by colour alone",
           len({f for f in fills if not f.startswith("url(")} - {"#fff"}) <= 1)
        it(name + ": a picture has its numbers on it", any(re.search(r"\d", t.words()) for t in legend))
        section = svg.parent.parent
        it(name + ": a table stands beneath a picture", section.tag == "section" and
           len(list(section.all("table"))) >= 1)


def check_tables(name, root):
    for table in root.all("table"):
        heads = list(table.all("th"))
        captions = [c for c in table.children if c.tag == "caption"]
        it(name + ": a table has a caption first", len(captions) == 1 and
           table.children[0] is captions[0] and captions[0].words().strip())
        it(name + ": its headings say of what", heads and
           all(h.attrs.get("scope") in ("row", "col") for h in heads))
        wide = {len(row.children) for row in table.all("tr")}
        it(name + ": its rows are equally long (%s)" % captions[0].words(), len(wide) == 1)


def check_alone(name, root, text):
    it(name + ": no script", not list(root.all("script", "iframe", "object", "embed", "link", "img", "form")))
    it(name + ": nothing is loaded from elsewhere",
       not [n for n in every(root) for a in n.attrs if a in ("src", "srcset", "action", "data", "poster",
                                                          "xlink:href") or a.startswith("on")] and
       all(n.attrs["href"].startswith("#") for n in every(root) if "href" in n.attrs))
    style = next(root.all("style")).words()
    it(name + ": nor by its style", "@import" not in style and "url(" not in style)
    policy = [m.attrs.get("content", "") for m in root.all("meta")
              if m.attrs.get("http-equiv") == "Content-Security-Policy"]
    it(name + ": its policy forbids both", len(policy) == 1 and policy[0].startswith("default-src 'none'"))
    it(name + ": a link leads to a place on the page",
       all("id=\"%s\"" % n.attrs["href"][1:] in text for n in root.all("a")))
    it(name + ": it says how it prints", "@page" in style and "@media print" in style)
    return style


def check_contrast(name, style, root):
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", style.replace("@media print{", ""))
    background = "#fff"
    for where, what in rules:
        of = dict(part.split(":", 1) for part in what.split(";") if ":" in part)
        if where.strip() == "body" and "background" in of:
            background = of["background"]
    inks = {value for _, what in rules for value in re.findall(r"(?<![-\w])color:(#\w+)", what)}
    inks |= {value for _, what in rules for value in re.findall(r"(?<![-\w])fill:(#\w+)", what)}
    it(name + ": there are inks to look at", len(inks) >= 2)
    for ink in sorted(inks):
        it(name + ": text in %s stands out 4.5 to 1" % ink, contrast(ink, background) >= 4.5)
    paints = {n.attrs[a] for svg in root.all("svg") for n in every(svg) for a in ("fill", "stroke")
              if n.attrs.get(a, "").startswith("#")} - {"#fff"}
    for paint in sorted(paints):
        it(name + ": a part of a picture in %s stands out 3 to 1" % paint, contrast(paint, background) >= 3)


with tempfile.TemporaryDirectory(prefix="knockbox-page-") as place:
    hub = place + "/hub"
    subprocess.run([BIN + "/knockbox-hub", "init", hub, "--site", "kitchen"], capture_output=True, check=True)
    daemon = subprocess.Popen([BIN + "/knockbox-hub", "run", hub], stderr=subprocess.PIPE)
    try:
        for line in daemon.stderr:
            if b"ready" in line:
                break

        def box(*args):
            return subprocess.run([BIN + "/knockbox", *args, "--at", hub], capture_output=True,
                                  timeout=60, check=True).stdout.decode()

        for part in ["catalogue", "records"]:
            box("import", "%s/tests/data/example-month/%s.jsonl" % (SOURCE, part), "--quiet")
        for month in ["2026-02", "2026-03", "2026-04"]:
            page_text = box("report", month, "--format", "html")
            page_ = Page(page_text)
            there = check_frame(month, page_, page_.root)
            check_pictures(month, page_.root, there)
            check_tables(month, page_.root)
            sheet_style = check_alone(month, page_.root, page_text)
            check_contrast(month, sheet_style, page_.root)
    finally:
        daemon.terminate()
        daemon.wait(30)
        daemon.stderr.close()

print("%d passed, %d failed" % (passed, failed))
sys.exit(1 if failed or not passed else 0)
