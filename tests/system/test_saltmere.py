#!/usr/bin/python3
"""test_saltmere.py BIN SOURCE [--write] - three months of the demo's invented town, as JSON and text,
against tests/golden/saltmere. Chain heads are left out: they hold the moments of the import.
Prints "N passed, N failed".

After a change that is meant to change them, write them anew and read the difference:
    python3 tests/system/test_saltmere.py build/debug/bin . --write && git diff tests/golden/saltmere
"""
import difflib
import glob
import json
import os
import subprocess
import sys
import tempfile

BIN, SOURCE = sys.argv[1], sys.argv[2]
WRITE = "--write" in sys.argv
UNTIL, MONTHS = "2026-05-03", ["2026-03", "2026-04", "2026-05"]
passed = failed = 0


def without_heads(month_text):
    """The section goes up to the next empty line."""
    before, _, after = month_text.partition("\nChain heads\n")
    return before + "\n" + after.partition("\n\n")[2]


def compare(name, got):
    global passed, failed
    path = "%s/tests/golden/saltmere/%s" % (SOURCE, name)
    if WRITE:
        with open(path, "w", encoding="utf-8") as file:
            file.write(got)
    with open(path, encoding="utf-8") as file:
        want = file.read()
    passed, failed = passed + (got == want), failed + (got != want)
    if got != want:
        print("not ok: %s is not what it was" % name)
        lines = difflib.unified_diff(want.splitlines(), got.splitlines(), "golden", "now", lineterm="", n=1)
        print("\n".join(list(lines)[:40]))


with tempfile.TemporaryDirectory(prefix="knockbox-saltmere-") as place:
    hub, lines = place + "/hub", place + "/lines"
    os.mkdir(lines)
    subprocess.run([BIN + "/saltmere", lines, UNTIL], capture_output=True, check=True)
    subprocess.run([BIN + "/knockbox-hub", "init", hub, "--site", "kitchen"], capture_output=True, check=True)
    daemon = subprocess.Popen([BIN + "/knockbox-hub", "run", hub], stderr=subprocess.PIPE)
    try:
        for line in daemon.stderr:
            if b"ready" in line:
                break

        def box(*args):
            return subprocess.run([BIN + "/knockbox", *args, "--at", hub], capture_output=True,
                                  timeout=60, check=True).stdout.decode()

        box("import", lines + "/catalogue.jsonl", "--quiet")
        for path_ in sorted(glob.glob(lines + "/[0-9]*.jsonl")):
            box("import", path_, "--quiet")
        for month in MONTHS:
            report = json.loads(box("report", month, "--json"))
            del report["heads"]
            compare(month + ".json", json.dumps(report, indent=1, ensure_ascii=False) + "\n")
            compare(month + ".txt", without_heads(box("report", month)))
    finally:
        daemon.terminate()
        daemon.wait(30)
        daemon.stderr.close()

print("%d passed, %d failed" % (passed, failed))
sys.exit(1 if failed or not passed else 0)
