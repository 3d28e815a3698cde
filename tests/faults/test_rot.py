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


def spoil(data, rng):
    """Flipped bits, rubbish in 30 % of its pieces, a cut; in words."""
    size = os.path.getsize(data)
    way, n = rng.choice(['bits', 'rubbish', 'cut']), rng.randint(1, 16)
    with open(data, 'r+b') as f:
        content = bytearray(f.read())
        if way == 'cut':
            del content[rng.randrange(size):]
        for bit in [rng.randrange(size * 8) for _ in range(n)] if way == 'bits' else []:
            content[bit // 8] ^= 1 << bit % 8
        for at in range(0, size, 512) if way == 'rubbish' else []:
            if rng.randrange(100) < 30:
                content[at:at + 512] = rng.randbytes(512)
        f.seek(0)
        f.write(content)
        f.truncate(len(content))
    return '%d flipped bits' % n if way == 'bits' else way


def rescued(town, cafe, acked):
    """As docs/operations.md says, "A store that is damaged", with its hub there; words when it does not go so."""
    for _ in range(2):
        status, _, err = town.run('knockbox-cafe', 'rescue', cafe)
        if status != 0:
            return 'rescue: %s' % err
        d = town.start('knockbox-cafe', cafe)
        if not kit.until(lambda: not kit.compare(acked, town.export(cafe), 'quayside')):
            return 'the hub gives nothing back: %s' % d.said()[-200:]
        d.end()
    return ''


def cafe_meets(a, t):
    """A café on a store that rotted: it refuses or finds it in words, `rescue` sets the store aside, and the hub gives
    back what cannot be read: each record as it was, once."""
    rng, refused = kit.randomly(a.seed, 'cafe'), 0
    with kit.Town(a) as town:
        hub, cafe = town.fixed_hub(), town.path('quayside')
        h = town.start('knockbox-hub', hub)
        town.join(hub, 'quayside')
        with open(os.path.join(cafe, 'cafe.conf'), 'a') as f:
            f.write('sync.retry 5s\n')
        c = town.start('knockbox-cafe', cafe)
        acked = [dict(town.note(cafe, 'note-%d' % i)[1], text='note-%d' % i) for i in range(12)]
        kit.until(lambda: not kit.compare(acked, town.export(hub)))
        c.end()
        h.end()
        kit.copy(hub, town.path('hub.model'))
        kit.copy(cafe, town.path('cafe.model'))
        for number in range(a.cafes):
            kit.copy(town.path('hub.model'), hub)
            kit.copy(town.path('cafe.model'), cafe)
            what = 'café %d, %s' % (number, spoil(os.path.join(cafe, 'store', 'data.mdb'), rng))
            h = town.start('knockbox-hub', hub)
            d = kit.Daemon(town, 'knockbox-cafe', cafe)
            town.started.append(d)
            up = d.ready_or_ended()
            d.end()
            refused += not up
            t.check(up or 'rescue' in d.said(), '%s: refuses with %s %s' % (what, d.p.returncode, d.said()[-200:]))
            bad = town.run('knockbox-cafe', 'verify', cafe)
            t.check(bad[0] == 0 or bad[2].strip(), '%s: verify says nothing' % what)
            words = rescued(town, cafe, acked) if not up or bad[0] != 0 else ''
            d = town.start('knockbox-cafe', cafe)
            came = kit.until(lambda: not kit.compare(acked, town.export(cafe), 'quayside'))
            t.check(not words and came, '%s: %s %s' % (what, words, kit.compare(acked, town.export(cafe), 'quayside')[:2]))
            wrong = kit.compare(acked, town.export(hub))
            t.check(not wrong, '%s, at the hub: %s' % (what, wrong[:2]))
            d.end()
            h.end()
            wrong = kit.whole(town, 'knockbox-cafe', cafe, acked, 'quayside')
            t.check(not wrong, '%s, afterwards: %s' % (what, wrong[:2]))
            shutil.rmtree(cafe)
        print('%d cafés on a spoilt store: %d refused to start, all have their records back' % (a.cafes, refused))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, stride=11, random=3000, hubs=60, cafes=6)
    kit.run_parts(arguments, [flips, cuts, hub_meets, cafe_meets], kit.Tally())
