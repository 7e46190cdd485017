//! Grounds with a name: schools, offices, a clinic, a ball field. Large turf, quiet hours, glass.

mod table;

use forenoon_proto::v1::{
    Area, AreaShape, Clippings, DayTimeWindow, Hazard, Job, Obstacles, Site, SiteCondition,
};

use super::areas::{bed, edge, hazard, paved, turf};
use super::book::Book;
use super::measure::{clock, hours, inches, place, window};
use super::people::Names;
use super::town::address;
use table::{GROUNDS, Ground};

/// Writes the grounds and their weekly visits.
pub(super) fn write(book: &mut Book, names: &mut Names) {
    for ground in &GROUNDS {
        let site = ground.site(book, &names.next());
        book.site(ground.id, site);
        let job = ground.job(book);
        book.job(&format!("mow-{}", ground.id), ground.id, job);
    }
}

impl Ground {
    fn site(&self, book: &mut Book, caretaker: &str) -> Site {
        let clippings = if self.take_away {
            Clippings::TakeAway
        } else {
            Clippings::MayLie
        };
        Site {
            display_name: self.display_name.to_owned(),
            customer: self.display_name.to_owned(),
            contact: book.contact(caretaker),
            address: address(self.street),
            location: place(self.at.0, self.at.1),
            areas: self.areas(),
            hazards: self
                .hazards
                .iter()
                .map(|&(id, area, words)| -> Hazard { hazard(id, area, words) })
                .collect(),
            clippings: clippings.into(),
            quiet_until: self
                .quiet_until
                .and_then(|(hour, minute)| clock(hour, minute)),
            sensitive: self.sensitive,
            access_note: self.access.to_owned(),
            ..Site::default()
        }
    }

    fn areas(&self) -> Vec<Area> {
        let mut areas = vec![Area {
            obstacles: Obstacles::None.into(),
            shape: AreaShape::Open.into(),
            ..turf("open", "open turf", self.open)
        }];
        if self.planted > 0.0 {
            areas.push(Area {
                obstacles: Obstacles::Many.into(),
                shape: AreaShape::Broken.into(),
                ..turf("planted", "turf among trees and beds", self.planted)
            });
            // Beds are there for the sheet; their trimming is a job of its own.
            areas.push(bed(
                "beds",
                "beds",
                self.planted / 10.0,
                self.planted.sqrt() * 2.0,
            ));
        }
        areas.push(edge("curb", "curbs and walks", self.edge));
        areas.push(paved("walks", "walks and entrances", self.paved));
        areas
    }

    fn job(&self, book: &Book) -> Job {
        let times: Vec<DayTimeWindow> = self
            .times
            .map(|(from, to)| hours(from, to))
            .into_iter()
            .collect();
        let area_ids = self
            .areas()
            .into_iter()
            .map(|area| area.area_id)
            .filter(|id| id != "beds")
            .collect();
        Job {
            display_name: format!("Weekly grounds, {}", self.display_name),
            area_ids,
            condition: Some(SiteCondition {
                turf_height: inches(4.0),
                set_height: inches(3.0),
                ..SiteCondition::default()
            }),
            windows: vec![window(book.first_day, self.days_after, times)],
            priority: self.priority,
            skills: vec!["ride-on".to_owned()],
            ..Job::default()
        }
    }
}
