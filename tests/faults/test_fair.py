#!/usr/bin/env python3
"""One person asks without end; the others' records are not kept waiting.

A desk (knockbox-link) and a user of the hub's machine send the heaviest questions without waiting for
answers. What is judged is the share of its time that the hub gives them (people.share), what it says
when too many wait, and that everybody else is served; how long a record takes is printed."""
import os
import re
import select
import socket
import subprocess
import threading
import time

import kit


def varint(n):
    out = b''
    while n > 127:
        out += bytes([n & 127 | 128])
        n >>= 7
    return out + bytes([n])


def field(number, value):
    if isinstance(value, int):
        return varint(number << 3) + varint(value)
    return varint(number << 3 | 2) + varint(len(value)) + value


def request(number, word, **args):
    """A Wire with a Request, as proto/sync.proto has it."""
    inner = field(1, 1) + field(2, number) + field(3, word.encode())
    for name, value in args.items():
        inner += field(4, field(1, name.encode()) + field(2, value.encode()))
    return field(13, inner)


def code_of(packet):
    """(number, code, more, text) of a Reply; None for another message."""
    at, found = 0, {}

    def number():
        nonlocal at
        n = shift = 0
        while True:
            n |= (packet[at] & 127) << shift
            shift += 7
            at += 1
            if packet[at - 1] < 128:
                return n
    if number() != 14 << 3 | 2:
        return None
    number()
    while at < len(packet):
        key = number()
        value = number()
        if key & 7 == 2:
            value, at = packet[at:at + value], at + value
        found[key >> 3] = value
    return found.get(1), found.get(2, 0), found.get(7, 0), found.get(3, b'').decode(errors='replace')


class Asker(threading.Thread):
    """Keeps `deep` questions under way on one line; counts the answers and the refusals."""

    def __init__(self, line, deep, word, **args):
        super().__init__(daemon=True)
        self.line, self.deep, self.word, self.args = line, deep, word, args
        self.sent = self.done = self.refused = 0
        self.words, self.stopping = set(), False
        self.start()

    def run(self):
        self.line.setblocking(False)
        while not self.stopping:
            want = self.sent - self.done < self.deep
            r, w, _ = select.select([self.line], [self.line] if want else [], [], 0.1)
            try:
                if w:
                    self.line.send(request(self.sent + 1, self.word, **self.args))
                    self.sent += 1
                if r:
                    self.take(self.line.recv(1 << 20))
            except BlockingIOError:
                continue
            except OSError:
                return

    def take(self, packet):
        reply = code_of(packet) if packet else None
        if reply is None:
            self.stopping = not packet
        elif not reply[2]:
            self.done += 1
            if reply[1] != 0:
                self.refused += 1
                self.words.add(reply[3])

    def stop(self):
        self.stopping = True
        self.join()
        self.line.close()


def desk_line(town, endpoint, key):
    """A line to the hub through knockbox-link, and the process."""
    mine, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    link = subprocess.Popen(['bash', '-c', 'exec "$0" "$@" 3<&%d' % theirs.fileno(), os.path.join(town.bin, 'knockbox-link'), endpoint, key],
                            env=town.env(), pass_fds=[theirs.fileno()])
    theirs.close()
    return mine, link


def door_line(at):
    s = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    s.connect(at + '/knockbox.sock')
    return s


class Scene:
    """A hub with books, a café, two desks; `wait` measures how long others' records take."""

    def __init__(self, a, town):
        self.town, self.hub = town, town.hub()
        self.h = town.start('knockbox-hub', self.hub)
        self.cafe = town.join(self.hub, 'annexe')
        self.c = town.start('knockbox-cafe', self.cafe)
        path = town.path('notes.jsonl')
        with open(path, 'w') as f:
            for i in range(a.notes):
                f.write('{"kind":"note","text":"%s %d"}\n' % ('x' * 200, i))
        town.must('knockbox', 'import', path, '--quiet', '--at', self.hub)
        with open(self.hub + '/endpoint') as f:
            self.endpoint = f.read().strip()
        self.keys = [self.desk(name) for name in ('RK', 'LM')]

    def desk(self, name):
        key = self.town.path(name + '.key')
        code = self.town.must('knockbox-hub', 'enrol', self.hub, 'kitchen', '--person', name, '--role', 'office').strip()
        self.town.must('knockbox-link', 'join', code, key)
        return key

    def wait(self, t, what, n=20):
        """Others' records: at the hub, by another desk, from the café. Milliseconds, the longest of each."""
        env = dict(PATH=self.town.bin + ':' + os.environ['PATH'])
        times = {'hub': [], 'desk': [], 'café': []}
        for i in range(n):
            text = '%s-%d' % (what, i)
            for where, at in (('hub', ['--at', self.hub]), ('desk', ['--at', self.endpoint, '--key', self.keys[1]])):
                began = time.monotonic()
                status, _, err = self.town.run('knockbox', 'log', 'note', 'text=' + text, *at, env=env)
                times[where].append(time.monotonic() - began)
                t.check(status == 0, '%s: a record by %s: %s %s' % (what, where, status, err[-200:]))
            began = time.monotonic()
            self.town.note(self.cafe, text)
            t.check(kit.until(lambda: self.town.status(self.cafe)[0]['behind'] == 0, step=0.005), '%s: the café is behind' % what)
            times['café'].append(time.monotonic() - began)
        return ', '.join('%s %d of %d' % (k, 1000 * sorted(v)[len(v) // 2], 1000 * max(v)) for k, v in times.items())


def judge(t, s, what, askers, n):
    """Others are served meanwhile, and the askers get some answers and no more than their share."""
    time.sleep(0.2)
    used, began = s.h.cpu_s(), time.monotonic()
    said = s.wait(t, what, n)
    took = time.monotonic() - began
    share = (s.h.cpu_s() - used) / took
    kit.until(lambda: all(x.done > x.refused for x in askers))
    for x in askers:
        t.check(x.done > x.refused, '%s: nothing is answered' % what)
        x.stop()
    words = set().union(*(x.words for x in askers))
    t.check(all(re.search('wait for their turn', w) for w in words), '%s: %s' % (what, words))
    print('%s: %d answered, %d refused, %.0f %% of a processor; ms of others, middle and longest: %s' %
          (what, sum(x.done - x.refused for x in askers), sum(x.refused for x in askers), share * 100, said))
    return sum(x.refused for x in askers)


def desks(a, t):
    """One desk with 200 questions under way, over one line and over four."""
    with kit.Town(a) as town:
        s = Scene(a, town)
        print('quiet: ms of others, middle and longest: %s' % s.wait(t, 'quiet', a.records))
        refused, before = 0, memory_kb(s.h)
        for word, lines in (('verify', 1), ('export', 1), ('report', 4)):
            args = {'month': '2026-03'} if word == 'report' else {}
            links = [desk_line(town, s.endpoint, s.keys[0]) for _ in range(lines)]
            askers = [Asker(line, 200, word, **args) for line, _ in links]
            refused += judge(t, s, '%s, %d lines' % (word, lines), askers, a.records)
            for _, link in links:
                link.wait(kit.PATIENCE)
        t.check(refused > 0, 'nobody heard that too many wait')
        t.check(memory_kb(s.h) - before < a.megabytes * 1000, 'the hub grew by %d kB' % (memory_kb(s.h) - before))
        print('the hub grew by %d kB' % (memory_kb(s.h) - before))
        t.check(s.h.end() == 0, 'the hub ends with %s' % s.h.p.returncode)


def memory_kb(d):
    with open('/proc/%d/status' % d.p.pid) as f:
        return next(int(line.split()[1]) for line in f if line.startswith('RssAnon:'))


def door(a, t):
    """A user of the hub's machine with 32 lines; needs root to be one."""
    if os.geteuid() != 0:
        print('skipped: only root can be another user')
        t.right()
        return
    import grp
    import pwd
    with kit.Town(a) as town:
        s = Scene(a, town)
        s.h.end()
        at = town.path('run')
        os.chmod(town.place, 0o755)
        with open(s.hub + '/hub.conf', 'a') as f:
            f.write('local.socket %s/knockbox.sock\nrole.group office games\n' % at)
        s.h = town.start('knockbox-hub', s.hub)
        with open(s.hub + '/endpoint') as f:
            s.endpoint = f.read().strip()
        with open(s.cafe + '/cafe.conf') as f:
            conf = re.sub(r'hub\.connect .*', 'hub.connect ' + s.endpoint, f.read())
        with open(s.cafe + '/cafe.conf', 'w') as f:
            f.write(conf)
        s.c.end()
        s.c = town.start('knockbox-cafe', s.cafe)
        s.hub = at  # where people ask
        os.chmod(at, 0o755)
        os.chmod(at + '/knockbox.sock', 0o666)
        root = (os.getresuid(), os.getresgid(), os.getgroups())
        os.setgroups([])
        os.setresgid(*[grp.getgrnam('games').gr_gid] * 2, 0)
        os.setresuid(*[pwd.getpwnam('bin').pw_uid] * 2, 0)
        try:
            lines = [door_line(at) for _ in range(32)]
        finally:
            os.setresuid(*root[0])
            os.setresgid(*root[1])
            os.setgroups(root[2])
        askers = [Asker(line, 4, 'verify') for line in lines]
        judge(t, s, 'verify, 32 lines of a user', askers[:1], a.records)
        for x in askers[1:]:
            x.stop()
        t.check(s.h.end() == 0, 'the hub ends with %s' % s.h.p.returncode)


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, notes=3000, records=4, megabytes=16)
    kit.run_parts(arguments, [desks, door], kit.Tally())
