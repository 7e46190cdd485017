//! What watchers are told, from the domain to the wire.

use bytes::Bytes;
use forenoon_proto::v1;
use forenoon_proto::v1::day_change::State;
use forenoon_proto::v1::watch_day_response::Event;
use prost::Message;

use crate::edge::{plan, tag_out, time, visit};
use crate::work::day::{DayEvent, DayState, Snapshot};

/// An event as every watcher gets it: the response without its token. Written once for all; the token of each is put
/// before it, since fields of a message may follow in any order.
pub(crate) fn words(event: &DayEvent) -> Bytes {
    let state = match event.state.clone() {
        DayState::Untold => None,
        DayState::Plan(stored, system) => Some(State::Plan(plan::convert::whole(&stored, system))),
        DayState::Visit(row) => Some(State::Visit(visit::convert::to_wire(*row))),
        DayState::TagOut(row, unit) => Some(State::TagOut(tag_out::convert::to_wire(*row, unit))),
        DayState::Load(row) => Some(State::Load(visit::convert::load(row))),
    };
    let change = v1::DayChange {
        kind: event.kind.clone(),
        subject: event.subject.clone(),
        accept_time: Some(time::timestamp(event.at)),
        state,
    };
    tokenless(Event::Change(change))
}

/// How a day stands, without the token.
pub(super) fn snapshot(snapshot: Snapshot) -> Bytes {
    let Snapshot {
        place: _,
        unit_system,
        plan: stored,
        visits,
        loads,
        tag_outs,
    } = snapshot;
    tokenless(Event::Snapshot(v1::DaySnapshot {
        plan: stored.map(|stored| plan::convert::whole(&stored, unit_system)),
        visits: visits.into_iter().map(visit::convert::to_wire).collect(),
        tag_outs: tag_outs
            .into_iter()
            .map(|tagged| tag_out::convert::to_wire(tagged.tag, tagged.unit_display_name))
            .collect(),
        loads: loads.into_iter().map(visit::convert::load).collect(),
    }))
}

/// Nothing new, without the token.
pub(super) fn heartbeat() -> Bytes {
    tokenless(Event::Heartbeat(v1::Heartbeat {}))
}

fn tokenless(event: Event) -> Bytes {
    v1::WatchDayResponse {
        resume_token: String::new(),
        event: Some(event),
    }
    .encode_to_vec()
    .into()
}

/// The token alone.
pub(super) fn token(resume_token: String) -> Bytes {
    v1::WatchDayResponse {
        resume_token,
        event: None,
    }
    .encode_to_vec()
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn token_and_event_put_together_are_one_response() {
        let bytes = [token("abc".to_owned()), heartbeat()].concat();
        let read = v1::WatchDayResponse::decode(bytes.as_slice()).expect("a response");
        assert_eq!(read.resume_token, "abc");
        assert_eq!(read.event, Some(Event::Heartbeat(v1::Heartbeat {})));
    }
}
