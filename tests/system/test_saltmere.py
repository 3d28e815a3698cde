#!/usr/bin/python3
"""test_saltmere.py BIN SOURCE [--write] - three months of the demo's invented town, as JSON and text,
against tests/golden/saltmere. Chain heads are left out: they hold the moments of the import.
All prints are the same under other zones and locales of the machine. Prints "N passed, N failed".

After a change that is meant to change them, write them anew and read the difference:
    python3 tests/system/test_saltmere.py build/debug/bin . --write && git diff tests/golden/saltmere
"""
import difflib
import glob
import json
import os
import re
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


def it(words, fine):
    global passed, failed
    passed, failed = passed + bool(fine), failed + (not fine)
    if not fine:
        print("not ok:", words)


class Hub:
    """A hub of its own with all records of the town, under an environment."""

    def __init__(self, place, name, **env):
        self.folder, self.env = "%s/%s" % (place, name), dict(os.environ, **env)
        self.run("knockbox-hub", "init", self.folder, "--site", "kitchen", "--listen", "tcp://127.0.0.1:0")
        self.daemon = subprocess.Popen([BIN + "/knockbox-hub", "run", self.folder], stderr=subprocess.PIPE, env=self.env)
        for line in self.daemon.stderr:
            if b"ready" in line:
                break
        self.box("import", place + "/lines/catalogue.jsonl", "--quiet")
        for path in sorted(glob.glob(place + "/lines/[0-9]*.jsonl")):
            self.box("import", path, "--quiet")

    def run(self, program, *args):
        return subprocess.run([BIN + "/" + program, *args], capture_output=True, timeout=60, check=True, env=self.env).stdout

    def box(self, *args):
        return self.run("knockbox", *args, "--at", self.folder)

    def prints(self, month):
        """All of a month but what holds the moments of the import."""
        report = json.loads(self.box("report", month, "--json"))
        del report["heads"]
        page = self.box("report", month, "--format", "html").decode()
        csv = self.box("report", month, "--csv").decode().splitlines()
        return {"json": json.dumps(report, indent=1, ensure_ascii=False) + "\n",
                "txt": without_heads(self.box("report", month).decode()),
                "csv": [line for line in csv if not line.startswith("heads,")],
                "html": re.sub("<caption>Chain heads</caption>.*?</table>", "", page, flags=re.S)}

    def end(self):
        self.daemon.terminate()
        self.daemon.wait(30)
        self.daemon.stderr.close()


def languages(place):
    """A folder with locales that have other points, other letters and other days; none of them where the system
    has no sources of locales (package locales)."""
    made = []
    for name in ("de_DE", "tr_TR"):
        done = subprocess.run(["localedef", "-i", name, "-f", "UTF-8", "%s/%s.UTF-8" % (place, name)], capture_output=True, check=False)
        made += [name] if done.returncode < 4 and os.path.isdir("%s/%s.UTF-8" % (place, name)) else []
    return made


with tempfile.TemporaryDirectory(prefix="knockbox-saltmere-") as place:
    os.mkdir(place + "/lines")
    os.mkdir(place + "/locales")
    subprocess.run([BIN + "/saltmere", place + "/lines", UNTIL], capture_output=True, check=True)
    hub = Hub(place, "hub")
    want = {month: hub.prints(month) for month in MONTHS}
    hub.end()
    for month in MONTHS:
        compare(month + ".json", want[month]["json"])
        compare(month + ".txt", want[month]["txt"])
        it("no line of %s is wider than 80" % month, max(map(len, want[month]["txt"].splitlines())) <= 80)
    made = languages(place + "/locales")
    print("locales: %s" % (" ".join(made) or "skipped: the system has no sources of them"))
    # Half a day ahead of the town, with the letters of one other office and the numbers of another.
    other = dict(LANG="tr_TR.UTF-8", LC_NUMERIC="de_DE.UTF-8", LC_TIME="de_DE.UTF-8", LC_MONETARY="de_DE.UTF-8")
    hub = Hub(place, "elsewhere", TZ="Pacific/Kiritimati", LOCPATH=place + "/locales", LC_ALL="", **other)
    got = {month: hub.prints(month) for month in MONTHS}
    hub.end()
    for month in MONTHS:
        for form in want[month]:
            it("%s as %s is the same elsewhere" % (month, form), got[month][form] == want[month][form])

print("%d passed, %d failed" % (passed, failed))
sys.exit(1 if failed or not passed else 0)
