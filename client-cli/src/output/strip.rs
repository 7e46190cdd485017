//! A crew's day as one line of signs: a ruler of hours above, a sign for each quarter or half of an hour below.

use chrono::{DateTime, Offset, Timelike, Utc};
use chrono_tz::Tz;

use super::clock::Clock;

/// Work at a stop, in seconds since the epoch.
pub(super) struct Stretch {
    /// Arrives.
    pub(super) arrive: i64,
    /// Begins.
    pub(super) start: i64,
    /// Is done.
    pub(super) finish: i64,
}

/// The span that strips show.
#[derive(Clone, Copy)]
pub(super) struct Span {
    start: i64,
    cells: usize,
    cell_seconds: i64,
}

const HOUR_SECONDS: i64 = 3600;
/// A day with more than so many quarters of an hour is shown by halves.
const QUARTERS_MAX: i64 = 60;
/// No strip is longer than two days of halves.
const CELLS_MAX: usize = 96;
/// Stops beyond these signs share the last.
const SIGNS: &[u8] = b"123456789abcdefghijklmnopqrstuvwxyz";

impl Span {
    /// The span from the clock's whole hour before the first instant to the one after the last, in at most `room`
    /// columns.
    pub(super) fn new(first: i64, last: i64, clock: Clock, room: usize) -> Self {
        // Clocks of some zones show a whole hour where UTC shows a half or a quarter.
        let offset = offset_seconds(first, clock);
        let start = (first + offset).div_euclid(HOUR_SECONDS) * HOUR_SECONDS - offset;
        let hours = (last - start + HOUR_SECONDS - 1)
            .div_euclid(HOUR_SECONDS)
            .max(1);
        let quarters = i64::try_from(room).map_or(QUARTERS_MAX, |room| room.min(QUARTERS_MAX));
        let per_hour = if hours * 4 <= quarters { 4 } else { 2 };
        let cells = usize::try_from(hours * per_hour).unwrap_or(CELLS_MAX);
        Self {
            start,
            cells: cells.min(CELLS_MAX).min(room),
            cell_seconds: HOUR_SECONDS / per_hour,
        }
    }

    /// The ruler: each hour of the branch's clock where it begins.
    pub(super) fn ruler(&self, clock: Clock) -> String {
        let per_hour = usize::try_from(HOUR_SECONDS / self.cell_seconds).unwrap_or(1);
        let mut ruler = String::new();
        let mut second = self.start;
        for _ in 0..self.cells / per_hour {
            let hour = local(second, clock).map_or(0, |time| time.hour());
            super::text::add(&mut ruler, format_args!("{hour:<per_hour$}"));
            second += HOUR_SECONDS;
        }
        ruler
    }

    /// One crew's strip: the stop's sign for work, `-` on the road, `.` waiting, blank outside.
    pub(super) fn strip(&self, depart: i64, back: i64, stops: &[Stretch]) -> String {
        let mut strip = String::with_capacity(self.cells);
        let mut middle = self.start + self.cell_seconds / 2;
        for _ in 0..self.cells {
            let at = stops
                .iter()
                .position(|stop| (stop.arrive..stop.finish.max(stop.arrive + 1)).contains(&middle));
            strip.push(match at {
                Some(index) if stops.get(index).is_some_and(|stop| middle < stop.start) => '.',
                Some(index) => char::from(*SIGNS.get(index).unwrap_or(&b'+')),
                None if (depart..back).contains(&middle) => '-',
                None => ' ',
            });
            middle += self.cell_seconds;
        }
        strip
    }
}

/// An instant on the branch's clock.
fn local(second: i64, clock: Clock) -> Option<DateTime<Tz>> {
    DateTime::<Utc>::from_timestamp(second, 0).map(|time| time.with_timezone(&clock.zone))
}

/// How far the clock is ahead of UTC.
fn offset_seconds(second: i64, clock: Clock) -> i64 {
    local(second, clock).map_or(0, |time| time.offset().fix().local_minus_utc().into())
}

/// The sign of a stop in strips and lists.
pub(super) fn sign(index: usize) -> char {
    char::from(*SIGNS.get(index).unwrap_or(&b'+'))
}

#[cfg(test)]
mod tests {
    use super::*;

    const UTC: Clock = Clock {
        zone: chrono_tz::UTC,
    };

    fn at(text: &str) -> i64 {
        text.parse::<DateTime<Utc>>().unwrap().timestamp()
    }

    #[test]
    fn a_day_becomes_signs_under_its_hours() {
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let span = Span::new(
            at("2027-04-20T11:50:00Z"),
            at("2027-04-20T15:00:00Z"),
            clock,
            72,
        );
        assert_eq!(span.ruler(clock), "6   7   8   9   ");
        let stops = [
            Stretch {
                arrive: at("2027-04-20T12:05:00Z"),
                start: at("2027-04-20T12:05:00Z"),
                finish: at("2027-04-20T13:00:00Z"),
            },
            Stretch {
                arrive: at("2027-04-20T13:15:00Z"),
                start: at("2027-04-20T13:30:00Z"),
                finish: at("2027-04-20T14:30:00Z"),
            },
        ];
        let strip = span.strip(
            at("2027-04-20T11:50:00Z"),
            at("2027-04-20T15:00:00Z"),
            &stops,
        );
        assert_eq!(strip, "   -1111-.2222--");
    }

    // Clocks go from 02:00 to 03:00 on 14 March 2027 (15 U.S.C. 260a).
    #[test]
    fn the_ruler_jumps_with_the_clocks() {
        let clock = Clock {
            zone: chrono_tz::America::Chicago,
        };
        let span = Span::new(
            at("2027-03-14T07:00:00Z"),
            at("2027-03-14T10:00:00Z"),
            clock,
            72,
        );
        assert_eq!(span.ruler(clock), "1   3   4   ");
    }

    // India is five and a half hours ahead of UTC, Nepal five and three quarters.
    #[test]
    fn strips_begin_with_an_hour_of_the_branchs_clock() {
        for (zone, eight) in [
            (chrono_tz::Asia::Kolkata, "2027-04-20T02:30:00Z"),
            (chrono_tz::Asia::Kathmandu, "2027-04-20T02:15:00Z"),
        ] {
            let (clock, eight) = (Clock { zone }, at(eight));
            let back = eight + 2 * HOUR_SECONDS;
            let span = Span::new(eight + 1800, back, clock, 72);
            assert_eq!(span.ruler(clock), "8   9   ", "{zone}");
            assert_eq!(span.strip(eight + 1800, back, &[]), "  ------", "{zone}");
        }
    }

    #[test]
    fn long_days_are_shown_by_halves() {
        let span = Span::new(0, 20 * HOUR_SECONDS, UTC, 100);
        assert_eq!(span.strip(0, 20 * HOUR_SECONDS, &[]).len(), 40);
        assert_eq!(Span::new(0, i64::MAX / 2, UTC, 100).cells, CELLS_MAX);
    }

    #[test]
    fn strips_keep_within_their_room() {
        let cells = |room| Span::new(0, 10 * HOUR_SECONDS, UTC, room).cells;
        assert_eq!((cells(40), cells(39), cells(9)), (40, 20, 9));
    }
}
