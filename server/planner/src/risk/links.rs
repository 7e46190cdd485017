//! Where one crew's day bears on another's: units that pass between them, and meetings.
//!
//! A unit that one crew puts down at a yard, on its way or when it is back, and another has later that day links the two.
//! What a crew under way had aboard when the part to be planned began, it has: it waits for nobody. What was put down
//! before that stands at the yard and belongs to nobody's day any more.

use crate::Seconds;
use crate::index::{CrewIx, PlaceIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Stop, Visit};
use crate::problem::{Problem, Progress};

/// An act of a crew's day: it sets out, makes its open stops one after the other, and goes home.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct ActIx {
    pub(super) crew: usize,
    pub(super) act: usize,
}

/// One crew waits for another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Link {
    /// When this is done, or the crew is there to meet the other,
    pub(super) from: ActIx,
    /// this can begin.
    pub(super) to: ActIx,
    /// When that is by the plan.
    pub(super) planned: Seconds,
    /// The two meet, and each waits for the other to be there.
    pub(super) meeting: bool,
}

/// A stretch in which a crew has a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Spell {
    day: u16,
    unit: UnitIx,
    taken: Seconds,
    put_down: Seconds,
    first: ActIx,
    last: ActIx,
    /// Neither aboard from before nor handed over where two meet.
    waited_for: bool,
}

/// All links of a plan, in order.
pub(super) struct Links(Vec<Link>);

impl Links {
    pub(super) fn new(problem: &Problem, plan: &Plan) -> Self {
        let mut links = Vec::new();
        let mut spells = Vec::new();
        for crew in 0..plan.crews.len().min(problem.crews().len()) {
            spells_of(problem, plan, crew, &mut spells);
            meetings_of(plan, crew, &mut links);
        }
        spells.sort_unstable();
        for pair in spells.windows(2) {
            let (one, next) = (pair[0], pair[1]);
            let same = (one.day, one.unit) == (next.day, next.unit);
            if same && one.last.crew != next.first.crew && next.waited_for {
                links.push(Link {
                    from: one.last,
                    to: next.first,
                    planned: one.put_down,
                    meeting: false,
                });
            }
        }
        links.sort_unstable();
        Self(links)
    }

    /// What an act waits for.
    pub(super) fn to(&self, act: ActIx) -> impl Iterator<Item = &Link> {
        self.0.iter().filter(move |link| link.to == act)
    }

    /// Groups of crews that have nothing to do with each other, given by their first acts.
    pub(super) fn groups(&self, crews: usize) -> Vec<Vec<ActIx>> {
        let mut group_of: Vec<usize> = (0..crews).collect();
        for link in &self.0 {
            let (one, other) = (group_of[link.from.crew], group_of[link.to.crew]);
            for group in &mut group_of {
                if *group == one.max(other) {
                    *group = one.min(other);
                }
            }
        }
        let mut groups = vec![Vec::new(); crews];
        for (crew, group) in group_of.into_iter().enumerate() {
            groups[group].push(ActIx { crew, act: 0 });
        }
        groups.retain(|group| !group.is_empty());
        groups
    }

    /// What may go otherwise if an act does: of each crew, the first act.
    pub(super) fn reached_from(&self, act: ActIx) -> Vec<ActIx> {
        let mut reached = vec![act];
        let mut open = vec![act];
        while let Some(first) = open.pop() {
            for link in self.of(first.crew) {
                if link.from.act < first.act {
                    continue;
                }
                match reached.iter_mut().find(|known| known.crew == link.to.crew) {
                    Some(known) if known.act <= link.to.act => continue,
                    Some(known) => *known = link.to,
                    None => reached.push(link.to),
                }
                open.push(link.to);
            }
        }
        reached
    }

    /// Links from a crew.
    fn of(&self, crew: usize) -> impl Iterator<Item = &Link> {
        let first = self.0.partition_point(|link| link.from.crew < crew);
        let links = self.0[first..].iter();
        links.take_while(move |link| link.from.crew == crew)
    }
}

/// A day's open stops with the numbers of their acts.
pub(super) fn open_stops(day: &CrewPlan) -> impl Iterator<Item = (usize, &Stop)> {
    let open = day.stops.iter().filter(|stop| !stop.frozen);
    open.enumerate().map(|(ix, stop)| (ix + 1, stop))
}

fn spells_of(problem: &Problem, plan: &Plan, crew: usize, spells: &mut Vec<Spell>) {
    let (this, day) = (problem.crew(CrewIx::from_ix(crew)), &plan.crews[crew]);
    let stops = open_stops(day).count();
    let out = matches!(this.progress, Progress::UnderWay(_));
    if stops == 0 && !out {
        return;
    }
    let at = |act| ActIx { crew, act };
    let spell = |unit, taken, first, waited_for| Spell {
        day: this.day,
        unit,
        taken,
        put_down: day.back_at,
        first: at(first),
        last: at(stops + 1),
        waited_for,
    };
    let begin = if out { Seconds::MIN } else { this.shift_start };
    let first = spells.len();
    spells.extend(day.load_out.iter().map(|unit| spell(*unit, begin, 0, !out)));
    for (act, stop) in open_stops(day) {
        let (given, taken, from, waited_for) = match &stop.visit {
            Visit::Yard { unload, load } => (unload, load, stop.start, true),
            Visit::Meet { give, take, .. } => (give, take, stop.finish, false),
            Visit::Job { .. } => continue,
        };
        for spell in &mut spells[first..] {
            if spell.last.act > stops && given.contains(&spell.unit) {
                (spell.put_down, spell.last) = (stop.finish, at(act));
            }
        }
        spells.extend(taken.iter().map(|unit| spell(*unit, from, act, waited_for)));
    }
}

/// Links both ways between a crew's meetings and their likes on the days of crews before it.
fn meetings_of(plan: &Plan, crew: usize, links: &mut Vec<Link>) {
    for (act, stop) in open_stops(&plan.crews[crew]) {
        let Visit::Meet { with, .. } = stop.visit else {
            continue;
        };
        if with.ix() >= crew {
            continue;
        }
        let mut stops = open_stops(&plan.crews[with.ix()]);
        let Some((like, there)) = stops.find(|(_, there)| is_like(there, (crew, stop))) else {
            continue;
        };
        let this = ActIx { crew, act };
        let other = ActIx {
            crew: with.ix(),
            act: like,
        };
        for (from, to, stop) in [(this, other, stop), (other, this, there)] {
            links.push(Link {
                from,
                to,
                planned: stop.start - stop.wait_seconds,
                meeting: true,
            });
        }
    }
}

/// Whether a stop of another crew is the same meeting.
fn is_like(there: &Stop, (crew, stop): (usize, &Stop)) -> bool {
    let moment =
        |stop: &Stop| -> (PlaceIx, Seconds, Seconds) { (stop.place, stop.start, stop.finish) };
    matches!(there.visit, Visit::Meet { with, .. } if with.ix() == crew)
        && moment(there) == moment(stop)
}
