//! Workers, between wire and domain.

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::entity::{branch, worker};
use forenoon_store::value::{Role, Roles, Words};

use crate::edge::checks::Checks;
use crate::edge::mask::{Mask, updatable};
use crate::edge::{etag, money, time};
use crate::work::{self, Error};

/// The most roles in a list: there are fewer kinds.
const ROLES_MAX: usize = 20;
/// The most skills of a worker.
const SKILLS_MAX: usize = 50;

updatable!(v1::Worker {
    display_name, crew, roles, skills, phone, cost_per_hour,
} fixed {
    name, etag, create_time, update_time,
});

/// The fields an update can name, and those it cannot.
pub(super) fn mask_fields() -> (&'static [&'static str], &'static [&'static str]) {
    (UPDATABLE, FIXED)
}

/// The worker as an update makes it: the fields the mask names, over the worker as it is.
pub(super) fn edited(
    before: &worker::Model,
    branch: &branch::Model,
    change: v1::Worker,
    mask: &Mask,
) -> Result<worker::Model, Error> {
    let mut merged = to_wire(before.clone(), &branch.currency_code);
    overlay(&mut merged, change, mask);
    let mut checks = Checks::new();
    let row = checks.within("worker", |checks| {
        from_wire(checks, branch, before.id.clone(), merged)
    });
    checks.finish(row)
}

/// A row as the wire has it.
pub(super) fn to_wire(row: worker::Model, currency_code: &str) -> v1::Worker {
    let etag = etag::of(&row);
    let worker::Model {
        branch_id,
        id,
        display_name,
        crew_id,
        roles,
        skills,
        phone,
        cost_per_hour_minor,
        revision: _,
        create_time,
        update_time,
    } = row;
    v1::Worker {
        name: work::worker::name(&branch_id, &id),
        display_name,
        crew: crew_id
            .map(|id| work::crew::name(&branch_id, &id))
            .unwrap_or_default(),
        roles: roles
            .0
            .into_iter()
            .map(|role| role_to_wire(role).into())
            .collect(),
        skills: skills.0,
        phone,
        cost_per_hour: cost_per_hour_minor.map(|minor| money::money(minor, currency_code)),
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

/// A row from the wire; its revision and times are for the use case to set.
pub(crate) fn from_wire(
    checks: &mut Checks,
    branch: &branch::Model,
    id: String,
    wire: v1::Worker,
) -> Option<worker::Model> {
    let v1::Worker {
        name: _,
        display_name,
        crew,
        roles,
        skills,
        phone,
        cost_per_hour,
        etag: _,
        create_time: _,
        update_time: _,
    } = wire;
    let display_name = checks.line("display_name", display_name, 1..=200);
    let crew_id = checks.reference("crew", &branch.id, "crews", &crew);
    checks.distinct_words("roles", &roles, |role| {
        v1::Role::try_from(role)
            .ok()
            .and_then(role_from_wire)
            .map_or("", |role| role_to_wire(role).as_str_name())
    });
    let roles = checks.each("roles", roles, ROLES_MAX, |checks, role| {
        checks.word("", role, None, role_from_wire)
    });
    let skills = checks.labels("skills", skills, SKILLS_MAX);
    let phone = checks.line("phone", phone, 0..=40);
    let cost = checks.wage("cost_per_hour", cost_per_hour, &branch.currency_code);
    Some(worker::Model {
        branch_id: branch.id.clone(),
        id,
        display_name: display_name?,
        crew_id: crew_id?,
        roles: Roles(roles?),
        skills: Words(skills?),
        phone: phone?,
        cost_per_hour_minor: cost?,
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}

fn role_to_wire(role: Role) -> v1::Role {
    match role {
        Role::Crew => v1::Role::Crew,
        Role::CrewLead => v1::Role::CrewLead,
        Role::Dispatcher => v1::Role::Dispatcher,
        Role::Mechanic => v1::Role::Mechanic,
        Role::Office => v1::Role::Office,
    }
}

fn role_from_wire(role: v1::Role) -> Option<Role> {
    match role {
        v1::Role::Unspecified => None,
        v1::Role::Crew => Some(Role::Crew),
        v1::Role::CrewLead => Some(Role::CrewLead),
        v1::Role::Dispatcher => Some(Role::Dispatcher),
        v1::Role::Mechanic => Some(Role::Mechanic),
        v1::Role::Office => Some(Role::Office),
    }
}
