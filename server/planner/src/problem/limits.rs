//! Sizes and magnitudes a problem may have. Beyond them it is refused, so that memory is bounded and no sum overflows.

use crate::Seconds;

/// Places in a travel table.
pub const PLACES_MAX: usize = 6_000;
/// Crew days.
pub const CREWS_MAX: usize = 1_000;
/// Jobs.
pub const JOBS_MAX: usize = 5_000;
/// Units.
pub const UNITS_MAX: usize = 10_000;
/// Classes of units.
pub const CLASSES_MAX: usize = 250;
/// Tasks in one job: more than a large site's areas make.
pub const TASKS_MAX: usize = 2_000;
/// Methods of one task.
pub const METHODS_MAX: usize = 8;
/// Windows of one job, quiet times of one job, or times one unit is available.
pub const WINDOWS_MAX: usize = 32;
/// Calls at yards in one crew's day, and yards at which one crew may call.
pub const CALLS_MAX: usize = 4;
/// Breaks in one shift.
pub const BREAKS_MAX: usize = 4;
/// Skills of one crew or job.
pub const SKILLS_MAX: usize = 1_000;
/// People in a crew.
pub const CREW_SIZE_MAX: u8 = 12;
/// Days of one problem.
pub const DAYS_MAX: u16 = 60;
/// Distance of any instant from the origin, seconds (about three years).
pub const INSTANT_MAX: Seconds = 100_000_000;
/// Length of a shift with its overtime, seconds.
pub const SHIFT_SECONDS_MAX: Seconds = 36 * 3_600;
/// One drive, seconds.
pub const TRAVEL_SECONDS_MAX: i64 = 24 * 3_600;
/// One drive, metres.
pub const TRAVEL_METRES_MAX: i64 = 3_000_000;
/// Service of one task or fixed part of one job, seconds.
pub const SERVICE_SECONDS_MAX: u32 = 36 * 3_600;
/// A crew's pace in permille.
pub const PACE_PERMILLE: std::ops::RangeInclusive<i64> = 400..=2_500;
/// Load space of a crew or a unit, in the caller's unit.
pub const SPACE_MAX: u32 = 1_000_000;
/// A rate in minor units per hour or per kilometre. A crew's hour is some 10,000 minor units in one currency and some
/// 20,000,000 in another.
pub const RATE_MAX: i64 = 100_000_000;
/// A sum in minor units. Weighed tenfold, as far as weights go, it is within 64 bits of [`Cost`](crate::Cost).
pub const MONEY_MAX: i64 = 200_000_000_000;
/// A weight in permille.
pub const PERMILLE_MAX: i64 = 10_000;
/// Exposure points of one task or limit.
pub const EXPOSURE_MAX: u32 = 1_000_000;
/// Width of a unit or gate, millimetres.
pub const WIDTH_MM_MAX: u32 = 20_000;
/// Slope, permille.
pub const SLOPE_PERMILLE_MAX: u32 = 2_000;
/// Faults reported for one problem.
pub const FAULTS_MAX: usize = 1_000;
/// Ways to do tasks, over all jobs, crew sizes and tools, also tools that a gate or a slope forbids.
pub const CHOICES_MAX: usize = 4_000_000;
/// Ways to do tasks that are looked into, whether the tool suits or not.
pub const CHOICES_ASKED_MAX: usize = 16_000_000;
