#!/usr/bin/env python3
"""A disk that takes two seconds for each flush: no timeout loses a record, and whoever waits is told for what."""
import kit

SLOW = 'sync:*:delay=2000'
WAITS = 'waiting for the daemon in '


def told_and_promised(t, town, folder, word, n, promised):
    """N notes, one by one; the client says that it waits."""
    for i in range(n):
        text = '%s-%d' % (word, i)
        status, out, err = town.run('knockbox', 'log', 'note', 'text=' + text, '--at', folder)
        t.check(status == 0 and WAITS + folder in err, '%s on a slow disk: %s, said %r' % (text, status, err))
        if status == 0:
            promised.append(text)


def texts(town, folder):
    return [x.get('text') for x in town.export(folder)]


def told(a, t):
    """In words, or not a word with --json, where a script reads."""
    with kit.Town(a) as town:
        hub, promised = town.fixed_hub(), []
        town.start('knockbox-hub', hub).end()
        h = town.start('knockbox-hub', hub, env=town.faults(hub, rules='fdata' + SLOW))
        told_and_promised(t, town, hub, 'words', 1, promised)
        status, _, err = town.run('knockbox', 'log', 'note', 'text=as JSON', '--at', hub, '--json')
        t.check(status == 0 and not err, 'with --json: %s, said %r' % (status, err))
        t.check(sorted(texts(town, hub)) == sorted(promised + ['as JSON']), 'held: %s' % texts(town, hub))
        h.kill()


def disk(a, t):
    """A hub and a café, both on slow disks: each record is there once, at both in the end."""
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'quayside')
        c = town.start('knockbox-cafe', cafe)
        kit.until(lambda: [r for r in town.status(hub) if r['site'] == 'quayside' and r['online']])
        c.end()
        h.end()
        h = town.start('knockbox-hub', hub, env=town.faults(hub, rules=SLOW))
        c = town.start('knockbox-cafe', cafe, env=town.faults(cafe, rules=SLOW))
        promised = []
        told_and_promised(t, town, cafe, 'cafe', a.notes, promised)
        told_and_promised(t, town, hub, 'hub', a.notes, promised)
        came = kit.until(lambda: not set(promised) - set(texts(town, hub)))
        held = texts(town, hub)
        t.check(came and all(held.count(x) == 1 for x in promised), 'at the hub: %s' % [(x, held.count(x)) for x in promised])
        t.check(all(not r['alerts'] for r in town.status(hub)), 'an alarm: %s' % town.status(hub))
        t.check(h.end() == 0 and c.end() == 0, 'they end with %s and %s' % (h.p.returncode, c.p.returncode))
        for program, folder in (('knockbox-hub', hub), ('knockbox-cafe', cafe)):
            wrong = kit.whole(town, program, folder, [])
            t.check(not wrong, 'afterwards: %s' % '; '.join(wrong))


def cut(a, t):
    """Killed while a flush takes its time: what was promised before is there."""
    rng = kit.randomly(a.seed, 'slow')
    with kit.Town(a) as town:
        hub, acked = town.fixed_hub(), []
        town.start('knockbox-hub', hub).end()
        for number in range(a.notes):
            d = town.start('knockbox-hub', hub, env=town.faults(hub, rules=SLOW))
            writer = kit.Writer(town, hub, 'round-%d' % number, most=2)
            kit.until(lambda: writer.acked, patience=rng.uniform(1, 4))
            d.kill()
            acked += writer.stop()
            wrong = kit.whole(town, 'knockbox-hub', hub, acked)
            t.check(not wrong, 'kill %d on a slow disk: %s' % (number, '; '.join(wrong[:3])))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, notes=1)
    kit.run_parts(arguments, [told, disk, cut], kit.Tally())
