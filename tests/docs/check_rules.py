#!/usr/bin/env python3
"""check_rules.py SOURCE - every rule of docs/report-rules.md is named by a test, and every discrepancy is looked for by one.

A rule is named in a test's name (`Test(waste, W3_more_collected...)`), or at the beginning of the name of a row or of
what a script says (`{"S9 more used than held"`, `it "F2 ..."`). Comments do not count. Prints "N passed, N failed"."""
import glob
import re
import sys

SOURCE = sys.argv[1]
passed = failed = 0
with open(SOURCE + "/docs/report-rules.md", encoding="utf-8") as page:
    text = page.read()
rules = re.findall(r"^\| ([A-Z]\d+) \|", text, re.M)
codes = re.findall(r"`([a-z]+(?:-[a-z]+)*)`", text[text.index("`before-it-existed`, `"):text.index("A record that names")])
tests = ""
for kind in ("c", "py", "sh"):
    for path in glob.glob(SOURCE + "/tests/**/*." + kind, recursive=True):
        if not path.endswith("check_rules.py"):
            with open(path, encoding="utf-8") as file:
                tests += re.sub(r"/\*.*?\*/", " ", file.read(), flags=re.S) + "\n"

named = set()
for name in re.findall(r"\bTest\(\s*\w+,\s*((?:[A-Z]\d+_)+)", tests):
    named.update(name.strip("_").split("_"))
for name in re.findall(r"[\"']((?:[A-Z]\d+ )+)[a-z]", tests):
    named.update(name.split())

for rule in rules:
    passed, failed = passed + (rule in named), failed + (rule not in named)
    if rule not in named:
        print("not ok: no test has the name of rule %s" % rule)
for code in codes:
    found = re.search(r"[\"' ./]%s[\"' ./]" % re.escape(code), tests)
    passed, failed = passed + bool(found), failed + (not found)
    if not found:
        print("not ok: no test looks for %s" % code)
if len(rules) < 60 or len(rules) != len(set(rules)) or len(codes) < 40:
    print("not ok: %d rules, %d codes: some are lost or told twice" % (len(rules), len(codes)))
    failed += 1
print("%d passed, %d failed" % (passed, failed))
sys.exit(failed > 0)
