"""The real programs under faults: starts them, waits for what they say, asks what they hold.

Shared by the drivers test_*.py. A driver is called with the folder of the programs and the one of
the shims, prints its seed, and ends with "N passed, N failed". It ends only processes that it
started, by their number, and waits for events."""
import argparse
import collections
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback

PATIENCE = 60  # seconds until something that must come is missed
TESTS = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def arguments(doc, **counts):
    """Command line of a driver: BIN SHIMS --seed S and one option for each count."""
    p = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument('bin')
    p.add_argument('shims')
    p.add_argument('--seed', type=int, default=int(os.environ.get('TEST_SEED', 20260303)))
    p.add_argument('--only', default='', help='parts of the driver, by commas')
    for name, n in counts.items():
        p.add_argument('--' + name, type=type(n), default=n)
    a = p.parse_args()
    print('seed %d' % a.seed, flush=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that folders and daemons go
    return a


class Tally:
    """Counts of a driver; a part is a function that adds what went wrong."""

    def __init__(self):
        self.passed = self.failed = self.shown = 0
        self.lock = threading.Lock()

    def right(self):
        with self.lock:
            self.passed += 1

    def wrong(self, words):
        with self.lock:
            self.failed += 1
            self.shown += 1
            if self.shown <= 12:
                print('  WRONG %s' % words, flush=True)

    def check(self, good, words):
        if good:
            self.right()
        else:
            self.wrong(words)
        return good

    def end(self):
        print('%d passed, %d failed' % (self.passed, self.failed))
        sys.exit(self.failed > 0 or self.passed == 0)


def run_parts(a, parts, t):
    """Each part under its name, with what it counted and how long it took."""
    for part in parts:
        name = part.__name__
        if a.only and name not in a.only.split(','):
            continue
        before, began, t.shown = (t.passed, t.failed), time.time(), 0
        try:
            part(a, t)
        except Trouble as e:
            t.wrong('%s: %s' % (name, e))
        except Exception:
            t.wrong('%s: %s' % (name, traceback.format_exc()))
        print('%s: %d right, %d wrong, %.1f s' % (name, t.passed - before[0], t.failed - before[1],
                                                  time.time() - began), flush=True)
    t.end()


class Trouble(Exception):
    """Something that must happen did not."""


class Town:
    """A folder for a hub and its cafés, on a disk in memory when there is one."""

    def __init__(self, a):
        self.bin, self.shims = os.path.abspath(a.bin), os.path.abspath(a.shims)
        fast = '/dev/shm' if os.path.isdir('/dev/shm') and os.access('/dev/shm', os.W_OK) else None
        self.place = tempfile.mkdtemp(prefix='knockbox-faults-', dir=fast)
        self.started = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        for d in self.started:
            d.kill()
        shutil.rmtree(self.place, ignore_errors=True)

    def path(self, *names):
        return os.path.join(self.place, *names)

    def env(self, **more):
        env = dict(os.environ, **more)
        env.pop('KNOCKBOX_AT', None)
        if 'LD_PRELOAD' in more:
            env['ASAN_OPTIONS'] = env.get('ASAN_OPTIONS', '') + ':verify_asan_link_order=0'
        return env

    def faults(self, folder, rules=None, quota=None, log=None, seed=None, alloc=False, state=None):
        """Environment for a program under the shim."""
        lib = os.path.join(self.shims, 'fault_alloc.so' if alloc else 'fault.so')
        env = dict(LD_PRELOAD=lib, FAULT_DIR=folder)
        for name, value in (('RULES', rules), ('QUOTA', quota), ('LOG', log), ('SEED', seed), ('STATE', state)):
            if value is not None:
                env['FAULT_' + name] = str(value)
        return env

    def run(self, program, *words, env=None, text=None, patience=PATIENCE, raw=False, prefix=()):
        """To its end: (status, out, err); the status is -N after signal N, 'hung' after PATIENCE.

        `raw`: out and err are bytes. `prefix` is put before the command, which must become it: nsenter."""
        show = (lambda x: x) if raw else (lambda x: x.decode(errors='replace'))
        p = subprocess.Popen([*prefix, os.path.join(self.bin, program), *words], env=self.env(**(env or {})),
                             stdin=subprocess.PIPE if text is not None else subprocess.DEVNULL,
                             stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        try:
            out, err = p.communicate(text.encode() if text is not None else None, timeout=patience)
            return p.returncode, show(out), show(err)
        except subprocess.TimeoutExpired:
            p.kill()
            out, err = p.communicate()
            return 'hung', show(out), show(err)

    def spawn(self, program, *words, env=None):
        """Started and left alone, its words with it; yours to end."""
        return subprocess.Popen([os.path.join(self.bin, program), *words], env=self.env(**(env or {})),
                                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def must(self, program, *words, **more):
        status, out, err = self.run(program, *words, **more)
        if status != 0:
            raise Trouble('%s %s: %s %s' % (program, ' '.join(words), status, err.strip()[-300:]))
        return out

    def start(self, program, folder, env=None, wait=True, prefix=(), files=None):
        d = Daemon(self, program, folder, env, files, prefix=prefix)
        self.started.append(d)
        if wait:
            d.wait_ready()
        return d

    def hub(self, name='hub', listen='tcp://127.0.0.1:0'):
        folder = self.path(name)
        self.must('knockbox-hub', 'init', folder, '--listen', listen)
        return folder

    def fixed_hub(self, name='hub'):
        """A hub that keeps its port over restarts."""
        folder = self.path(name)
        self.must('knockbox-hub', 'init', folder)
        return folder

    def month_hub(self):
        """A hub that holds the worked month of tests/data/example-month, ended."""
        folder = self.hub()
        d = self.start('knockbox-hub', folder)
        for part in ('catalogue', 'records'):
            self.must('knockbox', 'import', os.path.join(TESTS, 'data/example-month', part + '.jsonl'), '--at', folder)
        d.end()
        return folder

    def lone_cafe(self):
        """A café, quayside, whose hub is away."""
        hub = self.hub('away')
        d = self.start('knockbox-hub', hub)
        cafe = self.join(hub, 'quayside')
        d.kill()
        return cafe

    def golden_cafe(self):
        """A café with the store of the first release, tests/golden/v1."""
        cafe = self.lone_cafe()
        os.mkdir(os.path.join(cafe, 'store'), 0o700)
        shutil.copy(os.path.join(TESTS, 'golden/v1/store/data.mdb'), os.path.join(cafe, 'store', 'data.mdb'))
        return cafe

    def restored(self, hub):
        """A folder with the hub's records and keys, and no books yet: its first start folds them, as that of
        a program with another form of the books does."""
        new, file, keys = hub + '.restored', hub + '.backup', hub + '.keys'
        self.must('knockbox-hub', 'backup', hub, file, '--keys', keys)
        self.must('knockbox-hub', 'restore', file, new, '--keys', keys)
        return new

    def join(self, hub, name, connect=None, folder=None, prefix=()):
        """A café of a hub that runs; the site is `name`."""
        folder = self.path(folder or name)
        code = self.must('knockbox-hub', 'enrol', hub, name).strip()
        more = ['--connect', connect] if connect else []
        self.must('knockbox-cafe', 'join', folder, code, *more, prefix=prefix)
        return folder

    def note(self, folder, text, env=None, patience=PATIENCE):
        """One record by the client: (status, what it printed or said)."""
        status, out, err = self.run('knockbox', 'log', 'note', 'text=' + text, '--at', folder, '--json',
                                    env=env, patience=patience)
        return (0, json.loads(out)) if status == 0 else (status, err)

    def export(self, folder):
        out = self.must('knockbox', 'export', '--at', folder)
        return [json.loads(line) for line in out.splitlines()]

    def status(self, folder):
        return json.loads(self.must('knockbox', 'status', '--at', folder, '--json'))['sites']


class Daemon:
    """A daemon of ours; its words go to a file beside its folder."""

    def __init__(self, town, program, folder, env=None, files=None, before=None, prefix=()):
        """`files` descriptors at most; `before` is called in the child before the program."""
        self.town, self.program, self.folder = town, program, folder
        self.log = folder.rstrip('/') + '.log'
        with open(self.log, 'ab') as log:
            self.begin = log.tell()
            limit = ['prlimit', '--nofile=%d' % files] if files else []
            self.p = subprocess.Popen([*prefix, *limit, os.path.join(town.bin, program), 'run', folder], env=town.env(**(env or {})),
                                      stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=log, preexec_fn=before)
        self.born = time.monotonic()
        self.ready_s = None

    def said(self):
        with open(self.log, 'rb') as f:
            f.seek(self.begin)
            return f.read().decode(errors='replace')

    def wait_ready(self):
        """Until it says ready; Trouble when it ends before."""
        if not self.ready_or_ended():
            raise Trouble('%s ended with %s: %s' % (self.program, self.p.returncode, self.said().strip()[-300:]))

    def ready_or_ended(self):
        if not until(lambda: '\nready\n' in '\n' + self.said() or self.p.poll() is not None, step=0.001):
            raise Trouble('%s neither ready nor ended: %s' % (self.program, self.said().strip()[-300:]))
        if '\nready\n' not in '\n' + self.said():
            return False
        self.ready_s = time.monotonic() - self.born
        return True

    def kill(self):
        if self.p.poll() is None:
            self.p.kill()
            self.p.wait()

    def end(self):
        """SIGTERM; the exit status."""
        if self.p.poll() is None:
            self.p.send_signal(signal.SIGTERM)
        return self.wait()

    def wait(self):
        try:
            return self.p.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            self.kill()
            raise Trouble('%s does not end: %s' % (self.program, self.said().strip()[-300:]))

    def runs(self):
        return self.p.poll() is None

    def anon_mb(self):
        """Its own memory; pages of the store, which the kernel takes back, are not in it."""
        with open('/proc/%d/status' % self.p.pid) as f:
            return next(int(line.split()[1]) for line in f if line.startswith('RssAnon')) / 1024

    def cpu_s(self):
        with open('/proc/%d/stat' % self.p.pid) as f:
            word = f.read().rsplit(')', 1)[1].split()
        return (int(word[11]) + int(word[12])) / os.sysconf('SC_CLK_TCK')


class Clock:
    """A wall clock of its own for one machine."""

    def __init__(self, town, name):
        self.file = town.path(name + '.clock')
        self.env = dict(LD_PRELOAD=os.path.join(town.shims, 'clock.so'), CLOCK_FILE=self.file)
        self.set('0')

    def set(self, what):
        with open(self.file + '.new', 'w') as f:
            f.write(str(what))
        os.rename(self.file + '.new', self.file)


def until(what, patience=PATIENCE, step=0.02):
    """Asks again until it is so; False: it never was."""
    end = time.monotonic() + patience
    while not what():
        if time.monotonic() > end:
            return False
        time.sleep(step)
    return True


class Writer(threading.Thread):
    """Writes notes through the client until it is told to stop; `acked` is what it was promised."""

    def __init__(self, town, folder, word, most=None, env=None):
        super().__init__(daemon=True)
        self.town, self.folder, self.word, self.most, self.env = town, folder, word, most, env
        self.acked, self.tried, self.stopping = [], 0, False
        self.start()

    def run(self):
        while not self.stopping and (self.most is None or self.tried < self.most):
            self.tried += 1
            text = '%s-%d' % (self.word, self.tried)
            status, said = self.town.note(self.folder, text, env=self.env)
            if status == 0:
                self.acked.append(dict(said, text=text))

    def stop(self):
        self.stopping = True
        self.join(PATIENCE)
        return self.acked


def compare(acked, lines, site=None):
    """What is wrong between what was promised and what an export holds; [] when nothing is.

    Each promised record is there once, with its place in the chain, its hash and its text; each log
    is without a gap from 1 on."""
    wrong, by_id = [], collections.defaultdict(list)
    logs = collections.defaultdict(list)
    for line in lines:
        by_id[line['id']].append(line)
        logs[line['site'], line['epoch']].append(line['seq'])
    for want in acked:
        got = by_id.get(want['id'], [])
        if len(got) != 1:
            wrong.append('%s is there %d times' % (want.get('text', want['id']), len(got)))
            continue
        for name in ('site', 'epoch', 'seq', 'hash', 'text'):
            if name in want and want[name] != got[0].get(name):
                wrong.append('%s: %s is %r, was %r' % (want.get('text', want['id']), name, got[0].get(name), want[name]))
    for (name, epoch), seqs in logs.items():
        if (site is None or name == site) and sorted(seqs) != list(range(1, len(seqs) + 1)):
            wrong.append('the log of %s, epoch %d has a gap' % (name, epoch))
    return wrong


def whole(town, program, folder, acked, site=None):
    """Starts without help, holds every promised record, chains fit, takes the next; [] when so. `site`: whose log
    alone is without gaps (others are there in part)."""
    d = Daemon(town, program, folder)
    try:
        if not d.ready_or_ended():
            return ['does not start: %s' % d.said().strip()[-200:]]
        wrong = compare(acked, town.export(folder), site)
        status, out, err = town.run('knockbox', 'verify', '--at', folder, '--json')
        if status != 0 or json.loads(out)['broken'] is not None:
            wrong.append('verify: %s %s %s' % (status, out.strip()[-200:], err.strip()[-200:]))
        status, said = town.note(folder, 'the next')
        if status != 0:
            wrong.append('the next record: %s %s' % (status, said.strip()[-200:]))
        if not d.runs():
            wrong.append('ended by itself: %s' % d.said().strip()[-200:])
        return wrong
    except Trouble as e:
        return [str(e)]
    finally:
        d.kill()


def held(town, program, folder):
    """What a folder holds, asked of a daemon on it: (its records, a hub's report of March)."""
    d = town.start(program, folder)
    try:
        report = 'report 2026-03 --json' if program == 'knockbox-hub' else 'stock --json'
        return town.export(folder), town.must('knockbox', *report.split(), '--at', folder)
    finally:
        d.end()


def copy(source, target):
    """A folder as it is; its sockets and the ballast, which is made again, are left out."""
    def left_out(at, names):
        paths = {n: os.path.join(at, n) for n in names}
        return [n for n, p in paths.items() if n == 'ballast' or not (os.path.isdir(p) or os.path.isfile(p))]
    shutil.rmtree(target, ignore_errors=True)
    shutil.copytree(source, target, symlinks=True, ignore=left_out)


def randomly(seed, *names):
    return random.Random('%d.%s' % (seed, '.'.join(str(n) for n in names)))
