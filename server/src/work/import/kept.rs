//! What stored records keep, and what they lose.

use std::collections::{HashMap, HashSet};

use forenoon_store::entity::{crew, site, site_case, unit};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};

use super::Numbered;
use super::stored::VALUES_PER_QUERY_MAX;
use crate::work::{Error, Put};

/// Parts of stored records that the records replacing them have not.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Removed {
    /// Hazards of sites.
    pub hazards: usize,
    /// Shifts of crews.
    pub shifts: usize,
    /// Absences of units.
    pub absences: usize,
}

impl Removed {
    pub(super) fn count(
        units: &[Put<unit::Model>],
        crews: &[Put<crew::Model>],
        sites: &[Put<site::Model>],
    ) -> Self {
        Self {
            hazards: changed(sites)
                .map(|(before, after)| lost_hazards(before, after).count())
                .sum(),
            shifts: changed(crews)
                .map(|(before, after)| lost(&before.shifts.0, &after.shifts.0))
                .sum(),
            absences: changed(units)
                .map(|(before, after)| lost(&before.absences.0, &after.absences.0))
                .sum(),
        }
    }
}

fn changed<M>(puts: &[Put<M>]) -> impl Iterator<Item = (&M, &M)> {
    puts.iter().filter_map(|put| match put {
        Put::Changed { before, after } => Some((before, after)),
        Put::Created(_) | Put::Same(_) => None,
    })
}

fn lost<T: PartialEq>(before: &[T], after: &[T]) -> usize {
    before.iter().filter(|part| !after.contains(part)).count()
}

/// The ids of hazards that a site has and would have no more.
fn lost_hazards<'a>(
    before: &'a site::Model,
    after: &'a site::Model,
) -> impl Iterator<Item = &'a str> {
    let kept: HashSet<&str> = hazard_ids(after).collect();
    hazard_ids(before).filter(move |id| !kept.contains(id))
}

fn hazard_ids(site: &site::Model) -> impl Iterator<Item = &str> {
    let hazards = site.hazards.0.iter();
    hazards.map(|hazard| hazard.hazard_id.as_str())
}

/// The sites of the import, with the stored hazards that cases added. A file written before the case does not know of
/// them, and whoever comes to the site must.
pub(super) async fn with_hazards_of_cases(
    transaction: &DatabaseTransaction,
    branch: &str,
    sites: &[Numbered<site::Model>],
    stored: &HashMap<String, site::Model>,
) -> Result<Vec<Numbered<site::Model>>, Error> {
    let of_cases = named_by_cases(transaction, branch, sites, stored).await?;
    let mut kept = sites.to_vec();
    for Numbered { row, .. } in &mut kept {
        let Some(before) = stored.get(&row.id) else {
            continue;
        };
        let areas: HashSet<&str> = row
            .areas
            .0
            .iter()
            .map(|area| area.area_id.as_str())
            .collect();
        let staying: HashSet<&str> = lost_hazards(before, row)
            .filter(|id| of_cases.contains(*id))
            .collect();
        let hazards = before.hazards.0.iter();
        let back: Vec<_> = hazards
            .filter(|hazard| staying.contains(hazard.hazard_id.as_str()))
            .cloned()
            .map(|mut hazard| {
                // Where it lies is told by its words too; an area that is gone tells nothing.
                hazard.area_id = hazard.area_id.filter(|id| areas.contains(id.as_str()));
                hazard
            })
            .collect();
        row.hazards.0.extend(back);
    }
    Ok(kept)
}

/// Those of the hazards about to go that cases name.
async fn named_by_cases(
    transaction: &DatabaseTransaction,
    branch: &str,
    sites: &[Numbered<site::Model>],
    stored: &HashMap<String, site::Model>,
) -> Result<HashSet<String>, Error> {
    let going: HashSet<&str> = sites
        .iter()
        .filter_map(|one| Some((stored.get(&one.row.id)?, &one.row)))
        .flat_map(|(before, after)| lost_hazards(before, after))
        .collect();
    let going: Vec<&str> = going.into_iter().collect();
    let mut named = HashSet::new();
    for ids in going.chunks(VALUES_PER_QUERY_MAX) {
        let some: Vec<Option<String>> = site_case::Entity::find()
            .filter(site_case::Column::BranchId.eq(branch))
            .filter(site_case::Column::HazardId.is_in(ids.iter().copied()))
            .select_only()
            .column(site_case::Column::HazardId)
            .into_tuple()
            .all(transaction)
            .await?;
        named.extend(some.into_iter().flatten());
    }
    Ok(named)
}
