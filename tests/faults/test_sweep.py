#!/usr/bin/env python3
"""The n-th call fails, for every n until none fails: once, and from then on for good.

A daemon, its client and the commands run under the shim; whatever call fails, nothing dies of a
signal or hangs, and once the fault is over all is whole with what was promised before and during."""
import concurrent.futures
import os
import shutil
import struct
import threading

import kit

FILES = 'sync,write,trunc,open,rename,unlink,mkdir,mmap,read'


def met(state):
    """How often the first rule's call was met."""
    if not os.path.exists(state):
        return 0
    with open(state, 'rb') as f:
        return struct.unpack_from('=Q', f.read())[0]


def life(town, program, folder, env, memory):
    """A daemon's life under faults: three notes, an export, SIGTERM. (promised, what is wrong)

    Without `memory`, libraries may end the process: libzmq by abort(), glibc's name service, which
    libzmq's start asks, by a bad pointer."""
    d = kit.Daemon(town, program, folder, env)
    town.started.append(d)
    promised, wrong = [], []
    up = d.ready_or_ended()
    deaths = () if memory else (-6,) if up else (-6, -11)
    if up:
        for i in range(3):
            text = 'note-%d' % i
            status, said = town.note(folder, text)
            if status == 0:
                promised.append(dict(said, text=text))
            elif status not in ((1, 4) if memory else (1, 3, 4)) or not said.strip():
                wrong.append('the client: %s %s' % (status, said))
        town.run('knockbox', 'export', '--at', folder)
    status = d.end()
    if status not in (0, 1) + deaths:
        wrong.append('ended with %s' % status)
    if status == 1 and not d.said().strip():
        wrong.append('ended with 1 and no word')
    return promised, wrong


def sweep(a, t, program, model, classes, errors, ends=('', '+'), step=None):
    """Every class and error, once and for good, two lives at a time, each from a copy of `model`."""
    runs, lock = [0], threading.Lock()

    def one(town, name, rule):
        folder, state = town.path(name), town.path(name + '.state')
        kit.copy(model, folder)
        if os.path.exists(state):
            os.unlink(state)
        alloc = rule.startswith('alloc')
        env = town.faults(folder, rules=rule, state=state, alloc=alloc)
        promised, wrong = life(town, program, folder, env, not alloc)
        wrong += kit.whole(town, program, folder, promised)
        t.check(not wrong, '%s, %s: %s' % (program, rule, '; '.join(wrong[:3])))
        return met(state)

    def line(word, error, end):
        with kit.Town(a) as town:
            n, more = 1, True
            while more:
                more = one(town, 'box', '%s:%d%s:%s' % (word, n, end, error)) >= n
                n += step or a.step
                with lock:
                    runs[0] += 1
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        jobs = [pool.submit(line, word, error, end) for word in classes.split(',') for error in errors.split(',')
                for end in ends]
        for job in jobs:
            job.result()
    print('%s: %d lives over %s with %s' % (program, runs[0], classes, errors))


def models(a, town):
    """A hub and a café with a few records each; the hub's port is chosen anew at each start."""
    hub = town.hub()
    h = town.start('knockbox-hub', hub)
    cafe = town.join(hub, 'quayside')
    c = town.start('knockbox-cafe', cafe)
    for folder in (hub, cafe):
        for i in range(3):
            town.note(folder, 'old-%d' % i)
    c.end()
    h.end()
    return hub, cafe


def files(a, t):
    """Each file call of a hub and of a café."""
    with kit.Town(a) as town:
        hub, cafe = models(a, town)
        sweep(a, t, 'knockbox-hub', hub, FILES, 'EIO', ('', '+') if a.all else ('',))
        sweep(a, t, 'knockbox-hub', hub, FILES if a.all else 'sync,write,trunc', 'ENOSPC', ('+',))
        if a.all:
            sweep(a, t, 'knockbox-hub', hub, FILES, 'ENOSPC,EDQUOT', ('',))
            sweep(a, t, 'knockbox-cafe', cafe, FILES, 'EIO,ENOSPC')
        else:
            sweep(a, t, 'knockbox-cafe', cafe, 'sync,write', 'EIO', ('',))


def first_run(a, t):
    """The run that makes the store."""
    with kit.Town(a) as town:
        sweep(a, t, 'knockbox-hub', town.hub(), FILES if a.all else 'sync,write,rename', 'EIO', ('', '+') if a.all else ('',))


def read_only(a, t):
    """A disk that turns read-only, as ext4 does after an error."""
    with kit.Town(a) as town:
        sweep(a, t, 'knockbox-hub', models(a, town)[0], 'any', 'EROFS', ('+',), 1 if a.all else 3 * a.step)


def memory(a, t):
    """Each allocation of a daemon fails, once and from then on."""
    with kit.Town(a) as town:
        hub, cafe = models(a, town)
        for program, model in (('knockbox-hub', hub), ('knockbox-cafe', cafe)):
            sweep(a, t, program, model, 'alloc', 'ENOMEM', step=a.alloc)


def command_memory(a, t):
    """`check`, `verify` and `rebuild` without memory: done, or refused in words."""
    with kit.Town(a) as town:
        hub = models(a, town)[0]
        for word in ('check', 'verify', 'rebuild'):
            n, more = 1, True
            while more:
                state = town.path('%s-%d' % (word, n))
                status, out, err = town.run('knockbox-hub', word, hub, env=town.faults(
                    hub, rules='alloc:%d:ENOMEM' % n, state=state, alloc=True))
                t.check(status in (0, 1, 3) and (status == 0 or err.strip()),
                        '%s, allocation %d: %s %s' % (word, n, status, err[-200:]))
                more = met(state) >= n
                n += 1
        wrong = kit.whole(town, 'knockbox-hub', hub, [])
        t.check(not wrong, 'after that: %s' % wrong)


def commands(a, t):
    """`init`, `enrol`, `join`, `check` and `verify`: each call fails once."""
    def one(word, n):
        with kit.Town(a) as town:
            return command_fails(t, town, word, n) >= n
    with concurrent.futures.ThreadPoolExecutor(8) as pool:  # a join waits a lot
        for word in ('init', 'enrol', 'check', 'verify', 'join'):
            n, more = 1, True
            while more:
                more = all(pool.map(one, [word] * 8, range(n, n + 8)))
                n += 8


def command_fails(t, town, word, n):
    hub, state = town.path('hub'), town.path('state')
    faults = town.faults(town.place, rules='any:%d:EIO' % n, state=state)
    words = {'init': [word, hub, '--listen', 'tcp://127.0.0.1:0'], 'enrol': [word, hub, 'quayside'], 'check': [word, hub],
             'verify': [word, hub]}.get(word)
    if word != 'init':
        town.hub()
        d = town.start('knockbox-hub', hub)
        if word == 'join':
            words = [word, town.path('quayside'), town.must('knockbox-hub', 'enrol', hub, 'quayside').strip()]
        elif word == 'verify':
            d.end()
    program = 'knockbox-cafe' if word == 'join' else 'knockbox-hub'
    status, _, err = town.run(program, *words, env=faults)
    t.check(status in (0, 1, 5) and (status == 0 or err.strip()), '%s, call %d: %s %s' % (word, n, status, err[-200:]))
    if status != 0:
        again, _, err = town.run(program, *words)
        done = again == 0 or 'already' in err or (word == 'join' and 'used' in err)
        t.check(done, '%s, call %d, again: %s %s' % (word, n, again, err[-200:]))
    return met(state)


def backup(a, t):
    """Each file call of `backup` over an older one, and of `restore`: done, or refused in words and all as it was."""
    with kit.Town(a) as town:
        hub = models(a, town)[0]
        town.must('knockbox-hub', 'backup', hub, town.path('good.backup'))

        def one(what, judge, *words):
            for error in ('EIO', 'ENOSPC'):
                n, more = 1, True
                while more:
                    place, state = town.path(what), town.path('%s.%s-%d' % (what, error, n))
                    shutil.rmtree(place, ignore_errors=True)
                    os.mkdir(place)
                    shutil.copy(town.path('good.backup'), os.path.join(place, 'old.backup'))
                    env = town.faults(place, rules='any:%d:%s' % (n, error), state=state)
                    status, _, err = town.run('knockbox-hub', *words, env=env)
                    wrong = judge(place, status) if status in (0, 1, 5) else 'ended with %s' % status
                    if status != 0 and not err.strip():
                        wrong = 'no word'
                    t.check(not wrong, '%s, call %d fails with %s: %s %s' % (what, n, error, wrong, err.strip()[-200:]))
                    more = met(state) >= n
                    n += a.step

        def backed_up(place, status):
            again = town.run('knockbox-hub', 'verify-backup', os.path.join(place, 'old.backup'))
            return '' if again[0] == 0 else again[2]

        def restored(place, status):
            new = os.path.join(place, 'hub')
            if status != 0:
                return 'something is left' if os.path.exists(os.path.join(new, 'hub.conf')) else ''
            return '; '.join(kit.whole(town, 'knockbox-hub', new, []))
        one('backup', backed_up, 'backup', hub, town.path('backup', 'old.backup'))
        one('restore', restored, 'restore', town.path('good.backup'), town.path('restore', 'hub'))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, alloc=50, all=0, step=1)
    parts = [files, first_run, read_only, commands, backup]
    if arguments.alloc > 0:
        parts += [memory, command_memory]
    kit.run_parts(arguments, parts, kit.Tally())
