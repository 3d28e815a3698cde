#!/usr/bin/env python3
"""Alerts with the real programs: a café whose disk is low, one whose clock is off, a freezer that was
read too warm, a tub near its date, a café silent for a day. Each is told once, in one line, and never
again for the same cause: not while it stands, not after the café or the hub was away. What stands is
in `status` at the hub and at the café.

What is told is seen in the outbox; its target has no server, for what goes out is another test's
(tests/system/test_delivery.sh). Source of the sentences: docs/operations.md, "Delivery"."""
import datetime
import json
import os
import time

import kit

SETTINGS = ('target office\nurl https://127.0.0.1:9/\nretry 1h\nalerts\nto office\nevery 1s\nsilent 60s\n'
            'disk_mib 1\n')
LOW = 'disk.low_mib 1048576\n'  # a TiB: more than is free
CATALOGUE = '\n'.join(json.dumps(dict(x, at='2026-01-01T00:00:00+00:00', site='kitchen')) for x in [
    dict(kind='site', code='quayside', name='Quayside', role='cafe', zone='Europe/London', currency='GBP', joined='2024-01-01'),
    dict(kind='site', code='harbour', name='Harbour', role='cafe', zone='Europe/London', currency='GBP', joined='2024-01-01'),
    dict(kind='coffee', code='house', name='House'),
    dict(kind='place', code='q-freezer', for_site='quayside', **{'class': 'freezer'}, max_c='-18'),
    dict(kind='limits', code='use-by', value='5', unit='d', comparator='<=', source='test', dated='2026-01-01'),
]) + '\n'


def say(folder, name, words):
    with open(os.path.join(folder, name), 'a') as f:
        f.write(words)


def told(town, hub, part):
    """Which lines of alerts that the outbox has begin so."""
    jobs = json.loads(town.must('knockbox', 'outbox', '--json', '--at', hub))['jobs']
    return [x for job in jobs for x in job['lines'] or [] if x.startswith(part)]


def alerts(town, folder, site):
    return [x for r in town.status(folder) if r['site'] == site for x in r['alerts']]


def shifted(town, file):
    return dict(LD_PRELOAD=os.path.join(town.shims, 'clock.so'), CLOCK_FILE=file)


def looks_pass():
    """Each second the hub looks, and nothing shows it: time alone lets an alert come that must not."""
    time.sleep(1.6)


def cafe(a, t):
    """A café's disk, clock, freezer and tub; then café and hub go away and come back."""
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        say(hub, 'delivery.conf', SETTINGS)
        os.chmod(os.path.join(hub, 'delivery.conf'), 0o600)
        h = town.start('knockbox-hub', hub)
        town.must('knockbox', 'import', '-', '--at', hub, text=CATALOGUE)
        folder, other = town.join(hub, 'quayside'), town.join(hub, 'harbour')
        say(folder, 'cafe.conf', LOW + 'sync.retry 5s\n')
        say(other, 'cafe.conf', 'disk.low_mib 1\nsync.retry 5s\n')
        shift = town.path('clock')
        with open(shift, 'w') as f:
            f.write('-600')
        c = town.start('knockbox-cafe', folder)
        o = town.start('knockbox-cafe', other, env=shifted(town, shift))
        causes = {
            'disk': 'quayside: only', 'clock': 'harbour: its clock is', 'freezer': 'quayside: q-freezer read -9.5',
            'tub': 'quayside: tub Q-1 is to be used by'}
        t.check(kit.until(lambda: told(town, hub, causes['disk'])), 'the disk of a café is not told')
        t.check(kit.until(lambda: told(town, hub, causes['clock'])), 'the clock of a café is not told')
        for where in (hub, folder):
            t.check(any('disk is low' in x for x in alerts(town, where, 'quayside')), 'no disk in status of %s' % where)
        t.check(not any('disk' in x for x in alerts(town, hub, 'harbour')), 'a disk with room is called low')
        t.check(any('clock' in x for x in alerts(town, hub, 'harbour')), 'no clock in status')
        kit.until(lambda: any(x['kind'] == 'limits' for x in town.export(folder)))
        town.must('knockbox', 'log', 'reading', 'place=q-freezer', 'temp_c=-9.5', 'action=moved', 'disposition=kept', '--at', folder)
        now = datetime.datetime.now(datetime.timezone.utc)
        words = dict(tub='Q-1', coffee='house', origin='espresso', gross_g=3000, tare_g=200, method='weighed', place='q-freezer',
                     first_knock=(now - datetime.timedelta(minutes=20)).isoformat(timespec='seconds'),
                     frozen=(now - datetime.timedelta(minutes=5)).isoformat(timespec='seconds'))
        town.must('knockbox', 'log', 'tub', *['%s=%s' % w for w in words.items()], '--at', folder)
        t.check(kit.until(lambda: told(town, hub, causes['freezer'])), 'the freezer is not told')
        t.check(kit.until(lambda: told(town, hub, causes['tub'])), 'the tub is not told')
        c.end()
        o.end()
        looks_pass()
        h.end()
        h = town.start('knockbox-hub', hub)
        looks_pass()
        c, o = town.start('knockbox-cafe', folder), town.start('knockbox-cafe', other, env=shifted(town, shift))
        t.check(kit.until(lambda: alerts(town, hub, 'quayside') and any('clock' in x for x in alerts(town, hub, 'harbour'))),
                'they do not come back')
        looks_pass()
        for name, part in causes.items():
            lines = told(town, hub, part)
            t.check(len(lines) == 1, '%s is told %d times: %s' % (name, len(lines), lines))
        t.check(h.runs() and c.end() == 0 and o.end() == 0, 'they end badly')


def silent(a, t):
    """A café that is not heard of for longer than the setting, over a restart of the hub."""
    with kit.Town(a) as town:
        hub = town.fixed_hub()
        say(hub, 'delivery.conf', SETTINGS)
        h = town.start('knockbox-hub', hub)
        folder = town.join(hub, 'quayside')
        c = town.start('knockbox-cafe', folder)
        t.check(kit.until(lambda: any(r['site'] == 'quayside' and r['online'] for r in town.status(hub))), 'it does not come')
        c.end()
        t.check(kit.until(lambda: told(town, hub, 'quayside: nothing heard'), patience=150, step=1), 'silence is not told')
        h.end()
        h = town.start('knockbox-hub', hub)
        time.sleep(70)
        lines = told(town, hub, 'quayside: nothing heard')
        t.check(len(lines) == 1, 'told %d times' % len(lines))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__)
    kit.run_parts(arguments, [cafe, silent], kit.Tally())
