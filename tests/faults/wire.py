"""A bad wire between two network namespaces: whole packets are lost, doubled, late, or all of them.

The namespaces belong to two processes that do nothing and end with this one; between them lie two
TUN devices whose packets go through here. The hub's side is 192.0.2.1, the café's 192.0.2.2, and
nothing else can be reached from there. A mode is words joined by +:

  ok  delay=MS[~J]  loss=P  dup=P  reorder=P (those come 50 ms late)  rate=BYTES/S  partition
"""
import ctypes
import fcntl
import heapq
import os
import select
import struct
import subprocess
import threading
import time

import kit

HUB, CAFE = '192.0.2.1', '192.0.2.2'
CLONE_NEWNET, TUNSETIFF, IFF_TUN, IFF_NO_PI = 0x40000000, 0x400454ca, 0x0001, 0x1000
libc = ctypes.CDLL(None, use_errno=True)


class Refused(Exception):
    """This machine gives no namespaces or no TUN devices."""


def open_tun(space):
    """A thread of its own goes there: the others stay where they are."""
    found = []

    def work():
        there = os.open('/proc/%d/ns/net' % space.pid, os.O_RDONLY)
        if libc.setns(there, CLONE_NEWNET) == 0:
            try:
                fd = os.open('/dev/net/tun', os.O_RDWR | os.O_NONBLOCK | os.O_CLOEXEC)
                fcntl.ioctl(fd, TUNSETIFF, struct.pack('16sH22x', b'w0', IFF_TUN | IFF_NO_PI))
                found.append(fd)
            except OSError as e:
                found.append(e)
        os.close(there)
    t = threading.Thread(target=work)
    t.start()
    t.join()
    if not found or isinstance(found[0], OSError):
        raise Refused('no TUN device: %s' % (found[0] if found else os.strerror(ctypes.get_errno())))
    return found[0]


def parse(mode):
    out = {}
    for word in mode.split('+'):
        name, _, value = word.partition('=')
        out[name] = tuple(float(v) for v in value.split('~')) if value else (0.0,)
    return out


class Wire(threading.Thread):
    """`hub` and `cafe` are what to put before a command so that it runs on that side."""

    def __init__(self, rng, mode='ok'):
        super().__init__(daemon=True)
        self.rng, self.mode, self.done, self.spaces, self.fds = rng, parse(mode), False, [], []
        self.count = dict(packets=0, lost=0, doubled=0, late=0)
        self.queue, self.serial, self.free = [], 0, [0.0, 0.0]
        try:
            for address in (HUB, CAFE):
                self.fds.append(self.side(address))
        except (OSError, subprocess.CalledProcessError, Refused) as e:
            self.close()
            raise Refused(e)
        self.hub, self.cafe = (['nsenter', '--net=/proc/%d/ns/net' % s.pid] for s in self.spaces)
        self.start()

    def side(self, address):
        space = subprocess.Popen(['unshare', '--net', 'sh', '-c', 'echo; read _'], stdin=subprocess.PIPE,
                                 stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        self.spaces.append(space)
        if space.stdout.readline() != b'\n':
            raise Refused('no network namespace')
        fd = open_tun(space)
        for words in (['addr', 'add', address + '/24', 'dev', 'w0'], ['link', 'set', 'w0', 'up'], ['link', 'set', 'lo', 'up']):
            subprocess.run(['nsenter', '--net=/proc/%d/ns/net' % space.pid, 'ip', *words], check=True, stderr=subprocess.DEVNULL)
        return fd

    def close(self):
        self.done = True
        if self.ident is not None:
            self.join(kit.PATIENCE)
        for fd in self.fds:
            os.close(fd)
        for space in self.spaces:
            space.stdin.close()  # which ends it, and the namespace with it
            space.wait(kit.PATIENCE)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def set(self, mode):
        self.mode = parse(mode)

    def hit(self, name):
        return name in self.mode and self.rng.uniform(0, 100) < self.mode[name][0]

    def run(self):
        while not self.done:
            now = time.monotonic()
            while self.queue and self.queue[0][0] <= now:
                _, _, way, packet = heapq.heappop(self.queue)
                try:
                    os.write(self.fds[1 - way], packet)
                except OSError:
                    self.count['lost'] += 1
            wait = min(0.05, max(0.0, self.queue[0][0] - now)) if self.queue else 0.05
            for fd in select.select(self.fds, [], [], wait)[0]:
                self.take(fd)

    def take(self, fd):
        for _ in range(64):
            try:
                packet = os.read(fd, 65536)
            except OSError:
                return
            if packet[0] >> 4 == 4:
                self.bend(self.fds.index(fd), packet)

    def bend(self, way, packet):
        self.count['packets'] += 1
        if 'partition' in self.mode or self.hit('loss'):
            self.count['lost'] += 1
            return
        at = time.monotonic()
        if 'rate' in self.mode:
            self.free[way] = at = max(self.free[way], at) + len(packet) / self.mode['rate'][0]
        if 'delay' in self.mode:
            least, jitter = (self.mode['delay'] + (0.0,))[:2]
            at += max(0.0, least + self.rng.uniform(-jitter, jitter)) / 1000
        if self.hit('reorder'):
            at += 0.05
            self.count['late'] += 1
        copies = 2 if self.hit('dup') else 1
        self.count['doubled'] += copies - 1
        for _ in range(copies):
            self.serial += 1
            heapq.heappush(self.queue, (at, self.serial, way, packet))
