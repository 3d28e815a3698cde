#!/usr/bin/env python3
"""Short of descriptors and of memory: no spin, words instead of a crash, and well again by itself.

What counts as spinning is 5 % of a processor; how soon service is back is printed, and judged with
--seconds N. Memory is what VmHWM of /proc/PID/status says: the most that was resident, with what is
mapped from programs and the store."""
import contextlib
import os
import re
import resource
import socket
import subprocess
import time

import kit

SPIN = 0.05  # of a processor


def port_of(hub):
    with open(hub + '/endpoint') as f:
        return int(f.read().strip().rsplit(':', 1)[1])


def crowd_at(family, kind, address, n):
    """Up to n connections that say nothing; those that the backlog has no room for are left out."""
    crowd = []
    for _ in range(n):
        s = socket.socket(family, kind)
        s.setblocking(False)
        try:
            s.connect(address)
        except BlockingIOError:
            if family == socket.AF_UNIX:
                s.close()
                break
        crowd.append(s)
    return crowd


def spins(d, seconds=1.0):
    """Share of a processor that the daemon uses from now on."""
    before = d.cpu_s()
    time.sleep(seconds)
    return (d.cpu_s() - before) / seconds


def start_short(town, program, folder, files):
    """The daemon, or None when it refused with a sentence."""
    d = kit.Daemon(town, program, folder, files=files)
    town.started.append(d)
    if d.ready_or_ended():
        return d
    if d.p.returncode != 1 or not re.search(r'descriptor|open files|Too many', d.said()):
        raise kit.Trouble('%s with %d descriptors: %s %s' % (program, files, d.p.returncode, d.said()[-300:]))
    return None


def flooded(a, t, town, d, folder, what, address, kind):
    """A crowd takes the daemon's descriptors. Returns how long the first record took afterwards."""
    crowd = crowd_at(socket.AF_UNIX if kind == socket.SOCK_SEQPACKET else socket.AF_INET, kind, address, 200)
    time.sleep(0.1)
    share = spins(d)
    t.check(share < SPIN, '%s uses %.0f %% of a processor while it is short' % (what, share * 100))
    t.check(d.runs(), '%s ended: %s' % (what, d.said()[-300:]))
    for s in crowd:
        s.close()
    began = time.monotonic()
    done = kit.until(lambda: town.note(folder, 'after the flood')[0] == 0)
    took = time.monotonic() - began
    t.check(done and (not a.seconds or took < a.seconds), '%s: the next record took %.1f s' % (what, took))
    share = spins(d, 0.5)
    t.check(share < SPIN, '%s uses %.0f %% of a processor after the flood' % (what, share * 100))
    return took


def floods(a, t):
    """Hub and café with 20 to 64 descriptors, their doors and the hub's port flooded in turn."""
    refused, worst = 0, 0.0
    with kit.Town(a) as town:
        hub = town.hub()
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'quayside')
        town.start('knockbox-cafe', cafe).end()
        h.end()
        for n in range(a.floods):
            files = kit.randomly(a.seed, 'files', n).randint(20, 64)
            at = [('knockbox-hub', hub, True), ('knockbox-hub', hub, False), ('knockbox-cafe', cafe, False)][n % 3]
            program, folder, port = at
            d = start_short(town, program, folder, files)
            if d is None:
                refused += 1
                t.right()
                continue
            what = '%s with %d descriptors, %s' % (program, files, 'port' if port else 'door')
            address = ('127.0.0.1', port_of(hub)) if port else folder + '/knockbox.sock'
            kind = socket.SOCK_STREAM if port else socket.SOCK_SEQPACKET
            worst = max(worst, flooded(a, t, town, d, folder, what, address, kind))
            t.check(d.end() == 0, '%s ends with %s: %s' % (what, d.p.returncode, d.said()[-200:]))
        for program, folder in (('knockbox-hub', hub), ('knockbox-cafe', cafe)):
            wrong = kit.whole(town, program, folder, [])
            t.check(not wrong, '%s afterwards: %s' % (program, wrong))
    print('floods: %d, %d refused to start in words, the next record within %.2f s' % (a.floods, refused, worst))


def cafe_comes_back(a, t):
    """A café whose line was taken by a flood at the hub's port gets through after it."""
    with kit.Town(a) as town:
        hub = town.hub()
        d = kit.Daemon(town, 'knockbox-hub', hub, files=60)
        town.started.append(d)
        d.wait_ready()
        cafe = town.join(hub, 'quayside')
        town.start('knockbox-cafe', cafe)
        crowd = crowd_at(socket.AF_INET, socket.SOCK_STREAM, ('127.0.0.1', port_of(hub)), 200)
        time.sleep(0.1)
        share = spins(d)
        t.check(share < SPIN, 'the hub uses %.0f %% of a processor in a flood of its port' % (share * 100))
        text = town.note(cafe, 'in the flood')
        t.check(text[0] == 0, 'the café: %s' % (text,))
        for s in crowd:
            s.close()
        came = kit.until(lambda: any(x.get('text') == 'in the flood' for x in town.export(hub)))
        t.check(came and d.runs(), 'the café is not served after the flood: %s' % d.said()[-300:])


def failing_opens(a, t):
    """Every fifth open, or every fifth accept and socket, finds no descriptor."""
    began = 0
    with kit.Town(a) as town:
        hub = town.hub()
        town.start('knockbox-hub', hub).end()
        promised = []
        for n in range(a.lives):
            rule = ('sock:%20:EMFILE', 'open:%20:EMFILE')[n % 2]
            d = kit.Daemon(town, 'knockbox-hub', hub, town.faults(hub, rules=rule, seed=a.seed + n))
            town.started.append(d)
            if d.ready_or_ended():
                began += 1
                for i in range(10):
                    text = 'note-%d-%d' % (n, i)
                    status, said = town.note(hub, text, patience=20)
                    if status == 0:
                        promised.append(dict(said, text=text))
                    t.check(status in (0, 1, 4), '%s: %s %s' % (rule, status, said))
                t.check(d.runs(), '%s: ended: %s' % (rule, d.said()[-200:]))
            code = d.end()
            t.check(code in (0, 1) and (code == 0 or d.said().strip()), '%s, seed %d: ends with %s: %s' %
                    (rule, a.seed + n, code, d.said()[-300:]))
        wrong = kit.whole(town, 'knockbox-hub', hub, promised)
        t.check(not wrong, 'afterwards: %s' % wrong)
    print('failing_opens: %d of %d started' % (began, a.lives))


# ---------------------------------------------------------------- memory

def field_kb(d, name):
    with open('/proc/%d/status' % d.p.pid) as f:
        return next(int(line.split()[1]) for line in f if line.startswith(name + ':'))


def ended_well(d):
    """Clean, or with a sentence; libzmq alone ends a process that has no memory by abort()."""
    if d.p.returncode == -6:
        return bool(re.search(r'OUT OF MEMORY|Cannot allocate memory|Resource temporarily unavailable', d.said()))
    return d.p.returncode == 0 or (d.p.returncode == 1 and bool(d.said().strip()))


def ask_all(town, folder, promised, word):
    """Records and questions of a daemon that may have no memory for them; what is wrong."""
    wrong = []
    for i in range(3):
        text = '%s-%d' % (word, i)
        status, said = town.note(folder, text, patience=30)
        if status == 0:
            promised.append(dict(said, text=text))
        elif status not in (1, 3, 4) or not said.strip():
            wrong.append('a record: %s %s' % (status, said))
    for words in (('export',), ('status',), ('report', '2026-03'), ('freezer',)):
        status, _, err = town.run('knockbox', *words, '--at', folder, patience=60)
        if status not in (0, 1, 2, 3, 4) or (status != 0 and not err.strip()):
            wrong.append('%s: %s %s' % (words[0], status, err[-200:]))
    return wrong


def address_space(a, t):
    """`ulimit -v`, from where nothing starts to where all works; then a ceiling while it runs."""
    with kit.Town(a) as town:
        hub = town.hub()
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'quayside')
        c = town.start('knockbox-cafe', cafe)
        room = {'knockbox-hub': field_kb(h, 'VmPeak'), 'knockbox-cafe': field_kb(c, 'VmPeak')}
        c.end()
        h.end()
        for program, folder in (('knockbox-hub', hub), ('knockbox-cafe', cafe)):
            promised, started, full = [], 0, room[program] * 1024
            for n in range(a.steps):
                most = full * (n + 1) // a.steps + (8 << 20)
                d = limited(town, program, folder, most)
                if d.ready_or_ended():
                    started += 1
                    t.check(not (wrong := ask_all(town, folder, promised, 'step%d' % n)), '%s with %d MiB: %s' %
                            (program, most >> 20, wrong))
                d.end()
                t.check(ended_well(d), '%s with %d MiB ends with %s: %s' %
                        (program, most >> 20, d.p.returncode, d.said()[-300:]))
            wrong = kit.whole(town, program, folder, promised)
            t.check(not wrong, '%s afterwards: %s' % (program, wrong))
            for n in range(a.steps):
                ceiling(a, t, town, program, folder, promised, n)
            print('%s: %d of %d steps up to %d MiB started' % (program, started, a.steps, full >> 20))


def limited(town, program, folder, most):
    d = kit.Daemon(town, program, folder, before=lambda: resource.setrlimit(resource.RLIMIT_AS, (most, most)))
    town.started.append(d)
    return d


def ceiling(a, t, town, program, folder, promised, n):
    """It runs, and may not grow by more than a little any more."""
    d = town.start(program, folder)
    most = field_kb(d, 'VmSize') * 1024 + n * (256 << 10)
    resource.prlimit(d.p.pid, resource.RLIMIT_AS, (most, most))
    wrong = ask_all(town, folder, promised, 'ceiling%d' % n)
    d.end()
    t.check(not wrong and ended_well(d), '%s with %d KiB to grow: %s, ends with %s: %s' %
            (program, n * 256, wrong, d.p.returncode, d.said()[-300:]))
    wrong = kit.whole(town, program, folder, promised)
    t.check(not wrong, '%s with %d KiB to grow, afterwards: %s' % (program, n * 256, wrong))


@contextlib.contextmanager
def memory_group(most):
    """A cgroup with that much memory and no swap; None where this machine gives none."""
    base = '/sys/fs/cgroup/memory' if os.path.isdir('/sys/fs/cgroup/memory') else '/sys/fs/cgroup'
    names = ('memory.limit_in_bytes', 'memory.memsw.limit_in_bytes') if base.endswith('memory') else ('memory.max', 'memory.swap.max')
    path = os.path.join(base, 'knockbox-test-%d' % os.getpid())
    try:
        os.mkdir(path)
    except OSError as e:
        print('skipped: no cgroup for a limit of memory here: %s' % e)
        yield None
        return
    try:
        try:
            with open(os.path.join(path, names[0]), 'w') as f:
                f.write(str(most))
        except OSError as e:
            print('skipped: this cgroup takes no limit of memory: %s' % e)
            yield None
            return
        with contextlib.suppress(OSError), open(os.path.join(path, names[1]), 'w') as f:
            f.write('0' if names[1] == 'memory.swap.max' else str(most))
        try:
            subprocess.run(['true'], preexec_fn=lambda: join_group(path), check=True)
        except (OSError, subprocess.SubprocessError) as e:
            print('skipped: nothing can be put into this cgroup: %s' % e)
            yield None
            return
        yield path
    finally:
        kit.until(lambda: remove_group(path), patience=10)


def remove_group(path):
    try:
        os.rmdir(path)
        return True
    except OSError:
        return False


def many_notes(town, n):
    path = town.path('many.jsonl')
    with open(path, 'w') as f:
        for i in range(n):
            f.write('{"kind":"note","text":"%s %d"}\n' % ('x' * 300, i))
    return path


def cgroups(a, t):
    """A cgroup too small for what is asked: the kernel may kill the daemon; nothing promised is lost."""
    for most in (3 << 20, 6 << 20, 12 << 20, 24 << 20):
        with kit.Town(a) as town, memory_group(most) as group:
            if group is None:
                return
            hub, promised = town.hub(), []
            town.start('knockbox-hub', hub).end()
            d = kit.Daemon(town, 'knockbox-hub', hub, before=lambda: join_group(group))
            town.started.append(d)
            if d.ready_or_ended():
                for i in range(5):
                    status, said = town.note(hub, 'note-%d' % i)
                    if status == 0:
                        promised.append(dict(said, text='note-%d' % i))
                town.run('knockbox', 'import', many_notes(town, 2000), '--at', hub)
                town.run('knockbox', 'export', '--at', hub)
            d.end()
            t.check(d.p.returncode == -9 or ended_well(d), '%d MiB: ends with %s: %s' %
                    (most >> 20, d.p.returncode, d.said()[-300:]))
            wrong = kit.whole(town, 'knockbox-hub', hub, promised)
            t.check(not wrong, '%d MiB, afterwards: %s' % (most >> 20, wrong))


def join_group(path):
    with open(os.path.join(path, 'cgroup.procs'), 'w') as f:
        f.write('0')


def month(town):
    """Three months of the invented town, as lines for a hub; None when it is not built."""
    maker = os.path.join(town.bin, 'saltmere')
    if not os.path.exists(maker):
        return None
    folder = town.path('lines')
    os.mkdir(folder)
    subprocess.run([maker, folder, '2026-05-03'], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    return [os.path.join(folder, name) for name in sorted(os.listdir(folder), key=lambda x: (x[0].isdigit(), x))
            if name.endswith('.jsonl')]


def footprint(a, t):
    """Most memory of a café (16 MB) and of a hub (64 MB and 45 kB a café) with months of books."""
    with kit.Town(a) as town:
        hub = town.hub()
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'annexe')
        c = town.start('knockbox-cafe', cafe)
        for path in month(town) or []:
            town.must('knockbox', 'import', path, '--quiet', '--at', hub)
        town.must('knockbox', 'import', many_notes(town, 2000), '--quiet', '--at', cafe)
        kit.until(lambda: town.status(cafe)[0]['behind'] == 0)
        for words in (('report', '2026-03', '--json'), ('report', '2026-04', '--format', 'html'), ('export',), ('status',)):
            town.must('knockbox', *words, '--at', hub)
        for words in (('freezer',), ('export',), ('status',)):
            town.must('knockbox', *words, '--at', cafe)
        for d, most in ((c, 16000), (h, 64000 + 45)):
            got, own = field_kb(d, 'VmHWM'), field_kb(d, 'RssAnon')
            t.check(got * 1.024 <= most, '%s holds %d kB, at most %d' % (d.program, got * 1.024, most))
            print('%s: most resident %d KiB, of its own %d KiB' % (d.program, got, own))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, floods=3, seconds=0, lives=20, steps=6)
    kit.run_parts(arguments, [floods, cafe_comes_back, failing_opens, address_space, cgroups, footprint], kit.Tally())
