"""A hub and its cafés with what each was promised, for the drivers that look at sync as a whole."""
import collections
import concurrent.futures
import contextlib
import json
import os
import shutil
import signal
import socket

import kit

NAMES = 'quayside harbour market station mill'.split()
OTHER_HUB = "the hub's store is another one than before"
OLD_IMAGE = "this site's store was an old copy"
TWO_WAYS = 'went two ways at record'


@contextlib.contextmanager
def frozen(daemon):
    """Stopped between two of its calls: what its folder holds is what a power cut there would leave."""
    daemon.p.send_signal(signal.SIGSTOP)
    try:
        kit.until(lambda: state_of(daemon.p.pid) in 'TtZX', step=0.001)
        yield
    finally:
        daemon.p.send_signal(signal.SIGCONT)


def state_of(pid):
    with open('/proc/%d/stat' % pid) as f:
        return f.read().rsplit(')', 1)[1].split()[0]


def put(image, folder):
    """The folder is what it was when `image` was taken; its socket goes, its ballast is made again."""
    shutil.rmtree(folder)
    shutil.copytree(image, folder, symlinks=True)


class Machine:
    """A daemon's folder, the daemon while it runs, and what it promised: a list of records."""

    def __init__(self, town, program, folder, name, clock=None):
        self.town, self.program, self.folder, self.name, self.clock = town, program, folder, name, clock
        self.d, self.promised, self.told, self.words = None, [], [], 0

    def start(self):
        self.d = self.town.start(self.program, self.folder, env=self.clock.env if self.clock else None)

    def runs(self):
        return self.d is not None and self.d.runs()

    def kill(self):
        if self.d is not None:
            self.d.kill()

    def write(self, most, word=None):
        """Writes notes in a thread of its own; take() waits for it."""
        self.words += 1
        word = '%s-%d' % (word or os.path.basename(self.folder), self.words)
        env = self.clock.env if self.clock else None
        return kit.Writer(self.town, self.folder, word, most=most, env=env)

    def take(self, writer):
        acked = writer.stop() if writer.most is None else (writer.join(2 * kit.PATIENCE), writer.acked)[1]
        self.promised += acked
        return acked

    def writes(self, n):
        return self.take(self.write(n))

    def tell(self, n):
        """A hub writes n records that every café gets; their ids."""
        self.told += [json.loads(self.town.must('knockbox', 'log', 'coffee', 'code=%s-%d' % (os.path.basename(self.folder), i),
                                                'name=Coffee', '--at', self.folder, '--json'))['id']
                      for i in range(len(self.told), len(self.told) + n)]

    def said(self, words):
        """How often the log has these words, over all lives of the daemon."""
        with open(self.folder.rstrip('/') + '.log', errors='replace') as f:
            return f.read().count(words)

    def heard(self, ids):
        """Until it has these records of the hub's."""
        return kit.until(lambda: set(ids) <= {x['id'] for x in self.town.export(self.folder) if x['site'] == 'kitchen'}, step=0.05)

    def status(self, site=None):
        return next((r for r in self.town.status(self.folder) if r['site'] == (site or self.name)), None)

    def in_step(self):
        """As the café sees it."""
        rows = {r['site']: r for r in self.town.status(self.folder)}
        return rows[self.name]['behind'] == 0 and rows['kitchen']['online']

    def alerts(self, site=None):
        return '; '.join((self.status(site) or {}).get('alerts', []))


class Group:
    """A hub that keeps its port, and cafés of it."""

    def __init__(self, town, cafes, clock=None, connect=None):
        self.town, self.clock = town, clock
        self.hub = Machine(town, 'knockbox-hub', town.fixed_hub(), 'kitchen', clock)
        self.hub.start()
        self.hub.tell(1)
        self.cafes = [self.join(name, connect) for name in NAMES[:cafes]]
        for c in self.cafes:
            c.start()
            c.heard(self.hub.told)

    def join(self, name, connect=None, folder=None):
        folder = self.town.join(self.hub.folder, name, connect, folder)
        with open(folder + '/cafe.conf', 'a') as f:
            f.write('sync.retry 5s\n')
        return Machine(self.town, 'knockbox-cafe', folder, name, self.clock)

    def port(self):
        with open(self.hub.folder + '/endpoint') as f:
            return int(f.read().strip().rsplit(':', 1)[1])

    def everybody(self):
        return [self.hub] + self.cafes

    def promised(self):
        return [p for c in self.cafes for p in c.promised]

    def drained(self, machines=None, patience=kit.PATIENCE):
        """Until the cafés (all that run) say that they are at the hub and have nothing behind, and the hub
        says the same."""
        machines = machines or [c for c in self.cafes if c.runs()]
        def so():
            return all(m.in_step() for m in machines) and all(
                r['online'] and r['behind'] == 0 for r in self.town.status(self.hub.folder)
                if r['site'] in {m.name for m in machines})
        return kit.until(so, patience, step=0.05)

    def held(self, want, patience=kit.PATIENCE):
        """What is wrong with the records at the hub once it has had time to get them; [] when nothing."""
        wrong = ['never asked']
        def so():
            wrong[:] = kit.compare(want, self.town.export(self.hub.folder))
            return not wrong
        kit.until(so, patience, step=0.1)
        return wrong


def kept(promised, lines, twins=False):
    """What is wrong between promises and an export when epochs may have gone two ways: each record is
    there with its words, once in an epoch; no number of an epoch stands for two records (but of `twins`,
    who may choose the same number for their next epochs: those have different marks, which an export
    does not show); and in each epoch the records are in the order of their promises."""
    wrong, by_id, numbers = [], collections.defaultdict(list), {}
    for x in lines:
        by_id[x['id']].append(x)
        place = x['site'], x['epoch'], x['seq']
        if not twins and place in numbers and numbers[place] != x['hash']:
            wrong.append('%s %d/%d stands for two records' % place)
        numbers[place] = x['hash']
    last = {}
    for want in promised:
        got = by_id.get(want['id'], [])
        if not got:
            wrong.append('%s is not there' % want['text'])
        elif any(x.get('text') != want['text'] or x['site'] != want['site'] for x in got):
            wrong.append('%s has other words' % want['text'])
        elif len({x['epoch'] for x in got}) != len(got):
            wrong.append('%s is there %d times' % (want['text'], len(got)))
        writer = want['text'].rsplit('-', 1)[0]
        for x in got:
            if last.get((writer, x['epoch']), 0) >= x['seq']:
                wrong.append('%s is out of order in epoch %d' % (want['text'], x['epoch']))
            last[writer, x['epoch']] = x['seq']
    return wrong


# ---------------------------------------------------------------- the socket of people, word by word

def varint(n):
    out = bytearray()
    while n > 127:
        out.append(n & 127 | 128)
        n >>= 7
    return bytes(out) + bytes([n])


def field(number, value):
    if isinstance(value, int):
        return varint(number << 3) + varint(value)
    value = value.encode() if isinstance(value, str) else value
    return varint(number << 3 | 2) + varint(len(value)) + value


def fields(raw):
    """(number, value) of each field of a message that has no fixed-size ones."""
    at, out = 0, []
    def number():
        nonlocal at
        n = shift = 0
        while True:
            byte = raw[at]
            at += 1
            n |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return n
    while at < len(raw):
        key = number()
        value = number()
        if key & 7 == 2:
            at += value
            value = raw[at - value:at]
        out.append((key >> 3, value))
    return out


def ask(folder, word, **args):
    """A request for which the client has no command of its own; the JSON of its answer."""
    request = field(1, 1) + field(2, 1) + field(3, word)
    for name, value in args.items():
        request += field(4, field(1, name) + field(2, str(value)))
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as s:
        s.settimeout(kit.PATIENCE)
        s.connect(os.path.join(folder, 'knockbox.sock'))
        s.send(field(13, request))
        data = b''
        while True:
            reply = dict(fields(dict(fields(s.recv(1 << 20)))[14]))
            if reply.get(2):
                raise kit.Trouble('%s: %s' % (word, reply.get(3)))
            data += reply.get(7, b'')
            if not reply.get(8):
                return json.loads(data)


def books_wrong(machine):
    """[] when the daemon's chains fit and its books are the same as folded anew."""
    wrong = []
    status, out, err = machine.town.run('knockbox', 'verify', '--at', machine.folder, '--json')
    if status != 0 or json.loads(out)['broken'] is not None:
        wrong.append('%s, verify: %s %s' % (machine.name, out.strip()[-200:], err.strip()[-200:]))
    before = ask(machine.folder, 'digest')['digest']
    if ask(machine.folder, 'digest', rebuild='true')['digest'] != before:
        wrong.append('%s: the books are others when they are made anew' % machine.name)
    return wrong


def end_well(t, machines, what):
    """Each of them is whole, and ends when it is told to."""
    for m in machines:
        wrong = books_wrong(m)
        t.check(not wrong, '%s: %s' % (what, wrong))
        t.check(m.runs(), '%s: %s ended by itself: %s' % (what, m.name, m.d.said()[-200:]))
        t.check(m.d.end() == 0, '%s: %s ends badly' % (what, m.name))


def in_towns(a, t, what, total, each, one):
    """`total` trials, `each` of them in one town, a few towns at a time; one(town, rng, trials)."""
    def town_of(number):
        rng = kit.randomly(a.seed, what, number)
        try:
            with kit.Town(a) as town:
                one(town, rng, range(number * each, min(total, (number + 1) * each)))
        except Exception as e:
            t.wrong('%s, town %d (seed %d): %s: %s' % (what, number, a.seed, type(e).__name__, e))
    with concurrent.futures.ThreadPoolExecutor(a.together) as pool:
        list(pool.map(town_of, range((total + each - 1) // each)))
