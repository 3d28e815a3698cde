#!/usr/bin/env python3
"""A café one release older or newer than its hub goes on working; two releases apart they say no in
words. The other release is tests/ahead: the same sources with the numbers of wire and store one (or two)
higher, one record kind more and a field more in two kinds. What this release does not know is kept and
passed on, byte for byte; a store and a backup of the next release are refused, untouched."""
import hashlib
import json
import os
import sys

import group
import kit


class Release(kit.Town):
    """A town whose programs are of one release."""

    def __init__(self, town, folder):
        self.bin, self.shims, self.place, self.started = folder, town.shims, town.place, town.started


def releases(a, town):
    out = {0: Release(town, town.bin)}
    for n, folder in enumerate(a.ahead.split(','), 1):
        out[n] = Release(town, os.path.abspath(folder))
    return out


def pair(at_hub, at_cafe):
    """A hub of one release and a café of another."""
    hub = group.Machine(at_hub, 'knockbox-hub', at_hub.fixed_hub(), 'kitchen')
    hub.start()
    code = at_hub.must('knockbox-hub', 'enrol', hub.folder, 'quayside').strip()
    cafe = group.Machine(at_cafe, 'knockbox-cafe', at_cafe.path('quayside'), 'quayside')
    at_cafe.must('knockbox-cafe', 'join', cafe.folder, code)
    with open(cafe.folder + '/cafe.conf', 'a') as f:
        f.write('sync.retry 5s\n')
    cafe.start()
    return hub, cafe


def log(m, *words):
    return json.loads(m.town.must('knockbox', 'log', *words, '--at', m.folder, '--json'))


def missing(promised, m):
    """Of the promises, those that the machine has not, or not with their hash."""
    have = {(x['epoch'], x['seq'], x['hash']) for x in m.town.export(m.folder)}
    return [p for p in promised if (p['epoch'], p['seq'], p['hash']) not in have]


def arrives(t, promised, m, what):
    came = kit.until(lambda: not missing(promised, m), step=0.05)
    t.check(came, '%s: %d of %d are not at %s: %s' % (what, len(missing(promised, m)), len(promised), m.folder, m.d.said()[-300:]))


def whole(t, machines, what):
    for m in machines:
        wrong = group.books_wrong(m)
        t.check(not wrong, '%s: %s' % (what, wrong))
        t.check(m.d.end() == 0, '%s: %s ends badly' % (what, m.folder))


def cafe_is_ahead(a, t):
    """Its hub keeps what it does not know, and gives it back as it was."""
    with kit.Town(a) as town:
        now, ahead = releases(a, town)[0], releases(a, town)[1]
        hub, cafe = pair(now, ahead)
        t.check(kit.until(lambda: cafe.said('the hub speaks version 1')), 'it does not say so: %s' % cafe.d.said()[-300:])
        sent = [log(cafe, 'note', 'text=plain'), log(cafe, 'note', 'text=new', 'mood=cheerful'), log(cafe, 'chalk', 'said=Two for one')]
        sent += [log(cafe, 'note', 'text=after')]
        arrives(t, sent, hub, 'café ahead')
        lines = {x['id']: x for x in now.export(hub.folder)}
        t.check(lines[sent[1]['id']].get('text') == 'new', 'a note with a new field: %s' % lines[sent[1]['id']])
        t.check('said' not in lines[sent[2]['id']], 'a kind that nobody knows is shown as known: %s' % lines[sent[2]['id']])
        month = lines[sent[0]['id']]['at'][:7]
        for books in ('as they grew', 'made anew'):
            report = json.loads(now.must('knockbox', 'report', month, '--json', '--at', hub.folder))
            t.check(any('does not know' in x and ': 1;' in x for x in report['cautions']), 'the report does not say so, books %s: %s' % (
                books, report['cautions']))
            t.check('does not know' in hub.alerts(), 'the status does not say so, books %s: %s' % (books, hub.alerts()))
            group.ask(hub.folder, 'digest', rebuild='true')
        t.check(now.run('knockbox-cafe', 'renew', cafe.folder)[0] == 0 and kit.until(
            lambda: not os.path.exists(cafe.folder + '/cafe.key.next')), 'no new key: %s' % cafe.d.said()[-300:])
        sent.append(log(cafe, 'note', 'text=with a new key'))
        arrives(t, sent, hub, 'café ahead, new key')
        cafe.kill()  # its card is lost, all comes back
        os.rename(cafe.folder + '/store', cafe.folder + '/store.lost')
        cafe.start()
        arrives(t, sent, cafe, 'café ahead, card lost')
        lines = {x['id']: x for x in ahead.export(cafe.folder)}
        t.check(lines.get(sent[1]['id'], {}).get('mood') == 'cheerful', 'the new field is gone: %s' % lines.get(sent[1]['id']))
        t.check(lines.get(sent[2]['id'], {}).get('said') == 'Two for one', 'the new kind is gone: %s' % lines.get(sent[2]['id']))
        whole(t, [hub, cafe], 'café ahead')


def hub_is_ahead(a, t):
    """Its café keeps what it does not know of the hub's log, and is heard as before."""
    with kit.Town(a) as town:
        now, ahead = releases(a, town)[0], releases(a, town)[1]
        hub, cafe = pair(ahead, now)
        down = [log(hub, 'coffee', 'code=house', 'name=House'), log(hub, 'coffee', 'code=dark', 'name=Dark', 'shade=umber')]
        sent = [log(cafe, 'note', 'text=%d' % i) for i in range(5)]
        arrives(t, sent, hub, 'hub ahead')
        arrives(t, down, cafe, 'hub ahead, down')
        lines = {x['id']: x for x in now.export(cafe.folder)}
        t.check(lines[down[1]['id']].get('name') == 'Dark', 'a coffee with a new field: %s' % lines[down[1]['id']])
        t.check(not cafe.said('says no'), 'it was refused: %s' % cafe.d.said()[-300:])
        cafe.kill()
        os.rename(cafe.folder + '/store', cafe.folder + '/store.lost')
        cafe.start()
        arrives(t, sent + down, cafe, 'hub ahead, card lost')
        whole(t, [hub, cafe], 'hub ahead')


def bytes_of(folder):
    out = {}
    for at, _, names in os.walk(folder):
        for n in names:
            p = os.path.join(at, n)
            if os.path.isfile(p) and n not in ('lock', 'lock.mdb'):
                with open(p, 'rb') as f:
                    out[os.path.relpath(p, folder)] = hashlib.sha256(f.read()).hexdigest()
    return out


def store_is_ahead(a, t):
    """A newer store and a newer backup are refused in one sentence; nothing is changed."""
    with kit.Town(a) as town:
        now, ahead = releases(a, town)[0], releases(a, town)[1]
        hub, cafe = pair(ahead, ahead)
        sent = [log(cafe, 'note', 'text=one')]
        arrives(t, sent, hub, 'both ahead')
        backup = town.path('night.backup')
        ahead.must('knockbox-hub', 'backup', hub.folder, backup)
        for m in (hub, cafe):
            t.check(m.d.end() == 0, '%s ends badly' % m.name)
            before = bytes_of(m.folder)
            for word in ('run', 'verify', 'rebuild'):
                status, out, err = now.run(m.program, word, m.folder)
                said = err.strip().splitlines()
                t.check(status == 1 and len(said) == 1 and 'format 2' in said[0] and 'newer release' in said[0],
                        '%s %s: %s %s' % (m.program, word, status, err[-300:]))
            t.check(bytes_of(m.folder) == before, '%s: the store was touched' % m.program)
            m.start()
        for words in (['verify-backup', backup], ['restore', backup, town.path('new')]):
            status, out, err = now.run('knockbox-hub', *words)
            t.check(status == 1 and len(err.strip().splitlines()) == 1 and 'newer release' in err, '%s: %s %s' % (words[0], status, err[-300:]))
        t.check(not os.path.exists(town.path('new')), 'a refused restore leaves something')
        arrives(t, sent, hub, 'both ahead, afterwards')
        whole(t, [hub, cafe], 'both ahead')


def two_apart(a, t):
    """Refused in words that both sides show; the café keeps what it has and goes on alone."""
    with kit.Town(a) as town:
        r = releases(a, town)
        if 2 not in r:
            return
        for at_hub, at_cafe, said in ((0, 2, 'the café speaks version 3 of the protocol, this side speaks up to 1'),
                                      (2, 0, 'the café speaks version 1 of the protocol, this side speaks 2 and later')):
            what = 'hub of release %d, café of %d' % (at_hub, at_cafe)
            hub, cafe = pair(r[at_hub], r[1])  # one between them joins
            code = r[at_hub].must('knockbox-hub', 'enrol', hub.folder, 'harbour').strip()
            status, _, err = r[at_cafe].run('knockbox-cafe', 'join', town.path('harbour'), code)
            t.check(status == 5 and 'version' in err, '%s: joins: %s %s' % (what, status, err))
            cafe.kill()
            os.rename(cafe.folder + '/store', cafe.folder + '/store.between')
            cafe.town = r[at_cafe]
            cafe.start()
            t.check(kit.until(lambda: cafe.said('the hub says no: ' + said)), '%s: the café does not say it: %s' % (what, cafe.d.said()[-300:]))
            t.check(kit.until(lambda: hub.said('quayside refused: ' + said)), '%s: the hub does not say it: %s' % (what, hub.d.said()[-300:]))
            t.check(not missing([log(cafe, 'note', 'text=kept')], cafe), '%s: a refused café keeps nothing' % what)
            whole(t, [hub, cafe], what)
            for name in ('hub', 'quayside'):
                os.rename(town.path(name), town.path('%s.%d' % (name, at_hub)))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, ahead='')
    if not arguments.ahead:
        sys.exit('give --ahead BIN[,BIN2]: programs built with -DKNOCKBOX_AHEAD=1 (and 2)')
    kit.run_parts(arguments, [cafe_is_ahead, hub_is_ahead, store_is_ahead, two_apart], kit.Tally())
