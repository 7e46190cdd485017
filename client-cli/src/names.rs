//! Resource names, and the short ids people type for them.

use chrono::NaiveDate;
use uuid::Uuid;

/// A fresh id for one call, sent again unchanged when the call is retried.
pub fn request_id() -> String {
    Uuid::new_v4().to_string()
}

/// The resource name of a branch, from its id or its name.
pub fn branch(id: &str) -> String {
    let id = id.trim();
    if id.starts_with("branches/") {
        id.to_owned()
    } else {
        format!("branches/{id}")
    }
}

/// The collections inside a branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Collection {
    /// Units.
    Units,
    /// Crews.
    Crews,
    /// Workers.
    Workers,
    /// Sites.
    Sites,
    /// Jobs.
    Jobs,
    /// Plans.
    Plans,
    /// Tag-outs.
    TagOuts,
    /// Cases.
    Cases,
}

impl Collection {
    /// The collection's part of a name.
    pub const fn segment(self) -> &'static str {
        match self {
            Self::Units => "units",
            Self::Crews => "crews",
            Self::Workers => "workers",
            Self::Sites => "sites",
            Self::Jobs => "jobs",
            Self::Plans => "plans",
            Self::TagOuts => "tagOuts",
            Self::Cases => "cases",
        }
    }
}

/// The resource name of something in a branch, from its id or its name. Empty stays empty.
pub fn resource(branch: &str, collection: Collection, id: &str) -> String {
    let id = id.trim();
    if id.is_empty() || id.starts_with("branches/") {
        id.to_owned()
    } else {
        format!("{branch}/{}/{id}", collection.segment())
    }
}

/// The last part of a name: what people say.
pub fn id(name: &str) -> &str {
    name.rsplit('/').next().unwrap_or(name)
}

/// The last parts of several names, joined.
pub fn ids(names: &[String], joint: &str) -> String {
    let short: Vec<&str> = names.iter().map(|name| id(name)).collect();
    short.join(joint)
}

/// The day in a plan's id, `2027-04-20-3`.
pub fn plan_day(plan: &str) -> Option<NaiveDate> {
    let (day, revision) = id(plan).rsplit_once('-')?;
    revision.parse::<u32>().ok()?;
    day.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plans_day_is_in_its_id() {
        assert_eq!(
            plan_day("branches/n/plans/2027-04-20-3"),
            NaiveDate::from_ymd_opt(2027, 4, 20)
        );
        assert_eq!(plan_day("branches/n/plans/odd"), None);
        assert_eq!(plan_day("branches/n/plans/odd-3"), None);
    }

    #[test]
    fn ids_become_names_and_names_stay() {
        assert_eq!(branch("north"), "branches/north");
        assert_eq!(branch("branches/north"), "branches/north");
        assert_eq!(
            resource("branches/north", Collection::TagOuts, " t-42 "),
            "branches/north/tagOuts/t-42"
        );
        assert_eq!(resource("branches/north", Collection::Units, ""), "");
        assert_eq!(
            resource("branches/a", Collection::Units, "branches/b/units/u"),
            "branches/b/units/u"
        );
        assert_eq!(id("branches/north/units/u-1"), "u-1");
        assert_eq!(ids(&["x/a".into(), "x/b".into()], " + "), "a + b");
    }
}
