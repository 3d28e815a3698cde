#!/usr/bin/env python3
"""A café and its hub on a wire that loses, doubles and delays packets, or all of them for days: each
record is at the hub once, in order, with its bytes. In network namespaces of their own; where the
kernel gives none, or no TUN device, nothing is tried and that is said."""
import concurrent.futures
import statistics
import time

import kit
import wire

PORT = 7749
DAY_S = 86400


def bulk(word, first, n, size):
    return ''.join('{"kind":"note","text":"%s %d %s"}\n' % (word, i, 'x' * size) for i in range(first, first + n))


class Pair:
    """A hub and a café, one on each side of a wire; the café has joined and does not run."""

    def __init__(self, town, line, retry='5s'):
        self.town, self.line = town, line
        self.hub = town.hub(listen='tcp://%s:%d' % (wire.HUB, PORT))
        self.h = town.start('knockbox-hub', self.hub, prefix=line.hub)
        self.cafe = town.join(self.hub, 'quayside', prefix=line.cafe)
        with open(self.cafe + '/cafe.conf', 'a') as f:
            f.write('sync.retry %s\n' % retry)
        self.c = None

    def start(self, **more):
        self.c = self.town.start('knockbox-cafe', self.cafe, prefix=self.line.cafe, **more)

    def held(self):
        """How many records of the café the hub holds durably."""
        row = next((r for r in self.town.status(self.hub) if r['site'] == 'quayside'), None)
        return row['seq_held'] if row else 0

    def await_all(self, n, patience=kit.PATIENCE, step=0.1):
        """Seconds until the hub has n records of the café; None: never."""
        began = time.monotonic()
        came = kit.until(lambda: self.held() >= n, patience=patience, step=step)
        return time.monotonic() - began if came else None

    def compare(self):
        """What differs between the café's log at both ends; its own records once and in order."""
        mine, theirs = ([{k: v for k, v in x.items() if k != 'held'} for x in self.town.export(at) if x['site'] == 'quayside']
                        for at in (self.cafe, self.hub))
        wrong = [] if mine == theirs else ['the hub and the café differ: %d and %d records' % (len(theirs), len(mine))]
        if len({x['id'] for x in theirs}) != len(theirs):
            wrong.append('a record is there twice')
        if [x['seq'] for x in theirs] != list(range(1, len(theirs) + 1)):
            wrong.append('not in order, or more than one epoch')
        return wrong


def one_lossy(a, n):
    rng = kit.randomly(a.seed, 'lossy', n)
    with kit.Town(a) as town, wire.Wire(rng) as line:
        p = Pair(town, line)
        line.set('loss=30+dup=20+reorder=20')
        p.start()
        text = bulk('lossy', 0, 120, 200)
        town.must('knockbox', 'import', '-', '--at', p.cafe, text=text)
        acked = [town.note(p.cafe, 'lossy-%d' % i) for i in range(20)]
        took = p.await_all(140, patience=300)
        wrong = p.compare() if took is not None else ['never all there']
        wrong += ['a record was not taken'] if any(s != 0 for s, _ in acked) else []
        wrong += [] if p.h.runs() and p.c.runs() else ['a daemon ended']
        return wrong, took, line.count


def lossy(a, t):
    """Loss 30, doubled 20, late 20 percent, both ways, from the first packet of the café on."""
    with concurrent.futures.ThreadPoolExecutor(a.abreast) as pool:
        for n, (wrong, took, count) in enumerate(pool.map(lambda n: one_lossy(a, n), range(a.seeds))):
            t.check(not wrong, 'line %d: %s' % (n, wrong))
            print('  line %d: %s s, %s' % (n, '-' if took is None else '%.1f' % took, count), flush=True)


def one_pace(a, n, mode):
    with kit.Town(a) as town, wire.Wire(kit.randomly(a.seed, 'pace', n, mode)) as line:
        p = Pair(town, line)
        p.start()
        town.must('knockbox', 'import', '-', '--at', p.cafe, text=bulk('first', 0, 1, 10))
        p.await_all(1)
        line.set(mode)
        town.must('knockbox', 'import', '-', '--at', p.cafe, text=bulk('pace', 0, 600, 600))
        return p.await_all(601, patience=120)


def pace(a, t):
    """What takes its time on a clean line of 60 kB/s takes three times that at 10 % loss, at most."""
    times = {}
    for mode in ('delay=20+rate=60000', 'delay=20+rate=60000+loss=10'):
        times[mode] = [one_pace(a, n, mode) for n in range(a.paces)]
        t.check(None not in times[mode], '%s: never all there' % mode)
    clean, lossy_s = (statistics.median(s for s in v if s is not None) for v in times.values())
    print('  clean %.1f s, with 10 %% loss %.1f s (%s)' % (clean, lossy_s, ' '.join('%.1f' % s for s in list(times.values())[1])))
    t.check(lossy_s <= 3 * clean, 'clean %.1f s, with 10 %% loss %.1f s' % (clean, lossy_s))


def one_partition(a, n):
    """Both clocks go on by 30 days while nothing passes."""
    with kit.Town(a) as town, wire.Wire(kit.randomly(a.seed, 'partition', n)) as line:
        p = Pair(town, line, retry='30s')  # the default
        p.h.end()
        clock = kit.Clock(town, 'town')
        p.h = town.start('knockbox-hub', p.hub, env=clock.env, prefix=line.hub)
        p.start(env=clock.env)
        town.must('knockbox', 'import', '-', '--at', p.cafe, text=bulk('before', 0, 10, 50), env=clock.env)
        p.await_all(10)
        line.set('partition')
        peak, days = 0, 30
        for day in range(days):
            clock.set('%d' % (day * DAY_S))
            each = a.events // days + (day < a.events % days)
            town.must('knockbox', 'import', '-', '--at', p.cafe, text=bulk('day %d' % day, 0, each, 80), env=clock.env)
            peak = max(peak, p.c.anon_mb(), p.h.anon_mb())
            if day == days // 2:
                time.sleep(a.silence)  # so that every connection is found dead
        line.set('ok')
        began, took, end = time.monotonic(), None, time.monotonic() + 120
        while took is None and time.monotonic() < end:
            peak = max(peak, p.c.anon_mb(), p.h.anon_mb())
            took = time.monotonic() - began if p.held() >= a.events + 10 else time.sleep(0.2)
        wrong = [] if took is not None and took <= 60 else ['all there after %s s' % took]
        if took is not None:
            wrong += p.compare()
        wrong += [] if peak <= 64 else ['%.0f MB of memory' % peak]
        row = next(r for r in town.status(p.hub) if r['site'] == 'quayside')
        wrong += [] if row['behind'] == 0 and row['online'] else ['afterwards: %s' % row]
        return wrong, took, peak


def partition(a, t):
    """Days without the line, a hundred thousand records: all there within a minute after it is back."""
    for n in range(a.partitions):
        wrong, took, peak = one_partition(a, n)
        t.check(not wrong, 'partition %d: %s' % (n, wrong))
        print('  partition %d: %d records, all there %s s after, memory %.0f MB at most'
              % (n, a.events, '-' if took is None else '%.1f' % took, peak), flush=True)


def left_behind(a, t):
    """A café that is gone without a word does not keep its descriptor at the hub."""
    with kit.Town(a) as town, wire.Wire(kit.randomly(a.seed, 'gone')) as line:
        p = Pair(town, line)
        p.start()
        kit.until(lambda: any(r['online'] for r in town.status(p.hub) if r['site'] == 'quayside'))

        def connections():
            out = kit.subprocess.run([*line.hub, 'ss', '-Htn', 'state', 'established'], stdout=kit.subprocess.PIPE, text=True).stdout
            return out.count(':%d ' % PORT)
        t.check(connections() == 1, '%d connections at the beginning' % connections())
        line.set('partition')
        p.c.kill()
        began = time.monotonic()
        t.check(kit.until(lambda: connections() == 0, patience=120, step=0.5), 'the connection stays')
        print('  gone after %.0f s' % (time.monotonic() - began))


if __name__ == '__main__':
    # seeds, abreast: lossy lines, and how many at a time; silence: seconds of it in a partition
    arguments = kit.arguments(__doc__, seeds=1, abreast=2, paces=0, partitions=0, events=100000, silence=0, gone=0)
    tally = kit.Tally()
    try:
        wire.Wire(kit.randomly(0)).close()
    except (wire.Refused, OSError) as e:
        print('skipped: %s' % e)
        tally.right()
        tally.end()
    parts = [(lossy, arguments.seeds), (pace, arguments.paces), (partition, arguments.partitions), (left_behind, arguments.gone)]
    kit.run_parts(arguments, [part for part, n in parts if n > 0], tally)
