"""A hostile ZMTP peer: raw TCP, its own CURVE handshake, every way in that is not the right one.

The cases are functions in `cases`; each gives (was it let in?, did it end as wished, bytes that came
back, a word). ZeroMQ RFC 23 (ZMTP 3.0), 26 (CurveZMQ). test_hostile.py sets `target` and runs them."""
import ctypes
import ctypes.util
import os
import random
import socket
import struct
import time


class Target:
    """Who is attacked, and with what keys (32 bytes each)."""
    port = pid = 0
    server_key = client_secret = revoked_secret = b''
    limit = 7.0   # seconds until an unfinished handshake is cut; the hub's patience is 5
    flood = 300   # connections at a time
    rss_mb = 16   # by which the hub may grow
    base_mb = 0.0 # what it had before

    def alive(self):
        raise NotImplementedError

    def revoke(self):
        raise NotImplementedError


target = Target()
rng = random.Random(1)

na = ctypes.CDLL(ctypes.util.find_library('sodium') or 'libsodium.so.23')
na.sodium_init()


def pub(sec):
    o = ctypes.create_string_buffer(32)
    na.crypto_scalarmult_base(o, sec)
    return o.raw


def pair():
    s = rng.randbytes(32)
    return pub(s), s


def box(m, nonce, pk, sk):
    o = ctypes.create_string_buffer(len(m) + 16)
    na.crypto_box_easy(o, m, ctypes.c_ulonglong(len(m)), nonce, pk, sk)
    return o.raw


def unbox(c, nonce, pk, sk):
    o = ctypes.create_string_buffer(max(1, len(c) - 16))
    ok = len(c) >= 16 and na.crypto_box_open_easy(o, c, ctypes.c_ulonglong(len(c)), nonce, pk, sk) == 0
    return o.raw[:len(c) - 16] if ok else None


def greeting(mech=b'CURVE', server=0, major=3, minor=0, sig=b'\xff' + bytes(8) + b'\x7f'):
    return sig + bytes([major, minor]) + mech.ljust(20, b'\0') + bytes([server]) + bytes(31)


def frame(b, flags=4):
    return bytes([flags, len(b)]) + b if len(b) < 256 else bytes([flags | 2]) + struct.pack('>Q', len(b)) + b


class Peer:
    def __init__(self):
        self.s = socket.create_connection(('127.0.0.1', target.port), 3)
        self.buf, self.got, self.closed, self.t0 = b'', 0, False, time.time()

    def send(self, b):
        try:
            self.s.sendall(b)
            return True
        except OSError:
            self.closed = True
            return False

    def fill(self, secs):
        self.s.settimeout(max(0.01, secs))
        try:
            b = self.s.recv(65536)
        except socket.timeout:
            return False
        except OSError:
            b = b''
        if not b:
            self.closed = True
            return False
        self.buf += b
        self.got += len(b)
        return True

    def take(self, n, secs=2):
        end = time.time() + secs
        while len(self.buf) < n and not self.closed and time.time() < end:
            self.fill(end - time.time())
        if len(self.buf) < n:
            return None
        b, self.buf = self.buf[:n], self.buf[n:]
        return b

    def frame(self, secs=2):
        h = self.take(2, secs)
        if not h:
            return None
        if h[0] & 2:
            r = self.take(7)
            return (h[0], self.take(struct.unpack('>Q', h[1:] + r)[0])) if r else None
        return h[0], self.take(h[1])

    def wait_close(self, secs):
        end = time.time() + secs
        while not self.closed and time.time() < end:
            self.fill(end - time.time())
            self.buf = b''
        return self.closed

    def end(self):
        self.s.close()


class Curve(Peer):
    """The client's side of the CURVE handshake, with every step open to abuse."""
    def __init__(self, server=None, secret=None, claim=None):
        super().__init__()
        self.S = server or target.server_key
        self.c = secret or rng.randbytes(32)
        self.C = claim or pub(self.c)
        self.Ct, self.ct = pair()
        self.n, self.ready, self.error = 1, False, None

    def greet(self, **k):
        self.send(greeting(**k))
        return self.take(64)

    def nonce(self):
        self.n += 1
        return struct.pack('>Q', self.n)

    def hello(self, pad=72, version=b'\1\0'):
        n = self.nonce()
        return b'\5HELLO' + version + bytes(pad) + self.Ct + n + box(bytes(64), b'CurveZMQHELLO---' + n, self.S, self.ct)

    def welcome(self, secs=2):
        f = self.frame(secs)
        if not f or not f[1] or f[1][:8] != b'\7WELCOME':
            return False
        w = unbox(f[1][24:], b'WELCOME-' + f[1][8:24], self.S, self.ct)
        if not w:
            return False
        self.St, self.cookie = w[:32], w[32:]
        return True

    def initiate(self, meta=None):
        vn, n = rng.randbytes(16), self.nonce()
        vouch = box(self.Ct + self.S, b'VOUCH---' + vn, self.St, self.c)
        if meta is None:
            meta = b'\x0bSocket-Type' + struct.pack('>I', 6) + b'DEALER' + b'\x08Identity' + bytes(4)
        return b'\x08INITIATE' + self.cookie + n + box(self.C + vn + vouch + meta, b'CurveZMQINITIATE' + n, self.St, self.ct)

    def answer(self, secs=2):
        f = self.frame(secs)
        if f and f[1] and f[1][:6] == b'\5READY':
            self.ready = unbox(f[1][14:], b'CurveZMQREADY---' + f[1][6:14], self.St, self.ct) is not None
        elif f and f[1] and f[1][:6] == b'\5ERROR':
            self.error = f[1][7:].decode('latin-1')
        return self.ready

    def full(self, meta=None):
        return bool(self.greet() and self.send(frame(self.hello())) and self.welcome() and
                    self.send(frame(self.initiate(meta))) and self.answer())

    def message(self, m, flags=0):
        n = self.nonce()
        return frame(b'\7MESSAGE' + n + box(bytes([flags]) + m, b'CurveZMQMESSAGEC' + n, self.St, self.ct), 0)

    def reply(self, secs=1.5):
        f = self.frame(secs)
        if f and f[1] and f[1][:8] == b'\7MESSAGE':
            return unbox(f[1][16:], b'CurveZMQMESSAGES' + f[1][8:16], self.St, self.ct)
        return None


cases = []


def case(need=''):
    def deco(f):
        cases.append((f.__name__, need, f))
        return f
    return deco


def vitals():
    if not target.pid:
        return 0, 0.0
    fds = len(os.listdir('/proc/%d/fd' % target.pid))
    rss = int(open('/proc/%d/statm' % target.pid).read().split()[1]) * os.sysconf('SC_PAGE_SIZE') / 1e6
    return fds, rss


def cpu():
    if not target.pid:
        return 0.0
    f = open('/proc/%d/stat' % target.pid).read().rsplit(')', 1)[1].split()
    return (int(f[11]) + int(f[12])) / os.sysconf('SC_CLK_TCK')


# Each case gives (let in?, peer or None, note).  Plain TCP first.
def shut(q, let_in=False, note=''):
    ok = q.wait_close(target.limit)
    return let_in, ok, q.got, note or ('' if ok else 'still open after %.0f s' % target.limit)


def sent(*parts, gap=0):
    q = Peer()
    for b in parts:
        if not q.send(b):
            break
        time.sleep(gap)
    return shut(q)


@case()
def silence():
    return sent()


@case()
def noise():
    return sent(rng.randbytes(65536))


@case()
def http():
    return sent(b'GET / HTTP/1.1\r\nHost: hub\r\n\r\n')


@case()
def tls():
    return sent(bytes.fromhex('160301020001') + rng.randbytes(507))


@case()
def half_greeting():
    return sent(greeting()[:30])


@case()
def dribble():
    q, end = Peer(), time.time() + target.limit
    for i, b in enumerate(greeting() + bytes(4096)):
        if not q.send(bytes([b])) or time.time() > end:
            break
        q.fill(0.05)
        if q.closed:
            break
    return False, q.closed, q.got, '' if q.closed else 'dribbled %d bytes in %.0f s and still open' % (i, target.limit)


@case()
def zmtp1():
    return sent(b'\1\0', frame(b'hello', 0))


@case()
def zmtp2():
    q = Peer()
    q.send(b'\xff' + bytes(8) + b'\x7f\x01\x05' + b'\0\0')
    q.send(frame(b'hello', 0))
    let = q.take(70, 1) is not None
    return shut(q, let)


def null_like(mech, cmd):
    q = Peer()
    q.send(greeting(mech))
    q.take(64)
    q.send(frame(cmd) + frame(b'hello', 0))
    f = q.frame(1)
    let = bool(f and f[1] and f[1][:6] in (b'\5READY', b'\x07WELCOM'))
    return shut(q, let)


@case()
def null_instead_of_curve():
    return null_like(b'NULL', b'\5READY\x0bSocket-Type' + struct.pack('>I', 6) + b'DEALER')


@case()
def plain_instead_of_curve():
    return null_like(b'PLAIN', b'\5HELLO\5admin\5admin')


@case()
def unknown_mechanism():
    return null_like(b'GSSAPI', b'\x08INITIATE')


@case()
def both_servers():
    q = Peer()
    q.send(greeting(server=1))
    return shut(q)


@case()
def giant_frame_before_login():
    q = Peer()
    q.send(greeting() + b'\x06' + struct.pack('>Q', 1 << 62) + b'\5HELLO' + bytes(4096))
    return shut(q)


@case()
def fat_frame_before_login():
    q, chunk, n = Peer(), bytes(1 << 20), 0
    q.send(greeting() + b'\x06' + struct.pack('>Q', 256 << 20))
    q.s.settimeout(3)
    while n < 64 and q.send(chunk):
        n += 1
    peak = vitals()[1]
    r = shut(q)
    if target.pid and peak > target.base_mb + target.rss_mb:
        return False, False, q.got, 'a stranger filled %.0f MB of memory' % (peak - target.base_mb)
    return r


@case()
def endless_small_frames():
    q, end = Peer(), time.time() + target.limit
    q.send(greeting())
    while time.time() < end and q.send(frame(b'\4PING') * 500):
        pass
    return shut(q)


@case()
def resets():
    for _ in range(min(300, target.flood)):
        q = Peer()
        q.s.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack('ii', 1, 0))
        q.send(greeting())
        q.end()
    return False, True, 0, ''


# With the hub's public key.
@case('server')
def wrong_server_key():
    q = Curve(server=pair()[0])
    q.greet()
    q.send(frame(q.hello()))
    return shut(q, q.welcome())


@case('server')
def unknown_client_key():
    q = Curve()
    q.full()
    return shut(q, q.ready, 'error ' + q.error if q.error else '')


@case('server')
def hello_and_no_more():
    q = Curve()
    q.greet()
    q.send(frame(q.hello()))
    q.welcome()
    return shut(q)


@case('server')
def hello_cut_short():
    q = Curve()
    q.greet()
    q.send(frame(q.hello()[:100]))
    return shut(q, q.welcome(1))


@case('server')
def hello_too_long():
    q = Curve()
    q.greet()
    q.send(frame(q.hello(pad=5000)))
    return shut(q, q.welcome(1))


@case('server')
def hello_twice():
    q = Curve()
    q.greet()
    q.send(frame(q.hello()))
    q.welcome()
    q.send(frame(q.hello()))
    return shut(q, q.welcome(1))


@case('server')
def message_before_login():
    q = Curve()
    q.greet()
    q.send(frame(q.hello()))
    q.welcome()
    let = q.send(q.message(b'hello')) and q.reply() is not None
    return shut(q, let)


@case('server')
def handshake_flipped():
    n = let = 0
    for _ in range(60):
        q = Curve(secret=target.client_secret if target.client_secret else None)
        if not q.greet():
            q.end()
            continue
        step, n = rng.randrange(2), n + 1
        h = bytearray(q.hello())
        if step == 0:
            h[rng.randrange(len(h))] ^= 1 << rng.randrange(8)
        q.send(frame(bytes(h)))
        if q.welcome(0.5):
            i = bytearray(q.initiate())
            i[rng.randrange(len(i))] ^= 1 << rng.randrange(8)
            q.send(frame(bytes(i)))
            let += q.answer(0.3)
        q.end()
    # one flipped bit in HELLO's padding or the like changes nothing that is signed; INITIATE is flipped too
    return let > 0, True, 0, '%d handshakes' % n


# With a key that is let in.
@case('client')
def control():
    q = Curve(secret=target.client_secret)
    ok = q.full()
    q.end()
    return False, ok, q.got, '' if ok else 'the rightful key was not let in: %s' % q.error


@case('client')
def stolen_public_key():
    q = Curve(claim=pub(target.client_secret))
    q.full()
    return shut(q, q.ready)


@case('client')
def replayed_login():
    q = Curve(secret=target.client_secret)
    q.greet()
    h = frame(q.hello())
    q.send(h)
    q.welcome()
    i = frame(q.initiate())
    q.send(i)
    q.answer()
    m = q.message(b'hello')
    q.send(m)
    q.reply()
    q.end()
    r = Curve(secret=target.client_secret)
    r.greet()
    r.send(h)
    f = r.frame()
    r.send(i + m)
    f = r.frame(1)
    let = bool(f and f[1] and f[1][:6] == b'\5READY')
    return shut(r, let)


@case('client')
def replayed_message():
    q = Curve(secret=target.client_secret)
    q.full()
    m = q.message(b'hello')
    q.send(m)
    first = q.reply()
    q.send(m)
    second = q.reply(1)
    q.end()
    return second is not None, first is not None, q.got, '' if first is not None else 'no answer to the first message'


@case('client')
def giant_message():
    q = Curve(secret=target.client_secret)
    q.full()
    q.send(b'\x02' + struct.pack('>Q', 1 << 40) + b'\7MESSAGE' + bytes(65536))
    return shut(q)


@case('client')
def malformed_metadata():
    for meta in (b'\xff', b'\x0bSocket-Type' + struct.pack('>I', 0xffffffff) + b'D', b'\0' + bytes(4), b'\x0bSocket-Type' + struct.pack('>I', 3) + b'PUB',
                 b'\xff' * 60000):
        q = Curve(secret=target.client_secret)
        q.full(meta)
        q.end()
    return False, True, 0, ''


@case('client')
def junk_messages():
    q = Curve(secret=target.client_secret)
    q.full()
    for _ in range(200):
        more = rng.randrange(4) == 0
        if not q.send(q.message(rng.randbytes(rng.choice([0, 1, 3, 17, 255, 4000])), int(more))):
            q.end()
            q = Curve(secret=target.client_secret)
            q.full()
    for _ in range(2000):
        if not q.send(q.message(b'', 1)):
            break
    q.end()
    return False, True, 0, ''


@case('revoked')
def revoked_key():
    q = Curve(secret=target.revoked_secret)
    q.full()
    return shut(q, q.ready, 'error ' + q.error if q.error else '')


@case('revoke')
def revoked_while_connected():
    q = Curve(secret=target.client_secret)
    q.full()
    q.send(q.message(b'hello'))
    first = q.reply()
    target.revoke()
    q.send(q.message(b'hello'))
    second = q.reply(2)
    q.end()
    return second is not None, first is not None, q.got, '' if first is not None else 'no answer before the revocation'


@case()
def flood():
    s, refused, c0, w0 = [], 0, cpu(), time.time()
    for _ in range(target.flood):
        try:
            c = socket.create_connection(('127.0.0.1', target.port), 1)
            c.sendall(greeting())
            s.append(c)
        except OSError:
            refused += 1
    t0 = time.time()
    ok = target.alive()
    took = time.time() - t0
    used, wall = cpu() - c0, time.time() - w0
    for c in s:
        c.close()
    return False, ok, 0, '%d connections, %d refused, a rightful client took %.2f s, the target used %.1f of %.1f s processor' % (
        len(s), refused, took, used, wall) + ('' if ok else ': no service')
