//! The people who use a branch, as thin clients over the contract.
//!
//! A verb answers with what the call answers; one that must be refused is sent through the service
//! clients of [`Api`].

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::{
    AcceptProposalRequest, Branch, CreateBranchRequest, CreateCrewRequest, CreateJobRequest,
    CreateSiteRequest, CreateUnitRequest, CreateWorkerRequest, CrewSheet, FinishJobRequest,
    GetPublishedPlanRequest, ImportRecord, ImportRecordsRequest, ImportRecordsResponse,
    ListCrewSheetsRequest, Plan, PlanDayRequest, Proposal, ProposeReplanRequest,
    PublishPlanRequest, RecordDiagnosisRequest, RecordInspectionRequest, RecordRepairRequest,
    ReleaseTagOutRequest, StartJobRequest, TagOut, TagOutRequest, TagOutResponse, Visit,
    bench_service_client::BenchServiceClient, branch_service_client::BranchServiceClient,
    case_service_client::CaseServiceClient, crew_service_client::CrewServiceClient,
    day_service_client::DayServiceClient, import_record,
    import_service_client::ImportServiceClient, job_service_client::JobServiceClient,
    plan_service_client::PlanServiceClient, site_service_client::SiteServiceClient,
    tag_out_service_client::TagOutServiceClient, unit_service_client::UnitServiceClient,
    visit_service_client::VisitServiceClient,
};
use prost_types::Timestamp;
use tonic::metadata::AsciiMetadataValue;
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Status};
use uuid::Uuid;

use crate::server::Server;

/// A client of every service.
#[derive(Clone, Debug)]
pub struct Api {
    channel: Line,
}

/// A channel on which calls carry a key, where there is one.
pub type Line = InterceptedService<Channel, Key>;

/// The key that calls carry.
#[derive(Clone, Debug)]
pub struct Key(Option<AsciiMetadataValue>);

impl Interceptor for Key {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if let Some(words) = &self.0 {
            let metadata = request.metadata_mut();
            metadata.insert("authorization", words.clone());
        }
        Ok(request)
    }
}

macro_rules! services {
    ($($(#[$doc:meta])* $name:ident: $client:ident;)+) => {
        impl Api {$(
            $(#[$doc])*
            pub fn $name(&self) -> $client<Line> {
                $client::new(self.channel.clone())
            }
        )+}
    };
}

services! {
    /// Branches.
    branches: BranchServiceClient;
    /// Sites.
    sites: SiteServiceClient;
    /// Crews and workers.
    crews: CrewServiceClient;
    /// Units.
    units: UnitServiceClient;
    /// Jobs.
    jobs: JobServiceClient;
    /// Plans.
    plans: PlanServiceClient;
    /// Tag-outs.
    tag_outs: TagOutServiceClient;
    /// Visits.
    visits: VisitServiceClient;
    /// Imports.
    imports: ImportServiceClient;
    /// The bench.
    bench: BenchServiceClient;
    /// Damage, callbacks and complaints.
    cases: CaseServiceClient;
    /// The day as it goes on.
    days: DayServiceClient;
}

impl Api {
    /// Over a connection.
    pub fn new(channel: Channel) -> Self {
        Self {
            channel: InterceptedService::new(channel, Key(None)),
        }
    }

    /// To a running server, with a key.
    pub fn signed(server: &Server, key: &str) -> Self {
        let words = format!("Bearer {key}").parse().expect("a key");
        Self {
            channel: InterceptedService::new(server.channel(), Key(Some(words))),
        }
    }

    /// To a running server.
    pub fn of(server: &Server) -> Self {
        Self::new(server.channel())
    }

    /// Creates a branch under an id.
    pub async fn create_branch(&self, id: &str, branch: Branch) -> Branch {
        self.branches()
            .create_branch(CreateBranchRequest {
                branch_id: id.to_owned(),
                branch: Some(branch),
                request_id: request_id(),
            })
            .await
            .expect("the branch is created")
            .into_inner()
            .branch
            .expect("the branch as stored")
    }

    /// Brings records in as one.
    pub async fn import(&self, branch: &str, records: Vec<ImportRecord>) -> ImportRecordsResponse {
        self.imports()
            .import_records(ImportRecordsRequest {
                parent: branch.to_owned(),
                records,
                validate_only: false,
                request_id: request_id(),
            })
            .await
            .expect("the records are sound")
            .into_inner()
    }
}

impl Api {
    /// Creates records one by one with the standard methods. References must point at earlier ones.
    pub async fn create_all(&self, branch: &str, records: Vec<ImportRecord>) {
        for record in records {
            let record = record.record.expect("a record");
            self.create(branch, record)
                .await
                .expect("the record is sound");
        }
    }

    async fn create(&self, branch: &str, record: import_record::Record) -> Result<(), Status> {
        let parent = branch.to_owned();
        let request_id = request_id();
        match record {
            import_record::Record::Unit(unit) => {
                let request = CreateUnitRequest {
                    parent,
                    unit_id: last_part(&unit.name),
                    unit: Some(unit),
                    request_id,
                };
                self.units().create_unit(request).await?;
            }
            import_record::Record::Crew(crew) => {
                let request = CreateCrewRequest {
                    parent,
                    crew_id: last_part(&crew.name),
                    crew: Some(crew),
                    request_id,
                };
                self.crews().create_crew(request).await?;
            }
            import_record::Record::Worker(worker) => {
                let request = CreateWorkerRequest {
                    parent,
                    worker_id: last_part(&worker.name),
                    worker: Some(worker),
                    request_id,
                };
                self.crews().create_worker(request).await?;
            }
            import_record::Record::Site(site) => {
                let request = CreateSiteRequest {
                    parent,
                    site_id: last_part(&site.name),
                    site: Some(site),
                    request_id,
                };
                self.sites().create_site(request).await?;
            }
            import_record::Record::Job(job) => {
                let request = CreateJobRequest {
                    parent,
                    job_id: last_part(&job.name),
                    job: Some(job),
                    request_id,
                };
                self.jobs().create_job(request).await?;
            }
        }
        Ok(())
    }
}

/// The last part of a resource name.
pub fn last_part(name: &str) -> String {
    name.rsplit('/').next().unwrap_or_default().to_owned()
}

/// A fresh request id.
pub fn request_id() -> String {
    Uuid::new_v4().to_string()
}

/// Plans and assigns.
#[derive(Clone, Debug)]
pub struct Dispatcher {
    api: Api,
    branch: String,
}

impl Dispatcher {
    /// At a branch, a resource name.
    pub fn new(api: &Api, branch: &str) -> Self {
        Self {
            api: api.clone(),
            branch: branch.to_owned(),
        }
    }

    /// Plans a day with a seed and a number of iterations.
    pub async fn plan(&self, day: Date, seed: i64, iterations: i64) -> Plan {
        self.api
            .plans()
            .plan_day(PlanDayRequest {
                parent: self.branch.clone(),
                day: Some(day),
                seed,
                iterations,
                request_id: request_id(),
                ..PlanDayRequest::default()
            })
            .await
            .expect("the day is planned")
            .into_inner()
            .plan
            .expect("a plan")
    }

    /// Publishes a draft.
    pub async fn publish(&self, plan: &Plan) -> Plan {
        self.api
            .plans()
            .publish_plan(PublishPlanRequest {
                name: plan.name.clone(),
                etag: plan.etag.clone(),
                request_id: request_id(),
            })
            .await
            .expect("the plan is published")
            .into_inner()
            .plan
            .expect("a plan")
    }

    /// The published plan of a day.
    pub async fn published(&self, day: Date) -> Plan {
        self.api
            .plans()
            .get_published_plan(GetPublishedPlanRequest {
                parent: self.branch.clone(),
                day: Some(day),
            })
            .await
            .expect("a published plan")
            .into_inner()
            .plan
            .expect("a plan")
    }

    /// Asks how a day may go on, all of it still ahead.
    pub async fn propose(&self, day: Date, cause: &str) -> Vec<Proposal> {
        self.api
            .plans()
            .propose_replan(ProposeReplanRequest {
                parent: self.branch.clone(),
                day: Some(day),
                from_time: None,
                cause: cause.to_owned(),
                seed: 1,
                iterations: 2_000,
                travel_matrix: None,
                heat: None,
                request_id: request_id(),
                disruptions: Vec::new(),
            })
            .await
            .expect("a proposal")
            .into_inner()
            .proposals
    }

    /// Publishes a proposal.
    pub async fn accept(&self, proposal: &Plan) -> Plan {
        self.api
            .plans()
            .accept_proposal(AcceptProposalRequest {
                name: proposal.name.clone(),
                etag: proposal.etag.clone(),
                request_id: request_id(),
            })
            .await
            .expect("the proposal is accepted")
            .into_inner()
            .plan
            .expect("a plan")
    }

    /// The sheets of a plan.
    pub async fn sheets(&self, plan: &Plan) -> Vec<CrewSheet> {
        self.api
            .plans()
            .list_crew_sheets(ListCrewSheetsRequest {
                plan: plan.name.clone(),
                crew: String::new(),
            })
            .await
            .expect("sheets")
            .into_inner()
            .crew_sheets
    }
}

/// Leads a crew.
#[derive(Clone, Debug)]
pub struct CrewLead {
    api: Api,
    branch: String,
    crew: String,
}

impl CrewLead {
    /// Of a crew, a resource name.
    pub fn new(api: &Api, branch: &str, crew: &str) -> Self {
        Self {
            api: api.clone(),
            branch: branch.to_owned(),
            crew: crew.to_owned(),
        }
    }

    /// Tags a unit out.
    pub async fn tag_out(&self, tag_out: TagOut) -> TagOutResponse {
        self.api
            .tag_outs()
            .tag_out(TagOutRequest {
                parent: self.branch.clone(),
                tag_out: Some(tag_out),
                request_id: request_id(),
            })
            .await
            .expect("the unit is tagged out")
            .into_inner()
    }

    /// Begins a job.
    pub async fn start(&self, job: &str, at: Option<Timestamp>) -> Visit {
        self.api
            .visits()
            .start_job(StartJobRequest {
                job: job.to_owned(),
                crew: self.crew.clone(),
                start_time: at,
                request_id: request_id(),
            })
            .await
            .expect("the job starts")
            .into_inner()
            .visit
            .expect("a visit")
    }

    /// Has done a job.
    pub async fn finish(&self, job: &str, at: Option<Timestamp>) -> Visit {
        self.api
            .visits()
            .finish_job(FinishJobRequest {
                job: job.to_owned(),
                crew: self.crew.clone(),
                finish_time: at,
                task_actuals: Vec::new(),
                bags: 0,
                note: String::new(),
                request_id: request_id(),
            })
            .await
            .expect("the job is finished")
            .into_inner()
            .visit
            .expect("a visit")
    }
}

/// Repairs, inspects and releases.
#[derive(Clone, Debug)]
pub struct Mechanic {
    api: Api,
    worker: String,
}

impl Mechanic {
    /// A worker's resource name.
    pub fn new(api: &Api, worker: &str) -> Self {
        Self {
            api: api.clone(),
            worker: worker.to_owned(),
        }
    }

    /// Takes a tag-out from the bench to its release.
    pub async fn bring_back(&self, tag_out: &TagOut) -> TagOut {
        let mut bench = self.api.tag_outs();
        bench
            .record_diagnosis(RecordDiagnosisRequest {
                name: tag_out.name.clone(),
                mechanic: self.worker.clone(),
                diagnosis: "Drive belt worn through.".to_owned(),
                request_id: request_id(),
                ..Default::default()
            })
            .await
            .expect("the diagnosis is recorded");
        bench
            .record_repair(RecordRepairRequest {
                name: tag_out.name.clone(),
                mechanic: self.worker.clone(),
                repair: "Belt replaced, tension set.".to_owned(),
                request_id: request_id(),
                ..Default::default()
            })
            .await
            .expect("the repair is recorded");
        bench
            .record_inspection(RecordInspectionRequest {
                name: tag_out.name.clone(),
                mechanic: self.worker.clone(),
                inspection: "Guards on, safety switch stops the blade.".to_owned(),
                passed: true,
                request_id: request_id(),
                ..Default::default()
            })
            .await
            .expect("the inspection is recorded");
        bench
            .release_tag_out(ReleaseTagOutRequest {
                name: tag_out.name.clone(),
                mechanic: self.worker.clone(),
                etag: String::new(),
                request_id: request_id(),
            })
            .await
            .expect("the unit is released")
            .into_inner()
            .tag_out
            .expect("the tag")
    }
}
