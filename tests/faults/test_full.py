#!/usr/bin/env python3
"""The disk is full at any moment: refused in words, reads go on, nothing promised is lost, and the
same process writes again as soon as there is room.

The shim gives files of the folder so many bytes to grow by, for every step of 4 KiB until all fits. Then
small disks of the kernel's own, where it lets us mount one."""
import ctypes
import os
import subprocess
import time

import kit

BULK = ' and what else there is to say about it' * 40  # a record of about 1.6 kB


class Full:
    """A disk with so many bytes left; free() takes the limit away under the running program."""

    def __init__(self, town, folder, left):
        self.file = town.path('left')
        with open(self.file, 'w') as f:
            f.write('%d\n' % left)
        self.state = town.path('state')
        if os.path.exists(self.state):
            os.unlink(self.state)
        self.env = town.faults(folder, quota=self.file, state=self.state)

    def free(self):
        os.unlink(self.file)


def in_words(text):
    return 'disk' in text or 'room' in text or 'No space' in text or 'KiB' in text


def write_until_refused(t, town, folder, what, most=40):
    """What was promised, and whether one was refused (in words, with status 1)."""
    promised = []
    for i in range(most):
        text = 'note-%d%s' % (i, BULK)
        status, said = town.note(folder, text)
        if status == 0:
            promised.append(dict(said, text=text))
            continue
        t.check(status == 1 and in_words(said), '%s: refused with %s %s' % (what, status, said))
        return promised, True
    return promised, False


def goes_on(t, town, d, folder, promised, disk, what):
    """Full, it reads; free, the same process writes."""
    wrong = kit.compare(promised, town.export(folder))
    t.check(not wrong, '%s, while full: %s' % (what, '; '.join(wrong[:3])))
    t.check(bool(town.status(folder)), '%s: no status' % what)
    status, _, err = town.run('knockbox', 'verify', '--at', folder)
    t.check(status == 0, '%s: verify %s %s' % (what, status, err))
    disk.free()
    status, said = town.note(folder, 'after')
    t.check(status == 0, '%s, with room again: %s %s' % (what, status, said))
    if status == 0:
        promised.append(dict(said, text='after'))
    t.check(d.runs(), '%s: ended by itself: %s' % (what, d.said()[-200:]))


def every_step(a, t, program, make, first):
    """Until the whole scenario fits. `first`: the store is made then, else it holds three records."""
    with kit.Town(a) as town:
        model, left, fits = make(town), 0, False
        refused, had = 0, []
        if not first:
            d = town.start(program, model)
            had = [dict(town.note(model, 'old-%d' % i)[1], text='old-%d' % i) for i in range(3)]
            d.end()
        while not fits:
            what = '%s with %d kB' % (program, left // 1024)
            folder = town.path('box')
            kit.copy(model, folder)
            disk = Full(town, folder, left)
            d = kit.Daemon(town, program, folder, disk.env)
            town.started.append(d)
            promised = []
            if d.ready_or_ended():
                promised, is_full = write_until_refused(t, town, folder, what)
                promised += had
                fits = not is_full
                refused += is_full
                goes_on(t, town, d, folder, promised, disk, what)
                t.check(d.end() == 0, '%s: ends with %s' % (what, d.p.returncode))
            else:
                t.check(first and d.p.returncode == 1 and in_words(d.said()), '%s: starts with %s %s' %
                        (what, d.p.returncode, d.said()[-200:]))
            wrong = kit.whole(town, program, folder, promised)
            t.check(not wrong, '%s, afterwards: %s' % (what, '; '.join(wrong[:3])))
            left += a.step
        print('%s: %d steps, %d fills of a running one' % (program, left // a.step, refused))


def hub(a, t):
    every_step(a, t, 'knockbox-hub', lambda town: town.fixed_hub(), first=True)
    every_step(a, t, 'knockbox-hub', lambda town: town.fixed_hub(), first=False)


def cafe(a, t):
    every_step(a, t, 'knockbox-cafe', lambda town: town.lone_cafe(), first=True)
    every_step(a, t, 'knockbox-cafe', lambda town: town.lone_cafe(), first=False)


def sync(a, t):
    """A hub that is full while a café sends: it stays up, and takes all once there is room."""
    for left in range(0, a.synckb * 1024, 20480):
        with kit.Town(a) as town:
            folder = town.fixed_hub()
            d = town.start('knockbox-hub', folder)
            site = town.join(folder, 'quayside')
            d.end()
            c = town.start('knockbox-cafe', site)
            promised, _ = write_until_refused(t, town, site, 'café')
            disk = Full(town, folder, left)
            d = town.start('knockbox-hub', folder, env=disk.env)
            own, is_full = write_until_refused(t, town, folder, 'hub')
            what = 'a hub with %d kB in sync' % (left // 1024)
            t.check(is_full or left > 0, '%s is not full' % what)
            t.check(bool(town.status(folder)), '%s: no status' % what)
            disk.free()
            came = kit.until(lambda: not kit.compare(promised + own, town.export(folder)))
            t.check(came and d.runs() and c.runs(), '%s: %s %s' % (what, kit.compare(promised + own, town.export(folder))[:2],
                                                                d.said()[-200:]))


SMALL = [('tmpfs', 1), ('tmpfs', 2), ('tmpfs', 4), ('tmpfs', 8), ('ext4', 4), ('ext4', 8)]  # MiB


def own_mounts():
    """Mounts of this process and its children alone, which go with it; words when the kernel refuses."""
    libc = ctypes.CDLL(None, use_errno=True)
    clone_newns, ms_rec, ms_private = 0x20000, 0x4000, 0x40000
    if libc.unshare(clone_newns) != 0 or libc.mount(b'none', b'/', None, ms_rec | ms_private, None) != 0:
        return os.strerror(ctypes.get_errno())
    return ''


def mount(town, kind, mib):
    """A disk of that size; (folder, words when it is refused)."""
    at = town.path('%s-%d' % (kind, mib))
    os.mkdir(at)
    words = ['mount', '-t', 'tmpfs', '-o', 'size=%dm,mode=700' % mib, 'none', at]
    if kind == 'ext4':
        with open(at + '.image', 'wb') as f:
            f.truncate(mib << 20)
        subprocess.run(['/sbin/mke2fs', '-q', '-t', 'ext4', '-F', at + '.image'], check=True)
        words = ['mount', '-o', 'loop', at + '.image', at]
    done = subprocess.run(words, capture_output=True)
    return at, done.stderr.decode(errors='replace').strip() if done.returncode != 0 else ''


def free_bytes(at):
    disk = os.statvfs(at)
    return disk.f_bavail * disk.f_frsize


class Filler:
    """A file that leaves so many bytes of the disk; free() removes it."""

    def __init__(self, at, leave):
        self.file = os.path.join(at, 'filler')
        with open(self.file, 'wb', buffering=0) as f:
            try:
                while free_bytes(at) > leave:
                    f.write(bytes(min(65536, max(512, free_bytes(at) - leave))))
            except OSError:
                pass  # full

    def free(self):
        os.unlink(self.file)


def fill(t, town, at, model, rng, what, fills):
    """A daemon that lives through some fills: refuses in words, reads, and writes within a second of there being room."""
    program, source = model
    folder = os.path.join(at, 'box')
    kit.copy(source, folder)
    d, promised, refused, slowest = town.start(program, folder), [], 0, 0
    for _ in range(fills):
        filler = Filler(at, rng.choice([0, rng.randrange(65536)]))
        more, is_full = write_until_refused(t, town, folder, what, 200)
        promised += more
        refused += is_full
        wrong = kit.compare(promised, town.export(folder))
        t.check(not wrong and town.status(folder), '%s, while full: %s' % (what, '; '.join(wrong[:3])))
        filler.free()
        began = time.monotonic()
        status, said = town.note(folder, 'after')
        slowest = max(slowest, time.monotonic() - began)
        t.check(status == 0 and slowest < 1, '%s, with room again: %s %s after %.2f s' % (what, status, said, slowest))
        if status == 0:
            promised.append(dict(said, text='after'))
    t.check(d.runs() and d.end() == 0, '%s: ended by itself: %s' % (what, d.said()[-200:]))
    wrong = kit.whole(town, program, folder, promised)
    t.check(not wrong, '%s, afterwards: %s' % (what, '; '.join(wrong[:3])))
    return refused, slowest


def small_disks(a, t):
    """Real ones of 1 to 8 MiB, in memory and ext4 on a loop, filled again and again."""
    rng, fills = kit.randomly(a.seed, 'small'), 4
    refusal = own_mounts()
    for kind, mib in SMALL:
        with kit.Town(a) as town:
            what = '%s of %d MiB' % (kind, mib)
            at, words = (None, refusal) if refusal else mount(town, kind, mib)
            if words:
                print('skipped: %s: %s' % (what, words))
                t.right()
                continue
            models, done = [('knockbox-hub', town.hub()), ('knockbox-cafe', town.lone_cafe())], []
            try:
                while len(done) * fills < a.fills // len(SMALL):
                    done.append(fill(t, town, at, models[len(done) % 2], rng, what, fills))
                    subprocess.run(['find', at, '-mindepth', '1', '-delete'], check=True)
            finally:
                subprocess.run(['umount', '-l', at], check=True)
            print('%s: %d fills, %d of them refused a record; written again after %.0f ms at most' % (
                what, fills * len(done), sum(x[0] for x in done), 1000 * max(x[1] for x in done)))


def making(a, t):
    """`init`, `enrol` and `join` on a full disk: refused in words or done, and done with room."""
    left, fits = 0, False
    while not fits:
        with kit.Town(a) as town:
            folder = town.path('hub')
            disk = Full(town, town.place, left)
            status, _, err = town.run('knockbox-hub', 'init', folder, '--listen', 'tcp://127.0.0.1:0', env=disk.env)
            fits = status == 0
            t.check(fits or (status == 1 and in_words(err)), 'init with %d: %s %s' % (left, status, err))
            if not fits:
                town.must('knockbox-hub', 'init', folder, '--listen', 'tcp://127.0.0.1:0')
            wrong = kit.whole(town, 'knockbox-hub', folder, [])
            t.check(not wrong, 'init with %d: %s' % (left, wrong))
            left += 60


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, step=4096, synckb=80, fills=24)
    kit.run_parts(arguments, [hub, cafe, making, sync, small_disks], kit.Tally())
