#!/usr/bin/env python3
"""A café on a bad line: whatever the line loses, delays, repeats or changes, each record is at the
hub once, in order, with its bytes, and the café has the hub's. A dead line is found and renewed."""
import concurrent.futures
import time

import kit
from line import Line

MODES = ('ok ok blackhole cut half delay=50 delay=400 rate=4000 dribble corrupt=5 corrupt=50 swallow dup').split()


def bad_line(a, t):
    for n in range(a.lines):
        rng = kit.randomly(a.seed, 'line', n)
        with kit.Town(a) as town:
            one_line(town, t, rng, 'line %d' % n)


def port_of(hub):
    with open(hub + '/endpoint') as f:
        return int(f.read().strip().rsplit(':', 1)[1])


def one_line(town, t, rng, what):
    hub = town.fixed_hub()
    h = town.start('knockbox-hub', hub)
    line = Line(port_of(hub), rng, ['ok'])
    cafe = town.join(hub, 'quayside', connect='tcp://127.0.0.1:%d' % line.port)
    with open(cafe + '/cafe.conf', 'a') as f:
        f.write('sync.retry 5s\n')
    c = town.start('knockbox-cafe', cafe)
    line.modes = MODES
    writers = [kit.Writer(town, cafe, 'cafe', most=300), kit.Writer(town, hub, 'hub', most=100)]
    bulk = ''.join('{"kind":"note","text":"bulk %d %s"}\n' % (i, 'x' * 800) for i in range(400))
    town.must('knockbox', 'import', '-', '--at', cafe, text=bulk)
    for w in writers:
        w.join(kit.PATIENCE)
    promised = writers[0].acked + writers[1].acked
    time.sleep(6)  # the line at its worst, for as long as it takes to draw a dozen modes
    line.stop()
    came = kit.until(lambda: len(town.export(hub)) >= len(promised) + 400 and not kit.compare(promised, town.export(hub)), step=0.2)
    lines = town.export(hub)
    wrong = kit.compare(promised, lines)
    t.check(came and not wrong, '%s: %s' % (what, wrong[:3] or 'never caught up'))
    mine, theirs = [x for x in town.export(cafe) if x['site'] == 'quayside'], [x for x in lines if x['site'] == 'quayside']
    strip = [[{k: v for k, v in x.items() if k != 'held'} for x in side] for side in (mine, theirs)]
    t.check(strip[0] == strip[1], '%s: the hub and the café differ' % what)
    t.check(len({x['epoch'] for x in theirs}) == 1, '%s: %s epochs' % (what, {x['epoch'] for x in theirs}))
    t.check(h.runs() and c.runs(), '%s: a daemon ended: %s %s' % (what, h.said()[-200:], c.said()[-200:]))
    t.check(line.count['answers'] <= 500 * max(1, line.count['replayed']), '%s: a replay was answered: %s' % (what, line.count))
    print('%s: %s' % (what, line.count), flush=True)
    t.check(c.end() == 0 and h.end() == 0, '%s: they end badly' % what)


def differences(town, hub, cafe):
    """Between the café's log there and here, byte for byte by its hashes."""
    mine, theirs = ([{k: v for k, v in x.items() if k != 'held'} for x in town.export(at) if x['site'] == 'quayside']
                    for at in (cafe, hub))
    return [] if mine == theirs else ['the hub and the café differ: %d and %d records' % (len(theirs), len(mine))]


def one_tampered(a, n):
    """One bit of every fifth piece is another one, then less, until all has come through."""
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        h = town.start('knockbox-hub', hub)
        line = Line(port_of(hub), kit.randomly(a.seed, 'tampered', n), ['ok'])
        cafe = town.join(hub, 'quayside', connect='tcp://127.0.0.1:%d' % line.port)
        with open(cafe + '/cafe.conf', 'a') as f:
            f.write('sync.retry 5s\n')
        line.modes = ['corrupt=20']
        c = town.start('knockbox-cafe', cafe)
        for part in range(10):
            each = a.records // 10
            bulk = ''.join('{"kind":"note","text":"bulk %d %s"}\n' % (i, 'x' * 200) for i in range(part * each, (part + 1) * each))
            town.must('knockbox', 'import', '-', '--at', cafe, text=bulk)
            town.must('knockbox', 'import', '-', '--at', hub, text='{"kind":"stream","code":"bin-%d","destination":"composting",'
                      '"settles":"at-once","material":"food"}\n' % part)

        def held():
            return sum(r['seq_held'] for r in town.status(hub) if r['site'] == 'quayside')
        kit.until(lambda: line.count['flipped'] >= a.flips)
        line.modes = ['corrupt=20', 'corrupt=4', 'ok']
        kit.until(lambda: held() >= a.records, patience=30, step=0.2)
        line.stop()
        came = kit.until(lambda: held() >= a.records, step=0.2)
        down = kit.until(lambda: sum(x['kind'] == 'stream' for x in town.export(cafe)) == 10, step=0.2)
        wrong = ([] if came and down else ['never caught up']) + differences(town, hub, cafe)
        for at in (hub, cafe):
            status, out, _ = town.run('knockbox', 'verify', '--at', at, '--json')
            wrong += [] if status == 0 and '"broken": null' in out.replace('":null', '": null') else ['verify: %s' % out[-200:]]
        wrong += [] if h.runs() and c.runs() else ['a daemon ended']
        return wrong, dict(line.count)


def tampered(a, t):
    flipped = 0
    with concurrent.futures.ThreadPoolExecutor(a.abreast) as pool:
        for n, (wrong, count) in enumerate(pool.map(lambda n: one_tampered(a, n), range(a.tampered))):
            t.check(not wrong, 'line %d: %s' % (n, wrong))
            flipped += count['flipped']
    print('  %d records on %d lines, %d bits changed on the way' % (a.tampered * a.records, a.tampered, flipped))
    t.check(flipped >= a.tampered, 'only %d bits were changed' % flipped)


def dead(a, t):
    """Half of the lines swallow all without a word, the others are closed on the café's side only:
    each café has another connection within 15 s, and its next record comes through."""
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        h = town.start('knockbox-hub', hub)
        lines, cafes = [], []
        for n in range(a.dead):
            lines.append(Line(port_of(hub), kit.randomly(a.seed, 'dead', n), ['ok']))
            cafes.append(town.join(hub, 'cafe-%d' % n, connect='tcp://127.0.0.1:%d' % lines[n].port))
            town.start('knockbox-cafe', cafes[n])
        t.check(kit.until(lambda: sum(r['online'] for r in town.status(hub)) == a.dead + 1), 'not all are online at first')
        time.sleep(kit.randomly(a.seed, 'dead').uniform(0, 4))  # anywhere between two signs of life
        began, before, took = time.monotonic(), [line.count['connections'] for line in lines], {}
        for n, line in enumerate(lines):
            line.modes = ['blackhole' if n % 2 == 0 else 'half']

        def look():
            for n, line in enumerate(lines):
                if n not in took and line.count['connections'] > before[n]:
                    took[n] = time.monotonic() - began
                    if n % 2 == 1:
                        line.modes = ['ok']
            return len(took) == a.dead
        kit.until(look, step=0.05)
        for line in lines:
            line.modes = ['ok']
        for n in range(a.dead):
            t.check(took.get(n, 999) <= a.within, 'line %d: another connection after %s s' % (n, took.get(n)))
        print('  another connection after %s s' % ' '.join('%.1f' % took.get(n, -1) for n in range(a.dead)))
        acked = [dict(town.note(cafe, 'afterwards')[1], text='afterwards') for cafe in cafes]
        t.check(kit.until(lambda: not kit.compare(acked, town.export(hub)), step=0.2), 'a record does not come through afterwards')
        t.check(h.runs(), 'the hub ended')


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, lines=2, dead=2, within=15, tampered=1, records=2000, flips=3, abreast=2)
    parts = [(bad_line, arguments.lines), (tampered, arguments.tampered), (dead, arguments.dead)]
    kit.run_parts(arguments, [part for part, n in parts if n > 0], kit.Tally())
