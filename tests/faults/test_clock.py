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

NIGHTS = [('Europe/London', '2026-03-28'), ('Europe/London', '2026-10-24'), ('America/New_York', '2026-03-07'),
          ('America/New_York', '2025-11-01'), ('Australia/Lord_Howe', '2026-04-04'), ('Australia/Lord_Howe', '2025-10-04'),
          ('Europe/London', '2024-02-28')]


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
    """A café that boots in 1970, or where it was shut down, records at once; what it wrote in 1970 is marked,
    and the difference is shown until the clock comes."""
    with kit.Town(a) as town:
        hub, h, cafe = pair(town)
        clock, promised = kit.Clock(town, 'cafe'), []
        for n in range(a.boots):
            rng = kit.randomly(a.seed, 'boot', n)
            one_boot(town, t, hub, cafe, clock, rng, promised, 'boot %d' % n)
        t.check(in_order(town.export(hub), promised), 'the order of the chain changed')


def one_boot(town, t, hub, cafe, clock, rng, promised, what):
    first = rng.random() < 0.6
    clock.set('=0+' if first else '-%d' % rng.randrange(3600, 30 * 86400))
    c = town.start('knockbox-cafe', cafe, env=clock.env)
    early = kit.Writer(town, cafe, '%s, early' % what, most=rng.randint(1, 6))
    early.join(kit.PATIENCE)
    t.check(len(early.acked) == early.tried, '%s: %d of %d taken' % (what, len(early.acked), early.tried))
    promised += early.acked
    t.check(kit.until(lambda: in_step(town, hub, promised)), '%s: no sync' % what)
    t.check(kit.until(lambda: row(town, hub)['clock_offset_ms'] < -3500000), '%s: the offset is %s' % (what, row(town, hub)))
    t.check(any('clock' in x for x in row(town, hub)['alerts']), '%s: no alert: %s' % (what, row(town, hub)))
    ids = {p['id'] for p in early.acked}
    mine = [x for x in town.export(hub) if x['id'] in ids]
    if first:
        t.check(all(x['clock'] != 'synchronised' and x['at'].startswith('1970') for x in mine), '%s: unmarked: %s' % (what, mine[:1]))
    t.check(all(not x['held'].startswith('1970') for x in mine), '%s: the hub held it in 1970: %s' % (what, mine[:1]))
    clock.set('0')
    late = kit.Writer(town, cafe, '%s, late' % what, most=2)
    late.join(kit.PATIENCE)
    promised += late.acked
    t.check(len(late.acked) == 2, '%s: %d of 2 taken after the clock came' % (what, len(late.acked)))
    t.check(kit.until(lambda: in_step(town, hub, promised) and abs(row(town, hub)['clock_offset_ms']) < 5000),
            '%s: the offset stays: %s' % (what, row(town, hub)))
    t.check(not any('clock' in x for x in row(town, hub)['alerts']), '%s: the alert stays' % what)
    t.check(c.end() == 0, '%s: the café ends with %s' % (what, c.p.returncode))


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
    with kit.Town(a) as town:
        hub = town.hub()
        town.start('knockbox-hub', hub)
        sites = {zone: 'paper-%d' % i for i, zone in enumerate(sorted({z for z, _ in NIGHTS}))}
        town.must('knockbox', 'import', '-', '--at', hub, text=''.join(CATALOGUE % (s, s, z) for z, s in sites.items()))
        for zone, day in NIGHTS:
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


def nights(a, t):
    """The clock of a café goes through the nights of a change, minute by minute (each a.stride-th): what is recorded without a time has the clock's, with the zone's offset, on the right day."""
    with kit.Town(a) as town:
        hub, h, cafe = pair(town)
        sites = 'Europe/London America/New_York Australia/Lord_Howe'.split()
        cafes = {zone: town.join(hub, 'night-%d' % i) for i, zone in enumerate(sites)}
        lines = ''.join(CATALOGUE % (os.path.basename(f), 'Night', zone) for zone, f in cafes.items())
        town.must('knockbox', 'import', '-', '--at', hub, text=lines)
        for zone, day in NIGHTS[:6]:
            one_night(a, town, t, hub, cafes[zone], zone, day)


def one_night(a, town, t, hub, cafe, zone, day):
    info, clock = zoneinfo.ZoneInfo(zone), kit.Clock(town, os.path.basename(cafe))
    c = town.start('knockbox-cafe', cafe, env=clock.env)
    kit.until(lambda: any(x['kind'] == 'site' for x in town.export(cafe)), step=0.05)
    noon = datetime.datetime.fromisoformat(day + 'T12:00:00').replace(tzinfo=info)
    first, want, days_of = int(noon.timestamp()), {}, {}
    for minute in range(0, 1440, a.stride):
        clock.set('=%d' % (first + 60 * minute))
        status, said = town.note(cafe, 'minute %d' % minute, env=clock.env)
        if not t.check(status == 0, '%s, %s, minute %d: %s' % (zone, day, minute, said)):
            break
        local = datetime.datetime.fromtimestamp(first + 60 * minute, info)
        shown = local.date() if local.hour >= 4 else local.date() - datetime.timedelta(days=1)
        want[said['id']] = local
        days_of[shown.isoformat()] = days_of.get(shown.isoformat(), 0) + 1
    t.check(kit.until(lambda: set(want) <= {x['id'] for x in town.export(hub)}, step=0.2), '%s, %s: not all at the hub' % (zone, day))
    for x in town.export(hub):
        if x['id'] in want:
            at, local = datetime.datetime.fromisoformat(x['at']), want[x['id']]
            t.check(abs((at - local).total_seconds()) < 1 and at.utcoffset() == local.utcoffset(), '%s: %s is %s' % (zone, local, x['at']))
    for shown, n in days_of.items():
        out = town.must('knockbox', 'export', '--at', hub, '--site', os.path.basename(cafe), '--kind', 'note', '--from', shown, '--to', shown)
        t.check(len(out.splitlines()) == n, '%s, %s: %d notes, should be %d' % (zone, shown, len(out.splitlines()), n))
    t.check(c.end() == 0, '%s, %s: the café ends badly' % (zone, day))


if __name__ == '__main__':
    arguments = kit.arguments(__doc__, jumps=16, minutes=1, patience=1, boots=2, stride=31)
    kit.run_parts(arguments, [jumps, no_clock, offset, days, nights], kit.Tally())
