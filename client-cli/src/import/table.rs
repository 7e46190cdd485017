//! The tables and their columns: one list for reading, for `import --columns` and for checking headers.

use forenoon_proto::v1;

use crate::parse::word::Word;

/// A table of data.
#[derive(Debug)]
pub struct Table {
    /// Its name, and the name of its file without the ending.
    pub name: &'static str,
    /// What a row is.
    pub row: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
}

/// A column.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name, the first cell of the column.
    pub name: &'static str,
    /// Whether every row must have it.
    pub needed: bool,
    /// What it holds and how to write it.
    pub about: &'static str,
    /// The words it takes, where it takes only certain ones.
    pub words: Option<fn() -> Vec<String>>,
}

const fn needed(name: &'static str, about: &'static str) -> Column {
    Column {
        name,
        needed: true,
        about,
        words: None,
    }
}

const fn may(name: &'static str, about: &'static str) -> Column {
    Column {
        name,
        needed: false,
        about,
        words: None,
    }
}

const fn one_of<E: Word>(column: Column) -> Column {
    Column {
        words: Some(words::<E>),
        ..column
    }
}

fn words<E: Word>() -> Vec<String> {
    E::all().into_iter().map(Word::word).collect()
}

impl Table {
    /// The column of that name.
    pub fn column(&self, name: &str) -> Option<&'static Column> {
        self.columns.iter().find(|column| column.name == name)
    }
}

/// The table of that name.
pub fn named(name: &str) -> Option<&'static Table> {
    ALL.iter().copied().find(|table| table.name == name)
}

/// Every table, in the order in which one would fill them in.
pub const ALL: &[&Table] = &[
    &UNITS,
    &ABSENCES,
    &CREWS,
    &SHIFTS,
    &WORKERS,
    &SITES,
    &AREAS,
    &HAZARDS,
    &JOBS,
    &VISIT_WINDOWS,
    &TASKS,
];

/// Units.
pub const UNITS: Table = Table {
    name: "units",
    row: "a machine, tool, trailer or vehicle",
    columns: &[
        needed(
            "unit_id",
            "id: a lower-case letter, then letters, digits, hyphens",
        ),
        needed("display_name", "name on screens and sheets"),
        needed(
            "serial_number",
            "the maker's serial number, unique in the branch",
        ),
        may("model", "the maker's model in words"),
        one_of::<v1::UnitKind>(needed("kind", "what it is")),
        one_of::<v1::Capability>(may("capabilities", "what it can do, several set off by ;")),
        may(
            "coupling",
            "coupling of a powerhead or attachment, as square-26; the same word fits",
        ),
        may("cutting_width", "width of cut, as 36 in or 0.9 m"),
        may("machine_width", "width at a gate, where wider than the cut"),
        may(
            "max_slope_percent",
            "steepest slope it may work on, percent",
        ),
        may(
            "load_space",
            "space it takes on a vehicle, as 40 cuft or 1100 l",
        ),
        may("carries", "space it offers, for vehicles and trailers"),
        may("bag", "bag or hopper, for collecting mowers"),
        may("purchase_price", "purchase price"),
        may(
            "run_hours",
            "hours run before its work was recorded here; visits add to it",
        ),
        may("service_interval_hours", "effective hours between services"),
        may(
            "noise_dba",
            "noise at the ear of whoever works it, dBA, by its manual",
        ),
        may(
            "vibration",
            "vibration at the hand of whoever works it, m/s2, by its manual",
        ),
        may("retired", "yes once it left the fleet"),
    ],
};

/// Times at which units are not there.
pub const ABSENCES: Table = Table {
    name: "absences",
    row: "a time at which a unit is not there, as for a service or a loan",
    columns: &[
        needed("unit_id", "the unit"),
        needed(
            "start_time",
            "first moment, on the branch's clock, as 2027-04-20 07:00",
        ),
        needed("end_time", "first moment it is back"),
        may("reason", "why, in words"),
    ],
};

/// Crews.
pub const CREWS: Table = Table {
    name: "crews",
    row: "a group of people who go out together",
    columns: &[
        needed(
            "crew_id",
            "id: a lower-case letter, then letters, digits, hyphens",
        ),
        needed("display_name", "name on screens and sheets"),
        may("vehicle", "id of the vehicle it drives"),
        may("trailer", "id of the trailer behind it"),
        may(
            "overtime_allowed",
            "overtime that may be planned in a day, as 45 min",
        ),
        may(
            "break_length",
            "break in a shift of more than six hours, as 30 min",
        ),
        may(
            "base_latitude",
            "where it starts, if not the yard: degrees north",
        ),
        may("base_longitude", "degrees east; negative is west"),
    ],
};

/// Shifts.
pub const SHIFTS: Table = Table {
    name: "shifts",
    row: "a working time of a crew on days of the week",
    columns: &[
        needed("crew_id", "the crew"),
        needed("day", "day or days: mon; tue, or mon-fri"),
        needed("start_time", "start on the branch's clock, as 06:30"),
        needed("end_time", "end, after the start"),
    ],
};

/// Workers.
pub const WORKERS: Table = Table {
    name: "workers",
    row: "somebody who works at the branch",
    columns: &[
        needed(
            "worker_id",
            "id: a lower-case letter, then letters, digits, hyphens",
        ),
        needed("display_name", "name on screens and sheets"),
        may("crew", "id of the crew"),
        one_of::<v1::Role>(may("roles", "what the worker may do, several set off by ;")),
        may("skills", "skills, several set off by ;"),
        may("phone", "telephone number as it should be dialled"),
        may(
            "cost_per_hour",
            "cost of an hour, where not the branch's rate",
        ),
    ],
};

/// Sites.
pub const SITES: Table = Table {
    name: "sites",
    row: "a customer's place",
    columns: &[
        needed(
            "site_id",
            "id: a lower-case letter, then letters, digits, hyphens",
        ),
        needed("display_name", "name on screens and sheets"),
        may("customer", "whose place it is"),
        may("contact_name", "whom to call or meet"),
        may("contact_phone", "telephone number as it should be dialled"),
        may("contact_email", "electronic mail address"),
        may("address", "postal address on one line"),
        needed("latitude", "degrees north"),
        needed("longitude", "degrees east; negative is west"),
        one_of::<v1::Clippings>(may("clippings", "where clippings may go")),
        may(
            "clippings_note",
            "the same in words, as heap behind the shed",
        ),
        may("quiet_until", "no engine before this time, as 08:30"),
        may("sensitive", "yes where cars, glass or people are near"),
        may("access_note", "how to get in and how to leave the site"),
    ],
};

/// Areas of sites.
pub const AREAS: Table = Table {
    name: "areas",
    row: "a part of a site that is worked as one",
    columns: &[
        needed("site_id", "the site"),
        needed("area_id", "id within the site"),
        may("display_name", "name on sheets, as back lawn"),
        one_of::<v1::AreaKind>(needed("kind", "what it is")),
        may(
            "surface",
            "size of turf, brush, beds and hard surfaces, as 12000 sqft or 0.25 ac",
        ),
        may("length", "length of hard edges and borders, as 180 ft"),
        may("slope_percent", "steepest slope, percent (rise over run)"),
        may(
            "narrowest_gate",
            "narrowest passage on the way in, as 36 in",
        ),
        one_of::<v1::Obstacles>(may("obstacles", "what stands in the way")),
        one_of::<v1::AreaShape>(may("shape", "its shape")),
    ],
};

/// Hazards of sites.
pub const HAZARDS: Table = Table {
    name: "hazards",
    row: "something on a site that can hurt people or machines",
    columns: &[
        needed("site_id", "the site"),
        needed("hazard_id", "id within the site"),
        needed("description", "what it is and where, in words"),
        may("latitude", "degrees north"),
        may("longitude", "degrees east; negative is west"),
        may("area_id", "the area it lies in"),
    ],
};

/// Jobs.
pub const JOBS: Table = Table {
    name: "jobs",
    row: "a piece of work wanted at a site",
    columns: &[
        needed(
            "job_id",
            "id: a lower-case letter, then letters, digits, hyphens",
        ),
        needed("display_name", "name on screens and sheets"),
        needed("site", "id of the site"),
        may(
            "window",
            "days, with times after them: 2027-04-20..2027-04-24 08:00-12:00,13:00-17:00; several set off by ;",
        ),
        may("priority", "1 (can wait) to 5 (must not be missed)"),
        may("deadline", "to be finished by then, as 2027-04-20 17:00"),
        may("deadline_source", "who set it, as county notice"),
        may(
            "promise_start",
            "customer to be met from, as 2027-04-20 09:00",
        ),
        may("promise_end", "customer to be met until"),
        may(
            "promise_before_work",
            "yes where met before the work, else after it",
        ),
        may(
            "promise_contact_name",
            "whom to meet, where not the site's contact",
        ),
        may(
            "promise_contact_phone",
            "telephone number as it should be dialled",
        ),
        may("skills", "skills the crew must have, several set off by ;"),
        may("price", "agreed price"),
        may("note", "for the crew, in words"),
        may(
            "area_ids",
            "areas to work on where no tasks are given, several set off by ;",
        ),
        may("turf_height", "height of the turf now, as 7 in"),
        may("set_height", "height at which it is kept"),
        one_of::<v1::TurfDensity>(may("turf_density", "how thick it stands")),
        may("wet", "yes for wet turf or ground"),
        may(
            "edge_overgrowth",
            "how far growth lies over hard edges, as 4 in",
        ),
        may("stem_thickness", "thickest stems, as 0.5 in"),
        may("heavy_debris", "yes for debris that can't be blown off"),
        may(
            "first_service",
            "yes where nobody of ours has worked before",
        ),
    ],
};

/// Visit windows of jobs.
pub const VISIT_WINDOWS: Table = Table {
    name: "visit_windows",
    row: "a stretch of days on which a job may be done, with times of day, where the column window of jobs is not enough",
    columns: &[
        needed("job_id", "the job"),
        needed("first_day", "first day, as 2027-04-20"),
        may("last_day", "last day; the first where empty"),
        may(
            "times",
            "times within each day, as 08:00-12:00; 13:00-17:00; all day where empty",
        ),
    ],
};

/// Tasks of jobs.
pub const TASKS: Table = Table {
    name: "tasks",
    row: "one kind of work within a job, in the order of the rows; a job without any gets them from its areas and state",
    columns: &[
        needed("job_id", "the job"),
        needed("task_id", "id within the job"),
        one_of::<v1::TaskKind>(needed("kind", "the kind of work")),
        may("area_id", "the area of the site; empty for the whole site"),
        one_of::<v1::Capability>(may(
            "capabilities",
            "what does it, any one of several set off by ;",
        )),
        may("passes", "passes over the area, 1 to 12"),
        may(
            "agreed_minutes",
            "minutes agreed by people, in place of the estimate",
        ),
    ],
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_and_columns_have_their_own_names() {
        for table in ALL {
            let mut names: Vec<_> = table.columns.iter().map(|column| column.name).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), table.columns.len(), "{}", table.name);
            assert_eq!(named(table.name).map(|found| found.row), Some(table.row));
        }
    }

    #[test]
    fn words_come_from_the_contract() {
        let kind = AREAS
            .column("kind")
            .and_then(|column| column.words)
            .unwrap();
        assert_eq!(
            kind(),
            ["turf", "hard-edge", "brush", "bed", "hard-surface"]
        );
    }
}
