#!/usr/bin/env python3
"""Text that somebody chose stays text: refused in one clear sentence, or shown as what it is.

`door` puts each text of the corpus into each string of each kind of record (print_samples grows them
from the table of kinds). `town` gives the invented town names, codes and words that begin like a
formula, a tag, a path or a format, and compares every print with that of the plain town: the same
elements in HTML, the same cells in CSV, the same JSON, no control character anywhere. `words` says the
corpus on the command lines. Formula guard: docs/report.md, docs/man/knockbox.1."""
import copy
import csv
import html.parser
import io
import itertools
import json
import os
import re
import subprocess
import unicodedata
import uuid
import zipfile
import xml.etree.ElementTree

import kit

LONG = 'L' * 65536
# Raw bytes of a JSON string's inside where it is bytes, else text.
CORPUS = [
    '../../../../etc/passwd', '/etc/passwd', '..', 'a/b', 'a\0b', '%n%s%x%5$n', '%s', "=cmd|'/C calc'!A0", '=1+1', '+1+1',
    '-1+1', '@SUM(A1)', '\t=1+1', '\r=1+1', '"', "'", '`id`', '$(id)', 'a,"b",c', ';a;b', '<script>alert(1)</script>',
    '"onmouseover="x', '</td></table><img/src=x>', '&lt;b&gt;&#x3c;', '<!--', ']]>', '\u202egnp.exe', '\u2066x\u2069',
    '\u200fx', '\x1b[31mred', '\x1b]0;t\x07', '\x9b31m', '\x7f', '\b\b\b', 'a\nb', 'a\r\nBcc:x@y.example', 'x\nBEGIN:VEVENT\nEND:VEVENT',
    '\\', '\\x41\\n', 'a\u2028b', 'a\u2029b', '\ufeffx', '\u200bx', '{{7*7}}', '\ud800'.encode('utf-8', 'surrogatepass'),
    b'\xff\xfe', b'\xc0\xaf', b'\xed\xa0\x80', b'\\ud800', b'\\u0000', LONG,
]
FORMULA = '=+-@\t\r'
TURNS = {'\u202a', '\u202b', '\u202c', '\u202d', '\u202e', '\u2066', '\u2067', '\u2068', '\u2069', '\u200e', '\u200f', '\u061c'}


# ---------------------------------------------------------------- what must not be there

def control(data, turns=True):
    """The first control character or bad byte of a print, None when there is none; with `turns` also what
    turns the direction of text or ends a line. (JSON for programs gives such text as it is.)"""
    try:
        text = data.decode('utf-8')
    except UnicodeDecodeError as e:
        return 'bytes that are not UTF-8 at %d: %r' % (e.start, data[e.start - 10:e.start + 10])
    for i, c in enumerate(text):
        if c in '\n\t':
            continue
        if unicodedata.category(c) == 'Cc' or (turns and (c in TURNS or c in '\u2028\u2029')):
            return '%r in %r' % (c, text[max(0, i - 30):i + 30])
    return None


class Shape(html.parser.HTMLParser):
    """The elements and the names of their attributes, in order; what browsers would run or fetch."""

    def __init__(self, data):
        super().__init__(convert_charrefs=True)
        self.shape, self.bad = [], []
        self.feed(data.decode('utf-8', 'replace'))
        self.close()

    def handle_starttag(self, tag, attrs):
        self.shape.append((tag, tuple(sorted(name for name, _ in attrs))))
        for name, value in attrs:
            if name.startswith('on') or (name in ('href', 'src') and re.match(r'\s*(javascript|data|https?):', value or '')):
                self.bad.append((tag, name, value))
        if tag in ('script', 'iframe', 'object', 'embed', 'form', 'base'):
            self.bad.append((tag, '', ''))

    def handle_comment(self, data):
        self.bad.append(('comment', data[:40], ''))


def cells(data):
    return list(csv.reader(io.StringIO(data.decode('utf-8'), newline=''), strict=True))


def is_number(cell):
    return re.fullmatch(r'-[0-9.]+', cell) is not None


def formulas(rows):
    return [c for row in rows for c in row if c and c[0] in FORMULA and not is_number(c)]


# ---------------------------------------------------------------- every field of every kind

def strings(value, path=()):
    """Paths to the strings of a line; of a list's entries the first."""
    if isinstance(value, str):
        yield path
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from strings(inner, path + (name,))
    elif isinstance(value, list) and value:
        yield from strings(value[0], path + (0,))


def put(line, path, value):
    line = copy.deepcopy(line)
    at = line
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    return line


def get(line, path):
    for step in path:
        line = line[step] if isinstance(line, list) and len(line) > 0 else (line or {}).get(step) if isinstance(line, dict) else None
    return line


def as_line(line, path, text):
    """One line of bytes with `text` at `path`; bytes go in as they are."""
    if isinstance(text, str):
        return json.dumps(put(line, path, text), ensure_ascii=False).encode('utf-8', 'surrogatepass')
    mark = 'the place of raw bytes'
    return json.dumps(put(line, path, mark), ensure_ascii=False).encode().replace(mark.encode(), text)


def samples(town):
    out = subprocess.run([os.path.join(town.shims, 'print_samples')], stdout=subprocess.PIPE, check=True).stdout
    lines = [json.loads(x) for x in out.decode().splitlines()]
    for line in lines:
        if line['kind'] in HUB_KINDS(town, lines):
            line.pop('site')
    return lines


def HUB_KINDS(town, lines):
    """Kinds of the hub's own log: what it refuses with another site."""
    if not hasattr(town, 'hub_kinds'):
        path = town.path('ask.jsonl')
        with open(path, 'w') as f:
            for line in lines:
                f.write(json.dumps(dict(line, id=str(uuid.uuid4()))) + '\n')
        _, out, _ = town.run('knockbox', 'import', '--keep-good', path, '--json', '--at', town.hub_folder)
        town.hub_kinds = {lines[r['line'] - 1]['kind'] for r in json.loads(out)['refused']
                          if r['field'] == 'site' and "own log" in r['message']}
    return town.hub_kinds


def refused(town, path):
    """What an import that keeps the good says of the bad: line number to its row."""
    status, out, err = town.run('knockbox', 'import', '--keep-good', path, '--json', '--at', town.hub_folder, raw=True, patience=300)
    if status not in (0, 3):
        raise kit.Trouble('import: %s %s' % (status, err[-300:]))
    return {r['line']: r for r in json.loads(out)['refused']}, control(out, turns=False) or control(err, turns=False)


def quayside(town):
    path = town.path('site.jsonl')
    with open(path, 'w') as f:
        f.write('{"kind":"site","code":"quayside","name":"Quayside","role":"cafe","zone":"Europe/London","day_start":"04:00","currency":"GBP","joined":"2026-01-01"}\n')
    town.must('knockbox', 'import', path, '--at', town.hub_folder)


def cases(a, lines, numbers):
    """(line, path, text) of the corpus, each --stride-th by seed; of the long text a part, unless --all."""
    for n, (line, text) in enumerate(itertools.product(lines, CORPUS)):
        for k, path in enumerate(strings(line)):
            if path in (('kind',), ('id',)) or (text is LONG and not a.all and (n + k) % 16 != numbers.randrange(16)):
                continue
            if numbers.randrange(a.stride) == 0:
                yield line, path, text


def door(a, t):
    with kit.Town(a) as town:
        town.hub_folder = town.hub()
        d = town.start('knockbox-hub', town.hub_folder)
        quayside(town)
        lines, tried, n = samples(town), {}, 0
        path = town.path('hostile.jsonl')
        with open(path, 'wb') as f:
            for line, where, text in cases(a, lines, kit.randomly(a.seed, 'long')):
                n += 1
                line = dict(line, id=str(uuid.UUID(int=(a.seed << 40) + n)))
                f.write(as_line(line, where, text).replace(b'\n', b'') + b'\n')
                tried[n] = (line, where, text)
        bad, seen = refused(town, path)
        t.check(seen is None, 'import says %s' % seen)
        for number, row in bad.items():
            line, where, text = tried[number]
            words = row['message']
            t.check(0 < len(words) <= 600 and '\n' not in words, '%s %s %r: refused by %r' % (line['kind'], where, text[:40], words))
        lack = judge_taken(t, town, tried, bad)
        t.check(lack == 0, '%d lines that were taken are not in the export' % lack)
        outputs(t, town, 'samples', [x.get('tub') or x.get('lot') or x.get('batch') for x in lines])
        t.check(d.end() == 0, 'the hub ends with %s' % d.p.returncode)
        seen = control(d.said().encode())
        t.check(seen is None, 'the log holds %s' % seen)
        print('door: %d lines, %d kinds, %d texts: %d refused, %d taken' % (n, len(lines), len(CORPUS), len(bad), n - len(bad)))


def judge_taken(t, town, tried, bad):
    """What was taken comes out of the export as it went in. Returns how many are missing."""
    status, out, err = town.run('knockbox', 'export', '--at', town.hub_folder, raw=True)
    t.check(status == 0 and control(out, turns=False) is None, 'export: %s %s %s' % (status, control(out, turns=False), err))
    got = {x['id']: x for x in map(json.loads, filter(None, out.decode().split('\n')))}
    missing = 0
    for number, (line, where, text) in tried.items():
        if number in bad:
            continue
        if line['id'] not in got:
            missing += 1
            continue
        if isinstance(text, str):
            t.check(get(got[line['id']], where) == text, '%s %s: %r came out as %r' %
                    (line['kind'], where, text, get(got[line['id']], where)))
    return missing


# ---------------------------------------------------------------- every print

def prints(codes, recipe):
    """(name, words, form): form is text, json, jsonl, csv, html, ics or xlsx."""
    asked = [(('report', '2026-03'), 'text json csv html xlsx'), (('report', '2026-04'), 'text json csv html'),
             (('plan', 'show', '--draft'), 'text json csv html ics'), (('plan', 'buy', '--draft'), 'text json csv'),
             (('freezer', '--all'), 'text json csv'), (('stock',), 'text json'), (('status',), 'text json csv'),
             (('forecast',), 'text json csv'), (('period',), 'text json csv'), (('verify',), 'text json'),
             (('outbox',), 'text json csv'), (('plan', 'today'), 'text json csv'), (('recipe', 'show', recipe), 'text json csv'),
             (('export',), 'jsonl')]
    asked += [(('stock', what), 'csv') for what in ('ingredients', 'batches', 'bottles', 'waste')]
    asked += [(('trace', code), 'text json csv') for code in codes]
    for words, forms in asked:
        for form in forms.split():
            flags = {'json': ['--json'], 'csv': ['--csv'], 'text': [], 'jsonl': []}.get(form, ['--format', form])
            yield ' '.join(words) + ' ' + form, list(words) + flags, form


def one_print(t, town, name, words, form):
    """Asks, and looks for what must not be there in any town. Returns the bytes, None when refused."""
    if form == 'xlsx':
        words = words + ['--out', town.path('book.xlsx')]
    status, out, err = town.run('knockbox', *words, '--at', town.hub_folder, raw=True)
    t.check(status in (0, 1, 2, 3) and control(err) is None, '%s: %s %s %s' % (name, status, control(err), err[-200:]))
    if status != 0:
        return None
    if form == 'xlsx':
        return b''
    seen = control(out.replace(b'\r\n', b'\n'), turns=form == 'text')
    t.check(seen is None, '%s: %s' % (name, seen))
    if form == 'html':
        bad = Shape(out).bad
        t.check(not bad, '%s: %s' % (name, bad[:3]))
    if form == 'csv':
        t.check(not formulas(cells(out)), '%s: formulas %s' % (name, formulas(cells(out))[:3]))
    if form == 'json':
        json.loads(out)
    if form == 'ics':
        t.check(all(len(x) <= 75 for x in out.split(b'\r\n')), '%s: a line is longer than 75 bytes' % name)
    return out


def outputs(t, town, name, codes, recipe='recipe-1'):
    codes = sorted({c for c in codes if c})
    return {key: one_print(t, town, '%s, %s' % (name, key), words, form) for key, words, form in prints(codes, recipe)}


# ---------------------------------------------------------------- the town with other names

TOWNS = ['=1+1', '+A', '@x', '<b>', '"\'', '%n%s', '../', '&amp;', '\\', ';', ',']
WORDS = ['<script>alert(1)</script>', "=cmd|' /C calc'!A0", 'a\tb', 'a,"b"\nc', '\\N;,']


OURS = ('roles', 'edition')  # codes of which the program knows some


def typed():
    """Of each kind, from docs/records.md: the fields that hold codes, and those with room for words."""
    kinds, page = {}, os.path.join(os.path.dirname(os.path.abspath(__file__)), '../../docs/records.md')
    with open(page) as f:
        for row in f:
            head = re.match(r'### `([a-z-]+)`', row)
            if head:
                codes, words = kinds.setdefault(head.group(1), (set(), set()))
            cell = re.match(r'\| `([^`]+)` \| [a-z]* \| (?:list: |map: )?(code|text of (\d+)) ', row)
            if cell:
                path = tuple(cell.group(1).replace('[]', '').split('.'))
                if cell.group(2) == 'code' and path[-1] not in OURS:
                    codes.add(path)
                elif cell.group(3) and int(cell.group(3)) >= 100:
                    words.add(path)
    return kinds


def renamed(line, kinds, code, word, seen):
    """The line with each code and each text changed by the two functions. `seen`: kinds by record."""
    seen[line['id']] = seen.get(line.get('record'), line['kind'])
    codes, words = kinds[line['kind']]

    def walk(value, path, codes, words):
        if isinstance(value, dict):
            return {k: walk(v, path + (k,), codes, words) for k, v in value.items()}
        if isinstance(value, list):
            return [walk(v, path, codes, words) for v in value]
        if isinstance(value, str) and (path in codes or path == ('site',)):
            return code(value)
        return word(value) if isinstance(value, str) and path in words else value
    new = walk(line, (), codes, words)
    if isinstance(new.get('body'), dict):
        new['body'] = walk(line['body'], (), *kinds[seen[line['record']]])
    return new


def build_town(a, town, name, code, word):
    """A hub that holds the town under these names, and what its prints say."""
    folder = town.path('lines')
    if not os.path.isdir(folder):
        os.mkdir(folder)
        subprocess.run([os.path.join(town.bin, 'saltmere'), folder, '2026-05-03'], stdout=subprocess.DEVNULL,
                       stderr=subprocess.DEVNULL, check=True)
    town.hub_folder = town.path(name)
    town.must('knockbox-hub', 'init', town.hub_folder, '--site', code('kitchen'), '--listen', 'tcp://127.0.0.1:0')
    with open(town.path('clock'), 'w') as f:
        f.write('=1777850000+\n')  # 3 May 2026: the stock is not past its date
    d = town.start('knockbox-hub', town.hub_folder, dict(LD_PRELOAD=os.path.join(town.shims, 'clock.so'), CLOCK_FILE=town.path('clock')))
    kinds, seen = typed(), {}
    for file in sorted(os.listdir(folder), key=lambda x: (x[0].isdigit(), x)):
        path = town.path('now.jsonl')
        with open(os.path.join(folder, file)) as f, open(path, 'w') as to:
            for line in f:
                to.write(json.dumps(renamed(json.loads(line), kinds, code, word, seen), ensure_ascii=False) + '\n')
        town.must('knockbox', 'import', path, '--quiet', '--at', town.hub_folder)
    town.must('knockbox', 'plan', 'make', '--effort', '0', '--at', town.hub_folder)
    return d


def compare(t, name, plain, hostile):
    """The same elements and cells, whatever the names are."""
    for (key, before), after in zip(plain.items(), hostile.values()):
        if '=' in name and key.startswith('recipe show'):
            continue  # on that command line NAME=VALUE is an option
        if not t.check((before is None) == (after is None), '%s, %s: refused in one town only' % (name, key)) or before is None:
            continue
        if key.endswith('html'):
            t.check(Shape(before).shape == Shape(after).shape, '%s, %s: other elements' % (name, key))
        elif key.endswith('csv'):
            t.check([len(r) for r in cells(before)] == [len(r) for r in cells(after)], '%s, %s: other cells' % (name, key))
        elif key.endswith('ics'):
            count = [re.sub(rb'[:;].*', b'', x) for x in after.split(b'\r\n') if not x.startswith(b' ')]
            t.check(sorted(count) == sorted(re.sub(rb'[:;].*', b'', x) for x in before.split(b'\r\n') if not x.startswith(b' ')),
                    '%s, %s: other properties' % (name, key))
        elif key.endswith(' json'):
            t.check(keys(json.loads(before)) == keys(json.loads(after)), '%s, %s: other keys' % (name, key))


def keys(value):
    """The shape of JSON: names and kinds of values."""
    if isinstance(value, dict):
        return sorted((k if re.fullmatch('[a-z_0-9]+', k) else '*', keys(v)) for k, v in value.items())
    if isinstance(value, list):
        return sorted((keys(v) for v in value), key=repr)
    return type(value).__name__


def sheet(t, town, name):
    """A spreadsheet in which no text is a formula; its parts are well-formed."""
    path = town.path('book.xlsx')
    if not os.path.exists(path):
        return
    with zipfile.ZipFile(path) as z:
        for part in z.namelist():
            if not part.endswith('.xml'):
                continue
            tree = xml.etree.ElementTree.fromstring(z.read(part))
            for f in tree.iter('{http://schemas.openxmlformats.org/spreadsheetml/2006/main}f'):
                t.check(re.fullmatch(r"[A-Z0-9$:+\-*/(),.!'a-z_ &\"=<>]*", f.text or '') and 'cmd' not in (f.text or ''),
                        '%s: formula %r' % (name, f.text))
    os.unlink(path)


def town(a, t):
    """Each prefix for codes with one of the texts for words; in CI a few by seed."""
    pairs = list(zip(TOWNS, itertools.cycle(WORDS)))
    chosen = pairs if a.all else kit.randomly(a.seed, 'towns').sample(pairs, a.towns)
    with kit.Town(a) as town:
        if not os.path.exists(os.path.join(town.bin, 'saltmere')):
            print('skipped: the demo is not built')
            return
        codes = ['B-01', 'L-01', 'G-0001']
        plain = None
        for n, (prefix, text) in enumerate([('', '')] + chosen):
            name = 'town %r %r' % (prefix, text)
            d = build_town(a, town, 'hub%d' % n, lambda c: c if c == 'grounds' else prefix + c, lambda w: text + w)
            got = outputs(t, town, name, [prefix + c for c in codes], prefix + 'liqueur-dark')
            sheet(t, town, name)
            if plain is None:
                plain = got
                t.check(sum(v is not None for v in got.values()) > 40, 'the plain town prints little: %s' %
                        [k for k, v in got.items() if v is None])
            else:
                compare(t, name, plain, got)
            t.check(d.end() == 0, '%s: ends with %s' % (name, d.p.returncode))
            t.check(control(d.said().encode()) is None, '%s: the log holds %s' % (name, control(d.said().encode())))


# ---------------------------------------------------------------- words on the command line

def words(a, t):
    """The corpus as arguments of commands: what they say of it is one clean line."""
    with kit.Town(a) as town:
        hub = town.hub()
        d = town.start('knockbox-hub', hub)
        asked = [('knockbox', ['trace', '@']), ('knockbox', ['log', 'note', 'text=@']), ('knockbox', ['log', '@', 'a=b']),
                 ('knockbox', ['log', 'note', '@=x']), ('knockbox', ['log', 'note', 'text=x', 'by=@']), ('knockbox', ['report', '@']),
                 ('knockbox', ['freezer', '--site', '@']), ('knockbox', ['export', '--kind', '@']),
                 ('knockbox', ['@']), ('knockbox', ['tub', '@', '--gross', '1kg', '--knock', '10:00']),
                 ('knockbox', ['recipe', 'show', '@']), ('knockbox', ['plan', 'why', 'tub', '@']),
                 ('knockbox', ['outbox', 'cancel', '@']), ('knockbox', ['calc', '@']), ('knockbox', ['import', '@']),
                 ('knockbox-hub', ['enrol', hub, '@']), ('knockbox-hub', ['enrol', hub, 'kitchen', '--person', '@', '--role', 'reader']),
                 ('knockbox-hub', ['revoke', hub, '@']), ('knockbox-hub', ['keys', hub]), ('knockbox-hub', ['init', '@/x']),
                 ('knockbox-hub', ['init', town.path('y'), '--site', '@']), ('knockbox-link', ['join', '@', town.path('k')])]
        for n, text in enumerate(CORPUS):
            if (n + a.seed) % a.stride:
                continue
            raw = text if isinstance(text, bytes) else text[:3000].encode('utf-8', 'surrogatepass')
            if b'\0' in raw:
                continue
            for program, parts in asked:
                args = [p.encode().replace(b'@', raw) for p in parts]
                where = [b'--at', hub.encode()] if program == 'knockbox' and parts[0] != 'calc' else []
                status, out, err = town.run(program, *args, *where, raw=True)
                seen = control(out) or control(err)
                t.check(status in range(6) and seen is None, '%s %s: %s %s' % (program, [x[:60] for x in args], status, seen))
                subprocess.run(['rm', '-rf', town.path('y')], check=True)
        t.check(d.end() == 0, 'the hub ends with %s' % d.p.returncode)
        t.check(control(d.said().encode()) is None, 'the log holds %s' % control(d.said().encode()))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, all=0, towns=2, stride=1)
    kit.run_parts(arguments, [door, town, words], kit.Tally())
