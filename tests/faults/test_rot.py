#!/usr/bin/env python3
"""Rotten bytes in a store: each flipped bit and each cut is found or does no harm; nothing crashes
and no wrong record is shown as right. The real hub meets a sample of them and says what it found."""
import os
import shutil
import subprocess

import kit

PAGE = 4096


def make_store(town, n):
    hub = town.hub()
    d = town.start('knockbox-hub', hub)
    lines = ''.join('{"kind":"note","text":"record %d of the rotten store"}\n' % i for i in range(n))
    town.must('knockbox', 'import', '-', '--at', hub, text=lines)
    for i in range(5):
        town.note(hub, 'one by one %d' % i)
    d.end()
    return hub


def try_all(town, store, changes, t):
    """Each change through rot.c; a change at which it dies is wrong, and the rest goes on."""
    found = harmless = 0
    while changes:
        p = subprocess.Popen([os.path.join(town.shims, 'rot'), store], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                             stderr=subprocess.DEVNULL, env=town.env())
        out, _ = p.communicate('\n'.join(changes).encode())
        said = out.decode(errors='replace').splitlines()
        t.check(said[:1] == ['harmless'], 'the store as it was: %s' % said[:1])
        for change, line in zip(changes, said[1:]):
            found += line.startswith('found')
            harmless += line == 'harmless'
            t.check(not line.startswith('WRONG'), '%s: %s' % (change, line))
        done = len(said) - 1
        if done < len(changes):
            t.wrong('%s: died with %s' % (changes[done], p.returncode))
            undo(store, changes[done])
        changes = changes[done + 1:]
    return found, harmless


def undo(store, change):
    word, number = change.split()
    if word == 'flip':
        with open(os.path.join(store, 'data.mdb'), 'r+b') as f:
            f.seek(int(number) // 8)
            byte = f.read(1)[0] ^ 1 << int(number) % 8
            f.seek(int(number) // 8)
            f.write(bytes([byte]))


def flips(a, t):
    """Bits of the first 8 pages (every a.stride-th), and random ones anywhere."""
    rng = kit.randomly(a.seed, 'flips')
    with kit.Town(a) as town:
        store = os.path.join(make_store(town, 60), 'store')
        size = os.path.getsize(os.path.join(store, 'data.mdb'))
        first = range(rng.randrange(a.stride), 8 * PAGE * 8, a.stride)
        changes = ['flip %d' % n for n in first] + ['flip %d' % rng.randrange(size * 8) for _ in range(a.random)]
        found, harmless = try_all(town, store, changes, t)
        print('%d flips in %d bytes: %d found, %d harmless' % (len(changes), size, found, harmless))


def cuts(a, t):
    """The file ends at each page, and a little before and after it."""
    with kit.Town(a) as town:
        store = os.path.join(make_store(town, 60), 'store')
        size = os.path.getsize(os.path.join(store, 'data.mdb'))
        changes = ['cut %d' % n for page in range(0, size, PAGE) for n in (page, page + 100, page + PAGE - 1) if n < size]
        found, harmless = try_all(town, store, changes, t)
        print('%d cuts: %d found, %d harmless' % (len(changes), found, harmless))


def hub_meets(a, t):
    """The real hub on a changed store: refuses in words or is whole; and the same of `verify`."""
    rng = kit.randomly(a.seed, 'hub')
    with kit.Town(a) as town:
        hub, box = make_store(town, 60), town.path('box')
        data = os.path.join(box, 'store', 'data.mdb')
        refused = 0
        for _ in range(a.hubs):
            kit.copy(hub, box)
            with open(data, 'r+b') as f:
                bit = rng.randrange(os.path.getsize(data) * 8)
                f.seek(bit // 8)
                byte = f.read(1)[0] ^ 1 << bit % 8
                f.seek(bit // 8)
                f.write(bytes([byte]))
            status, out, err = town.run('knockbox-hub', 'verify', box)
            t.check(status in (0, 1) and (status == 0 or err.strip()), 'bit %d, verify: %s %s' % (bit, status, err[-200:]))
            d = kit.Daemon(town, 'knockbox-hub', box)
            town.started.append(d)
            up = d.ready_or_ended()
            refused += not up
            if up:
                s, _, err = town.run('knockbox', 'export', '--at', box)
                t.check(s in (0, 1) and (s == 0 or err.strip()), 'bit %d, export: %s %s' % (bit, s, err[-200:]))
            code = d.end()
            t.check(code in (0, 1) and (code == 0 or d.said().strip()), 'bit %d: %s %s' % (bit, code, d.said()[-200:]))
        print('%d hubs on a changed store: %d refused to start' % (a.hubs, refused))
        shutil.rmtree(box)


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, stride=11, random=3000, hubs=60)
    kit.run_parts(arguments, [flips, cuts, hub_meets], kit.Tally())
