#!/usr/bin/env python3
"""A café on a bad line: whatever the line loses, delays, repeats or changes, each record is at the
hub once, in order, with its bytes, and the café has the hub's."""
import kit
from line import Line

MODES = ('ok ok blackhole cut half delay=50 delay=400 rate=4000 dribble corrupt=5 corrupt=50 swallow dup').split()


def bad_line(a, t):
    for n in range(a.lines):
        rng = kit.randomly(a.seed, 'line', n)
        with kit.Town(a) as town:
            one_line(town, t, rng, 'line %d' % n)


def one_line(town, t, rng, what):
    hub = town.fixed_hub()
    h = town.start('knockbox-hub', hub)
    with open(hub + '/endpoint') as f:
        port = int(f.read().strip().rsplit(':', 1)[1])
    line = Line(port, rng, ['ok'])
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
    kit.time.sleep(6)  # the line at its worst, for as long as it takes to draw a dozen modes
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


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, lines=2)
    kit.run_parts(arguments, [bad_line], kit.Tally())
