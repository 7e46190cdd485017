//! What every service shares, and the list of them.

use std::sync::{Arc, Mutex, PoisonError};

use forenoon_proto::v1::bench_service_server::BenchServiceServer;
use forenoon_proto::v1::branch_service_server::BranchServiceServer;
use forenoon_proto::v1::case_service_server::CaseServiceServer;
use forenoon_proto::v1::crew_service_server::CrewServiceServer;
use forenoon_proto::v1::import_service_server::ImportServiceServer;
use forenoon_proto::v1::job_service_server::JobServiceServer;
use forenoon_proto::v1::plan_service_server::PlanServiceServer;
use forenoon_proto::v1::site_service_server::SiteServiceServer;
use forenoon_proto::v1::tag_out_service_server::TagOutServiceServer;
use forenoon_proto::v1::transfer_service_server::TransferServiceServer;
use forenoon_proto::v1::unit_service_server::UnitServiceServer;
use forenoon_proto::v1::visit_service_server::VisitServiceServer;
use forenoon_roads::Roads;
use forenoon_store::Database;
use prost::Message;
use tokio_util::sync::CancellationToken;
use tonic::Response;
use tonic::service::RoutesBuilder;

use crate::config::Limits;
use crate::work::bench::BenchRules;
use crate::work::branch::Lookups;
use crate::work::day::{WatchLimits, Watches};
use crate::work::plan::{KnownRoads, Learning, LeaseLimits, Leases, Searches};
use crate::work::{Call, Clock, Command, Error, Outcome, kept_answer, run_command};

use super::bench::BenchApi;
use super::branch::BranchApi;
use super::case::CaseApi;
use super::crew::CrewApi;
use super::day::{DayServer, words};
use super::import::ImportApi;
use super::job::JobApi;
use super::plan::PlanApi;
use super::site::SiteApi;
use super::tag_out::TagOutApi;
use super::transfer::{TransferApi, Transfers};
use super::unit::UnitApi;
use super::visit::{Uploads, VisitApi};

/// What every service shares.
#[derive(Clone)]
pub struct State {
    /// The one truth.
    pub database: Database,
    /// Where single resources are looked up in it.
    pub lookups: Lookups,
    /// Where the time comes from.
    pub clock: Arc<dyn Clock>,
    /// The searches for plans.
    pub searches: Searches,
    /// What finished visits teach.
    pub learning: Learning,
    /// The roads, where the server was given a file of them.
    pub roads: KnownRoads,
    /// The company's own rules of the bench.
    pub bench: BenchRules,
    /// The leases under which they run.
    pub leases: Leases,
    /// Those who watch a day.
    pub watches: Watches,
    /// Turns for uploads.
    pub uploads: Uploads,
    /// Turns for transfers of branches.
    pub transfers: Transfers,
    /// Cancelled when the server goes down. Streams end then.
    pub going_down: CancellationToken,
}

impl State {
    /// What plans are searched for with.
    pub(super) fn planning(&self) -> (&Searches, &Learning, &KnownRoads) {
        (&self.searches, &self.learning, &self.roads)
    }

    /// All of it, at the beginning.
    pub fn new(
        database: Database,
        clock: Arc<dyn Clock>,
        searches: Searches,
        bench: BenchRules,
        watching: WatchLimits,
        going_down: CancellationToken,
    ) -> Self {
        Self {
            watches: Watches::new(database.clone(), watching, going_down.clone(), words),
            uploads: Uploads::default(),
            learning: Learning::default(),
            roads: None,
            transfers: Transfers::default(),
            leases: Leases::new(database.clone(), LeaseLimits::default()),
            lookups: Lookups::new(&database),
            database,
            clock,
            searches,
            bench,
            going_down,
        }
    }

    /// With the roads of the region.
    #[must_use]
    pub fn with_roads(mut self, roads: Option<Roads>) -> Self {
        self.roads = roads.map(Arc::new);
        self
    }

    /// Runs a command and presents its answer; a retry gets the answer given before.
    pub(super) async fn command<C, A>(
        &self,
        call: &Call,
        command: &C,
        present: impl Fn(&C::Answer) -> A + Send + Sync,
    ) -> Result<Response<A>, Error>
    where
        C: Command,
        A: Message + Default,
    {
        // What is kept for a retry is what is answered, so it is presented once.
        let presented = Mutex::new(None);
        let encode = |answer: &C::Answer| {
            let message = present(answer);
            let bytes = message.encode_to_vec();
            *presented.lock().unwrap_or_else(PoisonError::into_inner) = Some(message);
            bytes
        };
        let outcome = run_command(&self.database, &*self.clock, call, command, &encode).await?;
        let presented = presented.into_inner();
        let answer = match outcome {
            Outcome::Done(answer) => presented
                .unwrap_or_else(PoisonError::into_inner)
                .unwrap_or_else(|| present(&answer)),
            Outcome::Replayed(bytes) => decoded(&bytes)?,
        };
        Ok(Response::new(answer))
    }

    /// The answer that a retry gets, so that long work for it need not begin.
    pub(super) async fn answered<A>(&self, call: &Call) -> Result<Option<Response<A>>, Error>
    where
        A: Message + Default,
    {
        match kept_answer(&self.database, call).await? {
            Some(bytes) => Ok(Some(Response::new(decoded(&bytes)?))),
            None => Ok(None),
        }
    }
}

fn decoded<A: Message + Default>(bytes: &[u8]) -> Result<A, Error> {
    A::decode(bytes).map_err(|error| Error::Internal(format!("a kept answer: {error}")))
}

/// All services of the contract.
pub struct Services;

impl Services {
    /// Names of all services, for the health service.
    pub const NAMES: [&str; 13] = [
        "forenoon.v1.BenchService",
        "forenoon.v1.BranchService",
        "forenoon.v1.CaseService",
        "forenoon.v1.CrewService",
        "forenoon.v1.DayService",
        "forenoon.v1.ImportService",
        "forenoon.v1.JobService",
        "forenoon.v1.PlanService",
        "forenoon.v1.SiteService",
        "forenoon.v1.TagOutService",
        "forenoon.v1.TransferService",
        "forenoon.v1.UnitService",
        "forenoon.v1.VisitService",
    ];

    /// Adds all services to a server.
    pub fn add_to(routes: &mut RoutesBuilder, state: &State, limits: &Limits) {
        macro_rules! add {
            ($($server:ident($api:ident)),+) => {$(
                routes.add_service(
                    $server::new($api(state.clone()))
                        .max_decoding_message_size(limits.message_bytes_max),
                );
            )+};
        }
        add!(
            BenchServiceServer(BenchApi),
            BranchServiceServer(BranchApi),
            CaseServiceServer(CaseApi),
            CrewServiceServer(CrewApi),
            ImportServiceServer(ImportApi),
            JobServiceServer(JobApi),
            PlanServiceServer(PlanApi),
            SiteServiceServer(SiteApi),
            TagOutServiceServer(TagOutApi),
            UnitServiceServer(UnitApi),
            VisitServiceServer(VisitApi)
        );
        let transfers = TransferApi {
            state: state.clone(),
            import_bytes_max: limits.import_bytes_max,
        };
        routes.add_service(
            TransferServiceServer::new(transfers)
                .max_decoding_message_size(limits.message_bytes_max),
        );
        routes.add_service(
            DayServer::new(state.clone()).max_decoding_message_size(limits.message_bytes_max),
        );
    }
}
