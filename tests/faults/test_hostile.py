#!/usr/bin/env python3
"""Strangers, thieves and liars at the hub's port: every case of hostile.py against the real hub.

Wrong is: let in, an unfinished handshake left open, more than the greeting (64 bytes) to somebody
without the hub's key, a rightful person who is not served after the case, memory or descriptors that
stay taken. Last, the key is revoked while it is connected."""
import concurrent.futures
import os
import time

import hostile
import kit

ALONE = ('fat_frame_before_login', 'flood', 'resets', 'revoked_while_connected', 'endless_small_frames')


def key_of(path, word):
    with open(path) as f:
        return bytes.fromhex(dict(line.split() for line in f)[word])


class Hub(hostile.Target):
    """The real hub, a café whose key was stolen, one whose key was revoked, and a person at a desk."""

    def __init__(self, town, a):
        self.town, self.folder, self.flood = town, town.hub(), a.flood
        self.daemon, self.rss_mb = town.start('knockbox-hub', self.folder), a.megabytes
        self.pid = self.daemon.p.pid
        with open(os.path.join(self.folder, 'endpoint')) as f:
            self.endpoint = f.read().strip()
        self.port = int(self.endpoint.rsplit(':', 1)[1])
        self.server_key = key_of(os.path.join(self.folder, 'hub.key'), 'public')
        self.client_secret = key_of(os.path.join(town.join(self.folder, 'quayside'), 'cafe.key'), 'secret')
        self.revoked_secret = key_of(os.path.join(town.join(self.folder, 'foundry'), 'cafe.key'), 'secret')
        town.must('knockbox-hub', 'revoke', self.folder, 'foundry')
        code = town.must('knockbox-hub', 'enrol', self.folder, 'kitchen', '--person', 'RK', '--role', 'reader').strip()
        self.key = town.path('desk.key')
        town.must('knockbox-link', 'join', code, self.key)

    def alive(self):
        env = dict(PATH=self.town.bin + ':' + os.environ['PATH'])
        return self.town.run('knockbox', 'status', '--at', self.endpoint, '--key', self.key, env=env, patience=20)[0] == 0

    def revoke(self):
        self.town.must('knockbox-hub', 'revoke', self.folder, 'quayside')


def judge(t, hub, name, need, found):
    let_in, ended, got, words = found
    t.check(not let_in, '%s: let in. %s' % (name, words))
    t.check(ended, '%s: %s' % (name, words or 'not ended as it should'))
    if need == '':
        t.check(got <= 64, '%s: %d bytes to a stranger without a key' % (name, got))
    elif need == 'server':
        t.check(got <= 246, '%s: %d bytes to a stranger with the hub\'s key' % (name, got))


def all_cases(a, t):
    hostile.rng.seed(a.seed)
    with kit.Town(a) as town:
        hub = hostile.target = Hub(town, a)
        t.check(hub.alive(), 'the rightful person is not served before anything was done')
        files, hub.base_mb = hostile.vitals()
        with concurrent.futures.ThreadPoolExecutor(8) as pool:
            jobs = [(name, need, pool.submit(f)) for name, need, f in hostile.cases if name not in ALONE]
            for name, need, job in jobs:
                judge(t, hub, name, need, job.result())
        t.check(hub.alive(), 'the rightful person is not served after the cases')
        for name, need, f in sorted(hostile.cases, key=lambda c: ALONE.index(c[0]) if c[0] in ALONE else -1):
            if name in ALONE and name != 'revoked_while_connected':
                judge(t, hub, name, need, f())
                t.check(hub.alive(), 'the rightful person is not served after %s' % name)
        revoked = next(f for name, _, f in hostile.cases if name == 'revoked_while_connected')
        judge(t, hub, 'revoked_while_connected', 'revoke', revoked())
        kit.until(lambda: hostile.vitals()[0] <= files + 2, patience=15)
        now, mb = hostile.vitals()
        t.check(now <= files + 2, '%d descriptors stay taken' % (now - files))
        t.check(mb - hub.base_mb <= a.megabytes, 'the hub grew by %.1f MB' % (mb - hub.base_mb))
        before = hub.daemon.cpu_s()
        time.sleep(1)
        t.check(hub.daemon.cpu_s() - before < 0.1, 'the hub spins afterwards')
        print('%d cases; descriptors %+d, memory %+.1f MB' % (len(hostile.cases), now - files, mb - hub.base_mb))
        t.check(hub.daemon.end() == 0, 'the hub ends with %s' % hub.daemon.p.returncode)


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, flood=300, megabytes=16)
    kit.run_parts(arguments, [all_cases], kit.Tally())
