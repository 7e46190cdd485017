"""Exact optima of small crew days, from the raw data alone.

Every day a crew could have (which jobs in which order, which units, calls at yards, waits there for a unit that another
crew puts down, a meeting with another crew to hand units over) is written out and priced by the code below, which
follows the rules as the planner's documentation states them and shares nothing with its source. A constraint model then
picks one day for each crew so that no job is done twice and no unit is in two places at any time, and who meets is met,
at least cost: OR-Tools CP-SAT, proven optimal.

    cargo run --release -p forenoon-planner --example exactcases | python3 solve.py > optima.csv

Needs: pip install ortools (9.15 was used). A cost unit is 1/3,600,000 of a minor unit.
"""
import json
import sys
from multiprocessing import Pool

from ortools.sat.python import cp_model

MASK = (1 << 64) - 1
NEVER = -(1 << 60)


def service(job, task, method, tool, size):
    """The table of the generated cases: seconds and exposure points."""
    if tool == ():
        kind = 17
    elif len(tool) == 1:
        kind = tool[0] + 1
    else:
        kind = tool[0] * 5 + tool[1] * 11 + 2
    h = job * 31 + task * 7 + method * 3
    h = (h * 0x9E3779B97F4A7C15 + kind * 0x85EBCA6B) & MASK
    h ^= h >> 29
    minutes = 6 + h % 50
    return minutes * 60 * 2 // (1 + size), minutes


class Case:
    def __init__(self, data):
        self.__dict__.update(data)
        self.w = data["weights"]

    def tools(self, j, t, size):
        """Usable tools of a task as (seconds, wear, noisy, method, classes, exposure), quickest first."""
        found = []
        owned = {u["class"] for u in self.units}
        for m, (cap, gate, slope) in enumerate(self.jobs[j]["tasks"][t]):
            if cap is None:
                sec, exp = service(j, t, m, (), size)
                found.append((sec, 0, False, m, (), exp))
                continue
            for a in sorted(owned):
                ca = self.classes[a]
                if cap not in ca["can"]:
                    continue
                if ca["role"][0] == "attachment":
                    sets = [(a, p) for p in sorted(owned)
                            if self.classes[p]["role"] == ["powerhead", ca["role"][1]]]
                else:
                    sets = [(a,)]
                for s in sets:
                    parts = [self.classes[c] for c in s]
                    if gate is not None and max(p["width"] for p in parts) > gate:
                        continue
                    if min(p["slope"] for p in parts) < slope:
                        continue
                    sec, exp = service(j, t, m, s, size)
                    found.append((sec, sum(p["wear"] for p in parts), any(p["noisy"] for p in parts), m, s, exp))
        # Ties go by wear, noise, method; then a single unit before a pair, then by class.
        found.sort(key=lambda f: (f[0], f[1], f[2], f[3], len(f[4]), f[4]))
        return found

    def drive(self, a, b, t):
        road = self.seconds[a * self.places + b]
        if self.pace is None:
            return road
        road *= 1000
        now = t
        while road > 0:
            p = self.pace[(now // 3600) % 24]
            left = (now // 3600 + 1) * 3600 - now
            if left * p >= road:
                now += -(-road // p)
                road = 0
            else:
                road -= left * p
                now += left
        return now - t


class Day:
    """One crew's day, walked stop by stop."""

    def __init__(self, case, c):
        self.case, self.c = case, c
        crew = self.crew = case.crews[c]
        way = self.way = crew["progress"]
        self.place = way["place"] if way else crew["start"]
        self.ready = way["ready"] if way else crew["start_at"]
        taken = way["breaks_taken"] if way else 0
        while taken < len(crew["breaks"]) and crew["breaks"][taken][1] < self.ready:
            taken += 1
        self.taken = taken
        self.limit = crew["end_at"] + crew["overtime_max"]
        self.home = None
        if way:
            t, k = self.rest(self.ready, taken)
            self.home = t + case.drive(self.place, crew["end"], t)
            self.limit = max(self.limit, self.home)
        self.memo = {}
        self.tool_memo = {}

    def rest(self, t, k):
        """Takes the breaks that are due at t; None if one is too late."""
        breaks = self.crew["breaks"]
        while k < len(breaks) and breaks[k][0] <= t:
            if t > breaks[k][1]:
                return None, k
            t += breaks[k][2]
            k += 1
        return t, k

    def end_of(self, s, work, k):
        end = s + work
        for e, _, d in self.crew["breaks"][k:]:
            if e >= end:
                break
            if e > s:
                end += d
        return end

    def serve(self, j, classes):
        key = (j, classes)
        if key in self.memo:
            return self.memo[key]
        work, wear, exp, noisy, used = self.case.jobs[j]["fixed"], 0, 0, False, set()
        result = None
        for t in range(len(self.case.jobs[j]["tasks"])):
            if (j, t) not in self.tool_memo:
                self.tool_memo[(j, t)] = self.case.tools(j, t, self.crew["size"])
            pick = next((f for f in self.tool_memo[(j, t)] if all(c in classes for c in f[4])), None)
            if pick is None:
                break
            work += pick[0]
            wear += pick[0] * pick[1]
            exp += pick[5]
            noisy = noisy or pick[2]
            used.update(pick[4])
        else:
            result = (work, wear, exp, noisy, frozenset(used))
        self.memo[key] = result
        return result

    def may(self, j):
        job = self.case.jobs[j]
        return (all(s in self.crew["skills"] for s in job["skills"]) and self.crew["size"] >= job["size"]
                and (job["crews"] is None or self.c in job["crews"]))

    def leave(self, st, to):
        """Drives on from a state (place, time, breaks, cost, exposure, busy)."""
        place, t, k, cost, exp, busy = st
        t, k = self.rest(t, k)
        if t is None:
            return None
        d = self.case.drive(place, to, t)
        w = self.case.w
        cost += self.crew["wage"] * w["driving"] * d
        cost += w["km"] * self.case.metres[place * self.case.places + to] * 3600
        return (to, t + d, k, cost, exp, busy + d)

    def wait_and_work(self, st, work, starts):
        """Begins as soon as `starts(t, k)` allows, with breaks taken on the way. Returns state, start, finish."""
        place, arrival, k, cost, exp, busy = st
        t, k = self.rest(arrival, k)
        if t is None:
            return None
        rested = t - arrival
        while True:
            s = starts(t, k)
            if s is None:
                return None
            breaks = self.crew["breaks"]
            if k < len(breaks) and breaks[k][0] <= s:
                begin = max(t, breaks[k][0])
                t, k = self.rest(begin, k)
                if t is None:
                    return None
                rested += t - begin
                continue
            break
        end = self.end_of(s, work, k)
        while k < len(self.crew["breaks"]) and self.crew["breaks"][k][0] < end:
            k += 1
        w = self.case.w
        cost += self.crew["wage"] * (w["work"] * work + w["idle"] * (s - arrival - rested))
        return (place, end, k, cost, exp, busy + work), s, end

    def do(self, st, j, classes):
        case, job, w = self.case, self.case.jobs[j], self.case.w
        sv = self.serve(j, classes)
        if sv is None:
            return None
        work, wear, exposure, noisy, _ = sv
        st = self.leave(st, job["place"])
        if st is None:
            return None

        def starts(t, k):
            s = t
            while True:
                if job["promise"]:
                    opens, _, _, after = job["promise"]
                    s = max(s, opens - work if after else opens)
                for o, c in job["windows"]:
                    x = max(s, o)
                    if (self.end_of(x, work, k) if job["whole"] else x) <= c and x <= c:
                        s = x
                        break
                else:
                    return None
                breaks = self.crew["breaks"]
                if k < len(breaks) and breaks[k][0] <= s:
                    return s
                e = self.end_of(s, work, k)
                hit = next((q for q in job["quiet"] if s < q[1] and q[0] < e), None) if noisy else None
                if hit is None:
                    return s
                s = hit[1]

        out = self.wait_and_work(st, work, starts)
        if out is None:
            return None
        (place, end, k, cost, exp, busy), s, _ = out
        promise = job["promise"]
        met = (end if promise[3] else s) if promise else None
        broken = promise and met > promise[1]
        if broken and promise[2]:
            return None
        cost += wear * w["wear"]
        if broken:
            cost += w["broken"] * 3_600_000 + w["broken_hour"] * 1000 * (met - promise[1])
        if job["due"] and end > job["due"][0]:
            cost += job["due"][1] * w["late"] * (end - job["due"][0])
        if job["previous"]:
            pc, ps, pf = job["previous"]
            extra = (w["crew"] if pc != self.c else 0) + (w["moved"] if abs(s - ps) > w["tolerance"] else 0)
            if broken and (pf if promise[3] else ps) <= promise[1]:
                extra += w["promise"]
            cost += extra * 3_600_000
        return (place, end, k, cost, exp + exposure, busy)

    def close(self, st, due):
        """Drives home; when the crew is back and the total cost, or None if too late."""
        st = self.leave(st, self.crew["end"])
        if st is None:
            return None
        _, t, _, cost, exp, busy = st
        if t > self.limit or t > due:
            return None
        back = t
        w = self.case.w
        cost += self.crew["overtime"] * w["overtime"] * max(0, t - self.crew["end_at"])
        if self.crew["exposure"] is not None:
            cost += w["exposure"] * max(0, exp - self.crew["exposure"]) * 3_600_000
        if self.crew["fair"] is not None:
            cost += w["unfair"] * 1000 * max(0, busy - self.crew["fair"])
        return back, cost


def subsets(items):
    for m in range(1 << len(items)):
        yield [x for i, x in enumerate(items) if m >> i & 1]


FOREVER = 1 << 60
DEPTH = 2


def handing_over(crew):
    """How long the crew takes to hand units over where it meets another; None if it may not."""
    return crew["calls"][0][1] if crew["calls"] and crew["calls_max"] > 0 else None


def days_of(case, c, releases, others, ready):
    """All worthwhile days of a crew: {(jobs, holds, waits, meeting): cost}.

    A hold is (unit, from, to): the crew has the unit in that time. Where units are not shared it is the whole day. A
    wait is (units, instant): the crew waits at a yard until another puts one of the units down. `releases` has the
    instants at which each unit may be put down by others. A meeting is (crew, place, instant, units given, units taken);
    it begins when one of the two can, so `others` has the instants {(crew, place, unit given or taken): instants} at
    which others could begin one with this crew, and those of this crew are added to `ready`.
    """
    day = Day(case, c)
    crew, w = day.crew, case.w
    frozen = {j for x in case.crews if x["progress"] for j in x["progress"]["frozen"]}
    jobs = [j for j in range(len(case.jobs)) if j not in frozen and day.may(j)]
    units, classes = case.units, case.classes
    start = (day.place, day.ready, day.taken, 0, 0, 0)
    yards = crew["calls"][:4] if crew["calls_max"] > 0 else []
    best = {}
    empty = 0 if not day.way else day.close(start, FOREVER)[1]

    def note(done, holds, waits, met, cost):
        worth = sum(case.jobs[j]["penalty"] for j in done) * w["unplanned"] * 3600
        if done and cost - empty >= worth:
            return
        key = (done, frozenset(holds), frozenset(waits), met)
        if cost < best.get(key, 1 << 62):
            best[key] = cost

    def hold(u, since, to):
        return (u, since, to) if case.share else (u, NEVER, FOREVER)

    def fits(load):
        return sum(classes[units[u]["class"]]["space"] for u in load) <= crew["space"]

    def kinds(load):
        return frozenset(units[u]["class"] for u in load)

    busy_elsewhere = set() if case.share else {
        u for i, x in enumerate(case.crews) if i != c and x["progress"] and x["day"] == crew["day"]
        for u in x["progress"]["aboard"]}

    def first_loads():
        if day.way:
            usable = []
            for u in day.way["aboard"]:
                win = next((x for x in units[u]["available"] if x[0] <= day.ready <= x[1]), None)
                if win and win[1] >= day.home:
                    usable.append((u, win[1]))
            yield list(day.way["aboard"]), dict(usable)
            return
        here = []
        for u, unit in enumerate(units):
            win = next((x for x in unit["available"] if x[0] <= day.ready <= x[1]), None)
            if win and unit["home"] == crew["start"] and u not in busy_elsewhere:
                here.append((u, win[1]))
        for load in subsets(here):
            ids = [u for u, _ in load]
            if len(kinds(ids)) == len(ids) and fits(ids):
                yield ids, dict(load)

    def finish(st, done, load, since, idle, holds, waits, cost_load, due, met):
        # A unit taken and not used only costs.
        if idle or not (done or met):
            return
        closed = day.close(st, due)
        if closed is None:
            return
        back, total = closed
        # Only at its own yard can others have a unit after this crew.
        mine = [hold(u, since[u], back if units[u]["home"] == crew["end"] else FOREVER) for u in load]
        note(done, holds | set(mine), waits, met, total + cost_load)

    def walk(st, done, load, dues, since, idle, holds, waits, cost_load, calls, due, met=None):
        cls = frozenset(units[u]["class"] for u in load if u in dues)
        finish(st, done, load, since, idle, holds, waits, cost_load, due, met)
        for j in jobs:
            if j in done:
                continue
            nxt = day.do(st, j, cls)
            if nxt is None or nxt[1] > day.limit:
                continue
            used = day.serve(j, cls)[4]
            left = frozenset(u for u in idle if units[u]["class"] not in used)
            walk(nxt, done | {j}, load, dues, since, left, holds, waits, cost_load, calls, due, met)
        if calls >= crew["calls_max"]:
            return
        if case.meet and met is None:
            meet(st, done, load, dues, since, idle, holds, waits, cost_load, calls, due)
        for place, seconds in yards:
            at = day.leave(st, place)
            if at is not None:
                call(at, place, seconds, done, load, dues, since, idle, holds, waits, cost_load, calls, due, met)

    def meet(st, done, load, dues, since, idle, holds, waits, cost_load, calls, due):
        """Every meeting with another crew at which units go one way."""
        mine = handing_over(crew)
        for other, team in enumerate(case.crews):
            theirs = handing_over(team)
            if other == c or team["day"] != crew["day"] or mine is None or theirs is None:
                continue
            seconds = max(mine, theirs)
            # At somebody's site, or at a yard of one of the two.
            yards_of = [x for y in (crew, team) for x in (y["start"], y["end"], *(p for p, _ in y["calls"]))]
            for place in sorted({job["place"] for job in case.jobs} | set(yards_of)):
                at = day.leave(st, place)
                natural = at and day.wait_and_work(at, seconds, lambda t, k: t)
                if not natural or natural[1] + seconds > min(due, day.limit):
                    continue
                # What it does not use itself it has brought along since the morning.
                gifts = [(u, True) for u in load if u in dues and (u not in idle or since[u] <= day.ready)]
                if len(done) < len(jobs):
                    gifts += [(u, False) for u in range(len(units)) if u not in load]
                for u, gives in gifts:
                    ready.setdefault((other, c, place, u, gives), set()).add(natural[1])
                for some in subsets(gifts):
                    give = [u for u, gives in some if gives]
                    take = [u for u, gives in some if not gives]
                    if bool(give) == bool(take):
                        continue
                    instants = {natural[1]}
                    for u, gives in some:
                        instants |= {t for t in others.get((c, other, place, u, not gives), ()) if t > natural[1]}
                    for instant in sorted(instants):
                        hand_over(at, place, seconds, instant, other, give, take, done, load, dues, since, idle, holds,
                                  waits, cost_load, calls, due)

    def hand_over(at, place, seconds, instant, other, give, take, done, load, dues, since, idle, holds, waits, cost_load,
                  calls, due):
        out = day.wait_and_work(at, seconds, lambda t, k: max(t, instant))
        if out is None or out[1] != instant or out[2] != instant + seconds:
            return
        after, begun, over = out
        if over > due or over > day.limit:
            return
        ids = [u for u in load if u not in give] + take
        new = {u: x for u, x in dues.items() if u not in give}
        for u in take:
            win = next((x for x in units[u]["available"] if x[0] <= begun <= x[1]), None)
            if win is None or win[1] < over:
                return
            new[u] = win[1]
        if len(kinds(take)) < len(take) or kinds(take) & kinds(set(ids) - set(take)) or not fits(ids):
            return
        spent = after[3] + cost_load + len(take) * w["load"] * 3_600_000 - empty
        if spent >= sum(case.jobs[j]["penalty"] for j in jobs) * w["unplanned"] * 3600:
            return
        met = (other, place, instant, frozenset(give), frozenset(take))
        left = {u: since[u] for u in load if u not in give}
        left.update({u: over for u in take})
        walk(after, done, ids, new, left, (idle - set(give)) | frozenset(take),
             holds | {hold(u, since[u], over) for u in give}, waits,
             cost_load + len(take) * w["load"] * 3_600_000, calls + 1, min(new.values(), default=FOREVER), met)

    def call(at, place, seconds, done, load, dues, since, idle, holds, waits, cost_load, calls, due, met):
        stay = [u for u in load if units[u]["home"] != place]
        # Units here: put down or kept, or taken; each with one of its stretches.
        choices = [(u, None, dues[u]) for u in load if units[u]["home"] == place and u in dues]
        for u, unit in enumerate(units):
            if u in load or unit["home"] != place or u in busy_elsewhere:
                continue
            for o, x in unit["available"]:
                if o < day.limit and x > day.ready:
                    choices.append((u, o, x))
        for pick in subsets(choices):
            ids = stay + [u for u, _, _ in pick]
            if len(set(ids)) < len(ids) or len({units[u]["class"] for u, _, _ in pick}) < len(pick) or not fits(ids):
                continue
            put = [u for u in load if u not in ids]
            taken = frozenset(u for u, o, _ in pick if o is not None)
            if idle & set(put) or not (put or taken):
                continue
            opens = max([o for _, o, _ in pick if o is not None], default=NEVER)
            natural = day.wait_and_work(at, seconds, lambda t, k: max(t, opens))
            if natural is None:
                continue
            later = {r for u in taken for r in releases.get(u, ()) if r > natural[1] and r < day.limit} if case.share else ()
            for until in [None, *sorted(later)]:
                out = natural if until is None else day.wait_and_work(at, seconds, lambda t, k: max(t, opens, until))
                if out is None:
                    continue
                after, begun, _ = out
                if after[1] > due or after[1] > day.limit:
                    continue
                new = {u: x for u, _, x in pick}
                new.update({u: dues[u] for u in stay if u in dues})
                waiting = waits if until is None else waits | {(taken, until)}
                walk(after, done, ids, new, {u: begun if u in taken else since[u] for u in ids},
                     (idle - set(put)) | taken, holds | {hold(u, since[u], after[1]) for u in put}, waiting,
                     cost_load + len(taken) * w["load"] * 3_600_000, calls + 1, min(new.values(), default=FOREVER), met)

    for load, dues in first_loads():
        handling = 0 if day.way else len(load) * w["load"] * 3_600_000
        idle = frozenset() if day.way else frozenset(load)
        since = NEVER if day.way else day.ready
        walk(start, frozenset(), load, dues, {u: since for u in load}, idle, frozenset(), frozenset(), handling, 0,
             min(dues.values(), default=FOREVER))
    aboard = day.way["aboard"] if day.way else []
    stays = [(u, day.home if units[u]["home"] == crew["end"] else FOREVER) for u in aboard]
    note(frozenset(), {hold(u, NEVER, to) for u, to in stays}, frozenset(), None, empty)
    return best


def all_days(case):
    """Every crew's days. What one crew puts down another may wait for, and put down later in its turn, and so on, `DEPTH`
    waits deep: a wait for what was put down after a wait is two deep."""
    count = len(case.crews)
    releases, others, ready = [{} for _ in range(count)], {}, {}
    days = [days_of(case, c, releases[c], others, ready) for c in range(count)]
    if not case.share:
        return days
    for _ in range(DEPTH):
        fresh = [{} for _ in range(count)]
        for c, columns in enumerate(days):
            for other in range(count):
                if other != c and case.crews[other]["day"] == case.crews[c]["day"]:
                    for _, holds, _, met in columns:
                        for u, _, to in holds:
                            if to < FOREVER and not is_given(u, to, met, case):
                                fresh[other].setdefault(u, set()).add(to)
        if fresh == releases and ready == others:
            return days
        others = {key: set(instants) for key, instants in ready.items()}
        for c in range(count):
            days[c] = days_of(case, c, fresh[c], others, ready)
        releases = fresh
    return days


def is_given(u, to, met, case):
    """Whether the hold ends where two crews meet, and not at a yard."""
    return met is not None and u in met[3] and to > met[2]


def choose(case, days):
    """The days of all crews that together cost least: their cost in whole numbers, and which they are."""
    model = cp_model.CpModel()
    objective, jobs_in, held, put_down, waiting, columns, meetings = [], {}, {}, {}, [], [], {}
    for c, crew in enumerate(case.crews):
        picks = []
        for (done, holds, waits, met), cost in days[c].items():
            x = model.NewBoolVar("")
            picks.append(x)
            columns.append((x, c, done, holds, waits, met))
            if met is not None:
                meetings.setdefault((c, *met), []).append(x)
            objective.append(cost * x)
            for j in done:
                jobs_in.setdefault(j, []).append(x)
            for u, since, to in holds:
                held.setdefault((u, crew["day"]), []).append((since, to, c, x))
                if not is_given(u, to, met, case):
                    put_down.setdefault((u, crew["day"], to), []).append((c, x))
            waiting.extend((x, c, crew["day"], *wait) for wait in waits)
        model.AddExactlyOne(picks)
    frozen = {j for x in case.crews if x["progress"] for j in x["progress"]["frozen"]}
    for j, job in enumerate(case.jobs):
        if j in frozen:
            continue
        left = model.NewBoolVar("")
        model.AddExactlyOne(jobs_in.get(j, []) + [left])
        objective.append(job["penalty"] * case.w["unplanned"] * 3600 * left)
    for holds in held.values():
        # Two holds overlap where one has begun and not ended when the other begins.
        for begin in {since for since, _, _, _ in holds}:
            there = {x.Index(): x for since, to, _, x in holds if since <= begin < to}
            if len(there) > 1:
                model.AddAtMostOne(there.values())
    # What is handed over where two meet changes hands once in the day.
    for (u, on), holds in held.items():
        for (c, other, place, instant, give, take), givers in meetings.items():
            if u in give and case.crews[c]["day"] == on:
                for x in givers:
                    model.Add(sum(y for _, _, _, y in holds) <= 2).OnlyEnforceIf(x)
    for x, c, on, units, until in waiting:
        givers = [y for u in units for other, y in put_down.get((u, on, until), ()) if other != c]
        model.AddBoolOr([*givers, x.Not()])
    for (c, other, place, instant, give, take), mine in meetings.items():
        theirs = meetings.get((other, c, place, instant, take, give), [])
        for x in mine:
            model.AddBoolOr([*theirs, x.Not()])
    model.Minimize(sum(objective))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.Solve(model)
    assert status == cp_model.OPTIMAL, (case.seed, status)
    # The objective is read from the model in whole numbers, not from a float.
    return sum(solver.Value(term) for term in objective), [column[1:] for column in columns if solver.Value(column[0])]


def solve(line):
    case = Case(json.loads(line))
    return case.seed, choose(case, all_days(case))[0]


def needs(line):
    """How much dearer the case gets with no unit used by two crews, without meetings, and without both these and second
    calls: for choosing cases."""
    case = Case(json.loads(line))
    cost = choose(case, all_days(case))[0]
    extra = []
    if case.share:
        case.share = False
        extra.append(choose(case, all_days(case))[0] - cost)
        case.share = True
    else:
        extra.append(0)
    if case.meet:
        case.meet = False
        extra.append(choose(case, all_days(case))[0] - cost)
    else:
        extra.append(0)
    for crew in case.crews:
        crew["calls_max"] = min(crew["calls_max"], 1)
    extra.append(choose(case, all_days(case))[0] - cost)
    return (case.seed, cost, *extra)


if __name__ == "__main__":
    work = needs if "--needs" in sys.argv else solve
    print("seed,cost")
    with Pool(2) as pool:
        for row in pool.imap(work, sys.stdin, chunksize=1):
            print(*row, sep=",", flush=True)
