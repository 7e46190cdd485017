//! Goal: workers are in crews that are there; crews and workers stay while anything refers to them.
//! Method: tags and plans are put in past the services; counts are compared after refusals.

use forenoon_proto::v1;
use forenoon_store::value::Severity;
use tonic::Code;

use crate::house::{House, on_both, reason};
use crate::rows::{self, execute, store};
use crate::yard::{
    NORTH, add_crew, add_unit, add_worker, change_worker, crew, crew_client, crew_name, in_crew,
    mower, obstacles, open, read_crew, read_worker, refused_for, remove_crew, remove_worker,
    worker, worker_name,
};

#[tokio::test]
async fn a_worker_is_in_a_crew_that_is_there() {
    on_both(async |house| {
        open(house).await;
        let ada = add_worker(house, "ada", worker("Ada", &[]))
            .await
            .expect("created");
        let before = house.counts().await;
        let nowhere = in_crew("elm", ada.clone());
        let unknown = [("worker.crew", "UNKNOWN_REFERENCE")];
        refused_for(
            add_worker(house, "bram", nowhere.clone()).await,
            "a new worker",
            &unknown,
        );
        refused_for(
            change_worker(house, nowhere, &["crew"]).await,
            "a change",
            &unknown,
        );
        assert_eq!(house.counts().await, before);
        let read = read_worker(house, &worker_name("ada")).await.expect("read");
        assert_eq!(read, ada);
    })
    .await;
}

#[tokio::test]
async fn pages_of_workers_go_through_one_branch_in_order() {
    let house = House::on_sqlite().await;
    open(&house).await;
    for id in ["dario", "ada", "cleo"] {
        add_worker(&house, id, worker(id, &[]))
            .await
            .expect("created");
    }
    let request = |page_token: String| v1::ListWorkersRequest {
        parent: NORTH.into(),
        page_size: 2,
        page_token,
    };
    let mut client = crew_client(&house);
    let first = client.list_workers(request(String::new())).await;
    let first = first.expect("a page").into_inner();
    let names = |page: &v1::ListWorkersResponse| {
        let names = page.workers.iter().map(|one| one.name.clone());
        names.collect::<Vec<_>>()
    };
    assert_eq!(names(&first), [worker_name("ada"), worker_name("cleo")]);
    let last = client.list_workers(request(first.next_page_token)).await;
    let last = last.expect("a page").into_inner();
    assert_eq!(names(&last), [worker_name("dario")]);
    assert_eq!(last.next_page_token, "");
}

#[tokio::test]
async fn what_is_referred_to_is_kept_and_what_is_not_goes() {
    on_both(async |house| {
        open(house).await;
        add_crew(house, "elm", crew("Elm")).await.expect("created");
        for id in ["ada", "bram"] {
            add_worker(house, id, in_crew("elm", worker(id, &[])))
                .await
                .expect("created");
        }
        add_unit(house, "mower", mower("LG-1"))
            .await
            .expect("created");
        store(house, rows::tag(1, "mower", Severity::Reduced)).await;
        execute(
            house,
            "UPDATE tag_out SET found_by_id = 'ada', repaired_by_id = 'ada' WHERE id = 't-1'",
        )
        .await;
        store(house, rows::plan("2027-04-20")).await;
        store(house, rows::crew_day("2027-04-20-1", "elm")).await;

        let before = house.counts().await;
        let still = |name: String| ("STILL_REFERRED_TO".to_owned(), name);
        let tied = obstacles(remove_crew(house, &crew_name("elm"), "").await);
        let expected = [
            still(worker_name("ada")),
            still(worker_name("bram")),
            still(format!("{NORTH}/plans/2027-04-20-1")),
        ];
        assert_eq!(tied, expected);
        let tied = obstacles(remove_worker(house, &worker_name("ada"), "").await);
        assert_eq!(tied, [still(format!("{NORTH}/tagOuts/t-1"))]);
        assert_eq!(house.counts().await, before);

        add_crew(house, "fir", crew("Fir")).await.expect("created");
        remove_crew(house, &crew_name("fir"), "")
            .await
            .expect("deleted");
        remove_worker(house, &worker_name("bram"), "")
            .await
            .expect("deleted");
        let gone = read_crew(house, &crew_name("fir")).await.expect_err("gone");
        assert_eq!(reason(&gone), (Code::NotFound, "NOT_FOUND".into()));
        let gone = read_worker(house, &worker_name("bram")).await;
        let gone = gone.expect_err("gone");
        assert_eq!(reason(&gone), (Code::NotFound, "NOT_FOUND".into()));
        let left = read_crew(house, &crew_name("elm")).await.expect("read");
        assert_eq!(left.size, 1);
    })
    .await;
}
