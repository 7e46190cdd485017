//! Goal: work that was composed follows what it is composed from, and work that people wrote is theirs.
//! Method: jobs are changed through the service; an estimate of the same change, asked before it, must say the same.

use forenoon_proto::v1;
use forenoon_proto::v1::length::Value as Long;
use forenoon_store::entity::job;
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, Set,
};
use forenoon_store::value::JobState;
use forenoon_store::{StoreError, Write};

use crate::booking::{
    JOB, add_job, bare, change_job, day, job as written_job, job_client, open_with_site, read_job,
};
use crate::house::{House, on_both};
use crate::yard::{NORTH, length, refused_for};

fn tall() -> v1::SiteCondition {
    v1::SiteCondition {
        turf_height: length(Long::Inches(40.0)),
        ..v1::SiteCondition::default()
    }
}

fn kinds(job: &v1::Job) -> Vec<v1::TaskKind> {
    job.tasks.iter().map(v1::Task::kind).collect()
}

/// What an estimate of a changed job speaks of: its tasks and its notices.
async fn estimated(house: &House, job: v1::Job) -> (Vec<v1::Task>, Vec<String>) {
    let request = v1::EstimateJobRequest {
        parent: NORTH.into(),
        job: Some(job),
        ..v1::EstimateJobRequest::default()
    };
    let answer = job_client(house).estimate_job(request).await;
    let estimate = answer.expect("estimated").into_inner().estimate;
    let estimate = estimate.expect("an estimate");
    let tasks = estimate.tasks.into_iter().filter_map(|one| one.task);
    (tasks.collect(), estimate.notices)
}

/// Changes rows past the service: to what a server of the version before has stored, or to a job that a crew is at.
struct Rewrite {
    unmarked: bool,
    state: JobState,
}

impl Write for Rewrite {
    type Output = ();
    type Error = StoreError;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<(), StoreError> {
        for job in job::Entity::find().all(transaction).await? {
            let mut tasks = job.tasks.clone();
            if self.unmarked {
                tasks = tasks.written();
            }
            let mut row = job.into_active_model();
            row.tasks = Set(tasks);
            row.state = Set(self.state);
            row.update(transaction).await?;
        }
        Ok(())
    }
}

#[tokio::test]
async fn composed_work_follows_the_state_of_the_site_and_the_areas() {
    on_both(async |house| {
        open_with_site(house).await;
        let stored = add_job(house, "mow", bare(day(4, 20), day(4, 20)))
            .await
            .expect("created");
        assert!(stored.tasks_composed);
        assert!(!kinds(&stored).contains(&v1::TaskKind::KnockDown));

        let grown = v1::Job {
            condition: Some(tall()),
            ..stored.clone()
        };
        let (asked, notices) = estimated(house, grown.clone()).await;
        assert!(
            !notices
                .iter()
                .any(|notice| notice.contains("before the change")),
            "{notices:?}"
        );
        let grown = change_job(house, grown, &["condition"])
            .await
            .expect("changed");
        assert!(grown.tasks_composed && kinds(&grown).contains(&v1::TaskKind::KnockDown));
        assert_eq!(asked, grown.tasks);
        // Sheets that are out name tasks by these ids.
        let known = |task: &v1::Task| {
            let mut old = stored.tasks.iter();
            old.find(|old| (old.kind, &old.area_id) == (task.kind, &task.area_id))
        };
        for task in &grown.tasks {
            let same = |old: &v1::Task| old.task_id == task.task_id;
            assert_eq!(
                stored.tasks.iter().any(same),
                known(task).is_some(),
                "{task:?}"
            );
            assert!(known(task).is_none_or(same), "{task:?}");
        }

        // Sent back as a whole, with the tasks as they were read.
        let front = v1::Job {
            area_ids: vec!["walk".into()],
            ..grown.clone()
        };
        let front = change_job(house, front, &[]).await.expect("changed");
        let areas = front.tasks.iter().map(|task| task.area_id.as_str());
        assert!(
            areas.clone().all(|area| ["", "walk"].contains(&area)),
            "{front:?}"
        );
        assert!(front.tasks.len() < grown.tasks.len() && front.tasks_composed);

        // What has nothing to do with the work leaves it alone, and so does what cannot be composed.
        let noted = v1::Job {
            note: "Ring first".into(),
            ..front.clone()
        };
        let noted = change_job(house, noted, &["note"]).await.expect("changed");
        assert_eq!(noted.tasks, front.tasks);
        let nowhere = v1::Job {
            area_ids: vec!["moor".into()],
            ..noted.clone()
        };
        refused_for(
            change_job(house, nowhere, &["area_ids"]).await,
            "an area that is not there",
            &[("job.area_ids[0]", "UNKNOWN_REFERENCE")],
        );
        assert_eq!(read_job(house, JOB).await.expect("read"), noted);
    })
    .await;
}

#[tokio::test]
async fn work_that_people_wrote_stays_and_the_estimate_says_so() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let stored = add_job(&house, "mow", written_job())
        .await
        .expect("created");
    assert!(!stored.tasks_composed);
    let grown = v1::Job {
        condition: Some(tall()),
        ..stored.clone()
    };
    let (asked, notices) = estimated(&house, grown.clone()).await;
    assert_eq!(asked, stored.tasks);
    let said = |notice: &String| notice.contains("before the change");
    assert!(notices.iter().any(said), "{notices:?}");
    let kept = change_job(&house, grown, &["condition"])
        .await
        .expect("changed");
    assert_eq!(kept.tasks, stored.tasks);

    // One minute agreed makes composed work somebody's own.
    let emptied = v1::Job {
        tasks: vec![],
        ..kept
    };
    let mut composed = change_job(&house, emptied, &["tasks"])
        .await
        .expect("changed");
    assert!(composed.tasks_composed);
    composed.tasks[0].agreed_minutes = 20.0;
    let agreed = change_job(&house, composed, &["tasks"])
        .await
        .expect("changed");
    assert!(!agreed.tasks_composed);
    let narrowed = v1::Job {
        area_ids: vec!["walk".into()],
        ..agreed.clone()
    };
    let narrowed = change_job(&house, narrowed, &["area_ids"])
        .await
        .expect("changed");
    assert_eq!(narrowed.tasks, agreed.tasks);
}

#[tokio::test]
async fn tasks_of_the_version_before_follow_and_those_of_a_running_job_do_not() {
    on_both(async |house| {
        open_with_site(house).await;
        add_job(house, "mow", bare(day(4, 20), day(4, 20)))
            .await
            .expect("created");
        let older = Rewrite {
            unmarked: true,
            state: JobState::Open,
        };
        house
            .database
            .write("north", &older)
            .await
            .expect("written");
        let stored = read_job(house, JOB).await.expect("read");
        assert!(!stored.tasks_composed);
        let grown = v1::Job {
            condition: Some(tall()),
            ..stored
        };
        let grown = change_job(house, grown, &["condition"])
            .await
            .expect("changed");
        assert!(grown.tasks_composed && kinds(&grown).contains(&v1::TaskKind::KnockDown));

        let running = Rewrite {
            unmarked: false,
            state: JobState::Running,
        };
        house
            .database
            .write("north", &running)
            .await
            .expect("written");
        let dry = v1::Job {
            condition: None,
            ..grown.clone()
        };
        let dry = change_job(house, dry, &["condition"])
            .await
            .expect("changed");
        assert_eq!(dry.tasks, grown.tasks);
    })
    .await;
}
