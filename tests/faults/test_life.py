#!/usr/bin/env python3
"""Everything at once: simulated days of a hub and five cafés on bad lines, drawn from one seed.

Kills, power cuts, partitions, bad lines, clocks that jump, old images of cafés, old copies and backups
of the hub, cloned cards, revoked and renewed keys. In the end all is mended as docs/operations.md says,
and what was promised is counted against what hub and cafés hold; the books are as made anew, and the
month is the same in a hub that imports the same records. Life N of seed S is life 0 of seed S + N:
--seed S+N --lives 1 plays it again, as far as real processes go."""
import concurrent.futures
import datetime
import json
import os
import shutil
import threading
import time

import disk
import group
import kit
from group import NAMES, Machine, frozen, put
from line import Line

BAD = 'ok ok blackhole cut half delay=50 rate=4000 corrupt=5 swallow dup'.split()
JUMPS = ['-315360000', '-86400', '-3600', '86400', '=0+', '=2147483640+', '=4102444800']
SITE = ('{"kind":"site","site":"kitchen","code":"%s","name":"%s","role":"%s","zone":"Europe/London","day_start":"04:00",'
        '"currency":"GBP","joined":"2024-01-01"}\n')
PLACE = '{"kind":"place","site":"kitchen","code":"%s-freezer","for_site":"%s","class":"freezer","max_c":"-15"}\n'
COFFEE = '{"kind":"coffee","site":"kitchen","code":"house","name":"House"}\n'


class Staff(threading.Thread):
    """Writes `n` records at a machine, each of them at least tried; what was promised goes to the machine."""

    def __init__(self, life, machine, rng, n):
        super().__init__(daemon=True)
        self.life, self.machine, self.rng, self.n = life, machine, rng, n
        self.start()

    def run(self):
        for _ in range(self.n):
            self.one(self.life.next_word(self.machine))

    def one(self, word):
        m, rng, now = self.machine, self.rng, self.life.now()
        if m.name != 'kitchen' and rng.random() < 0.4:
            want = dict(tub=word, gross_g=rng.randint(1000, 6000), tare_g=200)
            iso = [(now - datetime.timedelta(minutes=x)).isoformat(timespec='seconds') for x in (30, 10)]
            words = ['tub', 'coffee=house', 'origin=espresso', 'method=weighed', 'place=%s-freezer' % m.name,
                     'first_knock=' + iso[0], 'frozen=' + iso[1]]
        else:
            want, words = dict(text=word), ['note']
        words += ['%s=%s' % x for x in want.items()]
        status, out, _ = m.town.run('knockbox', 'log', *words, '--at', m.folder, '--json', env=m.clock.env)
        if status == 0:
            m.promised.append(dict(json.loads(out), word=word, want=want))


class Box(Machine):
    """A machine whose disk may be recorded, so that a kill can be a power cut."""
    recording = None

    def start(self, rng=None):
        env = dict(self.clock.env)
        self.recording = None
        if rng is not None and rng.random() < 0.4:
            for name in ('knockbox.sock', 'ballast'):
                if os.path.lexists(os.path.join(self.folder, name)):
                    os.unlink(os.path.join(self.folder, name))
            self.recording = disk.Recording(self.town, self.folder)
            more = self.recording.env()
            env.update(more, LD_PRELOAD=more['LD_PRELOAD'] + ' ' + env['LD_PRELOAD'])
        self.d = self.town.start(self.program, self.folder, env=env)

    def strike(self, rng):
        """SIGKILL; with a recorded disk, one of the states that a power cut may leave."""
        self.kill()
        if self.recording is None:
            return 'kill'
        model = disk.Model(mode=rng.choice(['ext4', 'strict']), sector=rng.choice([512, 4096]))
        now = disk.Disk(self.recording.base, self.recording.inodes, model)
        for change in disk.load(self.recording.log):
            now.feed(change)
        state = self.folder + '.state'
        now.build(rng, state)
        shutil.rmtree(self.folder)
        os.rename(state, self.folder)
        self.recording = None
        return 'power cut (%s)' % model


class Life:
    def __init__(self, town, t, seed, steps):
        self.town, self.t, self.seed, self.steps = town, t, seed, steps
        self.rng, self.hours, self.told, self.count = kit.randomly(seed, 'life'), 0, [], {}
        self.lock, self.tried, self.good = threading.Lock(), set(), False
        self.hub = Box(town, 'knockbox-hub', town.fixed_hub(), 'kitchen', kit.Clock(town, 'hub'))
        self.hub.start()
        lines = ''.join(SITE % (n, n.title(), 'kitchen' if n == 'kitchen' else 'cafe') for n in ['kitchen'] + NAMES) + COFFEE
        lines += ''.join(PLACE % (n, n) for n in NAMES)
        town.must('knockbox', 'import', '-', '--at', self.hub.folder, text=lines)
        with open(self.hub.folder + '/endpoint') as f:
            port = int(f.read().strip().rsplit(':', 1)[1])
        self.cafes, self.clones, self.images, self.backup, self.broken = [], [], {}, None, {}
        for n in NAMES:
            line = Line(port, kit.randomly(seed, 'line', n), ['ok'], longest=0.3)
            c = Box(town, 'knockbox-cafe', town.path(n), n, kit.Clock(town, n))
            c.line = line
            self.enrol(c)
            c.start()
            self.cafes.append(c)
        for c in self.cafes:
            kit.until(lambda: any(x['kind'] == 'coffee' for x in town.export(c.folder)), step=0.05)

    # ---------------------------------------------------------------- small things

    def say(self, what):
        self.told.append(what)

    def now(self):
        return datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(hours=self.hours)

    def next_word(self, m):
        with self.lock:
            folder = os.path.basename(m.folder)
            self.count[folder] = self.count.get(folder, 0) + 1
            word = '%s-%d' % (folder, self.count[folder])
            self.tried.add(word)
            return word

    def machines(self):
        return [self.hub] + self.cafes + self.clones

    def enrol(self, c):
        for name in ('cafe.key', 'cafe.conf', 'cafe.key.next'):
            path = os.path.join(c.folder, name)
            if os.path.exists(path):
                os.rename(path, '%s.before%d' % (path, len(os.listdir(c.folder))))
        code = self.town.must('knockbox-hub', 'enrol', self.hub.folder, c.name, env=self.hub.clock.env).strip()
        self.town.must('knockbox-cafe', 'join', c.folder, code, '--connect', 'tcp://127.0.0.1:%d' % c.line.port, env=c.clock.env)
        with open(c.folder + '/cafe.conf', 'a') as f:
            f.write('sync.retry 5s\n')

    def set_clock(self, m, what=None):
        m.clock.set(3600 * self.hours if what is None else what)

    def ids(self, machines):
        return {x['id'] for m in machines if m.runs() for x in self.town.export(m.folder)}

    def lose(self, m, image_ids):
        """The store of `m` is about to be another one. What nobody else has goes with it; all else is still
        due, and until now everything was there."""
        every = [p for x in self.cafes + self.clones for p in x.promised]
        others, own = self.ids([x for x in self.machines() if x is not m]), self.ids([m])
        down = {p['id'] for x in self.cafes + self.clones if not x.runs() for p in x.promised}
        gone = {p['id'] for p in every} - others - image_ids
        for p in every:
            if p['id'] in gone and p['id'] not in own and p['id'] not in down:
                self.t.wrong('%s: %s was nowhere before that' % (self, p['word']))
        gone -= down if m.runs() else set()
        for x in self.cafes + self.clones:
            x.promised = [p for p in x.promised if p['id'] not in gone]
        return len(gone)

    def __str__(self):
        return 'life of seed %d, step %d' % (self.seed, len(self.told))

    # ---------------------------------------------------------------- what happens

    def strikes(self, rng):
        m = rng.choice([self.hub, self.hub] + self.cafes)
        if m.runs():
            time.sleep(rng.uniform(0, 0.2))
            self.say('%s of %s' % (m.strike(rng), m.name))
            if rng.random() < 0.7:
                m.start(rng)

    def starts(self, rng):
        for m in self.machines():
            if not m.runs() and rng.random() < 0.5:
                m.start(rng)
                self.say('start of %s' % m.name)

    def weather(self, rng):
        c = rng.choice(self.cafes)
        c.line.modes = rng.choice([['ok'], ['ok'], BAD, ['blackhole'], ['cut']])
        self.say('line of %s: %s' % (c.name, ' '.join(c.line.modes)))

    def clock_jumps(self, rng):
        m, what = rng.choice([self.hub] + self.cafes), rng.choice(JUMPS + [None, None, None])
        self.set_clock(m, what)
        self.say('clock of %s: %s' % (m.name, what))

    def take_image(self, rng):
        c = rng.choice(self.cafes)
        if c.runs() and c.recording is None:
            held = self.ids([c])
            with frozen(c.d):
                kit.copy(c.folder, self.town.path(c.name + '.image'))
            self.images[c.name] = held
            self.say('image of %s' % c.name)

    def put_image(self, rng):
        names = [c for c in self.cafes if c.name in self.images and c.runs()]
        if not names or not self.hub.runs():
            return
        c = rng.choice(names)
        gone = self.lose(c, self.images[c.name])
        c.kill()
        put(self.town.path(c.name + '.image'), c.folder)
        c.start(rng)
        self.say('old image of %s, %d went with the card' % (c.name, gone))

    def take_backup(self, rng):
        if not self.hub.runs():
            return
        held, way = self.ids([self.hub]), rng.choice(['copy', 'backup'])
        if way == 'copy' and self.hub.recording is None:
            shutil.rmtree(self.town.path('hub.image'), ignore_errors=True)
            with frozen(self.hub.d):
                kit.copy(self.hub.folder, self.town.path('hub.image'))
        else:
            way = 'backup'
            self.town.must('knockbox-hub', 'backup', self.hub.folder, self.town.path('night.backup'), '--keys', self.town.path('hub.keys'))
        self.backup = way, held
        self.say('%s of the hub' % way)

    def put_backup(self, rng):
        if self.backup is None or not self.hub.runs():
            return
        way, held = self.backup
        gone = self.lose(self.hub, held)
        self.hub.kill()
        if way == 'copy':
            put(self.town.path('hub.image'), self.hub.folder)
        else:
            shutil.rmtree(self.hub.folder)
            self.town.must('knockbox-hub', 'restore', self.town.path('night.backup'), self.hub.folder, '--keys', self.town.path('hub.keys'))
        self.hub.start(rng)
        self.say('hub from its %s, %d went with it' % (way, gone))

    def clones_card(self, rng):
        c = rng.choice(self.cafes)
        if self.clones or not c.runs() or c.recording is not None:
            return
        folder = self.town.path('clone%d' % len(self.told))
        with frozen(c.d):
            kit.copy(c.folder, folder)
        clone = Box(self.town, 'knockbox-cafe', folder, c.name, c.clock)
        clone.line = c.line
        clone.start()
        self.clones.append(clone)
        self.say('clone of %s' % c.name)

    def key_goes(self, rng):
        """Revoked, and enrolled anew; or renewed by itself."""
        c = rng.choice(self.cafes)
        if not self.hub.runs():
            return
        if rng.random() < 0.5:
            status = self.town.run('knockbox-cafe', 'renew', c.folder)[0]
            self.say('renewal of %s: %s' % (c.name, status))
            return
        status = self.town.run('knockbox-hub', 'revoke', self.hub.folder, c.name)[0]  # 1: it is out already
        self.say('%s revoked: %s' % (c.name, status))
        if rng.random() < 0.6:
            self.anew(c)

    def anew(self, c):
        c.kill()
        c.recording = None
        modes, c.line.modes = c.line.modes, ['ok']
        kit.until(lambda: c.line.mode == 'ok')
        self.enrol(c)
        c.line.modes = modes
        c.start()
        self.say('%s enrolled anew' % c.name)

    # ---------------------------------------------------------------- the days, and the end of them

    def live(self):
        acts = [(self.strikes, 5), (self.starts, 4), (self.weather, 4), (self.clock_jumps, 3), (self.take_image, 3),
                (self.put_image, 2), (self.take_backup, 2), (self.put_backup, 1), (self.clones_card, 1), (self.key_goes, 1)]
        for step in range(self.steps):
            self.hours += self.rng.randint(1, 8)
            for m in self.machines():
                if self.rng.random() < 0.8:
                    self.set_clock(m)
            staff = [Staff(self, m, kit.randomly(self.seed, 'staff', step, os.path.basename(m.folder)), self.rng.randint(0, 5))
                     for m in self.machines() if m.runs()]
            for act in self.rng.choices([x for x, _ in acts], [w for _, w in acts], k=self.rng.randint(1, 3)):
                if act in (self.put_image, self.put_backup, self.key_goes):  # people look before they do that
                    for s in staff:
                        s.join(kit.PATIENCE)
                act(self.rng)
            for s in staff:
                s.join(kit.PATIENCE)

    def mend(self):
        for c in self.cafes:
            c.line.stop()
        for m in self.machines():
            self.set_clock(m)
            if not m.runs():
                m.start()
        def late():
            return [c for c in self.cafes if not self.in_step(c)]
        kit.until(lambda: not late(), 12, step=0.2)
        for c in late():  # a hub from a backup does not know the newest keys
            self.anew(c)
        came = kit.until(lambda: not late(), step=0.2)
        for m in self.cafes:
            m.promised.sort(key=lambda p: p['word'])
        self.t.check(came, '%s: not in step: %s' % (self, [c.name + ' ' + c.d.said()[-200:] for c in late()]))

    def in_step(self, c):
        rows = {r['site']: r for r in self.town.status(self.hub.folder)}
        return c.name in rows and rows[c.name]['online'] and rows[c.name]['behind'] == 0 and c.in_step()

    def judge(self):
        for clone in list(self.clones):  # its key may be out: the café was enrolled anew
            if not kit.until(clone.in_step, 15, step=0.2):
                self.clones.remove(clone)
                self.lose(clone, set())
            clone.kill()
        lines, wrong = self.town.export(self.hub.folder), []
        kit.until(lambda: self.in_step(self.cafes[0]))
        promised = [p for c in self.cafes + self.clones for p in c.promised]
        wrong += counted(promised, lines)
        wrong += ['%s is known to nobody' % x for x in (x.get('text') or x.get('tub') for x in lines if x['site'] in NAMES)
                  if x not in self.tried]
        at_hub = {x['id'] for x in lines}
        for c in self.cafes:
            more = [x for x in self.town.export(c.folder) if x['site'] == c.name and x['id'] not in at_hub]
            wrong += ['%s has %d records that the hub lacks' % (c.name, len(more))] if more else []
            if 'two ways' in c.alerts() and 'two ways' not in self.hub.alerts(c.name):
                wrong.append('the fork of %s is not shown at the hub' % c.name)
        for m in [self.hub] + self.cafes:
            wrong += group.books_wrong(m)
        wrong += self.elsewhere(lines)
        self.good = self.t.check(not wrong, '%s: %s' % (self, '; '.join(wrong[:4])))
        self.t.check(all(m.d.end() == 0 for m in [self.hub] + self.cafes), '%s: one ends badly' % self)
        return len(promised), len(lines)

    def elsewhere(self, lines):
        """The months as another hub has them that imports the same records."""
        other, months = self.town.hub('other'), sorted({x['at'][:7] for x in lines if x['kind'] == 'tub'})
        clock = kit.Clock(self.town, 'other')
        clock.set('=4102448400+')  # a `held` of a hub that was ahead is in the past: else an import does not keep it
        d = self.town.start('knockbox-hub', other, env=clock.env)
        self.town.must('knockbox', 'import', '-', '--at', other, text=''.join(json.dumps(x) + '\n' for x in lines))
        wrong = []
        for month in months:
            a, b = [json.loads(self.town.must('knockbox', 'report', month, '--json', '--at', x)) for x in (self.hub.folder, other)]
            for x in (a, b):
                x.pop('heads')
            wrong += ['%s: %s' % (month, x) for x in differences(a, b)]
        if not months:
            wrong.append('nobody has filled a tub')
        d.end()
        return wrong


def differences(a, b, at=''):
    """Where two answers differ: 'name.name: this, that'."""
    if isinstance(a, dict) and isinstance(b, dict):
        return [x for k in sorted({*a, *b}) for x in differences(a.get(k), b.get(k), at + '.' + k)]
    if isinstance(a, list) and isinstance(b, list):
        mine, theirs = [x for x in a if x not in b], [x for x in b if x not in a]
        return ['%s: %s, %s' % (at, mine[:2], theirs[:2])] if mine or theirs or len(a) != len(b) else []
    return [] if a == b else ['%s: %s, %s' % (at, a, b)]


def counted(promised, lines):
    """Each promised record is at the hub with what was said, once in an epoch, under its number with its hash
    unless it went on in another epoch; and what one machine wrote into one epoch stands in order."""
    wrong, by_id, last = [], {}, {}
    for x in lines:
        by_id.setdefault(x['id'], []).append(x)
    for p in promised:
        got = by_id.get(p['id'], [])
        if not got:
            wrong.append('%s is lost' % p['word'])
        for x in got:
            if any(str(x.get(k)) != str(v) for k, v in p['want'].items()):
                wrong.append('%s says something else' % p['word'])
            if (x['epoch'], x['seq']) == (p['epoch'], p['seq']) and x['hash'] != p['hash'] and len(got) == 1:
                wrong.append('%s has another hash' % p['word'])
        if len({(x['epoch'], x['seq']) for x in got}) != len(got):
            wrong.append('%s is there twice' % p['word'])
    for p in sorted(promised, key=lambda p: int(p['word'].rsplit('-', 1)[1])):
        for x in by_id.get(p['id'], []):
            place = p['word'].rsplit('-', 1)[0], x['epoch']
            if last.get(place, 0) >= x['seq']:
                wrong.append('%s is out of order in epoch %d' % (p['word'], x['epoch']))
            last[place] = x['seq']
    return wrong


def life(a, t):
    def one(number):
        seed = a.seed + number
        began, story = time.time(), None
        try:
            with kit.Town(a) as town:
                story = Life(town, t, seed, a.steps)
                story.live()
                story.mend()
                promised, held = story.judge()
                print('life of seed %d: %d days, %d promised, %d at the hub, %.0f s' % (
                    seed, story.hours // 24, promised, held, time.time() - began), flush=True)
        except Exception as e:
            t.wrong('life of seed %d: %s: %s' % (seed, type(e).__name__, e))
        if story is not None and (a.tell or not story.good):
            print('\n'.join('  seed %d, %d: %s' % (seed, i, x) for i, x in enumerate(story.told)), flush=True)
    with concurrent.futures.ThreadPoolExecutor(a.together) as pool:
        list(pool.map(one, range(a.lives)))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, lives=1, steps=18, together=3, tell=0)
    kit.run_parts(arguments, [life], kit.Tally())
