//! The demo's crews and the people in them.

use forenoon_proto::google::r#type::DayOfWeek;
use forenoon_proto::v1::{Crew, Role, Shift, Worker};
use prost_types::Duration;

use super::book::{Book, name};
use super::dice::{Dice, Stream};
use super::measure::{clock, dollars};
use super::people::Names;

/// One crew as the yard knows it.
struct Team {
    id: &'static str,
    display_name: &'static str,
    vehicle: &'static str,
    trailer: &'static str,
    from: (i32, i32),
    to: (i32, i32),
    saturday: bool,
    overtime_minutes: i64,
    /// What each worker can do; the first leads.
    skills: &'static [&'static [&'static str]],
}

const TEAMS: [Team; 9] = [
    Team {
        id: "alder",
        display_name: "Alder",
        vehicle: "truck-1",
        trailer: "trailer-12-1",
        from: (7, 0),
        to: (16, 0),
        saturday: false,
        overtime_minutes: 60,
        skills: &[&["ride-on", "bed-care"], &["first-aid"]],
    },
    Team {
        id: "birch",
        display_name: "Birch",
        vehicle: "truck-2",
        trailer: "trailer-12-2",
        from: (7, 0),
        to: (16, 0),
        saturday: false,
        overtime_minutes: 60,
        skills: &[&["ride-on", "first-aid"], &[]],
    },
    Team {
        id: "cedar",
        display_name: "Cedar",
        vehicle: "truck-3",
        trailer: "trailer-10-1",
        from: (7, 30),
        to: (16, 0),
        saturday: true,
        overtime_minutes: 30,
        skills: &[&["bed-care"], &["first-aid"]],
    },
    Team {
        id: "dogwood",
        display_name: "Dogwood",
        vehicle: "truck-4",
        trailer: "trailer-16-1",
        from: (6, 30),
        to: (15, 0),
        saturday: false,
        overtime_minutes: 60,
        skills: &[&["ride-on", "first-aid"], &["ride-on"], &["ride-on"]],
    },
    Team {
        id: "elm",
        display_name: "Elm",
        vehicle: "truck-5",
        trailer: "trailer-16-2",
        from: (6, 30),
        to: (15, 0),
        saturday: false,
        overtime_minutes: 60,
        skills: &[&["ride-on"], &["ride-on", "brush-blade", "first-aid"], &[]],
    },
    Team {
        id: "fir",
        display_name: "Fir",
        vehicle: "tipper-1",
        trailer: "trailer-12-3",
        from: (7, 0),
        to: (16, 30),
        saturday: false,
        overtime_minutes: 90,
        skills: &[
            &["brush-blade", "chainsaw", "ride-on"],
            &["brush-blade", "first-aid"],
            &["chainsaw"],
            &[],
        ],
    },
    Team {
        id: "hazel",
        display_name: "Hazel",
        vehicle: "truck-6",
        trailer: "trailer-10-2",
        from: (8, 0),
        to: (16, 30),
        saturday: true,
        overtime_minutes: 30,
        skills: &[&["bed-care", "first-aid"], &["bed-care"]],
    },
    Team {
        id: "ironwood",
        display_name: "Ironwood",
        vehicle: "van-1",
        trailer: "",
        from: (8, 0),
        to: (15, 30),
        saturday: false,
        overtime_minutes: 0,
        skills: &[&["bed-care", "first-aid"]],
    },
    Team {
        id: "juniper",
        display_name: "Juniper",
        vehicle: "truck-7",
        trailer: "trailer-10-3",
        from: (9, 0),
        to: (17, 30),
        saturday: false,
        overtime_minutes: 60,
        skills: &[&["ride-on", "first-aid"], &[]],
    },
];

const WEEKDAYS: [DayOfWeek; 5] = [
    DayOfWeek::Monday,
    DayOfWeek::Tuesday,
    DayOfWeek::Wednesday,
    DayOfWeek::Thursday,
    DayOfWeek::Friday,
];

/// Those who stay at the yard: id, role, hourly cost in dollars.
const YARD: [(&str, Role, i64); 5] = [
    ("dispatch-1", Role::Dispatcher, 31),
    ("dispatch-2", Role::Dispatcher, 29),
    ("bench-1", Role::Mechanic, 34),
    ("bench-2", Role::Mechanic, 30),
    ("office-1", Role::Office, 27),
];

/// Writes the crews, their workers, and those who stay at the yard.
pub(super) fn write(book: &mut Book, names: &mut Names, seed: u64) {
    let mut dice = Dice::new(seed, Stream::People);
    for team in &TEAMS {
        book.crew(team.id, team.crew());
        for (index, skills) in team.skills.iter().enumerate() {
            let leads = index == 0;
            let roles = if leads {
                vec![Role::Crew.into(), Role::CrewLead.into()]
            } else {
                vec![Role::Crew.into()]
            };
            let worker = Worker {
                display_name: names.next(),
                crew: name("crews", team.id),
                roles,
                skills: skills.iter().map(|&skill| skill.to_owned()).collect(),
                phone: book.phone(),
                cost_per_hour: dollars(i64::from(dice.between(22, 25)) + if leads { 5 } else { 0 }),
                ..Worker::default()
            };
            book.worker(&format!("{}-{}", team.id, index + 1), worker);
        }
    }
    for (id, role, cost) in YARD {
        let worker = Worker {
            display_name: names.next(),
            roles: vec![role.into()],
            phone: book.phone(),
            cost_per_hour: dollars(cost),
            ..Worker::default()
        };
        book.worker(id, worker);
    }
}

impl Team {
    fn crew(&self) -> Crew {
        let shift = |day: DayOfWeek, from: (i32, i32), to: (i32, i32)| Shift {
            day: day.into(),
            start_time: clock(from.0, from.1),
            end_time: clock(to.0, to.1),
        };
        let mut shifts: Vec<Shift> = WEEKDAYS.map(|day| shift(day, self.from, self.to)).into();
        if self.saturday {
            shifts.push(shift(DayOfWeek::Saturday, (8, 0), (13, 0)));
        }
        let unit = |id: &str| {
            if id.is_empty() {
                String::new()
            } else {
                name("units", id)
            }
        };
        Crew {
            display_name: self.display_name.to_owned(),
            shifts,
            vehicle: unit(self.vehicle),
            trailer: unit(self.trailer),
            overtime_allowed: Some(minutes(self.overtime_minutes)),
            break_length: Some(minutes(30)),
            ..Crew::default()
        }
    }
}

fn minutes(count: i64) -> Duration {
    Duration {
        seconds: count * 60,
        nanos: 0,
    }
}
