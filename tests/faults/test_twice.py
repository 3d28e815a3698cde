#!/usr/bin/env python3
"""Many processes on one store: one runs, the others refuse in words."""
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


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, rounds=20)
    kit.run_parts(arguments, [at_once], kit.Tally())
