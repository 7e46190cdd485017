//! What happened to a day that no record tells, as flags of `replan`.

use chrono::NaiveDate;
use forenoon_proto::v1;
use forenoon_proto::v1::disruption::Disruption as One;
use prost_types::Timestamp;

use super::cells::word;
use crate::desk::BranchDesk;
use crate::failure::Failure;
use crate::names::Collection;
use crate::parse::instant;

/// What happened.
#[derive(Clone, Debug, Default, clap::Args)]
#[group(id = "happened", multiple = true)]
pub(super) struct Happened {
    /// A crew that can't go on, by id; may be given again
    #[arg(long, value_name = "CREW")]
    absent_crew: Vec<String>,
    /// A worker who is not there, by id; may be given again
    #[arg(long, value_name = "WORKER")]
    absent_worker: Vec<String>,
    /// A job that takes longer, and by how many minutes, as j-weld=30; may be given again
    #[arg(long, value_name = "JOB=MINUTES", value_parser = overrun)]
    overrun: Vec<(String, i32)>,
    /// No mowing before this time, for rain or wet ground
    #[arg(long, value_name = "TIME")]
    no_mowing_until: Option<String>,
    /// A kind of work that has to wait, and until when, as blow-off=13:00; may be given again
    #[arg(long, value_name = "KIND=TIME", value_parser = stop)]
    no_work: Vec<(v1::TaskKind, String)>,
    /// A crew said to be absent that is there after all, by id; may be given again
    #[arg(long, value_name = "CREW")]
    present_crew: Vec<String>,
    /// A worker said to be absent who is there after all, by id; may be given again
    #[arg(long, value_name = "WORKER")]
    present_worker: Vec<String>,
    /// Mowing that had to wait may go on: the rain is over
    #[arg(long)]
    mowing_again: bool,
    /// A kind of work that had to wait and may go on, as blow-off; may be given again
    #[arg(long, value_name = "KIND", value_parser = word::<v1::TaskKind>)]
    work_again: Vec<v1::TaskKind>,
    /// A unit that was brought to the yard, as m-36, or that a crew has aboard now, as m-36=ash; a trailer that was left by the road
    /// takes along what rides on it; may be given again
    #[arg(long, value_name = "UNIT[=CREW]", value_parser = moved)]
    moved: Vec<(String, Option<String>)>,
}

/// Mowing of all kinds.
const MOWING: [v1::TaskKind; 2] = [v1::TaskKind::Mow, v1::TaskKind::SecondPass];

fn overrun(text: &str) -> Result<(String, i32), String> {
    let wrong = || format!("\"{text}\" is not a job with minutes; write it like j-weld=30");
    let (job, minutes) = text.split_once('=').ok_or_else(wrong)?;
    let minutes = minutes.trim().parse().map_err(|_| wrong())?;
    Ok((job.trim().to_owned(), minutes))
}

fn moved(text: &str) -> Result<(String, Option<String>), String> {
    let (unit, crew) = match text.split_once('=') {
        Some((unit, crew)) => (unit.trim(), Some(crew.trim())),
        None => (text.trim(), None),
    };
    if unit.is_empty() || crew == Some("") {
        return Err(format!(
            "\"{text}\" is not a unit, alone or with a crew; write it like m-36 or m-36=ash"
        ));
    }
    Ok((unit.to_owned(), crew.map(str::to_owned)))
}

fn stop(text: &str) -> Result<(v1::TaskKind, String), String> {
    let (kind, time) = text.split_once('=').ok_or_else(|| {
        format!("\"{text}\" is not a kind of work with a time; write it like blow-off=13:00")
    })?;
    Ok((word::<v1::TaskKind>(kind)?, time.trim().to_owned()))
}

impl Happened {
    /// The same in words, for the record.
    pub(super) fn words(&self) -> String {
        let mut parts = Vec::new();
        parts.extend(
            self.absent_crew
                .iter()
                .map(|crew| format!("{crew} can't go on")),
        );
        parts.extend(
            self.absent_worker
                .iter()
                .map(|worker| format!("{worker} is not there")),
        );
        parts.extend(
            self.overrun
                .iter()
                .map(|(job, minutes)| format!("{job} takes {minutes} min longer")),
        );
        parts.extend(
            self.no_mowing_until
                .iter()
                .map(|time| format!("no mowing until {time}")),
        );
        parts.extend(self.no_work.iter().map(|(kind, time)| {
            format!(
                "no {} until {time}",
                crate::parse::word::phrase_of::<v1::TaskKind>((*kind).into())
            )
        }));
        let present = self.present_crew.iter().chain(&self.present_worker);
        parts.extend(present.map(|who| format!("{who} is there after all")));
        if self.mowing_again {
            parts.push("mowing may go on".to_owned());
        }
        parts.extend(self.moved.iter().map(|(unit, crew)| match crew {
            Some(crew) => format!("{unit} is with {crew}"),
            None => format!("{unit} is in the yard"),
        }));
        parts.extend(self.work_again.iter().map(|kind| {
            let kind = crate::parse::word::phrase_of::<v1::TaskKind>((*kind).into());
            format!("{kind} may go on")
        }));
        parts.join(", ")
    }

    /// As the server takes it. Work waits from `from` on, or from the beginning of the day.
    pub(super) fn read(
        &self,
        desk: &BranchDesk,
        day: NaiveDate,
        from: Option<Timestamp>,
    ) -> Result<Vec<v1::Disruption>, Failure> {
        let mut all = Vec::new();
        let mut add = |one| {
            all.push(v1::Disruption {
                disruption: Some(one),
            });
        };
        for crew in &self.absent_crew {
            add(One::AbsentCrew(desk.name(Collection::Crews, crew)));
        }
        for worker in &self.absent_worker {
            add(One::AbsentWorker(desk.name(Collection::Workers, worker)));
        }
        for (job, extra_minutes) in &self.overrun {
            add(One::Overrun(v1::Overrun {
                job: desk.name(Collection::Jobs, job),
                extra_minutes: *extra_minutes,
            }));
        }
        // Some days have no midnight, and some have two.
        let start =
            from.unwrap_or_else(|| instant::wire(instant::start_of_day(day, desk.clock.zone)));
        let stops = self
            .no_mowing_until
            .iter()
            .map(|time| (MOWING.to_vec(), time))
            .chain(self.no_work.iter().map(|(kind, time)| (vec![*kind], time)));
        for (kinds, time) in stops {
            add(One::WorkStop(v1::WorkStop {
                kinds: kinds.into_iter().map(Into::into).collect(),
                start_time: Some(start),
                end_time: Some(desk.time(time, day)?),
            }));
        }
        for crew in &self.present_crew {
            add(One::PresentCrew(desk.name(Collection::Crews, crew)));
        }
        for worker in &self.present_worker {
            add(One::PresentWorker(desk.name(Collection::Workers, worker)));
        }
        let mowing = self.mowing_again.then_some(MOWING);
        let again = mowing.into_iter().flatten();
        let kinds: Vec<i32> = again
            .chain(self.work_again.iter().copied())
            .map(Into::into)
            .collect();
        if !kinds.is_empty() {
            add(One::WorkResumption(v1::WorkResumption { kinds }));
        }
        for (unit, crew) in &self.moved {
            let crew = crew.as_ref();
            add(One::UnitsMoved(v1::UnitsMoved {
                units: vec![desk.name(Collection::Units, unit)],
                crew: crew.map_or_else(String::new, |crew| desk.name(Collection::Crews, crew)),
            }));
        }
        Ok(all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::tests::branch_desk;

    // Cairo's clocks jump from 00:00 to 01:00 on the last Friday of April, Havana's go back at 01:00 to 00:00 on the
    // first Sunday of November (IANA database, rules Egypt and Cuba).
    #[tokio::test]
    async fn a_day_without_a_midnight_or_with_two_begins_when_it_first_can() {
        let waits = Happened {
            no_mowing_until: Some("10:00".to_owned()),
            ..Happened::default()
        };
        for (zone, day, begins) in [
            (
                chrono_tz::Africa::Cairo,
                "2027-04-30",
                "2027-04-29T22:00:00Z",
            ),
            (
                chrono_tz::America::Havana,
                "2027-11-07",
                "2027-11-07T04:00:00Z",
            ),
        ] {
            let desk = branch_desk("http://127.0.0.1:1", zone);
            let day: NaiveDate = day.parse().unwrap();
            let nothing = Happened::default().read(&desk, day, None).unwrap();
            assert_eq!(nothing, Vec::new(), "{zone}");
            let told = waits.read(&desk, day, None).unwrap();
            let Some(One::WorkStop(stop)) = &told[0].disruption else {
                panic!("{told:?}")
            };
            assert_eq!(stop.start_time.unwrap().to_string(), begins, "{zone}");
        }
    }

    #[test]
    fn minutes_and_times_follow_the_name() {
        assert_eq!(overrun("j-weld=30"), Ok(("j-weld".to_owned(), 30)));
        assert!(overrun("j-weld").is_err() && overrun("j-weld=soon").is_err());
        assert_eq!(
            stop("blow-off=13:00"),
            Ok((v1::TaskKind::BlowOff, "13:00".to_owned()))
        );
        assert!(stop("fly=13:00").is_err());
    }

    #[tokio::test]
    async fn what_was_told_is_taken_back() {
        let desk = branch_desk("http://127.0.0.1:1", chrono_tz::America::Chicago);
        let happened = Happened {
            present_crew: vec!["ash".to_owned()],
            present_worker: vec!["bo".to_owned()],
            mowing_again: true,
            work_again: vec![v1::TaskKind::BlowOff],
            ..Happened::default()
        };
        assert_eq!(
            happened.words(),
            "ash is there after all, bo is there after all, mowing may go on, blow off may go on"
        );
        let day = "2027-04-20".parse().unwrap();
        let told = happened.read(&desk, day, None).unwrap();
        let told: Vec<_> = told.into_iter().filter_map(|one| one.disruption).collect();
        let kinds = [
            v1::TaskKind::Mow,
            v1::TaskKind::SecondPass,
            v1::TaskKind::BlowOff,
        ];
        assert_eq!(
            told,
            [
                One::PresentCrew(desk.name(Collection::Crews, "ash")),
                One::PresentWorker(desk.name(Collection::Workers, "bo")),
                One::WorkResumption(v1::WorkResumption {
                    kinds: kinds.map(Into::into).to_vec(),
                }),
            ]
        );
    }

    #[tokio::test]
    async fn what_was_moved_is_with_a_crew_or_in_the_yard() {
        let desk = branch_desk("http://127.0.0.1:1", chrono_tz::America::Chicago);
        assert_eq!(moved(" m-36 "), Ok(("m-36".to_owned(), None)));
        for wrong in ["", "=ash", "m-36="] {
            assert!(moved(wrong).is_err(), "{wrong}");
        }
        let happened = Happened {
            moved: vec![
                moved("m-36=ash").expect("a unit with a crew"),
                moved("trailer-1").expect("a unit"),
            ],
            ..Happened::default()
        };
        assert_eq!(
            happened.words(),
            "m-36 is with ash, trailer-1 is in the yard"
        );
        let told = happened.read(&desk, "2027-04-20".parse().unwrap(), None);
        let told: Vec<_> = told
            .unwrap()
            .into_iter()
            .filter_map(|one| one.disruption)
            .collect();
        let units_moved = |unit, crew| {
            One::UnitsMoved(v1::UnitsMoved {
                units: vec![desk.name(Collection::Units, unit)],
                crew,
            })
        };
        assert_eq!(
            told,
            [
                units_moved("m-36", desk.name(Collection::Crews, "ash")),
                units_moved("trailer-1", String::new()),
            ]
        );
    }

    #[test]
    fn what_happened_is_told_in_words() {
        let happened = Happened {
            absent_worker: vec!["bo".to_owned()],
            overrun: vec![("j-weld".to_owned(), 30)],
            ..Happened::default()
        };
        assert_eq!(
            happened.words(),
            "bo is not there, j-weld takes 30 min longer"
        );
    }
}
