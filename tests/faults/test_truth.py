#!/usr/bin/env python3
"""Old images, lost hubs, clones and second hubs with the real programs: nothing that a hub or a café
still has is lost, no number is used twice, and people are told.

Images are copies of the folder of a daemon that is stopped between two of its calls, at a random
moment under load."""
import os
import shutil

import group
import kit
from group import Group, frozen, put
from line import Line


def some_time(rng, most=0.25):
    kit.time.sleep(rng.uniform(0, most))


# ---------------------------------------------------------------- a hub from an old copy, a hub that is lost

def take_backup(g, rng, writers):
    """By the command, or a plain copy of the folder."""
    hub = g.hub
    if rng.random() < 0.5:
        shutil.rmtree(g.town.path('image'), ignore_errors=True)
        with frozen(hub.d):
            kit.copy(hub.folder, g.town.path('image'))
        return 'copy'
    g.town.must('knockbox-hub', 'backup', hub.folder, g.town.path('night.backup'), '--keys', g.town.path('hub.keys'))
    return 'backup'


def put_backup(g, way):
    folder = g.hub.folder
    if way == 'copy':
        return put(g.town.path('image'), folder)
    shutil.rmtree(folder)
    g.town.must('knockbox-hub', 'restore', g.town.path('night.backup'), folder, '--keys', g.town.path('hub.keys'))


def hub_put_back(g, t, rng, n):
    """The hub is put back as it was some moments ago; one café comes a week later, sometimes."""
    what, late = 'hub put back, %d' % n, rng.choice([None, None] + g.cafes)
    writers = [(m, m.write(rng.randint(3, 15))) for m in g.everybody()]
    some_time(rng)
    way = take_backup(g, rng, writers)
    if late is not None and rng.random() < 0.5:
        late.kill()
    more = [(m, m.write(rng.randint(0, 10))) for m in g.everybody() if m.runs()]
    some_time(rng)
    if rng.random() < 0.5:
        for m, w in writers + more:
            w.join(kit.PATIENCE)
        g.drained(patience=1)
    g.hub.kill()
    for m, w in writers + more:
        m.take(w)
    g.hub.promised = []  # what was written at the hub itself since is gone, save what cafés have of it
    told = [c.said(group.OTHER_HUB) for c in g.cafes]
    if late is not None:
        late.kill()
    put_backup(g, way)
    g.hub.start()
    online = [c for c in g.cafes if c is not late]
    t.check(g.drained(), '%s, %s: not in step: %s' % (what, way, g.town.status(g.hub.folder)))
    wrong = g.held([p for c in online for p in c.promised])
    t.check(not wrong, '%s, %s: %s' % (what, way, wrong[:3]))
    if way == 'backup':
        deaf = [c.name for c, before in zip(g.cafes, told) if c is not late and c.said(group.OTHER_HUB) == before]
        t.check(not deaf, '%s: not told that this is another store: %s' % (what, deaf))
        mute = [c.name for c in online if 'another store' not in c.alerts('kitchen') + c.alerts()]
        t.check(not mute, '%s: not in the status of %s' % (what, mute))
    if late is not None:
        g.weeks += 1
        g.clock.set(g.weeks * 7 * 86400)
        late.start()
        t.check(g.drained(), '%s, %s: the late one is not in step: %s' % (what, way, g.town.status(g.hub.folder)))
        wrong = g.held(g.promised())
        t.check(not wrong, '%s, %s, a week later: %s' % (what, way, wrong[:3]))


def hub_restored(a, t):
    def one(town, rng, trials):
        g = Group(town, 3, clock=kit.Clock(town, 'town'))
        g.weeks = 0
        for n in trials:
            hub_put_back(g, t, rng, n)
        have = [{x['id'] for x in town.export(c.folder) if x['site'] == 'kitchen'} for c in g.cafes]
        group.end_well(t, g.everybody(), 'hub put back, %s' % trials)
        t.check(all(have), 'no café has anything of the hub')
    group.in_towns(a, t, 'hub_restored', a.restores, 10, one)


def hub_lost(a, t):
    """No backup: a new hub with the old key, each café enrolled anew with the store that it has."""
    def one(town, rng, trials):
        g = Group(town, 3)
        for n in trials:
            writers = [(m, m.write(rng.randint(5, 25))) for m in g.everybody()]
            some_time(rng)
            g.hub.kill()
            for m, w in writers:
                m.take(w)
            shutil.rmtree(g.hub.folder + '/store')
            for rest in os.listdir(g.hub.folder):
                if rest not in ('hub.key', 'hub.conf'):
                    path = os.path.join(g.hub.folder, rest)
                    shutil.rmtree(path) if os.path.isdir(path) else os.unlink(path)
            g.hub.start()
            for c in g.cafes:
                c.kill()
                for name in ('cafe.key', 'cafe.conf'):
                    os.rename(os.path.join(c.folder, name), os.path.join(c.folder, name + '.before%d' % n))
                g.join(c.name)
                c.start()
            t.check(g.drained(), 'hub lost, %d: not in step: %s' % (n, town.status(g.hub.folder)))
            for c in g.cafes:
                c.writes(2)
            wrong = g.held(g.promised())
            t.check(not wrong, 'hub lost, %d: %s' % (n, wrong[:3]))
        g.hub.promised = []
        group.end_well(t, g.everybody(), 'hub lost, %s' % trials)
    group.in_towns(a, t, 'hub_lost', a.losses, 5, one)


# ---------------------------------------------------------------- a café from an old image, a café twice

def old_image(a, t):
    def one(town, rng, trials):
        g = Group(town, 1)
        g.cafes[0].all, g.cafes[0].own, g.cafes[0].forked = [], [], False
        for n in trials:
            cafe_put_back(g, g.cafes[0], t, rng, n)
        wrong = group.kept(g.cafes[0].all, town.export(g.hub.folder))
        t.check(not wrong, 'old images, %s, at the hub: %s' % (trials, wrong[:3]))
        group.end_well(t, g.everybody(), 'old images, %s' % trials)
    group.in_towns(a, t, 'old_image', a.images, 10, one)


def cafe_put_back(g, cafe, t, rng, n):
    """What the hub had acknowledged before is there afterwards; the rest went with the card."""
    image, before = g.town.path('image'), cafe.status()['epoch']
    writer = cafe.write(rng.randint(5, 20))
    some_time(rng)
    with frozen(cafe.d):
        kit.copy(cafe.folder, image)
        at_image = {p['id'] for p in writer.acked}
    more = cafe.write(rng.randint(1, 10))
    some_time(rng)
    if rng.random() < 0.7:
        for w in (writer, more):
            w.join(kit.PATIENCE)
        g.drained()
    cafe.kill()
    acked = writer.stop() + more.stop()
    at_hub = {x['id']: x for x in g.town.export(g.hub.folder) if x['site'] == cafe.name}
    told = cafe.said(group.OLD_IMAGE), cafe.said(group.TWO_WAYS)
    ahead = max([x['seq'] for x in at_hub.values() if x['epoch'] == before], default=0)
    put(image, cafe.folder)
    silent = rng.random() < 0.4  # it writes before the hub has been heard
    if silent:
        g.hub.kill()
    cafe.start()
    held = cafe.status()['seq_held']
    fresh = cafe.writes(rng.randint(1, 5))
    if silent:
        g.hub.start()
    t.check(g.drained(), 'old image %d: not in step: %s' % (n, g.town.status(g.hub.folder)))
    fresh += cafe.writes(1)
    g.drained()
    old, two_ways = cafe.said(group.OLD_IMAGE) > told[0], cafe.said(group.TWO_WAYS) > told[1]
    cafe.all += [p for p in acked if p['id'] in at_hub or p['id'] in at_image] + fresh
    cafe.own += [p for p in acked if (p['id'] in at_hub and not two_ways) or p['id'] in at_image] + fresh
    wrong = group.kept(cafe.all, g.town.export(g.hub.folder))
    t.check(not wrong, 'old image %d, at the hub: %s' % (n, wrong[:3]))
    # after a fork the hub alone has the other way, and the café still what it wrote again under a new number
    cafe.forked = cafe.forked or two_ways
    wrong = group.kept(cafe.own, g.town.export(cafe.folder), twins=cafe.forked)
    t.check(not wrong, 'old image %d, at the café: %s' % (n, wrong[:3]))
    if ahead > held:
        t.check(old or two_ways, 'old image %d: not flagged (%d at the hub, %d here): %s' % (n, ahead, held, cafe.d.said()[-300:]))
        t.check(cafe.status()['epoch'] > before, 'old image %d: no new epoch' % n)
    if two_ways:
        t.check('two ways' in g.hub.alerts(cafe.name), 'old image %d: not in the status of the hub' % n)


def clones(a, t):
    """One card in two machines, and both are used; stopped and settled after each trial."""
    def one(town, rng, trials):
        g = Group(town, 1)
        for n in trials:
            one_clone(g, g.cafes[0], t, rng, n)
        mine = [p for p in g.promised() if p['text'].startswith(g.cafes[0].name)]
        wrong = group.kept(mine, town.export(g.cafes[0].folder), twins=True)
        t.check(not wrong, 'clones, %s, at the café: %s' % (trials, wrong[:3]))
        group.end_well(t, g.everybody(), 'clones, %s' % trials)
    group.in_towns(a, t, 'clones', a.clones, 10, one)


def one_clone(g, cafe, t, rng, n):
    way = ('both at once', 'in turn', 'alone, then both')[n % 3]
    what, folder = 'clone %d, %s' % (n, way), g.town.path('clone')
    writer = cafe.write(rng.randint(2, 10))
    some_time(rng)
    with frozen(cafe.d):
        kit.copy(cafe.folder, folder)
    cafe.take(writer)
    clone = group.Machine(g.town, 'knockbox-cafe', folder, cafe.name)
    clone.words = 1000 * (n + 1)
    if way == 'both at once':
        clone.start()
        writers = [(m, m.write(rng.randint(3, 12))) for m in (cafe, clone)]
        for m, w in writers:
            m.take(w)
    elif way == 'in turn':
        cafe.writes(rng.randint(1, 8))
        g.drained()
        cafe.kill()
        clone.start()
        clone.writes(rng.randint(1, 8))
        g.drained([clone])
        clone.kill()
        cafe.start()
        cafe.writes(rng.randint(1, 8))
        clone.start()
    else:
        g.hub.kill()
        clone.start()
        cafe.writes(rng.randint(1, 8))
        clone.writes(rng.randint(1, 8))
        g.hub.start()
    t.check(g.drained([cafe, clone]), '%s: not in step: %s %s' % (what, cafe.status(), clone.status()))
    told = kit.until(lambda: 'two ways' in g.hub.alerts(cafe.name), patience=5)
    t.check(told, '%s: not in the status of the hub: %s' % (what, g.hub.alerts(cafe.name)))
    cafe.writes(1)
    clone.writes(1)  # neither blocks
    cafe.promised += clone.promised
    wrong = ['']
    def there():
        wrong[:] = group.kept(cafe.promised, g.town.export(g.hub.folder), twins=True)
        return not wrong
    kit.until(there, step=0.1)
    t.check(not wrong, '%s: %s' % (what, wrong[:3]))
    clone.kill()
    shutil.rmtree(folder)
    g.town.must('knockbox', 'log', 'settle', 'discrepancy=fork/%s' % cafe.name, 'outcome=corrected',
                'reason=one machine stopped', '--at', g.hub.folder)
    t.check(kit.until(lambda: 'two ways' not in g.hub.alerts(cafe.name), patience=5), '%s: settled, and still shown' % what)


# ---------------------------------------------------------------- two hubs

def two_hubs(a, t):
    """Two copies of one hub behind one address, now this one and now the other."""
    def one(town, rng, trials):
        same = trials[0] // 10 % 2 == 0  # a plain copy of the store, or a restored backup
        g = Group(town, 0)
        line = Line(g.port(), rng, ['ok'])
        cafe = g.join('quayside', connect='tcp://127.0.0.1:%d' % line.port)
        g.cafes = [cafe]
        cafe.start()
        cafe.writes(5)
        t.check(g.drained(), 'two hubs: the first sync')
        second = second_hub(g, same)
        hubs = [g.hub, second]
        for n in trials:
            switch(g, line, hubs, cafe, t, rng, n, same)
        for hub in hubs:
            g.hub = hub
            line.turn(g.port())
            wrong = g.held(cafe.promised)
            t.check(not wrong, 'two hubs, %s: %s' % (hub.folder, wrong[:3]))
        wrong = kit.compare(cafe.promised, town.export(cafe.folder), cafe.name)
        t.check(not wrong, 'two hubs, at the café: %s' % wrong[:3])
        group.end_well(t, [cafe] + hubs, 'two hubs, %s' % trials)
    group.in_towns(a, t, 'two_hubs', a.hubs, 10, one)


def second_hub(g, same):
    folder = g.town.path('second')
    if same:
        with frozen(g.hub.d):
            kit.copy(g.hub.folder, folder)
    else:
        g.town.must('knockbox-hub', 'backup', g.hub.folder, g.town.path('b'), '--keys', g.town.path('k'))
        g.town.must('knockbox-hub', 'restore', g.town.path('b'), folder, '--keys', g.town.path('k'))
    with open(folder + '/hub.conf', 'w') as f:
        f.write('site.name kitchen\nlisten tcp://127.0.0.1:0\n')
    second = group.Machine(g.town, 'knockbox-hub', folder, 'kitchen')
    second.words = 1000
    second.start()
    return second


def switch(g, line, hubs, cafe, t, rng, n, same):
    """What the one has acknowledged the other lacks; both may have written themselves."""
    what = 'two hubs %d, %s' % (n, 'plain copies' if same else 'a restored one')
    at_cafe, at_hub = rng.choice([0, rng.randint(1, 6)]), [rng.choice([0, 2]) for _ in hubs]
    cafe.writes(at_cafe)
    g.drained()
    for hub, k in zip(hubs, at_hub):
        hub.tell(k)
    t.check(cafe.heard(hubs[0].told), '%s: the café has not got what the first hub says' % what)
    told = cafe.said(group.OTHER_HUB)
    late = cafe.write(rng.randint(0, 3))  # perhaps sent to the first, perhaps not
    some_time(rng, 0.05)
    hubs.reverse()
    g.hub = hubs[0]
    if rng.random() < 0.5:
        line.turn(g.port())
    else:
        cafe.take(late)
        cafe.d.end()
        line.turn(g.port())
        cafe.start()
    cafe.take(late)
    cafe.writes(1)  # which only the hub that it has now can get
    wrong = g.held(cafe.promised)
    t.check(not wrong, '%s: %s' % (what, wrong[:3]))
    t.check(g.drained(), '%s: not in step: %s' % (what, g.town.status(g.hub.folder)))
    if at_cafe > 0 or at_hub[0] > 0 or not same:
        t.check(cafe.said(group.OTHER_HUB) > told, '%s, %d and %s: the café says nothing' % (what, at_cafe, at_hub))
        t.check('another store' in cafe.alerts('kitchen') + cafe.alerts(), '%s: not in the status of the café' % what)


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, restores=2, losses=1, images=3, clones=3, hubs=2, together=4)
    kit.run_parts(arguments, [hub_restored, hub_lost, old_image, clones, two_hubs], kit.Tally())
