#!/usr/bin/env python3
"""Killed at any moment: a hub, a café, both during sync, the client, a first start, a backup, an export,
the first start of a newer program.

After each kill the program starts without help, holds every promised record once, its chains fit,
and it takes the next record. What a café was promised is at the hub in the end."""
import concurrent.futures
import os
import time

import kit


def kill_round(town, program, folder, rng, number, acked):
    """One life of a daemon under a writer, ended by SIGKILL; what it promised goes to `acked`."""
    d = town.start(program, folder)
    writer = kit.Writer(town, folder, 'round-%d' % number)
    time.sleep(rng.uniform(0.001, 0.12))
    d.kill()
    acked += writer.stop()
    return d.ready_s


def daemon_killed(a, t, program, make):
    rng, acked, ready = kit.randomly(a.seed, program), [], []
    with kit.Town(a) as town:
        folder = make(town)
        for number in range(a.kills):
            ready.append(kill_round(town, program, folder, rng, number, acked))
            wrong = kit.whole(town, program, folder, acked)
            t.check(not wrong, '%s, kill %d: %s' % (program, number, '; '.join(wrong[:3])))
    ready.sort()
    print('%s: %d kills, %d records promised, ready in %.0f ms median, %.0f ms most' %
          (program, a.kills, len(acked), 1000 * ready[len(ready) // 2], 1000 * ready[-1]))


def hub_killed(a, t):
    daemon_killed(a, t, 'knockbox-hub', lambda town: town.hub())


def cafe_killed(a, t):
    daemon_killed(a, t, 'knockbox-cafe', lambda town: town.lone_cafe())


def caught_up(town, hub, site):
    rows = [r for r in town.status(hub) if r['site'] == site]
    return bool(rows) and rows[0]['online'] and rows[0]['behind'] == 0


def sync_killed(a, t):
    """Café, hub or both are killed while records go up and the catalogue comes down."""
    rng, acked = kit.randomly(a.seed, 'sync'), []
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'quayside')
        with open(os.path.join(cafe, 'cafe.conf'), 'a') as f:
            f.write('sync.retry 5s\n')
        c = town.start('knockbox-cafe', cafe)
        for number in range(a.kills):
            writers = [kit.Writer(town, cafe, 'cafe-%d' % number), kit.Writer(town, hub, 'hub-%d' % number)]
            time.sleep(rng.uniform(0.001, 0.25))
            which = rng.choice(['cafe', 'hub', 'both'])
            if which != 'hub':
                c.kill()
            if which != 'cafe':
                h.kill()
            for w in writers:
                acked += w.stop()
            if which != 'cafe':
                h = town.start('knockbox-hub', hub)
            if which != 'hub':
                c = town.start('knockbox-cafe', cafe)
            mine = [r for r in acked if r['site'] == 'quayside']
            wrong = kit.compare(mine, town.export(cafe), 'quayside')
            wrong += kit.compare([r for r in acked if r['site'] == 'kitchen'], town.export(hub))
            t.check(not wrong, 'sync, kill %d of %s: %s' % (number, which, '; '.join(wrong[:3])))
        came = kit.until(lambda: caught_up(town, hub, 'quayside') and
                         not kit.compare(mine, town.export(hub)))
        wrong = kit.compare(acked, town.export(hub)) + ([] if came else ['the café did not catch up'])
        t.check(not wrong, 'sync, at the end: %s' % '; '.join(wrong[:3]))
        t.check(all(not r['alerts'] for r in town.status(hub)), 'a false alarm: %s' % town.status(hub))
        print('sync: %d kills, %d records promised' % (a.kills, len(acked)))


def client_killed(a, t):
    """The client is killed while it asks; the daemon serves on and keeps what it promised."""
    rng, acked = kit.randomly(a.seed, 'client'), []
    with kit.Town(a) as town:
        hub = town.hub()
        d = town.start('knockbox-hub', hub)
        for number in range(a.kills):
            status, said = town.note(hub, 'note-%d' % number, patience=rng.uniform(0.0005, 0.008))
            if status == 0:
                acked.append(dict(said, text='note-%d' % number))
            status, said = town.note(hub, 'after-%d' % number)
            t.check(status == 0, 'after a killed client: %s %s' % (status, said))
            if status == 0:
                acked.append(dict(said, text='after-%d' % number))
        wrong = kit.compare(acked, town.export(hub))
        t.check(not wrong and d.runs(), 'clients killed: %s' % '; '.join(wrong[:3]))


def seconds(what):
    began = time.monotonic()
    what()
    return time.monotonic() - began


def backup_killed(a, t):
    """A backup over an older one is killed, or its hub, or both: the file is the old or the new one."""
    rng, acked = kit.randomly(a.seed, 'backup'), []
    with kit.Town(a) as town:
        hub, file = town.month_hub(), town.path('hub.backup')
        d = town.start('knockbox-hub', hub)
        most = seconds(lambda: town.must('knockbox-hub', 'backup', hub, file))
        for number in range(a.more):
            acked.append(dict(town.note(hub, 'note-%d' % number)[1], text='note-%d' % number))
            which = rng.choice(['backup', 'hub', 'both'])
            p = town.spawn('knockbox-hub', 'backup', hub, file)
            time.sleep(rng.uniform(0, 1.2 * most))
            if which != 'hub':
                p.kill()
            if which != 'backup':
                d.kill()
                d = town.start('knockbox-hub', hub)
            t.check(p.wait(kit.PATIENCE) in (0, -9), 'backup %d, killed %s: %s' % (number, which, p.returncode))
            status, _, err = town.run('knockbox-hub', 'verify-backup', file)
            t.check(status == 0, 'backup %d, killed %s: %s' % (number, which, err))
        out = town.must('knockbox-hub', 'backup', hub, file) + town.must('knockbox-hub', 'verify-backup', file)
        t.check(bool(out), 'the last backup')
        d.end()
        wrong = kit.whole(town, 'knockbox-hub', hub, acked)
        t.check(not wrong, 'after killed backups: %s' % '; '.join(wrong[:3]))


def export_killed(a, t):
    """An export or a report to a file is killed, or the hub that answers it."""
    rng = kit.randomly(a.seed, 'export')
    with kit.Town(a) as town:
        hub, file = town.month_hub(), town.path('march.csv')
        d = town.start('knockbox-hub', hub)
        ways = [['export'], ['report', '2026-03', '--csv', '--out', file]]
        most = max(seconds(lambda w=w: town.must('knockbox', *w, '--at', hub)) for w in ways)
        with open(file) as f:
            new = f.read()
        for number in range(a.more):
            with open(file, 'w') as f:
                f.write('the old one')
            way, which = rng.choice(ways), rng.choice(['client', 'hub'])
            p = town.spawn('knockbox', *way, '--at', hub)
            time.sleep(rng.uniform(0, 1.2 * most))
            if which == 'client':
                p.kill()
            else:
                d.kill()
            ended = p.wait(kit.PATIENCE)
            t.check(ended in (0, -9 if which == 'client' else 4), '%s %d, killed %s: %s' % (way[0], number, which, ended))
            with open(file) as f:
                got = f.read()
            t.check(got == new or (got == 'the old one' and (way[0] == 'export' or ended != 0)),
                    'report %d, killed %s, %s: a file of %d bytes' % (number, which, ended, len(got)))
            if which == 'hub':
                d = town.start('knockbox-hub', hub)
        d.end()
        wrong = kit.whole(town, 'knockbox-hub', hub, [])
        t.check(not wrong, 'after killed exports: %s' % '; '.join(wrong[:3]))


def upgrade_killed(a, t):
    """The first start of a newer program is killed, up to three times in a row: then it is as if it never was."""
    rng = kit.randomly(a.seed, 'upgrade')
    with kit.Town(a) as town:
        hub = town.month_hub()
        for what, program, model, site in (('books folded anew', 'knockbox-hub', town.restored(hub), None),
                                           ('a store of the first release', 'knockbox-cafe', town.golden_cafe(), 'quayside')):
            box = town.path('box')
            kit.copy(model, box)
            most = seconds(lambda: town.start(program, box).kill())
            want = kit.held(town, program, box)
            for number in range(a.more // 2):
                kit.copy(model, box)
                for _ in range(rng.randint(1, 3)):
                    p = town.spawn(program, 'run', box)
                    time.sleep(rng.uniform(0, 1.2 * most))
                    p.kill()
                    p.wait()
                got = kit.held(town, program, box)
                t.check(got == want, '%s, kill %d: %d records of %d, the report is %s' % (
                    what, number, len(got[0]), len(want[0]), 'the same' if got[1] == want[1] else 'another'))
                wrong = kit.whole(town, program, box, want[0], site)
                t.check(not wrong, '%s, kill %d: %s' % (what, number, '; '.join(wrong[:3])))


def rebuild_killed(a, t):
    """`rebuild` is killed: the next one says the same sum of the books."""
    rng = kit.randomly(a.seed, 'rebuild')
    with kit.Town(a) as town:
        hub, box = town.month_hub(), town.path('box')
        want = town.must('knockbox-hub', 'rebuild', hub)
        most = seconds(lambda: town.must('knockbox-hub', 'rebuild', hub))
        for number in range(a.more // 3):
            kit.copy(hub, box)
            town.run('knockbox-hub', 'rebuild', box, patience=rng.uniform(0.001, 1.2 * most))
            if number % 2:
                t.check(town.must('knockbox-hub', 'rebuild', box) == want, 'rebuild, kill %d: other books' % number)
            wrong = kit.whole(town, 'knockbox-hub', box, [])
            t.check(not wrong, 'rebuild, kill %d: %s' % (number, '; '.join(wrong[:3])))


def every_call(t, what, one):
    """`one(n)` for n = 1, 2, ... until a run makes fewer than n calls; they wait a lot, so 8 at once."""
    n, more = 1, True
    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        while more:
            more = all(pool.map(one, range(n, n + 8)))
            n += 8
    t.check(n > 8, '%s makes hardly any call' % what)


def killed_at(a, t, n, what, prepare, act, again, program, name):
    """Killed at the n-th file call of `act`, done `again`; False: it made fewer calls."""
    with kit.Town(a) as town:
        given = prepare(town)
        folder = town.path(name)
        status = act(town, folder, given, town.faults(town.place, rules='any:%d:kill' % n))
        if status == -9:
            status, err = again(town, folder, given)
            t.check(status == 0, '%s, killed at call %d, again: %s %s' % (what, n, status, err))
            status = -9
        wrong = kit.whole(town, program, folder, [])
        t.check(not wrong, '%s, killed at call %d: %s' % (what, n, '; '.join(wrong[:3])))
        return status == -9


def init_killed(a, t):
    def init(town, folder, given, env=None):
        return town.run('knockbox-hub', 'init', folder, '--listen', 'tcp://127.0.0.1:0', env=env)[0]

    def again(town, folder, given):
        status, _, err = town.run('knockbox-hub', 'init', folder, '--listen', 'tcp://127.0.0.1:0')
        return (0 if 'has a hub already' in err else status), err
    every_call(t, 'init', lambda n: killed_at(a, t, n, 'init', lambda town: None, init, again, 'knockbox-hub', 'hub'))


def run_once(program):
    def act(town, folder, given, env=None):
        d = kit.Daemon(town, program, folder, env)
        town.started.append(d)
        return d.end() if d.ready_or_ended() else d.p.returncode
    return act


def first_run_killed(a, t):
    """A hub's and a café's first run, in which the store is made."""
    def none(town, folder, given):
        return 0, ''
    every_call(t, 'run', lambda n: killed_at(a, t, n, 'run of a hub', lambda town: town.hub(), run_once('knockbox-hub'),
                                             none, 'knockbox-hub', 'hub'))
    with kit.Town(a) as model:
        cafe = model.lone_cafe()
        every_call(t, 'run', lambda n: killed_at(
            a, t, n, 'run of a café', lambda town: kit.copy(cafe, town.path('quayside')), run_once('knockbox-cafe'), none,
            'knockbox-cafe', 'quayside'))


def join_killed(a, t):
    def enrol(town):
        hub = town.hub()
        town.start('knockbox-hub', hub)
        return town.must('knockbox-hub', 'enrol', hub, 'quayside').strip()

    def join(town, folder, code, env=None):
        return town.run('knockbox-cafe', 'join', folder, code, env=env)[0]

    def again(town, folder, code):
        status, _, err = town.run('knockbox-cafe', 'join', folder, code)
        return (0 if 'has a café already' in err else status), err
    every_call(t, 'join', lambda n: killed_at(a, t, n, 'join', enrol, join, again, 'knockbox-cafe', 'quayside'))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, kills=60, more=20)
    kit.run_parts(arguments, [hub_killed, cafe_killed, sync_killed, client_killed, backup_killed, export_killed,
                             upgrade_killed, rebuild_killed, init_killed, first_run_killed, join_killed], kit.Tally())
