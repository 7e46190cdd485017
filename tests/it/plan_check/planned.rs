//! The server's plans, judged.

use forenoon_proto::v1::{PlanState, ReasonKind, Symptom};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic};
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{
    ASH, BRANCH, BRANCH_ID, MECHANIC, branch, day, job_name, records, unit_name, unsafe_tag,
};

use super::breaches;
use super::hand_plan::world;

on_both!(
    a_planned_day_breaks_no_rule,
    a_replan_after_a_tag_out_breaks_no_rule,
    the_same_seed_plans_the_same_day,
);

const ITERATIONS: i64 = 5_000;

async fn branch_with_records(server: &Server) -> Api {
    let api = Api::of(server);
    api.create_branch(BRANCH_ID, branch()).await;
    let records = records();
    let count = i32::try_from(records.len()).expect("few records");
    let answer = api.import(BRANCH, records).await;
    assert_eq!((answer.created, answer.updated), (count, 0));
    api
}

async fn a_planned_day_breaks_no_rule(database: Database) {
    let server = Server::start(&database).await;
    let api = branch_with_records(&server).await;
    let plan = Dispatcher::new(&api, BRANCH)
        .plan(day(), 7, ITERATIONS)
        .await;

    assert_eq!(plan.state(), PlanState::Draft);
    assert_eq!(breaches(&world(), &plan), []);
    // Everything fits but the job for which there is no tool: the plan made by hand shows it.
    let unplanned: Vec<_> = plan
        .unplanned_jobs
        .iter()
        .map(|job| job.job.as_str())
        .collect();
    assert_eq!(unplanned, [job_name("court-sod")]);
    assert_eq!(
        plan.unplanned_jobs[0].reasons[0].kind(),
        ReasonKind::NoCapability
    );
}

async fn a_replan_after_a_tag_out_breaks_no_rule(database: Database) {
    let server = Server::start(&database).await;
    let api = branch_with_records(&server).await;
    let dispatcher = Dispatcher::new(&api, BRANCH);
    let draft = dispatcher.plan(day(), 7, ITERATIONS).await;
    let published = dispatcher.publish(&draft).await;

    // The one mower for the alley and the bank fails.
    let tagged = unit_name("walk-21");
    let answer = CrewLead::new(&api, BRANCH, ASH)
        .tag_out(unsafe_tag(&tagged, Symptom::Vibration))
        .await;
    assert_eq!(answer.affected_plans, [published.name]);
    let tag_out = answer.tag_out.expect("the tag");

    let proposals = dispatcher.propose(day(), "The small mower shakes.").await;
    let proposal = proposals[0].plan.as_ref().expect("a draft");
    let mut after = world();
    after.tagged_out.insert(tagged);
    assert_eq!(breaches(&after, proposal), []);
    let mut unplanned: Vec<_> = proposal
        .unplanned_jobs
        .iter()
        .map(|job| job.job.as_str())
        .collect();
    unplanned.sort_unstable();
    assert_eq!(
        unplanned,
        [
            job_name("alley-mow"),
            job_name("bank-mow"),
            job_name("court-sod")
        ]
    );
    for job in &proposal.unplanned_jobs {
        let wanted = if job.job == job_name("court-sod") {
            ReasonKind::NoCapability
        } else {
            ReasonKind::UnitTaggedOut
        };
        assert!(
            job.reasons.iter().any(|reason| reason.kind() == wanted),
            "{} for {:?}",
            job.job,
            job.reasons
        );
    }

    let accepted = dispatcher.accept(proposal).await;
    assert_eq!(accepted.state(), PlanState::Published);
    assert_eq!(dispatcher.published(day()).await.name, accepted.name);

    // Released, the mower may go out again.
    Mechanic::new(&api, MECHANIC).bring_back(&tag_out).await;
    let later = dispatcher.plan(day(), 7, ITERATIONS).await;
    assert_eq!(breaches(&world(), &later), []);
    assert_eq!(later.unplanned_jobs.len(), 1);
}

async fn the_same_seed_plans_the_same_day(database: Database) {
    let server = Server::start(&database).await;
    let api = branch_with_records(&server).await;
    let dispatcher = Dispatcher::new(&api, BRANCH);
    let first = dispatcher.plan(day(), 11, ITERATIONS).await;
    let second = dispatcher.plan(day(), 11, ITERATIONS).await;
    assert_eq!(first.crew_days, second.crew_days);
    assert_eq!(first.unplanned_jobs, second.unplanned_jobs);
    assert_eq!(second.revision, first.revision + 1);
}
