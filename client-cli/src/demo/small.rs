//! Small and particular work: beds, returns, customers who must be met, and wishes that can't be met.

use forenoon_proto::v1::{
    Area, Capability, Clippings, Contact, DayTimeWindow, Job, Promise, Site, SiteCondition, Task,
    TaskKind,
};

use super::areas::{edge, hazard, paved, task, turf};
use super::book::Book;
use super::measure::{dollars, hours, inches, place, wall, window};
use super::people::Names;
use super::town::address;

/// Writes the small work. `homes` are the sites on the weekly round, some of which want something more.
pub(super) fn write(book: &mut Book, names: &mut Names, homes: &[String]) {
    beds(book);
    returns(book, homes);
    meetings(book, names);
    wishes(book, names);
}

/// Beds on the grounds, with their days of grace.
fn beds(book: &mut Book) {
    let visits = [
        ("larkmoor-clinic", 0),
        ("weir-street-offices", 0),
        ("ostler-green-apartments", 1),
        ("lark-rise-residence", 0),
        ("quarry-bend-park", 3),
        ("halter-court-homes", 3),
    ];
    for (site_id, days_after) in visits {
        let job = Job {
            display_name: "Trim bed borders".to_owned(),
            tasks: vec![
                task(TaskKind::Trim, "beds", &[Capability::LineHead]),
                task(TaskKind::Collect, "beds", &[Capability::Rake]),
                task(TaskKind::BlowOff, "walks", &[Capability::Blower]),
            ],
            windows: vec![window(book.first_day, days_after, Vec::new())],
            priority: if days_after == 0 { 3 } else { 2 },
            skills: vec!["bed-care".to_owned()],
            ..Job::default()
        };
        book.job(&format!("beds-{site_id}"), site_id, job);
    }
}

/// Returns to homes where something was missed. No charge.
fn returns(book: &mut Book, homes: &[String]) {
    let missed: [(&str, Task); 6] = [
        (
            "Edge along the drive was missed",
            task(TaskKind::Edge, "curb", &[Capability::Edger]),
        ),
        (
            "Clippings left on the walk",
            task(TaskKind::BlowOff, "drive", &[Capability::Blower]),
        ),
        (
            "Strip along the fence was missed",
            task(TaskKind::Trim, "back", &[Capability::LineHead]),
        ),
        (
            "Clumps left on the front lawn",
            task(TaskKind::Collect, "front", &[Capability::Rake]),
        ),
        (
            "Edge at the walk is ragged",
            task(TaskKind::Edge, "curb", &[Capability::Edger]),
        ),
        (
            "Drive not blown clean",
            task(TaskKind::BlowOff, "drive", &[Capability::Blower]),
        ),
    ];
    // Every ninth home, so that returns lie all over town.
    for ((what, work), site_id) in missed.into_iter().zip(homes.iter().skip(4).step_by(9)) {
        let minutes = if work.kind() == TaskKind::Collect {
            15.0
        } else {
            10.0
        };
        let job = Job {
            display_name: format!("Return: {}", what.to_lowercase()),
            tasks: vec![
                Task {
                    agreed_minutes: minutes,
                    ..work
                },
                task(TaskKind::WalkAfter, "", &[]),
            ],
            windows: vec![window(book.first_day, 1, Vec::new())],
            priority: 4,
            price: dollars(0),
            note: "No charge. Look at the rest of the place too, and write down what you see."
                .to_owned(),
            ..Job::default()
        };
        book.job(&format!("return-{site_id}"), site_id, job);
    }
}

/// A place of its own for one particular job.
struct Spot {
    id: &'static str,
    display_name: &'static str,
    street: &'static str,
    at: (f64, f64),
    areas: Vec<Area>,
    hazard: &'static str,
    access: &'static str,
}

impl Spot {
    fn write(self, book: &mut Book, customer: &str) {
        let first = self
            .areas
            .first()
            .map(|area| area.area_id.clone())
            .unwrap_or_default();
        let site = Site {
            display_name: self.display_name.to_owned(),
            customer: customer.to_owned(),
            contact: book.contact(customer),
            address: address(self.street),
            location: place(self.at.0, self.at.1),
            areas: self.areas,
            hazards: vec![hazard("note", &first, self.hazard)],
            clippings: Clippings::MayLie.into(),
            access_note: self.access.to_owned(),
            ..Site::default()
        };
        book.site(self.id, site);
    }
}

fn garden(size: f64, edge_feet: f64) -> Vec<Area> {
    vec![
        turf("lawn", "lawn", size),
        edge("curb", "walks", edge_feet),
        paved("walks", "walks", edge_feet * 3.0),
    ]
}

/// Customers who want to be there: before the work, to say what is wanted, or after it, to see it done.
fn meetings(book: &mut Book, names: &mut Names) {
    let meetings = [
        (
            Spot {
                id: "slipware-road-90",
                display_name: "90 Slipware Road",
                street: "90 Slipware Road",
                at: (-2.2, 3.0),
                areas: garden(7_400.0, 240.0),
                hazard: "Sculptures stand in the lawn, some of glass.",
                access: "Ring at the side door.",
            },
            (10, 0, 10, 30, true),
            "Owner shows which borders are newly planted.",
        ),
        (
            Spot {
                id: "farrier-lane-55",
                display_name: "55 Farrier Lane",
                street: "55 Farrier Lane",
                at: (2.4, -1.1),
                areas: garden(5_200.0, 180.0),
                hazard: "Pond edge hidden by sedge on the left.",
                access: "Park in the lane.",
            },
            (11, 30, 12, 15, false),
            "Owner walks it with the lead after the work; last week a wheel mark was left.",
        ),
        (
            Spot {
                id: "egg-farm",
                display_name: "Eggshell Lane farm stand",
                street: "120 Eggshell Lane",
                at: (4.0, 2.4),
                areas: garden(12_500.0, 150.0),
                hazard: "Hens roam: look before every pass.",
                access: "Meet at the stand.",
            },
            (13, 0, 13, 30, true),
            "Owner pens the hens when you are there.",
        ),
        (
            Spot {
                id: "skylight-road-4",
                display_name: "4 Skylight Road",
                street: "4 Skylight Road",
                at: (-1.8, -2.1),
                areas: garden(4_600.0, 210.0),
                hazard: "Low wire to the lamp by the steps.",
                access: "Owner is home from 15:00.",
            },
            (15, 0, 15, 45, true),
            "First visit of the season; agree on the height.",
        ),
    ];
    for (spot, (from_hour, from_minute, to_hour, to_minute, before_work), note) in meetings {
        let customer = names.next();
        let (id, display_name) = (spot.id, spot.display_name);
        spot.write(book, &customer);
        let day = book.first_day;
        let job = Job {
            display_name: format!("Mow and meet, {display_name}"),
            condition: Some(kept()),
            windows: vec![window(day, 0, Vec::new())],
            priority: 4,
            promise: Some(Promise {
                start_time: wall(day, from_hour, from_minute),
                end_time: wall(day, to_hour, to_minute),
                before_work,
                contact: None::<Contact>,
            }),
            note: note.to_owned(),
            ..Job::default()
        };
        book.job(&format!("meet-{id}"), id, job);
    }
}

fn kept() -> SiteCondition {
    SiteCondition {
        turf_height: inches(4.0),
        set_height: inches(3.0),
        ..SiteCondition::default()
    }
}

/// A place, the job's name, its tasks, the skills and the times of day it wants.
type Wish = (
    Spot,
    &'static str,
    Vec<Task>,
    &'static [&'static str],
    Vec<DayTimeWindow>,
);

/// Work that this yard can't do that day, each for a reason of its own.
fn wishes(book: &mut Book, names: &mut Names) {
    let mow = |area: &str| {
        task(
            TaskKind::Mow,
            area,
            &[Capability::Mower, Capability::CollectingMower],
        )
    };
    let spots: [Wish; 4] = [
        (
            Spot {
                id: "bridle-street-12",
                display_name: "12 Bridle Street",
                street: "12 Bridle Street",
                at: (1.9, -0.5),
                areas: garden(2_400.0, 90.0),
                hazard: "Limb hangs in the crown above the lawn: nobody below it.",
                access: "Open to the street.",
            },
            "Take down a hung limb",
            vec![
                task(TaskKind::WalkBefore, "", &[]),
                task(TaskKind::Collect, "lawn", &[Capability::Rake]),
            ],
            &["climbing"],
            Vec::new(),
        ),
        (
            Spot {
                id: "spall-street-bank",
                display_name: "Steep bank, Spall Street",
                street: "95 Spall Street",
                at: (-3.6, 0.9),
                areas: vec![Area {
                    slope_percent: 52.0,
                    ..turf("bank", "bank", 1_800.0)
                }],
                hazard: "Steeper than any machine of ours may go.",
                access: "From the top only.",
            },
            "Mow the bank",
            vec![mow("bank")],
            &[],
            Vec::new(),
        ),
        (
            Spot {
                id: "trowel-court-yard",
                display_name: "Trowel Court inner yard",
                street: "9 Trowel Court",
                at: (1.2, 1.2),
                areas: vec![Area {
                    narrowest_gate: inches(17.0),
                    ..turf("yard", "inner yard", 900.0)
                }],
                hazard: "Cellar steps without a rail.",
                access: "Only through the passage, 17 in clear.",
            },
            "Mow the inner yard",
            vec![mow("yard")],
            &[],
            Vec::new(),
        ),
        (
            Spot {
                id: "turf-street-hall",
                display_name: "Turf Street hall",
                street: "33 Turf Street",
                at: (-2.6, -1.5),
                areas: garden(6_000.0, 200.0),
                hazard: "Stage cables across the lawn.",
                access: "The hall is in use until 19:00.",
            },
            "Mow round the hall in the evening",
            Vec::new(),
            &[],
            vec![hours((19, 0), (20, 30))],
        ),
    ];
    for (spot, display_name, tasks, skills, times) in spots {
        let id = spot.id;
        spot.write(book, &names.next());
        let job = Job {
            display_name: display_name.to_owned(),
            tasks,
            condition: Some(kept()),
            windows: vec![window(book.first_day, 0, times)],
            priority: 2,
            skills: skills.iter().map(|&skill| skill.to_owned()).collect(),
            ..Job::default()
        };
        book.job(&format!("wish-{id}"), id, job);
    }
}
