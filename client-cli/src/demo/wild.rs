//! What nobody has cut for a while: first cuts, one of them under a deadline of the town, and brush.

use forenoon_proto::v1::{
    Area, AreaShape, Capability, Clippings, DayTimeWindow, Job, Obstacles, Promise, Site,
    SiteCondition, Task, TaskKind, TurfDensity,
};

use super::areas::{brush, edge, hazard, paved, task, turf};
use super::book::Book;
use super::measure::{dollars, hours, inches, place, wall, window};
use super::people::Names;
use super::town::address;

/// Writes the overgrown sites and the brush, with their jobs.
pub(super) fn write(book: &mut Book, names: &mut Names) {
    town_notice(book);
    first_cuts(book, names);
    for growth in &BRUSH {
        let site = growth.site(book, &names.next());
        book.site(growth.id, site);
        let job = growth.job(book);
        book.job(&format!("brush-{}", growth.id), growth.id, job);
    }
}

/// A vacant lot that the town has given a last day, with its officer on the site in the afternoon.
fn town_notice(book: &mut Book) {
    const ID: &str = "spall-street-lot";
    let day = book.first_day;
    let site = Site {
        display_name: "Spall Street lot".to_owned(),
        customer: "Estate of the late owner, by the county".to_owned(),
        contact: book.contact("County estates desk"),
        address: address("61 Spall Street"),
        location: place(-3.0, 0.2),
        areas: vec![
            Area {
                obstacles: Obstacles::Few.into(),
                shape: AreaShape::Broken.into(),
                ..turf("lot", "the whole lot", 2_600.0)
            },
            edge("walk", "sidewalk and drive", 150.0),
            paved("pavement", "sidewalk and drive", 800.0),
        ],
        hazards: vec![
            hazard(
                "cap",
                "lot",
                "Old well cap somewhere in the north-east corner, not yet found: walk it first.",
            ),
            hazard(
                "wire",
                "lot",
                "Fence wire lies in the grass along the alley.",
            ),
            hazard("glass", "walk", "Broken bottles along the sidewalk."),
        ],
        clippings: Clippings::TakeAway.into(),
        clippings_note: "all of it goes; the officer looks for heaps".to_owned(),
        access_note: "From the alley; the front gate is rusted shut.".to_owned(),
        ..Site::default()
    };
    book.site(ID, site);
    let job = Job {
        display_name: "First cut under notice, Spall Street lot".to_owned(),
        condition: Some(overgrown(30.0, 8.0, 0.3)),
        windows: vec![window(day, 0, Vec::new())],
        priority: 5,
        deadline: wall(day, 15, 0),
        deadline_source: "town notice, nuisance growth".to_owned(),
        promise: Some(Promise {
            start_time: wall(day, 14, 0),
            end_time: wall(day, 14, 45),
            before_work: false,
            contact: book.contact("Code officer"),
        }),
        price: dollars(420),
        note: "Photographs before and after, all four sides. The officer signs off on the spot."
            .to_owned(),
        ..Job::default()
    };
    book.job("notice-spall-street-lot", ID, job);
}

/// A site as the crew finds it that nobody of ours has worked on.
fn overgrown(height_inches: f64, over_edge_inches: f64, stem_inches: f64) -> SiteCondition {
    SiteCondition {
        turf_height: inches(height_inches),
        set_height: inches(3.5),
        turf_density: TurfDensity::Thick.into(),
        edge_overgrowth: inches(over_edge_inches),
        stem_thickness: inches(stem_inches),
        first_service: true,
        ..SiteCondition::default()
    }
}

/// Three neglected yards: one small and tall, one behind a narrow gate, one with debris all over.
fn first_cuts(book: &mut Book, names: &mut Names) {
    struct Yard {
        id: &'static str,
        street: &'static str,
        at: (f64, f64),
        size: f64,
        edge: f64,
        paved: f64,
        gate: Option<f64>,
        condition: SiteCondition,
        days_after: u64,
    }
    let yards = [
        Yard {
            id: "hodman-lane-7",
            street: "7 Hodman Lane",
            at: (-1.4, 2.2),
            size: 1_300.0,
            edge: 70.0,
            paved: 260.0,
            gate: None,
            condition: overgrown(26.0, 5.0, 0.2),
            days_after: 0,
        },
        Yard {
            id: "wader-close-3",
            street: "3 Wader Close",
            at: (3.1, 2.5),
            size: 1_500.0,
            edge: 110.0,
            paved: 420.0,
            gate: Some(34.0),
            condition: overgrown(16.0, 3.0, 0.15),
            days_after: 0,
        },
        Yard {
            id: "points-lane-11",
            street: "11 Points Lane",
            at: (4.1, -1.6),
            size: 1_400.0,
            edge: 130.0,
            paved: 600.0,
            gate: None,
            condition: SiteCondition {
                heavy_debris: true,
                ..overgrown(20.0, 7.0, 0.25)
            },
            days_after: 3,
        },
    ];
    for yard in yards {
        let customer = names.next();
        let site = Site {
            display_name: yard.street.to_owned(),
            contact: book.contact(&customer),
            customer,
            address: address(yard.street),
            location: place(yard.at.0, yard.at.1),
            areas: vec![
                Area {
                    narrowest_gate: yard.gate.and_then(inches),
                    obstacles: Obstacles::Many.into(),
                    ..turf("yard", "yard", yard.size)
                },
                edge("walk", "walk and drive", yard.edge),
                paved("drive", "walk and drive", yard.paved),
            ],
            hazards: vec![hazard(
                "unknown",
                "yard",
                "Never walked: toys, wire and stones are likely.",
            )],
            clippings: Clippings::TakeAway.into(),
            access_note: "Owner asks for a call on the way.".to_owned(),
            ..Site::default()
        };
        book.site(yard.id, site);
        let job = Job {
            display_name: format!("First cut, {}", yard.street),
            condition: Some(yard.condition),
            windows: vec![window(book.first_day, yard.days_after, Vec::new())],
            priority: 4,
            ..Job::default()
        };
        book.job(&format!("first-{}", yard.id), yard.id, job);
    }
}

/// Woody growth to be cut with a blade.
struct Brush {
    id: &'static str,
    display_name: &'static str,
    street: &'static str,
    at: (f64, f64),
    size: f64,
    slope_percent: f64,
    stem_inches: f64,
    times: Option<((i32, i32), (i32, i32))>,
    hazard: &'static str,
    access: &'static str,
    priority: i32,
    days_after: u64,
    /// The work was agreed task by task, so it isn't composed.
    agreed: bool,
}

const BRUSH: [Brush; 6] = [
    Brush {
        id: "siding-spur",
        display_name: "Siding End spur",
        street: "880 Siding Road",
        at: (4.9, -2.3),
        size: 1_800.0,
        slope_percent: 8.0,
        stem_inches: 0.6,
        times: Some(((7, 0), (9, 0))),
        hazard: "Live track beyond the fence: nobody and no cuttings past it.",
        access: "The flagman is there from 07:00 to 09:00 only.",
        priority: 5,
        days_after: 0,
        agreed: true,
    },
    Brush {
        id: "reedmace-path",
        display_name: "Reedmace Way creek path",
        street: "end of Reedmace Way",
        at: (3.9, 3.4),
        size: 1_600.0,
        slope_percent: 20.0,
        stem_inches: 0.5,
        times: Some(((7, 0), (9, 0))),
        hazard: "Creek bank undercut: stay two steps back.",
        access: "The path is closed to walkers until 09:00.",
        priority: 4,
        days_after: 0,
        agreed: true,
    },
    Brush {
        id: "cairn-street-alley",
        display_name: "Cairn Street alley",
        street: "alley behind 30 Cairn Street",
        at: (-2.4, -1.7),
        size: 1_500.0,
        slope_percent: 5.0,
        stem_inches: 0.5,
        times: Some(((7, 0), (9, 0))),
        hazard: "Gas meters along the wall.",
        access: "Garages need the alley from 09:00.",
        priority: 3,
        days_after: 0,
        agreed: true,
    },
    Brush {
        id: "kiln-bank",
        display_name: "Kiln Hill bank",
        street: "behind 20 Ember Walk",
        at: (-1.6, 2.9),
        size: 1_400.0,
        slope_percent: 30.0,
        stem_inches: 0.55,
        times: None,
        hazard: "Old brick pit, fenced; the fence is down at the south end.",
        access: "On foot from Ember Walk, 200 ft.",
        priority: 3,
        days_after: 1,
        agreed: false,
    },
    Brush {
        id: "lovage-ditch",
        display_name: "Lovage Lane ditch",
        street: "along Lovage Lane",
        at: (0.6, -2.9),
        size: 1_200.0,
        slope_percent: 25.0,
        stem_inches: 0.5,
        times: None,
        hazard: "Culvert mouth hidden in the brush.",
        access: "Cones out, one lane stays open.",
        priority: 3,
        days_after: 0,
        agreed: false,
    },
    Brush {
        id: "quarry-fence",
        display_name: "Quarry fence line",
        street: "end of Dressed Stone Road",
        at: (-3.9, 0.1),
        size: 1_700.0,
        slope_percent: 12.0,
        stem_inches: 0.65,
        times: None,
        hazard: "Loose stone under the brush; drop beyond the fence.",
        access: "Key from the quarry office.",
        priority: 3,
        days_after: 0,
        agreed: true,
    },
];

impl Brush {
    fn site(&self, book: &mut Book, customer: &str) -> Site {
        Site {
            display_name: self.display_name.to_owned(),
            customer: customer.to_owned(),
            contact: book.contact(customer),
            address: address(self.street),
            location: place(self.at.0, self.at.1),
            areas: vec![Area {
                slope_percent: self.slope_percent,
                ..brush("growth", "brush", self.size)
            }],
            hazards: vec![hazard("note", "growth", self.hazard)],
            clippings: Clippings::TakeAway.into(),
            access_note: self.access.to_owned(),
            ..Site::default()
        }
    }

    fn job(&self, book: &Book) -> Job {
        let times: Vec<DayTimeWindow> = self
            .times
            .map(|(from, to)| hours(from, to))
            .into_iter()
            .collect();
        Job {
            display_name: format!("Cut brush, {}", self.display_name),
            tasks: if self.agreed {
                agreed_tasks()
            } else {
                Vec::new()
            },
            condition: Some(SiteCondition {
                stem_thickness: inches(self.stem_inches),
                first_service: true,
                ..SiteCondition::default()
            }),
            windows: vec![window(book.first_day, self.days_after, times)],
            priority: self.priority,
            skills: vec!["brush-blade".to_owned()],
            ..Job::default()
        }
    }
}

fn agreed_tasks() -> Vec<Task> {
    vec![
        task(TaskKind::WalkBefore, "", &[]),
        task(TaskKind::CutBrush, "growth", &[Capability::BladeHead]),
        task(TaskKind::Collect, "growth", &[Capability::Rake]),
        task(TaskKind::WalkAfter, "", &[]),
    ]
}
