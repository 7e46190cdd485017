//! What stands by the road with a tagged trailer, and how it comes back: with the trailer once that is released, or where somebody
//! has moved it.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_store::entity::unit;
use forenoon_store::value::{UnitKind, UnitMoved, UnitOut};

use crate::inputs::DayInputs;

impl DayInputs {
    /// The crew with whose trailer the unit was left by the road.
    pub(crate) fn left_with_trailer_of(&self, unit: &str) -> Option<&str> {
        let mut left = self.out.iter().filter(|one| one.left_behind);
        let left = left.find(|one| one.unit_id == unit)?;
        Some(&left.crew_id)
    }

    /// What was moved, for the record of a plan made from these inputs.
    pub(crate) fn units_moved(&self) -> Vec<UnitMoved> {
        let moved = self.moved.iter().map(|(unit, crew)| UnitMoved {
            unit_id: unit.clone(),
            crew_id: crew.clone(),
        });
        moved.collect()
    }

    /// What the plan gone on from says of units that are out, as far as it still holds: until they are loaded again, those
    /// aboard until their crew comes by the yard, where what nobody can use is put down, and those that were left with a trailer
    /// until it is released. Where its crew has not gone on since, it has them aboard again; else they are in the yard, where the
    /// bench is.
    pub(crate) fn still_out(&self) -> Vec<UnitOut> {
        let Some((base, now)) = &self.base else {
            return Vec::new();
        };
        let by_the_yard = |one: &UnitOut| {
            let mut calls = self.calls_begun(&one.crew_id);
            calls.any(|call| call.with_crew_id.is_none() && call.arrive_time >= one.since)
        };
        let known = || {
            let facts = base.plan.proposal.iter();
            facts.flat_map(|facts| &facts.out)
        };
        let with_released = |one: &UnitOut| {
            let mut beside = known().filter(|other| are_together(other, one));
            beside
                .any(|other| self.is_trailer(&other.unit_id) && !self.is_tagged_out(&other.unit_id))
        };
        known()
            .filter(|one| !self.is_loaded(&one.unit_id))
            .filter(|one| one.left_behind || !by_the_yard(one))
            .filter_map(|one| {
                if !one.left_behind || !with_released(one) {
                    return Some(one.clone());
                }
                // The trailer itself is behind its crew's truck again.
                let stays =
                    self.is_trailer(&one.unit_id) || self.has_gone_on(&one.crew_id, one.since);
                (!stays).then(|| UnitOut {
                    left_behind: false,
                    since: *now,
                    ..one.clone()
                })
            })
            .collect()
    }

    /// Trailers that are tagged out on the road, with what rides on them. Which unit that is, is not on record: what does
    /// not fit the vehicle, the largest first. A crew that can't go on has all that it has with it.
    pub(crate) fn left_with_trailers(&self) -> Vec<UnitOut> {
        let Some((base, now)) = &self.base else {
            return Vec::new();
        };
        let unit = |id: &str| self.units.iter().find(|unit| unit.id == id);
        let stuck = self.stuck_crews();
        let mut left = Vec::new();
        let out = self.crews.iter().filter(|crew| self.has_begun(&crew.id));
        for crew in out.filter(|crew| !stuck.contains(&crew.id)) {
            let Some(trailer) = crew
                .trailer_id
                .as_deref()
                .filter(|trailer| self.is_tagged_out(trailer))
                .filter(|trailer| base.load_out_of(&crew.id).any(|unit| unit == *trailer))
            else {
                continue;
            };
            let room = crew
                .vehicle_id
                .as_deref()
                .and_then(unit)
                .map_or(0.0, |vehicle| vehicle.carries_litres);
            let units = beyond(self.with(&crew.id).collect(), room);
            left.extend(
                std::iter::once(trailer.to_owned())
                    .chain(units)
                    .map(|unit_id| UnitOut {
                        unit_id,
                        crew_id: crew.id.clone(),
                        left_behind: true,
                        since: *now,
                    }),
            );
        }
        left
    }

    /// Takes units to be where somebody has moved them. A trailer takes along what rides on it. What a crew is said to have that
    /// has not left is in the yard with it.
    pub(crate) fn move_units(&mut self, told: &[UnitMoved]) {
        let Some((_, now)) = &self.base else {
            return;
        };
        let now = *now;
        let mut moved: BTreeMap<String, Option<String>> = BTreeMap::new();
        for one in told {
            let to = one.crew_id.clone().filter(|crew| self.is_out(crew));
            for rider in self.left_beside(&one.unit_id) {
                moved.entry(rider.unit_id.clone()).or_insert(to.clone());
            }
        }
        for one in told {
            let to = one.crew_id.clone().filter(|crew| self.is_out(crew));
            moved.insert(one.unit_id.clone(), to);
        }
        self.out.retain(|one| !moved.contains_key(&one.unit_id));
        for (unit, to) in &moved {
            let Some(crew) = to.clone().filter(|_| !self.is_trailer(unit)) else {
                continue;
            };
            self.out.push(UnitOut {
                unit_id: unit.clone(),
                crew_id: crew,
                left_behind: false,
                since: now,
            });
        }
        self.moved = moved;
    }

    /// What was left by the road together with a trailer, the trailer as well; nothing where the unit is none.
    fn left_beside<'a>(&'a self, trailer: &'a str) -> impl Iterator<Item = &'a UnitOut> {
        // As it was left, whether the trailer is released by now or not.
        let left = || {
            let facts = self.base.iter().flat_map(|(base, _)| &base.plan.proposal);
            let before = facts.flat_map(|facts| &facts.out);
            let before = before.filter(|one| !self.is_loaded(&one.unit_id));
            before.chain(&self.out).filter(|one| one.left_behind)
        };
        let mut known = left();
        let of_trailer = known.find(|one| one.unit_id == trailer && self.is_trailer(trailer));
        left().filter(move |one| of_trailer.is_some_and(|known| are_together(known, one)))
    }

    /// Whether a crew has left, since an instant, the place where it was then.
    fn has_gone_on(&self, crew: &str, since: DateTime<Utc>) -> bool {
        let later = |told: Option<DateTime<Utc>>| told.is_some_and(|told| told > since);
        let mut visits = self.visits.values().filter(|visit| visit.crew_id == crew);
        let by_its_word = visits.any(|visit| {
            later(visit.depart_time) || later(visit.arrive_time) || later(visit.start_time)
        });
        let seen = self.last_seen(crew).map(|seen| seen.since);
        by_its_word || later(seen) || self.leg(crew).is_some()
    }

    /// Whether the plan gone on from has the unit on a load-out.
    fn is_loaded(&self, unit: &str) -> bool {
        let mut bases = self.base.iter();
        bases.any(|(base, _)| base.spells_of(unit).next().is_some())
    }

    fn is_trailer(&self, unit: &str) -> bool {
        let mut units = self.units.iter();
        units.any(|known| known.id == unit && known.kind == UnitKind::Trailer)
    }
}

/// Whether two units were left by the road with one trailer.
fn are_together(one: &UnitOut, other: &UnitOut) -> bool {
    one.left_behind && other.left_behind && one.crew_id == other.crew_id && one.since == other.since
}

/// What does not fit the room, the largest first.
fn beyond(mut aboard: Vec<&unit::Model>, room_litres: f64) -> Vec<String> {
    aboard.sort_by(|a, b| a.load_space_litres.total_cmp(&b.load_space_litres));
    let mut taken = 0.0;
    aboard
        .into_iter()
        .filter(|unit| {
            taken += unit.load_space_litres;
            taken > room_litres
        })
        .map(|unit| unit.id.clone())
        .collect()
}
