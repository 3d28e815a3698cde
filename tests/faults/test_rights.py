#!/usr/bin/env python3
"""Who of this machine may what, and where secrets do not stand.

`users` asks every word of `knockbox help` as the daemon's own user, a member of its group, somebody
else and root. `sockets` lays things in the place of the people's socket. `descriptors` starts daemons
with what a careless parent leaves. `modes` looks at every file, and opens key files to others.
`secrets` greps for keys, codes and passwords in all that is printed, logged, exported and backed up,
in argv and environ, and in the memory of the running programs. Needs root; without, it says so."""
import base64
import collections
import contextlib
import glob
import json
import os
import re
import shutil
import socket
import stat
import struct
import subprocess
import tempfile
import threading
import time

import kit

OWNER, GROUP, OTHER = 'daemon', 'games', 'bin'  # users and groups that every Debian has
# Arguments with which a word gets as far as the daemon. A word that is not here is asked as it is.
ARGUMENTS = {
    'tub': ['--gross', '3.1kg', '--box', '180g', '--knock', '00:01', '--coffee', 'dawn', '--origin', 'filter', '--place', 'p', '--by', 'RK'], 'close': ['--nothing-kept', '--by', 'RK'], 'log': ['note', 'text=x'],
    'import': ['/dev/null'], 'plan': ['show'], 'report': ['2026-03'], 'trace': ['B-1'], 'recipe': ['show', 'B-1'],
    'calc': ['ethanol', 'abv_pct=40'], 'forecast': [], 'outbox': [], 'period': [],
}


def may_be_others(t):
    if os.geteuid() == 0 and shutil.which('setpriv'):
        return True
    print('skipped: only root can be other users')
    t.right()
    return False


class Shared(kit.Town):
    """A town whose programs and folders other users reach."""

    def __init__(self, a):
        super().__init__(a)
        os.chmod(self.place, 0o755)
        self.made_by_root = self.bin
        self.bin = tempfile.mkdtemp(prefix='knockbox-faults-', dir='/tmp')  # a disk in memory may forbid programs
        os.chmod(self.bin, 0o755)
        for name in os.listdir(self.made_by_root):
            if name.startswith('knockbox'):
                shutil.copy2(os.path.join(self.made_by_root, name), self.bin)

    def __exit__(self, *_):
        super().__exit__()
        shutil.rmtree(self.bin, ignore_errors=True)

    def folder(self, name, user=OWNER, group=GROUP):
        path = self.path(name)
        os.mkdir(path, 0o700)
        shutil.chown(path, user, group)
        return path

    def run_as(self, user, group, program, *words, **more):
        argv = ['--reuid=' + user, '--regid=' + group, '--clear-groups', os.path.join(self.bin, program), *words]
        env = {k: v for k, v in os.environ.items() if not k.endswith('SAN_OPTIONS')}
        p = subprocess.run(['setpriv'] + argv, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                           timeout=kit.PATIENCE, cwd='/', **more)
        return p.returncode, p.stdout.decode(errors='replace'), p.stderr.decode(errors='replace')


def as_user(user, group):
    """For Daemon(before=...): becomes that user, without groups."""
    import grp
    import pwd
    uid, gid = pwd.getpwnam(user).pw_uid, grp.getgrnam(group).gr_gid

    def become():
        os.setgroups([])
        os.setresgid(gid, gid, gid)
        os.setresuid(uid, uid, uid)
    return become


def owned_hub(town, name='hub', lines=()):
    """A hub of user daemon, that runs; members of its group are operators. (daemon, folder, where to ask)"""
    hub = town.folder(name)
    status, _, err = town.run_as(OWNER, GROUP, 'knockbox-hub', 'init', hub, '--listen', 'tcp://127.0.0.1:0')
    if status != 0:
        raise kit.Trouble('init: %s' % err)
    at = town.path(name + '-run')
    os.mkdir(at, 0o750)
    shutil.chown(at, OWNER, GROUP)
    with open(hub + '/hub.conf', 'a') as f:
        f.write('local.socket %s/knockbox.sock\nrole.group operator %s\n' % (at, GROUP))
    return start_owned(town, hub), hub, at


def start_owned(town, hub, ready=True, **more):
    d = kit.Daemon(town, 'knockbox-hub', hub, dict(ASAN_OPTIONS='', UBSAN_OPTIONS=''), before=as_user(OWNER, GROUP), **more)
    town.started.append(d)
    if ready:
        d.wait_ready()
    return d


def words_of(town):
    """The program's own list of words."""
    out = town.must('knockbox', 'help')
    return re.findall(r'^  ([a-z-]+) +\S', out[:out.index('Every word')], re.M)


def users(a, t):
    if not may_be_others(t):
        return
    with Shared(a) as town:
        d, hub, at = owned_hub(town)
        who = {'owner': (OWNER, GROUP), 'group': (OTHER, GROUP), 'other': (OTHER, 'mail'), 'root': ('root', 'root')}
        asked, alone = 0, []
        for word in words_of(town):
            argv = [word] + ARGUMENTS.get(word, [])
            nowhere = town.run_as('root', 'root', 'knockbox', *argv, '--at', town.path('nobody'))[0]
            for name, (user, group) in who.items():
                status, out, err = town.run_as(user, group, 'knockbox', *argv, '--at', at)
                asked += 1
                if nowhere not in (4, 5):  # needs no daemon
                    t.check(status == nowhere == 0, 'knockbox %s: %s: teach this test its arguments' % (word, err[-200:]))
                    alone.append(word)
                elif name == 'other':
                    t.check(status == 5 and not out, 'other may %s: %s %s' % (word, status, out[-200:]))
                else:
                    t.check(status in (0, 1, 3), '%s may not %s: %s %s' % (name, word, status, err[-200:]))
        before = town.must('knockbox', 'export', '--at', at)
        os.chmod(at, 0o755)
        os.chmod(at + '/knockbox.sock', 0o666)
        for word in words_of(town):
            status, out, err = town.run_as(OTHER, 'mail', 'knockbox', word, *ARGUMENTS.get(word, []), '--at', at)
            asked += 1
            t.check(word in alone or (status == 5 and 'no role' in err and not out), 'other who reaches the socket may %s: %s %s' %
                    (word, status, err[-200:]))
        t.check(town.must('knockbox', 'export', '--at', at) == before, 'somebody else wrote')
        t.check(d.end() == 0, 'the hub ends with %s' % d.p.returncode)
        print('users: %d commands asked; without a daemon: %s' % (asked, ' '.join(sorted(set(alone)))))


def sockets(a, t):
    """What lies in the socket's place when the hub starts gives way, or the hub refuses in words."""
    if not may_be_others(t):
        return
    with Shared(a) as town:
        d, hub, at = owned_hub(town)
        path, kept = at + '/knockbox.sock', town.path('kept')
        t.check(stat.S_IMODE(os.stat(path).st_mode) == 0o660, 'the socket has mode %o' % os.stat(path).st_mode)
        with open(kept, 'w') as f:
            f.write('as it was')
        d.kill()  # leaves its socket
        t.check(os.path.exists(path), 'no stale socket is left to try')
        squatter = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        for what, lay in (('a stale socket', lambda: None), ('a link', lambda: os.symlink(kept, path)),
                          ('a link to nowhere', lambda: os.symlink(town.path('nothing'), path)),
                          ('a file', lambda: open(path, 'w').close()), ('a pipe', lambda: os.mkfifo(path)),
                          ('a hard link', lambda: os.link(kept, path)),
                          ('a socket of somebody else', lambda: (squatter.bind(path), squatter.listen(1)))):
            if what != 'a stale socket':
                with contextlib.suppress(FileNotFoundError):
                    os.unlink(path)
                lay()
            d = start_owned(town, hub)
            status, _, err = town.run_as(OTHER, GROUP, 'knockbox', 'status', '--at', at)
            t.check(status == 0 and stat.S_ISSOCK(os.lstat(path).st_mode), '%s in its place: %s %s' % (what, status, err))
            t.check(d.end() == 0 and not os.path.lexists(path), '%s: ends with %s' % (what, d.p.returncode))
        squatter.close()
        with open(kept) as f:
            t.check(f.read() == 'as it was', 'the hub wrote through a link')
        os.mkdir(path)
        refuses(t, town, hub, 'a folder in its place')
        os.rmdir(path)
        os.chmod(at, 0o1777)  # as /tmp: what others lay there cannot be taken away
        shutil.chown(at, 'root', 'root')
        squatter = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        squatter.bind(path)
        refuses(t, town, hub, 'a socket of root in a folder of everybody')
        squatter.close()


def refuses(t, town, hub, what):
    d = start_owned(town, hub, ready=False)
    t.check(not d.ready_or_ended() and d.p.returncode in (1, 3) and d.said().strip(), '%s: %s %s' % (what, d.p.returncode, d.said()[-200:]))
    d.kill()


def descriptors(a, t):
    """A parent that closed the first three, or left many open: nothing of it harms, nothing is handed on."""
    with kit.Town(a) as town:
        hub = town.hub()
        secret = os.open(town.path('secret'), os.O_CREAT | os.O_RDWR)
        left = []

        def leave():
            for fd in range(40, 60):
                os.dup2(secret, fd)
        def shut():
            for fd in (0, 1):
                os.close(fd)
        for what, before in (('twenty left open', leave), ('first two closed', shut)):
            p = subprocess.Popen([os.path.join(town.bin, 'knockbox-hub'), 'run', hub], preexec_fn=before, close_fds=False,
                                 env=town.env(), stderr=open(town.path('log'), 'ab'))
            ready = kit.until(lambda: b'ready' in open(town.path('log'), 'rb').read() or p.poll() is not None)
            t.check(ready and p.poll() is None and town.note(hub, what)[0] == 0, '%s: does not run' % what)
            for fd in range(40, 60):
                with contextlib.suppress(OSError):
                    with open('/proc/%d/fdinfo/%d' % (p.pid, fd)) as f:
                        flags = int(re.search(r'flags:\s*(\d+)', f.read()).group(1), 8)
                    if os.readlink('/proc/%d/fd/%d' % (p.pid, fd)).endswith('/secret') and not flags & os.O_CLOEXEC:
                        left.append(fd)
            t.check(not left, '%s: %s would be handed on to helpers' % (what, left))
            p.terminate()
            t.check(p.wait(kit.PATIENCE) == 0, '%s: ends with %s' % (what, p.returncode))
            os.unlink(town.path('log'))
        t.check(os.fstat(secret).st_size == 0, 'something was written to a descriptor of the parent')
        os.close(secret)
        wrong = kit.whole(town, 'knockbox-hub', hub, [])
        t.check(not wrong, 'afterwards: %s' % wrong)


def modes(a, t):
    """Files 0600, the socket 0660, folders 0700, whatever the umask was; keys that others may read are refused."""
    with kit.Town(a) as town:
        old = os.umask(0)
        try:
            hub = town.hub()
            h = town.start('knockbox-hub', hub)
            cafe = town.join(hub, 'quayside')
            c = town.start('knockbox-cafe', cafe)
            key = town.path('desk.key')
            code = town.must('knockbox-hub', 'enrol', hub, 'kitchen', '--person', 'RK', '--role', 'office').strip()
            town.must('knockbox-link', 'join', code, key)
            town.must('knockbox-hub', 'backup', hub, town.path('one.backup'), '--keys', town.path('hub.keys'))
            town.note(cafe, 'x')
        finally:
            os.umask(old)
        for folder in (hub, cafe):
            for at, folders, files in os.walk(folder):
                for name in folders + files:
                    st = os.lstat(os.path.join(at, name))
                    want = 0o700 if stat.S_ISDIR(st.st_mode) else 0o660 if stat.S_ISSOCK(st.st_mode) else 0o600
                    t.check(stat.S_IMODE(st.st_mode) == want, '%s/%s has mode %o' % (at, name, st.st_mode))
        for path in (key, town.path('one.backup'), town.path('hub.keys')):
            t.check(stat.S_IMODE(os.stat(path).st_mode) == 0o600, '%s has mode %o' % (path, os.stat(path).st_mode))
        endpoint = open(hub + '/endpoint').read().strip()
        env = dict(PATH=town.bin + ':' + os.environ['PATH'])
        os.chmod(key, 0o644)
        status, _, err = town.run('knockbox', 'status', '--at', endpoint, '--key', key, env=env)
        t.check(status == 5 and 'others may read' in err, 'a desk key of mode 0644: %s %s' % (status, err))
        c.end()
        h.end()
        for program, path in (('knockbox-hub', hub + '/hub.key'), ('knockbox-cafe', cafe + '/cafe.key')):
            for mode in (0o644, 0o640, 0o604):
                os.chmod(path, mode)
                d = kit.Daemon(town, program, os.path.dirname(path))
                town.started.append(d)
                t.check(not d.ready_or_ended() and 'others may read' in d.said(), '%s of mode %o: %s' % (path, mode, d.said()[-200:]))
                d.kill()
            os.chmod(path, 0o600)


def cores(a, t):
    """No core file, and no look into a daemon, not even for its own user."""
    if not may_be_others(t):
        return
    with Shared(a) as town:
        d, hub, at = owned_hub(town)
        with open('/proc/%d/limits' % d.p.pid) as f:
            t.check(re.search(r'Max core file size +0 +0 ', f.read()), 'cores may be written')
        for name in ('mem', 'environ', 'maps'):
            for user in (OWNER, OTHER):
                path = '/proc/%d/%s' % (d.p.pid, name)
                p = subprocess.run(['setpriv', '--reuid=' + user, '--regid=' + GROUP, '--clear-groups', 'head', '-c', '1', path],
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)
                t.check(p.returncode != 0 and b'Permission denied' in p.stderr, '%s reads %s: %s' % (user, path, p.stderr))
        t.check(d.end() == 0, 'the hub ends with %s' % d.p.returncode)


# ---------------------------------------------------------------- secrets

Z85 = '0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ.-:+=^!/*?&<>()[]{}@%$#'


def z85(key):
    out = ''
    for (n,) in struct.iter_unpack('>I', key):
        out += ''.join(Z85[n // 85 ** k % 85] for k in range(4, -1, -1))
    return out


def forms(key):
    """A key as bytes and in every writing."""
    return {'bytes': key, 'hex': key.hex().encode(), 'HEX': key.hex().upper().encode(), 'Z85': z85(key).encode(),
            'base64': base64.b64encode(key).rstrip(b'=')}


def secret_of(path):
    with open(path) as f:
        return bytes.fromhex(dict(line.split() for line in f if ' ' in line)['secret'])


class Search:
    """What must be nowhere: name to its writings."""

    def __init__(self):
        self.wanted = {}

    def key(self, name, path):
        for form, text in forms(secret_of(path)).items():
            self.wanted[name + ' as ' + form] = text

    def text(self, name, text):
        self.wanted[name] = text.encode()
        if '-' in text:
            self.wanted[name + ' without hyphens'] = text.replace('-', '').encode()

    def find(self, data):
        return sorted(name for name, text in self.wanted.items() if text in data)


def memory(pid):
    """All that a process may write: its heap, stacks, data. None when this machine lets nobody look."""
    out = []
    try:
        with open('/proc/%d/maps' % pid) as maps, open('/proc/%d/mem' % pid, 'rb') as mem:
            for line in maps:
                area, rights, rest = line.split(None, 2)
                if 'w' not in rights or 'data.mdb' in rest:
                    continue
                low, high = (int(x, 16) for x in area.split('-'))
                with contextlib.suppress(OSError):
                    mem.seek(low)
                    out.append(mem.read(high - low))
    except (PermissionError, ProcessLookupError):
        return None
    return b''.join(out)


def proc(pid, name):
    with contextlib.suppress(OSError):
        with open('/proc/%d/%s' % (pid, name), 'rb') as f:
            return f.read()
    return b''


class Watch(threading.Thread):
    """argv and environ of every process of the town, as they come and go."""

    def __init__(self, town):
        super().__init__(daemon=True)
        self.town, self.seen, self.stopping = town, set(), False
        self.start()

    def run(self):
        while not self.stopping:
            for pid in filter(str.isdigit, os.listdir('/proc')):
                line = proc(int(pid), 'cmdline')
                if self.town.place.encode() in line and b'join' not in line:  # who types a code has it in argv
                    self.seen.add(line + b'\0' + proc(int(pid), 'environ'))
            time.sleep(0.005)

    def stop(self):
        self.stopping = True
        self.join()
        return b'\n'.join(self.seen)


def all_failed(outbox):
    """Each delivery was tried and has come back: no password is on its way."""
    jobs = json.loads(outbox)['jobs']
    return jobs and all(job['attempts'] > 0 and job['said'] and not job['under_way'] for job in jobs)


def secrets(a, t):
    with kit.Town(a) as town:
        hub = town.hub()
        search, said = Search(), []

        def tell(program, *words, **more):
            status, out, err = town.run(program, *words, **more)
            said.append((program + ' ' + ' '.join(words), (out + err).encode()))
            return out.strip()
        password = 'pw-%016x' % kit.randomly(a.seed, 'password').getrandbits(64)
        with open(hub + '/office.secret', 'w') as f:
            f.write('user kitchen\npassword %s\n' % password)
        os.chmod(hub + '/office.secret', 0o600)
        with open(hub + '/delivery.conf', 'w') as f:
            f.write('target office\nurl smtp://127.0.0.1:9\nfrom a@saltmere.example\nto b@saltmere.example\ncredentials office.secret\n')
        watch = Watch(town)
        h = town.start('knockbox-hub', hub)
        code = town.must('knockbox-hub', 'enrol', hub, 'quayside').strip()
        cafe, key = town.path('quayside'), town.path('desk.key')
        tell('knockbox-cafe', 'join', cafe, code)
        c = town.start('knockbox-cafe', cafe)
        desk_code = town.must('knockbox-hub', 'enrol', hub, 'kitchen', '--person', 'RK', '--role', 'operator').strip()
        tell('knockbox-link', 'join', desk_code, key)
        search.key('the hub\'s key', hub + '/hub.key')
        search.key('the café\'s first key', cafe + '/cafe.key')
        search.key('the desk\'s key', key)
        search.text('the café\'s code', code)
        search.text('the desk\'s code', desk_code)
        search.text('the password', password)
        endpoint = open(hub + '/endpoint').read().strip()
        env = dict(PATH=town.bin + ':' + os.environ['PATH'])
        tell('knockbox-cafe', 'renew', cafe)
        kit.until(lambda: not os.path.exists(cafe + '/cafe.key.next'))
        search.key('the café\'s second key', cafe + '/cafe.key')
        for at in (['--at', hub], ['--at', cafe], ['--at', endpoint, '--key', key]):
            for words in (['status'], ['status', '--json'], ['log', 'note', 'text=x'], ['export'], ['report', '2026-03'],
                          ['report', '2026-03', '--format', 'html'], ['verify', '--json'], ['report', '2026-03', '--send', 'office'],
                          ['outbox', '--json'], ['trace', 'x'], ['freezer', '--csv']):
                tell('knockbox', *words, *at, env=env)
        for words in (['check', hub], ['keys', hub], ['revoke', hub, 'nobody'], ['backup', hub, town.path('b')],
                      ['verify-backup', town.path('b')], ['enrol', hub, '<bad>']):
            tell('knockbox-hub', *words)
        tell('knockbox-cafe', 'check', cafe)
        tell('knockbox-cafe', 'join', cafe, code)  # used
        tell('knockbox-link', 'join', code[:-1] + 'x', town.path('k2'))
        t.check(kit.until(lambda: all_failed(tell('knockbox', 'outbox', '--json', '--at', hub)), step=0.2), 'nothing was sent')
        images(a, t, town, search, hub, endpoint, key, h, c)
        argv = watch.stop()
        c.end()
        h.end()
        for what, data in said + [('argv and environ', argv), ('the hub\'s log', h.said().encode()), ('the café\'s log', c.said().encode())]:
            t.check(not search.find(data), '%s holds %s' % (what, search.find(data)))
        t.check(len(argv) > 1000, 'hardly a process was seen')
        for path in [town.path('b')] + glob.glob(hub + '/**', recursive=True) + glob.glob(cafe + '/**', recursive=True):
            if os.path.isfile(path) and not path.endswith(('.key', '.secret')):
                with open(path, 'rb') as f:
                    t.check(not (found := search.find(f.read())), '%s holds %s' % (path, found))
        print('secrets: %d writings sought in %d prints' % (len(search.wanted), len(said)))


# Of whom a running program must hold the key, as bytes: libzmq needs it for each new connection. What it
# gives back to the heap it does not wipe, so a café that renewed its key may still hold the one before,
# which is out.
HELD = {'hub': ["the hub's key as bytes"], 'café': ["the café's second key as bytes", "the café's first key as bytes"], 'link': ["the desk's key as bytes"]}


def images(a, t, town, search, hub, endpoint, key, h, c):
    """The memory of hub, café and link after their start: their own key for libzmq, nothing else."""
    mine, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    link = subprocess.Popen(['bash', '-c', 'exec "$0" "$@" 3<&%d' % theirs.fileno(), os.path.join(town.bin, 'knockbox-link'), endpoint, key],
                            env=town.env(), pass_fds=[theirs.fileno()])
    try:
        theirs.close()
        time.sleep(0.5)
        for name, pid in (('hub', h.p.pid), ('café', c.p.pid), ('link', link.pid)):
            data = memory(pid)
            if data is None:
                print('skipped: this machine lets nobody read the memory of the %s' % name)
                continue
            found = search.find(data)
            t.check(set(found) <= set(HELD[name]), 'the memory of the %s holds %s' % (name, found))
            counts = collections.Counter({n: data.count(search.wanted[n]) for n in found})
            print('memory of the %s: %d KiB looked at, %s' % (name, len(data) >> 10, dict(counts) or 'no secret'))
    finally:
        mine.close()
        t.check(link.wait(kit.PATIENCE) == 0, 'knockbox-link ends with %s' % link.returncode)


if __name__ == '__main__':
    arguments = kit.arguments(__doc__)
    kit.run_parts(arguments, [users, sockets, descriptors, modes, cores, secrets], kit.Tally())
