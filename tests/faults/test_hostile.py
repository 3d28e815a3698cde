#!/usr/bin/env python3
"""Strangers, thieves and liars at the hub's port: every case of hostile.py against the real hub.

Wrong is: let in, an unfinished handshake left open, more than the greeting (64 bytes) to somebody
without the hub's key, a rightful person who is not served after the case, memory or descriptors that
stay taken. Last, the key is revoked while it is connected. `revoked`: what a stolen key still gets in,
over restarts and with an older copy of the hub. `floods`: crowds of connections with more and fewer
descriptors than there are of them."""
import concurrent.futures
import datetime
import os
import shutil
import time

import hostile
import kit

ALONE = ('fat_frame_before_login', 'flood', 'resets', 'revoked_while_connected', 'endless_small_frames')


def key_of(path, word):
    with open(path) as f:
        return bytes.fromhex(dict(line.split() for line in f)[word])


class Hub(hostile.Target):
    """The real hub, a café whose key was stolen, one whose key was revoked, and a person at a desk."""

    def __init__(self, town, a, files=None):
        self.town, self.folder, self.flood = town, town.hub(), a.flood
        self.daemon, self.rss_mb = town.start('knockbox-hub', self.folder, files=files), a.megabytes
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


def flood_and_room(t, hub, flood, most_mb):
    """libzmq keeps what a crowd took for the next one: 120 MB after the fifth of 4000 and no more after that,
    30 kB a connection. 45 kB are allowed."""
    files, before = hostile.vitals()
    judge(t, hub, 'flood', '', flood())
    kit.until(lambda: hostile.vitals()[0] <= files + 2, patience=15)
    took = max(0.0, hostile.vitals()[1] - before)
    t.check(took <= most_mb + hub.flood * 0.045, 'a flood took %.1f MB' % took)
    hub.base_mb += took


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
            if name == 'flood':
                flood_and_room(t, hub, f, a.megabytes)
            elif name in ALONE and name != 'revoked_while_connected':
                judge(t, hub, name, need, f())
            if name in ALONE and name != 'revoked_while_connected':
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


# ---------------------------------------------------------------- a stolen key

def held_s(record):
    return datetime.datetime.fromisoformat(record['held'].replace('Z', '+00:00')).timestamp()


def one_revoked(town, hub, cafe, name, at_s, within_s):
    """A café that writes all the time is revoked: (words of what is wrong, seconds until the last record)."""
    writer = kit.Writer(town, cafe, name)
    time.sleep(at_s)
    began = time.time()
    town.must('knockbox-hub', 'revoke', hub, name)
    time.sleep(1.2)
    writer.stop()
    mine = [x for x in town.export(hub) if x['site'] == name]
    last = max((held_s(x) for x in mine), default=0.0) - began
    wrong = ['%s: a record taken %.2f s after' % (name, last)] if last > within_s else []
    if len(writer.acked) <= len(mine):
        wrong.append('%s: all of its %d records are there' % (name, len(writer.acked)))
    return wrong, max(last, 0.0), {x['id'] for x in mine}


def nothing_new(town, hub, names, seen, when):
    at_hub = {x['id'] for x in town.export(hub) if x['site'] in names}
    wrong = [] if at_hub <= seen else ['%s: %d more records' % (when, len(at_hub - seen))]
    listed = [k for k in town.must('knockbox-hub', 'keys', hub).split('\n') if any(' %s ' % n in k for n in names)]
    return wrong + (['%s: a key is in again' % when] if listed else [])


def refused_all(cafes, daemons, when):
    """Each café has come again and was told at the door."""
    said = kit.until(lambda: all('does not know our key' in d.said() for d in daemons))
    return [] if said else ['%s: not every café was refused at the door' % when]


def revoked_town(a, n, count):
    """Cafés of one hub are revoked in turn; then the hub is started again, then an older copy of it."""
    wrong, worst, seen, rng = [], 0.0, set(), kit.randomly(a.seed, 'revoked', n)
    names = ['thief-%d' % i for i in range(count)]
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        h = town.start('knockbox-hub', hub)
        cafes = [town.join(hub, name) for name in names]
        for cafe in cafes:
            with open(cafe + '/cafe.conf', 'a') as f:
                f.write('sync.retry 5s\n')
        daemons = [town.start('knockbox-cafe', cafe) for cafe in cafes]
        file, keys = town.path('older.backup'), town.path('older.keys')
        town.must('knockbox-hub', 'backup', hub, file, '--keys', keys)
        for name, cafe in zip(names, cafes):
            found, last, ids = one_revoked(town, hub, cafe, name, rng.uniform(0.1, 0.6), a.after)
            wrong, worst, seen = wrong + found, max(worst, last), seen | ids
        wrong += refused_all(cafes, daemons, 'while connected')
        h.end()
        daemons = [d for d in daemons if d.end() == 0]
        h = town.start('knockbox-hub', hub)
        daemons = [town.start('knockbox-cafe', cafe) for cafe in cafes]
        wrong += refused_all(cafes, daemons, 'after a restart')
        wrong += nothing_new(town, hub, names, seen, 'after a restart')
        h.end()
        older = town.path('older')
        town.must('knockbox-hub', 'restore', file, older, '--keys', keys)
        shutil.copy(hub + '/revoked', older + '/revoked')
        shutil.copy(hub + '/hub.conf', older + '/hub.conf')
        daemons = [d for d in daemons if d.end() == 0]
        h = town.start('knockbox-hub', older)
        daemons = [town.start('knockbox-cafe', cafe) for cafe in cafes]
        wrong += refused_all(cafes, daemons, 'with an older copy')
        wrong += nothing_new(town, older, names, set(), 'with an older copy')
        wrong += [] if len(daemons) == count and h.end() == 0 else ['a daemon ended badly']
    return wrong, worst


def revoked(a, t):
    """The last record of a stolen key is taken less than a second after; never again afterwards."""
    towns = max(1, (a.revokes + 9) // 10)
    counts = [a.revokes // towns + (i < a.revokes % towns) for i in range(towns)]
    with concurrent.futures.ThreadPoolExecutor(a.abreast) as pool:
        found = list(pool.map(lambda n: revoked_town(a, n, counts[n]), range(towns)))
    for n, (wrong, _) in enumerate(found):
        t.check(not wrong, 'town %d: %s' % (n, wrong))
    print('  %d keys revoked, the last record taken %.2f s after at most' % (a.revokes, max(last for _, last in found)))


# ---------------------------------------------------------------- crowds at the port

def one_flood(a, t, n, crowd, files):
    with kit.Town(a) as town:
        hub = hostile.target = Hub(town, a, files)
        hub.flood = crowd
        hub.alive()
        before = hostile.vitals()[0]
        began = time.monotonic()
        _, served, _, words = next(f for name, _, f in hostile.cases if name == 'flood')()
        what = '%d connections, %d descriptors' % (crowd, files)
        if not served:
            served = kit.until(hub.alive, patience=30)
            words += ', served at last after %.1f s' % (time.monotonic() - began)
        t.check(served, '%s: %s' % (what, words))
        time.sleep(5)
        cpu = hub.daemon.cpu_s()
        time.sleep(2)
        share = (hub.daemon.cpu_s() - cpu) / 2
        after = hostile.vitals()[0]
        t.check(share < 0.02, '%s: %.1f %% of a processor afterwards' % (what, share * 100))
        t.check(after <= before, '%s: %d descriptors stay taken' % (what, after - before))
        answered = time.monotonic()
        t.check(hub.alive() and time.monotonic() - answered < 3, '%s: afterwards a rightful person waits %.1f s'
                % (what, time.monotonic() - answered))
        took = float(words.split('took ')[1].split(' s')[0])
        if files > crowd:
            t.check(took < 3, '%s: %s' % (what, words))
        print('  %s: %s; %.1f %% of a processor afterwards, descriptors %+d' % (what, words, share * 100, after - before), flush=True)


def floods(a, t):
    """A rightful person is served at once where there are descriptors left, and afterwards."""
    for n in range(a.floods):
        crowd = (500, 4000)[n % 2]
        one_flood(a, t, n, crowd, crowd // 2 if n % 4 < 2 else 8192)


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, flood=300, megabytes=16, cases=1, revokes=2, after=1, floods=0, abreast=2)
    parts = [(all_cases, arguments.cases), (revoked, arguments.revokes), (floods, arguments.floods)]
    kit.run_parts(arguments, [part for part, n in parts if n > 0], kit.Tally())
