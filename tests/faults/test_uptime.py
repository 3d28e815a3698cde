#!/usr/bin/env python3
"""Old machines: 2.9 years of uptime from the first moment, and many events, are as young ones.

A hub and a café run in a time namespace whose clocks (CLOCK_MONOTONIC, CLOCK_BOOTTIME) say 2.9 years.
The café takes --warm days of a thousand records, then --more; all reach the hub, and what either holds
of its own (RssAnon) after the first is what it holds at the end, save --kib (a
short run cannot wait a minute for what malloc() keeps; tests/long.sh does, with a MiB)."""
import datetime
import shutil
import subprocess
import time

import kit

OLD_S = 91500000  # 2.9 years


def namespace():
    """Words before a program for that uptime; [] where this machine gives no such namespace."""
    words = ['unshare', '--time', '--monotonic', str(OLD_S), '--boottime', str(OLD_S)]
    if shutil.which('unshare'):
        p = subprocess.run(words + ['cat', '/proc/uptime'], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        if p.returncode == 0 and float(p.stdout.split()[0]) > OLD_S:
            return words
        print('skipped: this machine gives no time namespace: %s' % p.stderr.decode(errors='replace').strip())
    return []


def own_kb(d):
    with open('/proc/%d/status' % d.p.pid) as f:
        return next(int(line.split()[1]) for line in f if line.startswith('RssAnon:'))


def thousand(town, cafe, n):
    """A day of a thousand records at the café: notes, and readings of a fridge."""
    day = datetime.date(2020, 1, 1) + datetime.timedelta(n)
    path = town.path('thousand.jsonl')
    with open(path, 'w') as f:
        for i in range(1000):
            if i % 4:
                f.write('{"kind":"note","at":"%sT12:00:00+00:00","text":"number %d of %d"}\n' % (day, i, n))
            else:
                f.write('{"kind":"reading","at":"%sT12:00:00+00:00","place":"fridge","temp_c":"%d.5"}\n' % (day, i % 5))
    town.must('knockbox', 'import', path, '--quiet', '--at', cafe)


def settle(town, hub, cafe, seq):
    """All is at the hub, and the questions of a day are asked."""
    for words in (['status'], ['freezer'], ['verify', '--json']):
        town.must('knockbox', *words, '--at', cafe)
    came = kit.until(lambda: any(s['site'] == 'quayside' and s['seq_held'] >= seq for s in town.status(hub)))
    for words in (['status'], ['report', '2026-03'], ['verify', '--json'], ['forecast']):
        town.must('knockbox', *words, '--at', hub)
    return came


def rest(a):
    """Each minute a daemon gives what it has too much of back to the system."""
    time.sleep(a.rest)


def old(a, t):
    with kit.Town(a) as town:
        before = namespace()
        hub = town.hub()
        h = town.start('knockbox-hub', hub, prefix=before)
        cafe = town.join(hub, 'quayside')
        with open(town.path('catalogue.jsonl'), 'w') as f:
            f.write('{"kind":"site","code":"quayside","name":"Quayside","role":"cafe","zone":"Europe/London",'
                    '"day_start":"04:00","currency":"GBP","joined":"2020-01-01"}\n'
                    '{"kind":"place","code":"fridge","for_site":"quayside","class":"fridge","max_c":"8","readings_per_day":1}\n')
        town.must('knockbox', 'import', town.path('catalogue.jsonl'), '--at', hub)
        c = town.start('knockbox-cafe', cafe, prefix=before)
        if before:
            status, said = town.note(cafe, 'how old?')
            line = [x for x in town.export(cafe) if x['id'] == said['id']][0]
            t.check(line['mono_ms'] > OLD_S * 1000, 'the café does not know how old it is: %s' % line['mono_ms'])
        for n in range(a.warm):
            thousand(town, cafe, n)
        t.check(settle(town, hub, cafe, a.warm * 1000), 'the hub lacks records of the first')
        rest(a)
        warm = {d.program: own_kb(d) for d in (h, c)}
        for n in range(a.more):
            thousand(town, cafe, a.warm + n)
        t.check(settle(town, hub, cafe, (a.warm + a.more) * 1000), 'the hub lacks records of the rest')
        rest(a)
        for d in (h, c):
            grown = own_kb(d) - warm[d.program]
            t.check(grown <= a.kib, '%s grew by %d KiB from %d' % (d.program, grown, warm[d.program]))
            print('%s: %d KiB of its own after %d 000 records, %+d KiB after %d 000 more' %
                  (d.program, warm[d.program], a.warm, grown, a.more))
            used = d.cpu_s()
            time.sleep(1)
            t.check(d.cpu_s() - used < 0.2, '%s spins' % d.program)
        t.check(h.runs() and c.runs(), 'one ended')
        t.check(len(town.export(hub)) >= (a.warm + a.more) * 1000, 'the hub does not hold them all')
        for d in (c, h):
            t.check(d.end() == 0, '%s ends with %s: %s' % (d.program, d.p.returncode, d.said()[-200:]))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, warm=4, more=4, rest=0, kib=32768)
    kit.run_parts(arguments, [old], kit.Tally())
