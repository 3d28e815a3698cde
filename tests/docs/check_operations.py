#!/usr/bin/env python3
"""check_operations.py SOURCE - docs/operations.md has an entry for everything that asks for an operator.

Warnings and errors that the daemons log (diag_warning, diag_error, diag_changed), alerts of `status`
and alerts that are delivered: the longest run of words without a blank to fill in must stand in the
table "The message says X, do Y". Prints what is missing; the last line is "N passed, N failed".
"""
import pathlib
import re
import sys

STRING = r'(?:"(?:[^"\\]|\\.)*"|PRI[a-zA-Z0-9]+|\s)+'
CALLS = [
    re.compile(r"diag_(?:warning|error)\(\s*(" + STRING + ")"),
    re.compile(r"DIAG_(?:WARNING|ERROR),\s*(" + STRING + ")"),
    re.compile(r"\balert\(alerts,[^\"]*(" + STRING + r")\);"),
    re.compile(r"add_alert\([^;]*?,\s*cause,\s*(" + STRING + ")"),
    re.compile(r"add_alert\([^;]*?\"now/[a-z]+\",\s*(" + STRING + ")"),
    re.compile(r"\[TROUBLE_[A-Z_]+\] = (" + STRING + ")"),
]


def words(literal):
    """The text of adjacent C strings, `%` where something is filled in."""
    text = "".join(
        re.sub(r"\\n", " ", part[1:-1]) if part.startswith('"') else "%"
        for part in re.findall(r'"(?:[^"\\]|\\.)*"|PRI[a-zA-Z0-9]+', literal)
    )
    return re.sub(r"%[-+ #0]*[0-9.*]*(?:ll|l|z|h)?[a-zA-Z]?%?", "%", text)


def longest(text):
    return max((piece.strip(" ,:;()") for piece in text.split("%")), key=len)


def main():
    source = pathlib.Path(sys.argv[1])
    page = (source / "docs/operations.md").read_text(encoding="utf-8")
    table = page[page.index("## The message says X, do Y"):]
    passed, missing = 0, {}
    for path in sorted(source.glob("daemon/**/*.c")):
        code = path.read_text(encoding="utf-8")
        for call in CALLS:
            for match in call.finditer(code):
                key = longest(words(match.group(1)))
                if len(key) < 8:
                    continue  # hands on what another part says
                if key in table:
                    passed += 1
                else:
                    missing[key] = path
    for key, path in missing.items():
        print(f"{path.relative_to(source)}: no entry for: {key}")
    print(f"{passed} passed, {len(missing)} failed")
    return 1 if missing or passed < 20 else 0


sys.exit(main())
