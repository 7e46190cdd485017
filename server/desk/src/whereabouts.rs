//! Where units are on a day under way: aboard with a crew, left by the road, or in the yard although a load-out has them.
//!
//! A load-out names what a crew may use. What is tagged out, and what is with a crew that can't go on, is on none; so each
//! plan keeps for the next ones which of these units are out, and with whom.

use std::collections::BTreeSet;

use forenoon_store::entity::{crew_load, unit};
use forenoon_store::value::{UnitMissing, UnitMoved, UnitOut};

use crate::fleet::{litres_up, present};
use crate::inputs::DayInputs;
use crate::roster::who_goes;
use crate::stored_plan::StoredPlan;

impl DayInputs {
    /// Whether a crew has the unit aboard in the plan gone on from, as far as it has come.
    pub(crate) fn has_aboard(&self, crew: &str, unit: &str) -> bool {
        if let Some(to) = self.moved.get(unit) {
            return to.as_deref() == Some(crew);
        }
        let reached = |crew: &str, instant| self.has_reached(crew, instant);
        let by_plan = self.base.as_ref().is_some_and(|(base, _)| {
            base.is_aboard(crew, unit, &reached) && !self.was_left_in_yard(base, crew, unit)
        });
        by_plan || self.rides_with(crew).any(|one| one.unit_id == unit)
    }

    /// Whether a crew is out with units that are on no load-out of the plan gone on from.
    pub(crate) fn is_out_with_units(&self, crew: &str) -> bool {
        self.rides_with(crew).next().is_some()
    }

    /// Room that units take on a crew's vehicle which must not be used and ride along.
    pub(crate) fn dead_litres(&self, crew: &str) -> u32 {
        self.with(crew)
            .filter(|unit| self.is_kept_in(&unit.id) && !self.stranded.contains(&unit.id))
            .map(|unit| litres_up(unit.load_space_litres))
            .sum()
    }

    /// Whether the crew has confirmed that it did not take the unit along, and the plan gone on from does not know of it.
    pub(crate) fn is_missing(&self, crew: &str, unit: &str) -> bool {
        let Some((base, _)) = &self.base else {
            return false;
        };
        let mut known = base
            .plan
            .proposal
            .iter()
            .flat_map(|facts| &facts.missing)
            .filter(|one| one.crew_id == crew && one.unit_id == unit);
        self.load_of(crew).is_some_and(|load| {
            let missing = load.missing_unit_ids.0.iter().any(|id| id == unit);
            // What was confirmed for the plan before may be known to this one, which has the unit taken all the same.
            missing && (load.plan_id == base.plan.id || known.next().is_none())
        })
    }

    /// What a plan made from these inputs is to know of units that crews left in the yard.
    pub(crate) fn units_missing(&self) -> Vec<UnitMissing> {
        let crews = self.crews.iter();
        let loads = crews.filter_map(|crew| self.load_of(&crew.id));
        loads
            .flat_map(|load| {
                let missing = load.missing_unit_ids.0.iter();
                missing.map(|unit| UnitMissing {
                    unit_id: unit.clone(),
                    crew_id: load.crew_id.clone(),
                })
            })
            .collect()
    }

    /// Units that are out and on no load-out of a plan made from these inputs.
    pub(crate) fn units_out(&self, after: &StoredPlan) -> Vec<UnitOut> {
        let Some((_, now)) = &self.base else {
            return Vec::new();
        };
        let loaded = |unit: &str| after.spells_of(unit).next().is_some();
        let mut out: Vec<UnitOut> = self
            .out
            .iter()
            .filter(|one| one.left_behind && !loaded(&one.unit_id))
            .cloned()
            .collect();
        for crew in &self.crews {
            if !self.is_out(&crew.id) {
                continue;
            }
            let rides = |unit: &&unit::Model| {
                !loaded(&unit.id) && (self.is_kept_in(&unit.id) || self.is_there_now(unit))
            };
            for unit in self.with(&crew.id).filter(rides) {
                if out.iter().any(|one| one.unit_id == unit.id) {
                    continue;
                }
                let known = self.rides_with(&crew.id);
                let known = known.filter(|one| one.unit_id == unit.id);
                out.push(UnitOut {
                    unit_id: unit.id.clone(),
                    crew_id: crew.id.clone(),
                    left_behind: false,
                    since: known.map(|one| one.since).min().unwrap_or(*now),
                });
            }
        }
        out
    }

    /// Finds out which units are out, and which of them nobody can use until somebody moves them: those of crews that can't
    /// go on, and those that ride on a trailer which is tagged out. `moved` is what is newly told of units that were moved.
    pub(crate) fn find_units_out(&mut self, moved: &[UnitMoved]) {
        self.out = self.still_out();
        let left = self.left_with_trailers();
        self.out.extend(left);
        self.move_units(moved);
        let left = self.out.iter().filter(|one| one.left_behind);
        self.stranded = left.map(|one| one.unit_id.clone()).collect();
        let stuck = self.stuck_crews();
        let with_them: Vec<String> = stuck
            .iter()
            .flat_map(|crew| self.with(crew))
            .map(|unit| unit.id.clone())
            .collect();
        self.stranded.extend(with_them);
    }

    /// Whether a crew has left the yard by the plan gone on from, and is not said to be gone.
    pub(crate) fn is_out(&self, crew: &str) -> bool {
        let Some((base, now)) = &self.base else {
            return false;
        };
        let left = base.day_of(crew).and_then(|day| day.depart_time);
        self.has_begun(crew)
            || self.is_out_with_units(crew)
            || (left.is_some_and(|left| left <= *now) && !self.is_gone(crew))
    }

    /// What a crew has loaded and not put down, whether it may use it or not.
    pub(crate) fn with<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a unit::Model> {
        let near = self.may_be_with(crew);
        let carried = self.units.iter().filter(|unit| !unit.kind.carries());
        carried
            .filter(move |unit| near.contains(unit.id.as_str()) && self.has_aboard(crew, &unit.id))
    }

    /// What the plan gone on from has the crew take or give away at any time, and what rides with it. Of a large yard that is
    /// little, and to find out when who has a unit takes a look at all load-outs.
    fn may_be_with<'a>(&'a self, crew: &'a str) -> BTreeSet<&'a str> {
        let plan = || self.base.iter().map(|(base, _)| base);
        let taken = plan().flat_map(|base| base.load_out_of(crew));
        let given = plan()
            .flat_map(StoredPlan::calls)
            .filter(|(_, call)| call.with_crew_id.as_deref() == Some(crew))
            .flat_map(|(_, call)| call.load.iter().map(String::as_str));
        let riding = self.rides_with(crew).map(|one| one.unit_id.as_str());
        taken.chain(given).chain(riding).collect()
    }

    /// Units aboard with a crew that are on no load-out of the plan gone on from.
    fn rides_with<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a UnitOut> {
        self.out
            .iter()
            .filter(move |one| one.crew_id == crew && !one.left_behind)
    }

    /// Whether a unit is there at the instant from which on things may change, by its absences.
    fn is_there_now(&self, unit: &unit::Model) -> bool {
        let now = self
            .base
            .as_ref()
            .map_or(0, |(_, now)| self.clock.nearest(*now));
        present(&self.clock, unit)
            .iter()
            .any(|window| window.covers(now, now))
    }

    /// Crews that are out and can't go on: that would not leave the yard as they are.
    pub(crate) fn stuck_crews(&self) -> BTreeSet<String> {
        let stay = who_goes(self).into_iter().filter(|(_, goes)| goes.is_err());
        stay.filter(|(crew, _)| self.has_begun(&crew.id) || self.is_out_with_units(&crew.id))
            .map(|(crew, _)| crew.id.clone())
            .collect()
    }

    /// Whether the crew left a unit in the yard that the plan has it leave with, and has not taken it since.
    fn was_left_in_yard(&self, base: &StoredPlan, crew: &str, unit: &str) -> bool {
        if !self.is_missing(crew, unit) || !base.leaves_with(crew, unit) {
            return false;
        }
        let depart = base.day_of(crew).and_then(|day| day.depart_time);
        let taken_since = base
            .spells_of(unit)
            .filter(|spell| spell.crew_id == crew)
            .filter_map(|spell| spell.from_time)
            .any(|from| depart.is_none_or(|depart| depart < from) && self.has_reached(crew, from));
        !taken_since
    }

    /// What a crew has confirmed to have loaded: for the plan gone on from, or else the last for one of those before it.
    pub(crate) fn load_of(&self, crew: &str) -> Option<&crew_load::Model> {
        let (base, _) = self.base.as_ref()?;
        let of_crew = || self.loads.iter().filter(|load| load.crew_id == crew);
        of_crew()
            .find(|load| load.plan_id == base.plan.id)
            .or_else(|| of_crew().max_by_key(|load| load.load_time))
    }
}
