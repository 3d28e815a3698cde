"""What a disk may hold after the power went, built from the log of the shim (fault.h).

A sync makes durable what its file got before the sync began, a write through O_DSYNC is durable when it
returns. Of all later writes any part survives,
in any order, in pieces of a sector. After a sync that failed, what it covered stays in doubt for
good, even if a later one succeeds. Of the names, any prefix of the creations, renames and removals
survives: in mode `ext4` a sync of any file keeps all earlier ones, in mode `strict` (POSIX) only a
sync of a folder. With `garble`, so many percent of the pieces in flight hold neither old nor new
bytes, as SD cards do. With `whole` a write survives whole or not at all. A `deaf` disk heeds no sync: to try the drivers themselves."""
import os
import shutil
import struct

HEAD = struct.Struct('=BxxxIQqQII')  # struct change in fault.h
SOCKETS = ('knockbox.sock',)


def load(path):
    with open(path, 'rb') as f:
        raw = f.read()
    out, at = [], 0
    while at + HEAD.size <= len(raw):
        kind, _, ino, off, start, size, _ = HEAD.unpack_from(raw, at)
        out.append((chr(kind), ino, off, start, raw[at + HEAD.size:at + HEAD.size + size], at))
        at += HEAD.size + size
    return out


def note(path, text):
    """What the driver was promised, at this place of the log."""
    raw = text.encode()
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.write(fd, HEAD.pack(ord('N'), os.getpid(), 0, 0, 0, len(raw), 0) + raw)
    os.close(fd)


class File:
    """Bytes and size that are surely there; later changes in order: [kind, offset or size, bytes, state, place]."""

    def __init__(self, data=b''):
        self.data, self.size, self.ops = bytearray(data), len(data), []

    @staticmethod
    def put(data, off, piece):
        if len(data) < off:
            data.extend(bytes(off - len(data)))
        data[off:off + len(piece)] = piece

    def sync(self, start, good):
        for op in self.ops:
            if op[4] < start and op[3] == 'pending':
                op[3] = 'sure' if good else 'doubt'
        while self.ops and self.ops[0][3] == 'sure':
            kind, off, piece = self.ops.pop(0)[:3]
            if kind == 'W':
                self.put(self.data, off, piece)
                self.size = max(self.size, len(self.data))
            else:
                del self.data[off:]
                self.size = off

    def state(self, rng, model):
        """(bytes, size) of one possible state; without chance the newest."""
        data, size = bytearray(self.data), self.size
        share = rng.randrange(5) if rng else 4
        for kind, off, piece, state, _ in self.ops:
            sure = rng is None or state == 'sure'
            if kind == 'T':
                if sure or rng.randrange(4) < share:
                    del data[off:]
                    size = off
            elif sure:
                self.put(data, off, piece)
            elif model.whole:
                if rng.randrange(4) < share:
                    self.put(data, off, piece)
            else:
                self.pieces(data, off, piece, rng, share, model)
            size = max(size, len(data))
        return data, size

    def pieces(self, data, off, whole, rng, share, model):
        at = 0
        while at < len(whole):
            n = min(model.sector - (off + at) % model.sector, len(whole) - at)
            if rng.randrange(4) < share:
                piece = whole[at:at + n]
                if model.garble and rng.randrange(100) < model.garble:
                    piece = rng.randbytes(n)
                self.put(data, off + at, piece)
            at += n


class Model:
    def __init__(self, mode='ext4', sector=512, garble=0, deaf=False, whole=False):
        self.mode, self.sector, self.garble, self.deaf, self.whole = mode, sector, garble, deaf, whole

    def __str__(self):
        pieces = 'writes whole' if self.whole else '%d bytes' % self.sector
        return '%s, %s%s' % (self.mode, pieces, ', %d %% rubbish' % self.garble if self.garble else '')


class Disk:
    """The folder as it was (`base`), and then each change of the log by feed()."""

    def __init__(self, base, inodes, model):
        self.model, self.names, self.inodes = model, {}, {}
        for ino, name in inodes.items():
            path = os.path.join(base, name)
            f = 'dir'
            if not os.path.isdir(path):
                with open(path, 'rb') as h:
                    f = File(h.read())
            self.names[name] = self.inodes[ino] = f
        self.pending, self.notes = [], []

    @staticmethod
    def rename(names, kind, a, b, f):
        if kind in 'CK':
            names[a] = f
        elif kind in 'UD':
            names.pop(a, None)
        elif a in names:
            names[b] = names.pop(a)
            for p in [p for p in names if p.startswith(a + '/')]:
                names[b + p[len(a):]] = names.pop(p)

    def keep_names(self, start):
        while self.pending and self.pending[0][4] < start:
            self.rename(self.names, *self.pending.pop(0)[:4])

    def feed(self, change):
        kind, ino, off, start, data, at = change
        f = self.inodes.get(ino)
        if kind == 'N':
            self.notes.append(data.decode())
        elif kind in 'WMT' and isinstance(f, File):
            sure = kind == 'M' and not self.model.deaf
            f.ops.append(['T' if kind == 'T' else 'W', off, data, 'sure' if sure else 'pending', at])
        elif kind in 'SF' and not self.model.deaf:
            if isinstance(f, File):
                f.sync(start, kind == 'S')
            if kind == 'S' and (self.model.mode == 'ext4' or not isinstance(f, File)):
                self.keep_names(start)
        elif kind in 'CRUKD':
            a, _, b = os.fsdecode(data).partition('\0')
            if kind == 'C':
                self.inodes[ino] = File()
            elif kind == 'K':
                self.inodes[ino] = 'dir'
            self.pending.append((kind, a, b, self.inodes.get(ino), at))

    def build(self, rng, out, steady=None):
        """One possible state in the folder `out`; without chance the newest. What is below `steady` stands on a
        machine that kept its power: the newest."""
        def lives(name):
            return rng is None or (steady is not None and (name == steady or name.startswith(steady + '/')))
        shutil.rmtree(out, ignore_errors=True)
        os.makedirs(out)
        names, kept = dict(self.names), rng.randint(0, len(self.pending)) if rng else len(self.pending)
        for i, op in enumerate(self.pending):
            if i < kept or lives(op[1]):
                self.rename(names, *op[:4])
        for name in sorted(names):
            path, f = os.path.join(out, name), names[name]
            if f == 'dir':
                os.makedirs(path, 0o700, exist_ok=True)
                continue
            os.makedirs(os.path.dirname(path), 0o700, exist_ok=True)
            data, size = f.state(None if lives(name) else rng, self.model) if isinstance(f, File) else (b'', 0)
            with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), 'wb') as h:
                h.write(data)
                h.truncate(size)


class Recording:
    """A folder whose changes from now on go to a log, by programs that run with env()."""

    def __init__(self, town, folder):
        self.town, self.folder, self.log, self.base = town, folder, folder + '.changes', folder + '.base'
        shutil.rmtree(self.base, ignore_errors=True)
        shutil.copytree(folder, self.base, symlinks=True)
        self.inodes = {}
        for at, folders, files in os.walk(folder):
            for n in folders + files:
                p = os.path.join(at, n)
                self.inodes[os.lstat(p).st_ino] = os.path.relpath(p, folder)
        if os.path.exists(self.log):
            os.unlink(self.log)

    def env(self, rules=None):
        return self.town.faults(self.folder, rules=rules, log=self.log)

    def note(self, text):
        note(self.log, text)

    def missed(self):
        """Files that differ from what the log tells: the shim did not see a change. [] when none."""
        disk, out, missed = Disk(self.base, self.inodes, Model()), self.folder + '.all', []
        for change in load(self.log):
            disk.feed(change)
        disk.build(None, out)
        for x, y in ((out, self.folder), (self.folder, out)):
            for at, _, files in os.walk(x):
                for n in files:
                    p, q = os.path.join(at, n), os.path.join(y, os.path.relpath(os.path.join(at, n), x))
                    if n == 'lock.mdb' or n in SOCKETS or not os.path.isfile(p):
                        continue
                    if not os.path.isfile(q) or open(p, 'rb').read() != open(q, 'rb').read():
                        missed.append(os.path.relpath(p, x))
        shutil.rmtree(out)
        return sorted(set(missed))

    def states(self, n, rng, model, first=0, steady=None):
        """N possible states at random places of the log, from change `first` on: (place, folder, notes), each
        folder yours. `steady`: a folder within on a machine whose power stays."""
        changes = load(self.log)
        places = sorted(rng.randint(first, len(changes)) for _ in range(n))
        disk, at = Disk(self.base, self.inodes, model), 0
        for i, place in enumerate(places):
            while at < place:
                disk.feed(changes[at])
                at += 1
            out = '%s.state%d' % (self.folder, i)
            disk.build(rng, out, steady)
            yield place, out, list(disk.notes)
