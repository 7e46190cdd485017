//! The connection to a server: one channel, every method of the contract, bounded retries.
//!
//! A call that finds the server away is sent again, unchanged: its `request_id` makes the server do it once
//! however often it arrives. Nothing else is retried.

mod pages;
mod streams;

use std::time::Duration;

use forenoon_proto::v1;
use tonic::metadata::AsciiMetadataValue;
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint};
use tonic::{Code, Request, Response, Status};

use crate::failure::Failure;

/// How long to wait before each repetition; their number bounds the repetitions.
const RETRY_WAITS: [Duration; 4] = [
    Duration::from_millis(100),
    Duration::from_millis(200),
    Duration::from_millis(400),
    Duration::from_millis(800),
];
/// How long a connection may take to come up.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);
/// Beyond the deadline sent with a call, how long to wait for the server to say that it passed.
const DEADLINE_GRACE: Duration = Duration::from_secs(2);
/// A day of a hundred crews stays far below this size of an answer.
const ANSWER_BYTES_MAX: usize = 64 * 1024 * 1024;

/// Where and how to reach a server.
#[derive(Clone, Debug)]
pub struct Address {
    /// `http://host:port` or `https://host:port`.
    pub server: String,
    /// The key to sign in with, where the server asks for one.
    pub key: Option<String>,
    /// PEM certificates to trust, for `https`.
    pub certificate_authority_pem: Option<String>,
    /// Longest time for one call.
    pub timeout: Duration,
}

/// A channel on which every call carries the key.
type Line = InterceptedService<Channel, Credential>;

/// A key on its way into the metadata of calls.
#[derive(Clone, Debug)]
struct Credential(Option<AsciiMetadataValue>);

impl Credential {
    fn of(key: Option<&str>) -> Result<Self, Failure> {
        let Some(key) = key else {
            return Ok(Self(None));
        };
        let mut words: AsciiMetadataValue = format!("Bearer {key}").parse().map_err(|_| {
            Failure::Usage("the key has characters that no key has; copy it again".to_owned())
        })?;
        // So that nothing prints it.
        words.set_sensitive(true);
        Ok(Self(Some(words)))
    }
}

impl Interceptor for Credential {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if let Some(words) = &self.0 {
            request
                .metadata_mut()
                .insert("authorization", words.clone());
        }
        Ok(request)
    }
}

/// A connection to a server.
#[derive(Clone, Debug)]
pub struct Link {
    channel: Line,
    server: String,
    timeout: Duration,
}

/// Connects to a server. The connection comes up with the first call, so this does not wait.
///
/// # Errors
/// An address that cannot be one, or certificates that cannot be read.
pub fn connect(address: &Address) -> Result<Link, Failure> {
    let wrong = |cause: &str| {
        Failure::Usage(format!(
            "\"{}\" is not a server's address ({cause}); write it like http://127.0.0.1:50470",
            address.server
        ))
    };
    let broken = |error: tonic::transport::Error| wrong(&error.to_string());
    if !(address.server.starts_with("http://") || address.server.starts_with("https://")) {
        return Err(wrong("it has no http:// or https:// before it"));
    }
    if address.server.starts_with("https://") && address.certificate_authority_pem.is_none() {
        return Err(wrong(
            "https needs the certificates to trust, with --ca or FORENOON_CA",
        ));
    }
    let mut endpoint = Endpoint::from_shared(address.server.clone())
        .map_err(broken)?
        .connect_timeout(CONNECT_TIMEOUT)
        .tcp_nodelay(true);
    if let Some(pem) = &address.certificate_authority_pem {
        let tls = ClientTlsConfig::new().ca_certificate(Certificate::from_pem(pem));
        endpoint = endpoint.tls_config(tls).map_err(broken)?;
    }
    Ok(Link {
        channel: InterceptedService::new(
            endpoint.connect_lazy(),
            Credential::of(address.key.as_deref())?,
        ),
        server: address.server.clone(),
        timeout: address.timeout,
    })
}

impl Link {
    /// The server's address.
    pub fn server(&self) -> &str {
        &self.server
    }

    /// Longest time for one call.
    pub fn timeout(&self) -> Duration {
        self.timeout
    }

    /// The same connection, where a call is known to take long.
    #[must_use]
    pub fn with_timeout_of_at_least(&self, least: Duration) -> Self {
        Self {
            timeout: self.timeout.max(least),
            ..self.clone()
        }
    }

    /// Whether the server says that it serves, by the standard health check.
    ///
    /// # Errors
    /// Where it cannot be reached or does not answer.
    pub async fn serves(&self) -> Result<bool, Failure> {
        use tonic_health::pb::health_check_response::ServingStatus;
        use tonic_health::pb::{HealthCheckRequest, health_client::HealthClient};
        let answer = self
            .call(HealthCheckRequest::default(), |request| {
                let mut health = HealthClient::new(self.channel.clone());
                async move { health.check(request).await }
            })
            .await?;
        Ok(answer.status() == ServingStatus::Serving)
    }

    /// Sends a call, and again while the server is away, for as often as `RETRY_WAITS` allows.
    async fn call<Q, A, F, W>(&self, message: Q, mut send: F) -> Result<A, Failure>
    where
        Q: Clone,
        F: FnMut(Request<Q>) -> W,
        W: Future<Output = Result<Response<A>, Status>>,
    {
        let mut waits = RETRY_WAITS.iter();
        loop {
            let mut request = Request::new(message.clone());
            request.set_timeout(self.timeout);
            let answer = tokio::time::timeout(self.timeout + DEADLINE_GRACE, send(request)).await;
            let status = match answer {
                Ok(Ok(response)) => return Ok(response.into_inner()),
                Ok(Err(status)) => status,
                Err(_) => Status::deadline_exceeded(format!(
                    "no answer within {} s",
                    self.timeout.as_secs()
                )),
            };
            if status.code() != Code::Unavailable {
                return Err(status.into());
            }
            match waits.next() {
                Some(wait) => tokio::time::sleep(*wait).await,
                None => return Err(self.away(status)),
            }
        }
    }

    /// Tells a server that cannot be reached from one that says it is unavailable.
    pub(crate) fn away(&self, status: Status) -> Failure {
        let mut cause: Option<&dyn std::error::Error> = std::error::Error::source(&status);
        let mut deepest = None;
        while let Some(error) = cause {
            deepest = Some(error.to_string());
            cause = error.source();
        }
        match deepest {
            Some(cause) => Failure::Unreachable {
                address: self.server.clone(),
                cause,
            },
            None => status.into(),
        }
    }
}

macro_rules! methods {
    ($($client:ty { $($method:ident: $request:ident => $response:ident;)* })*) => {
        impl Link {
            $($(
                /// The contract's method of this name.
                ///
                /// # Errors
                /// What the server answers, or that it cannot be reached.
                pub async fn $method(&self, request: v1::$request) -> Result<v1::$response, Failure> {
                    self.call(request, |request| {
                        let mut client = <$client>::new(self.channel.clone())
                            .max_decoding_message_size(ANSWER_BYTES_MAX);
                        async move { client.$method(request).await }
                    })
                    .await
                }
            )*)*
        }
    };
}

methods! {
    v1::branch_service_client::BranchServiceClient<Line> {
        get_branch: GetBranchRequest => GetBranchResponse;
        list_branches: ListBranchesRequest => ListBranchesResponse;
        create_branch: CreateBranchRequest => CreateBranchResponse;
        update_branch: UpdateBranchRequest => UpdateBranchResponse;
        delete_branch: DeleteBranchRequest => DeleteBranchResponse;
    }
    v1::crew_service_client::CrewServiceClient<Line> {
        get_crew: GetCrewRequest => GetCrewResponse;
        list_crews: ListCrewsRequest => ListCrewsResponse;
        create_crew: CreateCrewRequest => CreateCrewResponse;
        update_crew: UpdateCrewRequest => UpdateCrewResponse;
        delete_crew: DeleteCrewRequest => DeleteCrewResponse;
        get_worker: GetWorkerRequest => GetWorkerResponse;
        list_workers: ListWorkersRequest => ListWorkersResponse;
        create_worker: CreateWorkerRequest => CreateWorkerResponse;
        update_worker: UpdateWorkerRequest => UpdateWorkerResponse;
        delete_worker: DeleteWorkerRequest => DeleteWorkerResponse;
    }
    v1::site_service_client::SiteServiceClient<Line> {
        get_site: GetSiteRequest => GetSiteResponse;
        list_sites: ListSitesRequest => ListSitesResponse;
        create_site: CreateSiteRequest => CreateSiteResponse;
        update_site: UpdateSiteRequest => UpdateSiteResponse;
        delete_site: DeleteSiteRequest => DeleteSiteResponse;
    }
    v1::unit_service_client::UnitServiceClient<Line> {
        get_unit: GetUnitRequest => GetUnitResponse;
        list_units: ListUnitsRequest => ListUnitsResponse;
        create_unit: CreateUnitRequest => CreateUnitResponse;
        update_unit: UpdateUnitRequest => UpdateUnitResponse;
        delete_unit: DeleteUnitRequest => DeleteUnitResponse;
    }
    v1::job_service_client::JobServiceClient<Line> {
        get_job: GetJobRequest => GetJobResponse;
        list_jobs: ListJobsRequest => ListJobsResponse;
        create_job: CreateJobRequest => CreateJobResponse;
        update_job: UpdateJobRequest => UpdateJobResponse;
        delete_job: DeleteJobRequest => DeleteJobResponse;
        cancel_job: CancelJobRequest => CancelJobResponse;
        estimate_job: EstimateJobRequest => EstimateJobResponse;
    }
    v1::import_service_client::ImportServiceClient<Line> {
        import_records: ImportRecordsRequest => ImportRecordsResponse;
    }
    v1::plan_service_client::PlanServiceClient<Line> {
        plan_day: PlanDayRequest => PlanDayResponse;
        get_plan: GetPlanRequest => GetPlanResponse;
        get_published_plan: GetPublishedPlanRequest => GetPublishedPlanResponse;
        list_plans: ListPlansRequest => ListPlansResponse;
        publish_plan: PublishPlanRequest => PublishPlanResponse;
        discard_plan: DiscardPlanRequest => DiscardPlanResponse;
        propose_replan: ProposeReplanRequest => ProposeReplanResponse;
        accept_proposal: AcceptProposalRequest => AcceptProposalResponse;
        list_crew_sheets: ListCrewSheetsRequest => ListCrewSheetsResponse;
        assess_plan: AssessPlanRequest => AssessPlanResponse;
        try_change: TryChangeRequest => TryChangeResponse;
    }
    v1::tag_out_service_client::TagOutServiceClient<Line> {
        tag_out: TagOutRequest => TagOutResponse;
        get_tag_out: GetTagOutRequest => GetTagOutResponse;
        list_tag_outs: ListTagOutsRequest => ListTagOutsResponse;
        record_diagnosis: RecordDiagnosisRequest => RecordDiagnosisResponse;
        record_repair: RecordRepairRequest => RecordRepairResponse;
        record_inspection: RecordInspectionRequest => RecordInspectionResponse;
        release_tag_out: ReleaseTagOutRequest => ReleaseTagOutResponse;
        reopen_tag_out: ReopenTagOutRequest => ReopenTagOutResponse;
        render_tag_out: RenderTagOutRequest => RenderTagOutResponse;
    }
    v1::bench_service_client::BenchServiceClient<Line> {
        list_bench_queue: ListBenchQueueRequest => ListBenchQueueResponse;
        get_unit_history: GetUnitHistoryRequest => GetUnitHistoryResponse;
        get_unit_cost: GetUnitCostRequest => GetUnitCostResponse;
        record_service: RecordServiceRequest => RecordServiceResponse;
    }
    v1::case_service_client::CaseServiceClient<Line> {
        open_case: OpenCaseRequest => OpenCaseResponse;
        get_case: GetCaseRequest => GetCaseResponse;
        list_cases: ListCasesRequest => ListCasesResponse;
        close_case: CloseCaseRequest => CloseCaseResponse;
    }
    v1::visit_service_client::VisitServiceClient<Line> {
        confirm_load: ConfirmLoadRequest => ConfirmLoadResponse;
        depart_for_job: DepartForJobRequest => DepartForJobResponse;
        arrive_at_job: ArriveAtJobRequest => ArriveAtJobResponse;
        pause_job: PauseJobRequest => PauseJobResponse;
        resume_job: ResumeJobRequest => ResumeJobResponse;
        report_not_done: ReportNotDoneRequest => ReportNotDoneResponse;
        record_walkthrough: RecordWalkthroughRequest => RecordWalkthroughResponse;
        start_job: StartJobRequest => StartJobResponse;
        finish_job: FinishJobRequest => FinishJobResponse;
        list_photos: ListPhotosRequest => ListPhotosResponse;
        list_visits: ListVisitsRequest => ListVisitsResponse;
    }
}

#[cfg(test)]
mod tests;
