#!/usr/bin/env python3
"""The power goes at any moment: every state that a disk may then hold is whole.

States are built by disk.py from the changes that the real programs made; the real program starts on
each, holds every record that was promised before, and takes the next."""
import concurrent.futures
import json
import os
import shutil
import threading

import disk
import kit

MODELS = [disk.Model(mode, sector) for mode in ('ext4', 'strict') for sector in (512, 4096)]
MODELS.append(disk.Model('strict', whole=True))


def write_notes(town, folder, recording, n, word='note'):
    """Notes through the client; what is promised goes to the log at the moment it is."""
    for i in range(n):
        text = '%s-%d' % (word, i)
        status, said = town.note(folder, text)
        if status == 0:
            recording.note(json.dumps(dict(said, text=text)))


def each_state(t, recording, n, rng, model, judge, what, **more):
    """judge(folder, promised) gives what is wrong; two at a time."""
    gate = threading.Semaphore(6)

    def one(place, folder, notes):
        try:
            wrong = judge(folder, [json.loads(x) for x in notes if x.startswith('{')])
            t.check(not wrong, '%s, %s, cut after change %d: %s' % (what, model, place, '; '.join(wrong[:3])))
        finally:
            shutil.rmtree(folder, ignore_errors=True)
            if os.path.exists(folder + '.log'):
                os.unlink(folder + '.log')
            gate.release()
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        jobs = []
        for state in recording.states(n, rng, model, **more):
            gate.acquire()
            jobs.append(pool.submit(one, *state))
        for job in jobs:
            job.result()


def record_hub(town, n, rules=None):
    """A hub's first run and n notes; its store is made within the recording."""
    hub = town.hub()
    recording = disk.Recording(town, hub)
    d = town.start('knockbox-hub', hub, env=recording.env(rules), wait=False)
    if d.ready_or_ended():
        write_notes(town, hub, recording, n)
    d.end()
    return recording


def hub(a, t):
    with kit.Town(a) as town:
        recording = record_hub(town, 40)
        t.check(not recording.missed(), 'the shim missed %s' % recording.missed())
        for model in MODELS:
            each_state(t, recording, a.states, kit.randomly(a.seed, 'hub', model), model,
                       lambda folder, promised: kit.whole(town, 'knockbox-hub', folder, promised), 'hub')


def cycle(a, t):
    """Cuts in a row, each on what the one before left; the models take turns."""
    rng, promised = kit.randomly(a.seed, 'cycle'), []
    with kit.Town(a) as town:
        hub = town.hub()
        for number in range(a.rounds):
            model = MODELS[number % len(MODELS)]
            recording = disk.Recording(town, hub)
            d = town.start('knockbox-hub', hub, env=recording.env(), wait=False)
            up = d.ready_or_ended()
            t.check(up, 'cut %d, the start after it: %s' % (number, d.said()[-200:]))
            write_notes(town, hub, recording, rng.randint(0, 5) if up else 0, 'round-%d' % number)
            d.kill() if rng.randrange(2) else d.end()
            _, folder, notes = next(recording.states(1, rng, model))
            promised += [json.loads(x) for x in notes]
            shutil.rmtree(hub)
            os.rename(folder, hub)
            kit.copy(hub, town.path('judged'))
            wrong = kit.whole(town, 'knockbox-hub', town.path('judged'), promised)
            t.check(not wrong, 'cut %d, %s: %s' % (number, model, '; '.join(wrong[:3])))
        print('cycle: %d cuts in a row, %d records promised' % (a.rounds, len(promised)))


def deaf_disk(a, t):
    """The trial of the trial: were no sync heeded, records would be lost, and that is found."""
    with kit.Town(a) as town:
        recording = record_hub(town, 20)
        seen = kit.Tally()
        seen.shown = 100  # not a word of them
        model = disk.Model(deaf=True)
        each_state(seen, recording, 40, kit.randomly(a.seed, 'deaf'), model,
                   lambda folder, promised: kit.whole(town, 'knockbox-hub', folder, promised), 'deaf')
        t.check(seen.failed > 5, 'a disk that heeds no sync goes unnoticed: %d of 40' % seen.failed)


def failed_sync(a, t):
    """The n-th sync fails: what it covered is never promised, whatever later syncs say."""
    for error in ('EIO', 'ENOSPC'):
        each_sync_fails(a, t, error)


def each_sync_fails(a, t, error):
    n, struck = 1, True
    while struck:
        with kit.Town(a) as town:
            recording = record_hub(town, 4, 'sync:%d:%s' % (n, error))
            struck = any(c[0] == 'F' for c in disk.load(recording.log))
            for model in (MODELS[0], MODELS[3]):
                each_state(t, recording, a.failed, kit.randomly(a.seed, 'sync', n, error, model), model,
                           lambda folder, promised: kit.whole(town, 'knockbox-hub', folder, promised),
                           'sync %d fails with %s' % (n, error))
        n += 1
    t.check(n > 8, 'only %d syncs' % n)


def rubbish(a, t):
    """Pieces in flight hold rubbish: whole, or refused in words; never a crash, never wrong data."""
    refused = [0]

    def judge(town, folder, promised):
        wrong = kit.whole(town, 'knockbox-hub', folder, promised)
        with open(folder + '.log') as f:
            log = f.read()
        if wrong and wrong[0].startswith('does not start') and ('torn' in log or 'damaged' in log or 'not a store' in log):
            refused[0] += 1
            return []
        return wrong
    with kit.Town(a) as town:
        recording = record_hub(town, 40)
        model = disk.Model('strict', 512, 30)
        each_state(t, recording, a.states, kit.randomly(a.seed, 'rubbish'), model,
                   lambda folder, promised: judge(town, folder, promised), 'rubbish')
    print('rubbish: %d of %d states refused in words' % (refused[0], a.states))


def init(a, t):
    """`init`: whole, or not there and made by the next try; never half a key."""
    with kit.Town(a) as town:
        place = town.path('disk')
        os.mkdir(place)
        recording = disk.Recording(town, place)
        town.must('knockbox-hub', 'init', os.path.join(place, 'hub'), '--listen', 'tcp://127.0.0.1:0', env=recording.env())

        def judge(folder, promised):
            hub = os.path.join(folder, 'hub')
            status, _, err = town.run('knockbox-hub', 'init', hub, '--listen', 'tcp://127.0.0.1:0')
            if status != 0 and 'has a hub already' not in err:
                return ['init again: %s' % err]
            return kit.whole(town, 'knockbox-hub', hub, [])
        for model in MODELS:
            each_state(t, recording, a.states // 4, kit.randomly(a.seed, 'init', model), model, judge, 'init')


def join(a, t):
    """A café joins, and the power goes: of both machines, or of its own. The next `join` makes it, with the same code
    or, when that was used, with another; never half a key. It waits a lot for a hub that stays silent: 8 at once."""
    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        for job in [pool.submit(join_in_town, a, t, i) for i in range(8)]:
            job.result()


def join_in_town(a, t, number):
    model, steady = MODELS[number % 2 * 2], (None, 'hub')[number // 2 % 2]
    with kit.Town(a) as town:
        os.mkdir(town.path('disk'))
        hub = town.fixed_hub('disk/hub')
        recording = disk.Recording(town, town.path('disk'))
        h = town.start('knockbox-hub', hub, env=recording.env())
        code = town.must('knockbox-hub', 'enrol', hub, 'quayside').strip()
        first = len(disk.load(recording.log))
        town.must('knockbox-cafe', 'join', town.path('disk', 'quayside'), code, env=recording.env())
        h.end()
        rng = kit.randomly(a.seed, 'join', number)
        for place, folder, _ in recording.states(a.joins // 8, rng, model, first, steady):
            wrong = join_again(town, os.path.join(folder, 'hub'), os.path.join(folder, 'quayside'), code)
            t.check(not wrong, 'join, %s, %s stays up, cut after change %d: %s' % (model, steady, place, wrong))
            shutil.rmtree(folder)


def join_again(town, hub, cafe, code):
    def joined(code):
        status, _, err = town.run('knockbox-cafe', 'join', cafe, code)
        return '' if status == 0 or 'has a café already' in err else err
    h = town.start('knockbox-hub', hub)
    c = None
    try:
        words = joined(code) and joined(town.must('knockbox-hub', 'enrol', hub, 'quayside').strip())
        if words:
            return ['join again: %s' % words]
        c = town.start('knockbox-cafe', cafe)
        status, said = town.note(cafe, 'after the cut')
        came = kit.until(lambda: 'after the cut' in [x.get('text') for x in town.export(hub)])
        return [] if status == 0 and came else ['%s, locked out: %s' % (status, c.said()[-200:])]
    finally:
        for d in (c, h):
            if d:
                d.kill()


def enrol_and_revoke(a, t):
    """A revoked key stays out, whatever the disk kept of the moment; the list is never torn."""
    with kit.Town(a) as town:
        hub = town.hub()
        h = town.start('knockbox-hub', hub)
        town.join(hub, 'quayside')
        h.end()
        recording = disk.Recording(town, hub)
        h = town.start('knockbox-hub', hub, env=recording.env())
        town.must('knockbox-hub', 'revoke', hub, 'quayside', env=recording.env())
        recording.note('revoked')
        h.end()
        changes = [c[0] for c in disk.load(recording.log)]
        after = changes.index('N') + 1

        def judge(folder, _):
            d = town.start('knockbox-hub', folder, wait=False)
            try:
                if not d.ready_or_ended():
                    return ['does not start: %s' % d.said()[-200:]]
                keys = town.must('knockbox-hub', 'keys', folder)
                return ['the key is back: %s' % keys] if 'quayside' in keys else []
            finally:
                d.kill()
        model = disk.Model('strict', 512)
        states = recording.states(a.states // 4, kit.randomly(a.seed, 'revoke'), model, first=after)
        for place, folder, _ in states:
            wrong = judge(folder, None)
            t.check(not wrong, 'revoke, cut after change %d: %s' % (place, wrong))
            shutil.rmtree(folder)


def sync(a, t):
    """A café and its hub lose power at once, or one of them: each has what it promised, and both meet again."""
    with kit.Town(a) as town:
        place = town.path('disk')
        os.mkdir(place)
        hub = town.fixed_hub('disk/hub')
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'quayside', folder='disk/quayside')
        h.end()
        recording = disk.Recording(town, place)
        h = town.start('knockbox-hub', hub, env=recording.env())
        c = town.start('knockbox-cafe', cafe, env=recording.env())
        for i in range(4):
            write_notes(town, cafe, recording, 6, 'cafe-%d' % i)
            write_notes(town, hub, recording, 2, 'hub-%d' % i)
            kit.until(lambda: len([x for x in town.export(hub) if x['site'] == 'quayside']) >= 6 * (i + 1))
        c.end()
        h.end()
        for steady in (None, 'hub', 'quayside'):
            rng = kit.randomly(a.seed, 'pairs', steady)
            for place_, folder, notes in recording.states(a.pairs // 3, rng, MODELS[2], steady=steady):
                promised = [json.loads(x) for x in notes]
                wrong = meet_again(town, folder, promised)
                t.check(not wrong, 'sync, %s stays up, cut after change %d: %s' % (steady, place_, '; '.join(wrong[:3])))
                shutil.rmtree(folder)


def meet_again(town, folder, promised):
    hub, cafe = os.path.join(folder, 'hub'), os.path.join(folder, 'quayside')
    ours = [r for r in promised if r['site'] == 'quayside']
    h = town.start('knockbox-hub', hub)
    c = town.start('knockbox-cafe', cafe)
    try:
        wrong = kit.compare(ours, town.export(cafe), 'quayside')
        wrong += kit.compare([r for r in promised if r['site'] == 'kitchen'], town.export(hub))
        if not kit.until(lambda: not kit.compare(promised, town.export(hub))):
            wrong.append('never met again: %s' % kit.compare(promised, town.export(hub))[:2])
        return wrong
    finally:
        c.kill()
        h.kill()


def renewing(a, t, what, site, begin, renew, speaks):
    """A key is renewed, and the power goes: of both machines, of the hub alone, of the other alone."""
    with kit.Town(a) as town:
        os.mkdir(town.path('disk'))
        hub, other = town.fixed_hub('disk/hub'), town.path('disk', site)
        h = town.start('knockbox-hub', hub)
        begin(town, hub, other)
        h.end()
        recording = disk.Recording(town, town.path('disk'))
        h = town.start('knockbox-hub', hub, env=recording.env())
        renew(town, hub, other, recording)
        h.end()

        def judge(folder, _):
            box, key = os.path.join(folder, 'hub'), os.path.join(folder, site)
            d = town.start('knockbox-hub', box)
            try:
                wrong = speaks(town, box, key)
                keys = [x for x in town.must('knockbox-hub', 'keys', box).splitlines() if site.split('.')[0] in x]
                return wrong + ([] if len(keys) == 1 else ['keys that are in: %s' % keys])
            finally:
                d.kill()
        for steady in (None, 'hub', site):
            for model in (MODELS[0], MODELS[2]):
                rng = kit.randomly(a.seed, what, steady, model)
                for place, folder, notes in recording.states(a.keys // 6, rng, model, steady=steady):
                    wrong = judge(folder, notes)
                    t.check(not wrong, '%s, %s, %s stays up, cut after change %d: %s' % (what, model, steady, place, wrong))
                    shutil.rmtree(folder)


def renew_cafe(a, t):
    """A café's key: afterwards it has the old or the new one, whole, the hub lets it in, and a renewal that was
    cut off goes on by itself."""
    def begin(town, hub, cafe):
        town.join(hub, 'quayside', folder='disk/quayside')

    def renew(town, hub, cafe, recording):
        c = town.start('knockbox-cafe', cafe, env=recording.env())
        kit.until(lambda: town.note(cafe, 'before')[0] == 0)
        town.must('knockbox-cafe', 'renew', cafe, env=recording.env())
        kit.until(lambda: len([x for x in town.must('knockbox-hub', 'keys', hub).splitlines() if 'quayside' in x]) == 1)
        c.end()

    def speaks(town, hub, cafe):
        c = town.start('knockbox-cafe', cafe)
        try:
            status, said = town.note(cafe, 'after the cut')
            if status != 0:
                return ['does not write: %s' % said]
            if not kit.until(lambda: 'after the cut' in [x.get('text') for x in town.export(hub)]):
                return ['locked out: %s' % c.said()[-200:]]
            ended = kit.until(lambda: not os.path.exists(os.path.join(cafe, 'cafe.key.next')) and
                              town.must('knockbox-hub', 'keys', hub).count('quayside') == 1)
            return [] if ended else ['a renewal does not end: %s' % c.said()[-200:]]
        finally:
            c.kill()
    renewing(a, t, 'renew of a café', 'quayside', begin, renew, speaks)


def renew_desk(a, t):
    """A desk's key file, the same."""
    def begin(town, hub, key):
        code = town.must('knockbox-hub', 'enrol', hub, 'kitchen', '--person', 'Rosa Quill', '--role', 'office').strip()
        town.must('knockbox-link', 'join', code, os.path.join(key, 'office.key'))

    def renew(town, hub, key, recording):
        town.must('knockbox-link', 'renew', os.path.join(key, 'office.key'), env=recording.env())

    def speaks(town, hub, key):
        with open(os.path.join(hub, 'endpoint')) as f:
            endpoint = f.read().strip()
        file = os.path.join(key, 'office.key')
        status, _, err = town.run('knockbox', 'status', '--at', endpoint, '--key', file)
        if status != 0:
            return ['locked out: %s' % err]
        status, _, err = town.run('knockbox-link', 'renew', file)
        return [] if status == 0 or 'wait a minute' in err else ['renew again: %s' % err]
    renewing(a, t, 'renew of a desk', 'kitchen', lambda town, hub, key: (os.mkdir(key), begin(town, hub, key)), renew, speaks)


def upgrade(a, t):
    """The first start of a newer program, which folds the books anew, and that on a store of the first release."""
    with kit.Town(a) as town:
        hub = town.month_hub()
        for what, program, model, site in (('books folded anew', 'knockbox-hub', town.restored(hub), None),
                                           ('a store of the first release', 'knockbox-cafe', town.golden_cafe(), 'quayside')):
            recording = disk.Recording(town, model)
            town.start(program, model, env=recording.env()).end()
            t.check(not recording.missed(), 'the shim missed %s' % recording.missed())
            want = kit.held(town, program, model)

            def judge(folder, _):
                got = kit.held(town, program, folder)
                if got != want:
                    return ['%d records of %d, %s report' % (len(got[0]), len(want[0]), 'same' if got[1] == want[1] else 'another')]
                return kit.whole(town, program, folder, want[0], site)
            for m in MODELS:
                each_state(t, recording, a.states // 16, kit.randomly(a.seed, what, m), m, judge, what)


def filled_hub(town, n):
    """A hub that runs, with n notes."""
    hub = town.hub()
    d = town.start('knockbox-hub', hub)
    for i in range(n):
        town.note(hub, 'note %d' % i)
    return hub, d


def backup(a, t):
    """A backup over an older one: the old or the new, and the new once it was said to be there."""
    with kit.Town(a) as town:
        hub, d = filled_hub(town, 5)
        place = town.path('disk')
        os.mkdir(place)
        file = os.path.join(place, 'hub.backup')
        town.must('knockbox-hub', 'backup', hub, file)
        recording = disk.Recording(town, place)
        for i in range(3):
            town.note(hub, 'more %d' % i)
            town.must('knockbox-hub', 'backup', hub, file, '--keys', os.path.join(place, 'hub.keys'), env=recording.env())
            recording.note(json.dumps({'records': 6 + i}))
        d.end()
        t.check(not recording.missed(), 'the shim missed %s' % recording.missed())

        def judge(folder, promised):
            status, out, err = town.run('knockbox-hub', 'verify-backup', os.path.join(folder, 'hub.backup'))
            least = max([5] + [p['records'] for p in promised])
            held = int(out.split('records ')[1].split(',')[0]) if status == 0 else -1
            return [] if held >= least else ['%d of %d records: %s' % (held, least, err)]
        for model in MODELS:
            each_state(t, recording, a.states // 2, kit.randomly(a.seed, 'backup', model), model, judge, 'backup')


def restore(a, t):
    """Cut off while it restores: no hub, and the next restore makes it; or a whole one."""
    with kit.Town(a) as town:
        hub, d = filled_hub(town, 12)
        file, keys, place = town.path('hub.backup'), town.path('hub.keys'), town.path('disk')
        os.mkdir(place)
        town.must('knockbox-hub', 'backup', hub, file, '--keys', keys)
        d.end()
        recording = disk.Recording(town, place)
        town.must('knockbox-hub', 'restore', file, os.path.join(place, 'hub'), '--keys', keys, env=recording.env())
        recording.note(json.dumps({'restored': True}))
        t.check(not recording.missed(), 'the shim missed %s' % recording.missed())

        def judge(folder, promised):
            new = os.path.join(folder, 'hub')
            status, _, err = town.run('knockbox-hub', 'restore', file, new, '--keys', keys)
            if status == 0 and promised:
                return ['it was there, and was made again']
            if status != 0 and 'is not empty' not in err:
                return ['restore again: %s' % err]
            wrong = kit.whole(town, 'knockbox-hub', new, [])
            return wrong or ([] if len(held_of(town, new)) == 12 else ['records are missing'])

        def held_of(town, new):
            d = town.start('knockbox-hub', new)
            try:
                return [x for x in town.export(new) if x.get('text', '').startswith('note ')]
            finally:
                d.kill()
        for model in MODELS:
            each_state(t, recording, a.states // 8, kit.randomly(a.seed, 'restore', model), model, judge, 'restore')


def rescue(a, t):
    """Cut off while a damaged store is set aside: the next `rescue` ends it, and nothing readable is lost."""
    with kit.Town(a) as town:
        hub = town.hub()
        h = town.start('knockbox-hub', hub)
        cafe = town.join(hub, 'quayside')
        h.end()
        c = town.start('knockbox-cafe', cafe)
        for i in range(8):
            town.note(cafe, 'note-%d.' % i)
        c.end()
        data = os.path.join(cafe, 'store', 'data.mdb')
        with open(data, 'rb') as f:
            content = f.read()
        with open(data, 'wb') as f:  # no head page, and one record that rotted
            f.write(b'Z' * 8192 + content[8192:].replace(b'note-3.', b'Note-3.'))
        recording = disk.Recording(town, cafe)
        town.must('knockbox-cafe', 'rescue', cafe, env=recording.env())
        # The shim sees all but the exchange of the two stores at the end, one call: the state behind it by hand.
        os.rename(os.path.join(cafe, 'store.damaged.1'), os.path.join(cafe, 'store.fresh'))
        kit.copy(cafe, town.path('exchanged'))

        def judge(folder, _):
            for again in range(2):
                status, _, err = town.run('knockbox-cafe', 'rescue', folder)
                if status != 0:
                    return ['rescue: %s' % err]
            wrong = kit.whole(town, 'knockbox-cafe', folder, [])
            d = town.start('knockbox-cafe', folder)
            try:
                held = sorted(x['text'] for x in town.export(folder) if x.get('text', '').startswith('note-'))
            finally:
                d.kill()
            return wrong or ([] if held == ['note-%d.' % i for i in (0, 1, 2, 4, 5, 6, 7)] else ['held: %s' % held])
        t.check(not judge(town.path('exchanged'), None), 'cut off behind the exchange')
        for model in MODELS:
            each_state(t, recording, a.states // 8, kit.randomly(a.seed, 'rescue', model), model, judge, 'rescue')


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, states=100, failed=2, pairs=21, rounds=10, keys=6, joins=8)
    kit.run_parts(arguments, [hub, cycle, deaf_disk, failed_sync, rubbish, init, join, enrol_and_revoke, renew_cafe, renew_desk, sync, backup, restore, rescue,
                             upgrade], kit.Tally())
