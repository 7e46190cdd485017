//! Who may call what. A method that stands nowhere here is for holders of everything; a test names it.

use forenoon_store::value::Role::{self, Crew, CrewLead, Dispatcher, Mechanic, Office};

use crate::work::sign_in::Caller;

/// Who may call a method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Access {
    /// Whoever has one of these roles in the branch.
    Roles(&'static [Role]),
    /// Whoever may do everything in the branch.
    Everything,
    /// Whoever may do everything in every branch.
    EveryBranch,
}

impl Access {
    pub(super) fn lets(self, caller: &Caller) -> bool {
        match self {
            Self::Roles(roles) => caller.is_one_of(roles),
            Self::Everything => caller.everything,
            Self::EveryBranch => caller.everything && caller.branch.is_none(),
        }
    }
}

const ANYBODY: Access = Access::Roles(&[Crew, CrewLead, Dispatcher, Mechanic, Office]);
/// Those who work on sites, and who speaks with them.
const FIELD: Access = Access::Roles(&[Crew, CrewLead, Dispatcher]);
const DISPATCH: Access = Access::Roles(&[Dispatcher]);
/// Those who keep the books of customers and work.
const DESK: Access = Access::Roles(&[Dispatcher, Office]);
const BENCH: Access = Access::Roles(&[Mechanic]);
/// Those who keep the book of machines.
const MACHINES: Access = Access::Roles(&[Dispatcher, Mechanic]);
const DESK_AND_BENCH: Access = Access::Roles(&[Dispatcher, Mechanic, Office]);
/// A hazard that a crew finds goes on the site at once.
const SITES: Access = Access::Roles(&[CrewLead, Dispatcher, Office]);

/// Services open to whoever reaches the server: they tell nothing of a branch.
const OPEN: [&str; 3] = [
    "/grpc.health.v1.Health/",
    "/grpc.reflection.v1.ServerReflection/",
    "/grpc.reflection.v1alpha.ServerReflection/",
];

/// What a role is worth stands in workers' records: whoever may write them may do all that there is in a branch.
const TABLE: &[(&str, Access, &[&str])] = &[
    (
        "BenchService",
        DESK_AND_BENCH,
        &["ListBenchQueue", "GetUnitHistory", "GetUnitCost"],
    ),
    ("BenchService", BENCH, &["RecordService"]),
    ("BranchService", ANYBODY, &["GetBranch", "ListBranches"]),
    ("BranchService", Access::Everything, &["UpdateBranch"]),
    (
        "BranchService",
        Access::EveryBranch,
        &["CreateBranch", "DeleteBranch"],
    ),
    (
        "CaseService",
        ANYBODY,
        &["OpenCase", "GetCase", "ListCases"],
    ),
    ("CaseService", DESK, &["CloseCase"]),
    ("CrewService", ANYBODY, &["GetCrew", "ListCrews"]),
    (
        "CrewService",
        DISPATCH,
        &["CreateCrew", "UpdateCrew", "DeleteCrew"],
    ),
    ("CrewService", DESK, &["GetWorker", "ListWorkers"]),
    (
        "CrewService",
        Access::Everything,
        &["CreateWorker", "UpdateWorker", "DeleteWorker"],
    ),
    ("DayService", ANYBODY, &["WatchDay"]),
    ("ImportService", DESK, &["ImportRecords"]),
    (
        "JobService",
        DESK,
        &[
            "GetJob",
            "ListJobs",
            "CreateJob",
            "UpdateJob",
            "DeleteJob",
            "CancelJob",
            "EstimateJob",
        ],
    ),
    (
        "PlanService",
        ANYBODY,
        &["GetPublishedPlan", "ListCrewSheets"],
    ),
    ("PlanService", DESK, &["GetPlan", "ListPlans", "AssessPlan"]),
    (
        "PlanService",
        DISPATCH,
        &[
            "PlanDay",
            "PublishPlan",
            "DiscardPlan",
            "ProposeReplan",
            "AcceptProposal",
            "TryChange",
        ],
    ),
    ("SiteService", ANYBODY, &["GetSite", "ListSites"]),
    ("SiteService", SITES, &["UpdateSite"]),
    ("SiteService", DESK, &["CreateSite", "DeleteSite"]),
    (
        "TagOutService",
        ANYBODY,
        &[
            "TagOut",
            "GetTagOut",
            "ListTagOuts",
            "ReopenTagOut",
            "RenderTagOut",
        ],
    ),
    (
        "TagOutService",
        BENCH,
        &[
            "RecordDiagnosis",
            "RecordRepair",
            "RecordInspection",
            "ReleaseTagOut",
        ],
    ),
    ("TransferService", Access::Everything, &["ExportBranch"]),
    ("TransferService", Access::EveryBranch, &["ImportBranch"]),
    ("UnitService", ANYBODY, &["GetUnit", "ListUnits"]),
    (
        "UnitService",
        MACHINES,
        &["CreateUnit", "UpdateUnit", "DeleteUnit"],
    ),
    (
        "VisitService",
        FIELD,
        &[
            "StartJob",
            "FinishJob",
            "ConfirmLoad",
            "DepartForJob",
            "ArriveAtJob",
            "PauseJob",
            "ResumeJob",
            "ReportNotDone",
        ],
    ),
    (
        "VisitService",
        ANYBODY,
        &[
            "RecordWalkthrough",
            "UploadPhoto",
            "DownloadPhoto",
            "ListPhotos",
            "ListVisits",
        ],
    ),
];

/// Who may write a kind of record, as `Unit`, by whatever call: whoever may create one.
pub(super) fn access_to_create(kind: &str) -> Access {
    let method = format!("Create{kind}");
    TABLE
        .iter()
        .find(|(_, _, methods)| methods.contains(&method.as_str()))
        .map_or(Access::Everything, |(_, access, _)| *access)
}

/// Whether a path is open without a key.
pub(super) fn is_open(path: &str) -> bool {
    OPEN.iter().any(|service| path.starts_with(service))
}

/// Who may call the method with this path, as `/forenoon.v1.SiteService/GetSite`.
pub(super) fn access(path: &str) -> Access {
    path.strip_prefix("/forenoon.v1.")
        .and_then(|rest| rest.split_once('/'))
        .and_then(|(service, method)| {
            TABLE
                .iter()
                .find(|(of, _, methods)| *of == service && methods.contains(&method))
        })
        .map_or(Access::Everything, |(_, access, _)| *access)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use forenoon_proto::FILE_DESCRIPTOR_SET;
    use prost::Message;
    use prost_types::FileDescriptorSet;

    use super::*;

    /// Every method of the contract stands in the table once, and nothing else does.
    #[test]
    fn the_table_is_the_contract() {
        let set = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).expect("descriptors");
        let mut times: BTreeMap<(String, String), usize> = BTreeMap::new();
        for file in set
            .file
            .iter()
            .filter(|file| file.package() == "forenoon.v1")
        {
            for service in &file.service {
                for method in &service.method {
                    times.insert((service.name().to_owned(), method.name().to_owned()), 0);
                }
            }
        }
        assert!(times.len() > 60, "{}", times.len());
        for (service, _, methods) in TABLE {
            for method in *methods {
                let key = ((*service).to_owned(), (*method).to_owned());
                *times
                    .get_mut(&key)
                    .unwrap_or_else(|| panic!("{key:?} is no method")) += 1;
            }
        }
        let wrong: Vec<_> = times.iter().filter(|(_, times)| **times != 1).collect();
        assert!(wrong.is_empty(), "not once in the table: {wrong:?}");
    }

    #[test]
    fn what_is_not_known_is_for_holders_of_everything() {
        for path in [
            "/forenoon.v1.SiteService/Sell",
            "/other.v1.SiteService/GetSite",
            "/",
            "",
        ] {
            assert_eq!(access(path), Access::Everything, "{path}");
            assert!(!is_open(path), "{path}");
        }
    }

    #[test]
    fn roles_let_in_whom_they_name() {
        let caller = |roles: &[Role], everything, branch: Option<&str>| Caller {
            name: "Gus".to_owned(),
            branch: branch.map(str::to_owned),
            worker: None,
            roles: roles.to_vec(),
            everything,
        };
        let release = access("/forenoon.v1.TagOutService/ReleaseTagOut");
        assert!(release.lets(&caller(&[Mechanic], false, Some("north"))));
        assert!(!release.lets(&caller(&[Crew, CrewLead, Dispatcher, Office], false, None)));
        for (kind, role) in [("Unit", Mechanic), ("Crew", Dispatcher), ("Site", Office)] {
            assert!(access_to_create(kind).lets(&caller(&[role], false, Some("north"))));
            assert!(!access_to_create(kind).lets(&caller(&[Crew], false, Some("north"))));
        }
        assert!(!access_to_create("Unit").lets(&caller(&[Office], false, Some("north"))));
        assert_eq!(access_to_create("Worker"), Access::Everything);
        let create = access("/forenoon.v1.BranchService/CreateBranch");
        assert!(create.lets(&caller(&[], true, None)));
        assert!(!create.lets(&caller(&[], true, Some("north"))));
    }
}
