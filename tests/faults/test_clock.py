#!/usr/bin/env python3
"""Clocks that jump, start in 1970 or live through a change of the hour: order and totals stay, `at`
is kept, the difference is measured and shown. The programs run under clock.c (CLOCK_FILE)."""
import datetime
import json
import os
import time
import zoneinfo

import kit

JUMPS = ['-315360000', '-86400', '-1', '0', '1', '86400', '=0+', '=2147483640+', '=4102444800', '0']
CATALOGUE = ('{"kind":"site","at":"2026-01-01T00:00:00+00:00","site":"kitchen","code":"%s","name":"%s","role":"cafe",'
             '"zone":"%s","day_start":"04:00","currency":"GBP","joined":"2024-01-01"}\n')


def pair(town, cafe_env=None):
    """A hub with the true clock and a café with its own, both running."""
    hub = town.fixed_hub()
    h = town.start('knockbox-hub', hub)
    cafe = town.join(hub, 'quayside')
    with open(os.path.join(cafe, 'cafe.conf'), 'a') as f:
        f.write('sync.retry 5s\n')
    return hub, h, cafe


def row(town, hub):
    return next((r for r in town.status(hub) if r['site'] == 'quayside'), None)


def in_step(town, hub, promised):
    r = row(town, hub)
    return bool(r) and r['online'] and r['behind'] == 0 and not kit.compare(promised, town.export(hub))


def in_order(lines, promised):
    """The chain has the promised records in the order in which they were promised."""
    place = {x['id']: (x['epoch'], x['seq']) for x in lines}
    places = [place.get(p['id']) for p in promised]
    return None not in places and places == sorted(places) and len(set(e for e, _ in places)) == 1


def jumps(a, t):
    """The café's clock jumps under load, then the hub's; sync goes on within 5 s each time."""
    with kit.Town(a) as town:
        hub, h, cafe = pair(town)
        h.end()
        clocks = {'café': kit.Clock(town, 'cafe'), 'hub': kit.Clock(town, 'hub')}
        h = town.start('knockbox-hub', hub, env=clocks['hub'].env)
        c = town.start('knockbox-cafe', cafe, env=clocks['café'].env)
        rng, promised = kit.randomly(a.seed, 'jumps'), []
        for n in range(a.jumps):
            who, what = rng.choice(['café', 'café', 'hub']), rng.choice(JUMPS)
            writer = kit.Writer(town, cafe, 'jump-%d' % n, most=30)
            time.sleep(rng.uniform(0, 0.05))
            clocks[who].set(what)
            writer.join(kit.PATIENCE)
            promised += writer.acked
            began = time.monotonic()
            came = kit.until(lambda: in_step(town, hub, promised))
            took = time.monotonic() - began
            words = 'jump %d of the %s to %s' % (n, who, what)
            t.check(len(writer.acked) == 30, '%s: %d of 30 records taken' % (words, len(writer.acked)))
            t.check(came and took < 5 * a.patience, '%s: in step after %.1f s' % (words, took))
            t.check(c.runs() and h.runs(), '%s: a daemon ended' % words)
        t.check(in_order(town.export(hub), promised), 'the order of the chain changed')
        before = c.cpu_s() + h.cpu_s()
        time.sleep(2)
        used = (c.cpu_s() + h.cpu_s() - before) / 2
        t.check(used < 0.04 * a.patience, 'busy after the jumps: %.1f %% of a processor' % (100 * used))
        t.check(c.end() == 0 and h.end() == 0, 'they end badly')
        wrong = kit.whole(town, 'knockbox-cafe', cafe, promised)
        t.check(not wrong, 'the café afterwards: %s' % wrong[:3])
        print('jumps: %d, %d records' % (a.jumps, len(promised)))


def no_clock(a, t):
    """A café that starts in 1970 records at once; what it wrote is marked, and its clock is shown."""
    with kit.Town(a) as town:
        hub, h, cafe = pair(town)
        clock = kit.Clock(town, 'cafe')
        clock.set('=0+')
        c = town.start('knockbox-cafe', cafe, env=clock.env)
        promised = [dict(town.note(cafe, 'in 1970 %d' % i)[1], text='in 1970 %d' % i) for i in range(5)]
        t.check(kit.until(lambda: in_step(town, hub, promised)), 'no sync in 1970')
        r = row(town, hub)
        t.check(r['clock_offset_ms'] < -10 ** 12, 'the offset is %s' % r['clock_offset_ms'])
        t.check(any('clock' in x for x in r['alerts']), 'no alert: %s' % r['alerts'])
        mine = [x for x in town.export(hub) if x['site'] == 'quayside']
        t.check(all(x['clock'] != 'synchronised' and x['at'].startswith('1970') for x in mine), 'unmarked: %s' % mine[:1])
        t.check(all(not x['held'].startswith('1970') for x in mine), 'the hub held it in 1970: %s' % mine[:1])
        clock.set('0')
        text = 'with a clock'
        status, said = town.note(cafe, text)
        t.check(status == 0, 'after the clock came: %s' % (said,))
        promised.append(dict(said, text=text))
        t.check(kit.until(lambda: in_step(town, hub, promised) and abs(row(town, hub)['clock_offset_ms']) < 5000),
                'the offset stays: %s' % row(town, hub))
        t.check(in_order(town.export(hub), promised), 'the order of the chain changed')
        t.check(not any('clock' in x for x in row(town, hub)['alerts']), 'the alert stays')
        c.end()
        t.check(c.p.returncode == 0, 'the café ends with %s' % c.p.returncode)


def offset(a, t):
    """A clock that is an hour ahead, or behind: measured, shown, no pass for its tubs; `at` is kept."""
    with kit.Town(a) as town:
        hub, h, cafe = pair(town)
        lines = (CATALOGUE % ('quayside', 'Quayside', 'Europe/London') +
                 '{"kind":"coffee","at":"2026-01-01T00:00:00+00:00","site":"kitchen","code":"house","name":"House"}\n'
                 '{"kind":"place","at":"2026-01-01T00:00:00+00:00","site":"kitchen","code":"Q-FRZ","for_site":"quayside",'
                 '"class":"freezer"}\n')
        town.must('knockbox', 'import', '-', '--at', hub, text=lines)
        clock = kit.Clock(town, 'cafe')
        c = town.start('knockbox-cafe', cafe, env=clock.env)
        for shift in (3600, -3600):
            clock.set(str(shift))
            town.note(cafe, 'shift %d' % shift)
            near = kit.until(lambda: row(town, hub) and abs(row(town, hub)['clock_offset_ms'] - 1000 * shift) < 2000)
            t.check(near, 'shift %d: shown as %s' % (shift, row(town, hub)))
            t.check(any('clock' in x for x in row(town, hub)['alerts']), 'shift %d: no alert' % shift)
        clock.set('3600')
        at = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(hours=1)
        words = dict(tub='T-AHEAD', coffee='house', origin='espresso', gross_g=3000, tare_g=200, method='weighed', place='Q-FRZ',
                     first_knock=(at - datetime.timedelta(minutes=20)).isoformat(timespec='seconds'),
                     frozen=at.isoformat(timespec='seconds'))
        kit.until(lambda: any(x['kind'] == 'place' for x in town.export(cafe)))
        status, out, err = town.run('knockbox', 'log', 'tub', *['%s=%s' % w for w in words.items()], '--at', cafe, '--json',
                                    env=clock.env)
        t.check(status == 0, 'the tub: %s %s' % (status, err))
        kit.until(lambda: any(x.get('tub') == 'T-AHEAD' for x in town.export(hub)))
        got = next(x for x in town.export(hub) if x.get('tub') == 'T-AHEAD')
        t.check(abs(datetime.datetime.fromisoformat(got['at']) - at).total_seconds() < 60, '`at` is %s' % got['at'])
        report = json.loads(town.must('knockbox', 'report', at.strftime('%Y-%m'), '--json', '--at', hub))
        safety = json.dumps(report['safety'].get('warm_time_unknown'))
        t.check('T-AHEAD' in safety, 'a tub by a clock ahead passed: %s' % json.dumps(report['safety'])[:300])
        c.end()


def days(a, t):
    """Each minute of the nights of a change, in three zones, and a leap day, on the right local day."""
    nights = [('Europe/London', '2026-03-28'), ('Europe/London', '2026-10-24'), ('America/New_York', '2026-03-07'),
              ('America/New_York', '2025-11-01'), ('Australia/Lord_Howe', '2026-04-04'), ('Australia/Lord_Howe', '2025-10-04'),
              ('Europe/London', '2024-02-28')]
    with kit.Town(a) as town:
        hub = town.hub()
        town.start('knockbox-hub', hub)
        sites = {zone: 'paper-%d' % i for i, zone in enumerate(sorted({z for z, _ in nights}))}
        town.must('knockbox', 'import', '-', '--at', hub, text=''.join(CATALOGUE % (s, s, z) for z, s in sites.items()))
        for zone, day in nights:
            site, info = sites[zone], zoneinfo.ZoneInfo(zone)
            noon = datetime.datetime.fromisoformat(day + 'T12:00:00').replace(tzinfo=info)
            first = noon.astimezone(datetime.timezone.utc)
            want, lines = {}, []
            for minute in range(0, 26 * 60, a.minutes):
                at = first + datetime.timedelta(minutes=minute)
                local = at.astimezone(info)
                shown = local.date() if local.hour >= 4 else local.date() - datetime.timedelta(days=1)
                want[shown.isoformat()] = want.get(shown.isoformat(), 0) + 1
                lines.append('{"kind":"note","at":"%s","held":"%s","by":"XX","site":"%s","text":"%d"}' % (
                    at.isoformat(), at.isoformat(), site, minute))
            town.must('knockbox', 'import', '-', '--at', hub, text='\n'.join(lines) + '\n')
            for shown, n in want.items():
                out = town.must('knockbox', 'export', '--at', hub, '--site', site, '--kind', 'note', '--from', shown, '--to', shown)
                got = [json.loads(x) for x in out.splitlines()]
                t.check(len(got) == n, '%s, %s: %d notes, should be %d' % (zone, shown, len(got), n))
                for x in got:
                    at = datetime.datetime.fromisoformat(x['at'])
                    t.check(at.utcoffset() == at.astimezone(info).utcoffset(), '%s has another offset in %s' % (x['at'], zone))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, jumps=16, minutes=1, patience=1)
    kit.run_parts(arguments, [jumps, no_clock, offset, days], kit.Tally())
