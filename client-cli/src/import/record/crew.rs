//! Crews with their shifts, and workers.

use forenoon_proto::v1::{Crew, Role, Shift, Worker};

use super::super::Context;
use super::super::row::{Reader, some, text};
use super::{reference, texts, words};
use crate::names::Collection;
use crate::parse::{clock, measure, money};

/// Fills a crew.
pub fn crew(row: &mut Reader<'_>, context: &Context, crew: &mut Crew) {
    row.put("display_name", &mut crew.display_name, text);
    row.put(
        "vehicle",
        &mut crew.vehicle,
        reference(&context.branch, Collection::Units),
    );
    row.put(
        "trailer",
        &mut crew.trailer,
        reference(&context.branch, Collection::Units),
    );
    row.put(
        "overtime_allowed",
        &mut crew.overtime_allowed,
        some(measure::stretch),
    );
    row.put(
        "break_length",
        &mut crew.break_length,
        some(measure::stretch),
    );
    row.point("base_latitude", "base_longitude", "base", &mut crew.base);
}

/// Fills a shift but for its day; a row may stand for several days.
pub fn shift(row: &mut Reader<'_>, shift: &mut Shift) {
    row.put(
        "start_time",
        &mut shift.start_time,
        some(clock::time_of_day),
    );
    row.put("end_time", &mut shift.end_time, some(clock::time_of_day));
}

/// Fills a worker.
pub fn worker(row: &mut Reader<'_>, context: &Context, worker: &mut Worker) {
    row.put("display_name", &mut worker.display_name, text);
    row.put(
        "crew",
        &mut worker.crew,
        reference(&context.branch, Collection::Crews),
    );
    row.put("roles", &mut worker.roles, words::<Role>);
    row.put("skills", &mut worker.skills, texts);
    row.put("phone", &mut worker.phone, text);
    let cost = |text: &str| money::money(text, &context.currency);
    row.put("cost_per_hour", &mut worker.cost_per_hour, some(cost));
}
