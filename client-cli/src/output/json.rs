//! Messages as JSON, in the mapping that proto3 defines, so that any program with the contract can read them.

use std::sync::OnceLock;

use forenoon_proto::v1;
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage};

/// A message of the contract that knows its name.
pub trait Described: Message {
    /// Its full name.
    const NAME: &'static str;
}

macro_rules! described {
    ($($message:ident),* $(,)?) => {
        $(impl Described for v1::$message {
            const NAME: &'static str = concat!("forenoon.v1.", stringify!($message));
        })*

        #[cfg(test)]
        const NAMES: &[&str] = &[$(<v1::$message as Described>::NAME),*];
    };
}

described! {
    AcceptProposalResponse, AssessPlanResponse, Branch, Case, ConfirmLoadResponse, Crew, Estimate,
    GetUnitCostResponse, GetUnitHistoryResponse, ImportBranchResponse, ImportRecordsResponse, Job,
    ListBenchQueueResponse,
    ListBranchesResponse, ListCasesResponse, ListCrewSheetsResponse, ListCrewsResponse,
    ListJobsResponse, ListPhotosResponse, ListPlansResponse, ListSitesResponse, ListTagOutsResponse, ListUnitsResponse,
    ListVisitsResponse, ListWorkersResponse, Plan, ProposeReplanResponse, RecordServiceResponse,
    ReopenTagOutResponse, Site, TagOut, TagOutResponse, TryChangeResponse, Unit, UploadPhotoResponse, Visit,
    WatchDayResponse, Worker,
}

/// The contract's descriptors, read once.
fn pool() -> Result<&'static DescriptorPool, String> {
    static POOL: OnceLock<Result<DescriptorPool, String>> = OnceLock::new();
    POOL.get_or_init(|| {
        DescriptorPool::decode(forenoon_proto::FILE_DESCRIPTOR_SET)
            .map_err(|error| error.to_string())
    })
    .as_ref()
    .map_err(Clone::clone)
}

/// A message as indented JSON with a line break at its end.
///
/// # Errors
/// A message that the contract's descriptors do not know; a mistake of the build.
pub fn json<M: Described>(message: &M) -> Result<String, String> {
    let mut text =
        serde_json::to_string_pretty(&dynamic(message)?).map_err(|error| error.to_string())?;
    text.push('\n');
    Ok(text)
}

/// A message as JSON on one line, for streams of them.
///
/// # Errors
/// As [`json`].
pub fn json_line<M: Described>(message: &M) -> Result<String, String> {
    let mut text = serde_json::to_string(&dynamic(message)?).map_err(|error| error.to_string())?;
    text.push('\n');
    Ok(text)
}

fn dynamic<M: Described>(message: &M) -> Result<DynamicMessage, String> {
    let descriptor = pool()?
        .get_message_by_name(M::NAME)
        .ok_or_else(|| format!("the contract has no {}", M::NAME))?;
    let bytes = message.encode_to_vec();
    DynamicMessage::decode(descriptor, bytes.as_slice()).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_described_message_is_in_the_contract() {
        for name in NAMES {
            assert!(
                pool().unwrap().get_message_by_name(name).is_some(),
                "{name}"
            );
        }
    }

    // The mapping of the proto3 language guide: lowerCamelCase names, enums by name, 64-bit numbers and durations as
    // strings, timestamps by RFC 3339.
    #[test]
    fn json_follows_the_proto3_mapping() {
        let plan = v1::Plan {
            name: "branches/north/plans/2027-04-20-1".into(),
            state: v1::PlanState::Draft.into(),
            seed: 7,
            totals: Some(v1::PlanTotals {
                planned_jobs: 3,
                travel: Some(prost_types::Duration {
                    seconds: 90,
                    nanos: 0,
                }),
                ..v1::PlanTotals::default()
            }),
            create_time: Some("2027-04-19T20:00:00Z".parse().unwrap()),
            ..v1::Plan::default()
        };
        let value: serde_json::Value = serde_json::from_str(&json(&plan).unwrap()).unwrap();
        assert_eq!(
            value,
            serde_json::json!({
                "name": "branches/north/plans/2027-04-20-1",
                "state": "PLAN_STATE_DRAFT",
                "seed": "7",
                "totals": {"plannedJobs": 3, "travel": "90s"},
                "createTime": "2027-04-19T20:00:00Z",
            })
        );
    }
}
