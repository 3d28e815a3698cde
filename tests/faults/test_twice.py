#!/usr/bin/env python3
"""Two processes on one store, and too few descriptors: refused in words, and it heals by itself."""
import socket
import time

import kit


def at_once(a, t):
    """Many starts at once on one folder: one runs, the others say why not."""
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        town.start('knockbox-hub', hub).end()
        for n in range(a.rounds):
            daemons = [kit.Daemon(town, 'knockbox-hub', hub) for _ in range(6)]
            town.started += daemons
            kit.until(lambda: sum(d.runs() for d in daemons) <= 1)
            running = [d for d in daemons if d.runs()]
            t.check(len(running) == 1, 'round %d: %d run' % (n, len(running)))
            t.check(all(d.p.returncode == 1 for d in daemons if not d.runs()), 'round %d: %s' %
                    (n, [d.p.returncode for d in daemons]))
            t.check(daemons[0].said().count('another process') == 5, 'round %d: %s' % (n, daemons[0].said()[-300:]))
            t.check(kit.until(lambda: town.note(hub, 'note-%d' % n)[0] == 0), 'round %d: the one does not serve' % n)
            for d in daemons:
                d.end()
        wrong = kit.whole(town, 'knockbox-hub', hub, [])
        t.check(not wrong, 'afterwards: %s' % wrong)


def descriptors(a, t):
    """A flood takes every descriptor of the hub: no spin, and rightful cafés and people are served after."""
    with kit.Town(a) as town:
        hub = town.hub()
        d = kit.Daemon(town, 'knockbox-hub', hub, files=60)
        town.started.append(d)
        d.wait_ready()
        cafe = town.join(hub, 'quayside')
        c = town.start('knockbox-cafe', cafe)
        with open(hub + '/endpoint') as f:
            port = int(f.read().strip().rsplit(':', 1)[1])
        crowd = []
        for _ in range(200):
            s = socket.socket()
            s.setblocking(False)
            s.connect_ex(('127.0.0.1', port))
            crowd.append(s)
        used = d.cpu_s()
        time.sleep(2)
        used = d.cpu_s() - used
        t.check(d.runs(), 'the hub ended: %s' % d.said()[-300:])
        for s in crowd:
            s.close()
        text = town.note(cafe, 'through the flood')
        t.check(text[0] == 0, 'the café: %s' % (text,))
        came = kit.until(lambda: any(x.get('text') == 'through the flood' for x in town.export(hub)))
        t.check(came and d.runs(), 'the café is not served after the flood: %s' % d.said()[-300:])
        before = d.cpu_s()
        time.sleep(1)
        t.check(d.cpu_s() - before < 0.1, 'the hub spins after the flood: %.2f s in a second' % (d.cpu_s() - before))
        print('descriptors: %.2f s of processor in 2 s of a flood of 200 with 60 descriptors' % used)
        c.end()
        t.check(d.end() == 0, 'the hub ends with %s' % d.p.returncode)


def failing_opens(a, t):
    """Every fifth open or accept finds no descriptor."""
    for rule in ('open:%20:EMFILE', 'sock:%20:EMFILE'):
        with kit.Town(a) as town:
            hub = town.hub()
            town.start('knockbox-hub', hub).end()
            d = kit.Daemon(town, 'knockbox-hub', hub, town.faults(hub, rules=rule, seed=a.seed))
            town.started.append(d)
            promised = []
            if d.ready_or_ended():
                for i in range(40):
                    status, said = town.note(hub, 'note-%d' % i, patience=10)
                    if status == 0:
                        promised.append(dict(said, text='note-%d' % i))
                    t.check(status in (0, 1, 4), '%s: %s %s' % (rule, status, said))
                t.check(d.runs(), '%s: ended: %s' % (rule, d.said()[-200:]))
            code = d.end()
            t.check(code in (0, 1), '%s: ends with %s: %s' % (rule, code, d.said()[-300:]))
            wrong = kit.whole(town, 'knockbox-hub', hub, promised)
            t.check(not wrong, '%s, afterwards: %s' % (rule, wrong))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, rounds=20)
    kit.run_parts(arguments, [at_once, descriptors, failing_opens], kit.Tally())
