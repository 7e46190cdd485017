//! Goal: a whole branch that a server gives out is taken by another, whatever is in it and of whatever earlier schema it
//! is; what cannot come in is refused with what to do. Method: branches are taken out over the wire, changed line by
//! line where a fault or an earlier schema is wanted, and brought in.

use forenoon_proto::v1;
use forenoon_proto::v1::transfer_service_client::TransferServiceClient;
use forenoon_server::config::Limits;
use forenoon_store::entity::{command_answer, unit};
use forenoon_store::sea_orm::{EntityTrait, IntoActiveModel};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use tonic::{Code, Status};

use crate::house::{House, faults, on_both, reason};
use crate::motion::furnish;
use crate::rows::store;
use crate::yard::{self, NORTH, obstacles};

async fn export(house: &House) -> Vec<u8> {
    let mut client =
        TransferServiceClient::new(house.channel()).max_decoding_message_size(2 * 1024 * 1024);
    let request = v1::ExportBranchRequest { name: NORTH.into() };
    let answer = client.export_branch(request).await.expect("an export");
    let mut parts = answer.into_inner();
    let mut bytes = Vec::new();
    while let Some(part) = parts.message().await.expect("a part") {
        bytes.extend(part.chunk);
    }
    bytes
}

async fn import(house: &House, bytes: &[u8]) -> Result<v1::ImportBranchResponse, Status> {
    let header = v1::ImportBranchHeader {
        branch_id: "north".into(),
        request_id: String::new(),
    };
    let mut parts = vec![v1::ImportBranchRequest {
        part: Some(v1::import_branch_request::Part::Header(header)),
    }];
    parts.extend(
        bytes
            .chunks(1_000_000)
            .map(|chunk| v1::ImportBranchRequest {
                part: Some(v1::import_branch_request::Part::Chunk(chunk.to_vec())),
            }),
    );
    let answer = TransferServiceClient::new(house.channel())
        .import_branch(futures::stream::iter(parts))
        .await?;
    Ok(answer.into_inner())
}

fn lines(bytes: &[u8]) -> Vec<Value> {
    let text = std::str::from_utf8(bytes).expect("text");
    text.lines()
        .map(|line| serde_json::from_str(line).expect("a line"))
        .collect()
}

/// The lines as a file, with an end that fits them.
fn whole(mut lines: Vec<Value>) -> Vec<u8> {
    lines.pop();
    let rows = lines.len() - 1;
    let mut text = lines
        .iter()
        .fold(String::new(), |text, line| text + &line.to_string() + "\n");
    let sha256 = format!("{:x}", Sha256::digest(&text));
    text.push_str(&json!({ "end": { "rows": rows, "sha256": sha256 } }).to_string());
    text.push('\n');
    text.into_bytes()
}

/// Guards a day of thousands of jobs: the kept answer of its proposals is one long row.
#[tokio::test]
async fn a_long_row_goes_out_and_comes_in() {
    on_both(async |house| {
        furnish(house).await;
        let kept = command_answer::Model {
            request_id: "0f3c1f0e-52a4-4a53-9a5e-2f3b6f1f8c01"
                .parse()
                .expect("an id"),
            branch_id: "north".into(),
            method: "forenoon.v1.PlanService/ProposeReplan".into(),
            fingerprint: vec![7; 32],
            answer: vec![42; 9_000_000],
            at: "2027-04-20T11:45:00Z".parse().expect("an instant"),
        };
        store(house, kept.clone().into_active_model()).await;
        let bytes = export(house).await;
        let other = House::on_sqlite().await;
        let answer = import(&other, &bytes).await.expect("brought in");
        let rows = lines(&bytes).len() - 2;
        assert_eq!(answer.rows, i64::try_from(rows).expect("few"));
        let there = command_answer::Entity::find_by_id(kept.request_id)
            .one(other.database.read())
            .await
            .expect("read");
        assert_eq!(there, Some(kept));
    })
    .await;
}

/// Guards exports and archived months against the next version of the server.
#[tokio::test]
async fn an_export_of_an_earlier_schema_comes_in() {
    let house = House::on_sqlite().await;
    furnish(&house).await;
    let mut early = lines(&export(&house).await);
    early[0]["schema"] = json!("m20261125_000030_solve_lease");
    let mut taken = 0;
    for line in &mut early {
        if line["table"] == "unit" {
            let unit = line["row"].as_object_mut().expect("a row");
            for column in ["noise_dba", "vibration_metres_per_second_squared"] {
                taken += usize::from(unit.remove(column).is_some());
            }
        }
    }
    assert_eq!(taken, 2);
    let other = House::on_sqlite().await;
    import(&other, &whole(early.clone()))
        .await
        .expect("brought in");
    let mower = unit::Entity::find_by_id(("north".to_owned(), "m-1".to_owned()))
        .one(other.database.read())
        .await
        .expect("read")
        .expect("the mower");
    assert!(mower.noise_dba.abs() < 1e-9);

    early[0]["schema"] = json!("m20990101_000001_later");
    let another = House::on_sqlite().await;
    let refused = import(&another, &whole(early)).await.expect_err("later");
    assert_eq!(
        faults(&refused),
        [("lines[0]".to_owned(), "CONFLICT".to_owned())]
    );
}

/// Guards the server against rows that no server wrote: they are refused once, with what is wrong, and leave nothing.
#[tokio::test]
async fn rows_that_break_a_rule_are_told_by_their_line() {
    on_both(async |house| {
        furnish(house).await;
        let mut wrong = lines(&export(house).await);
        let plan = wrong
            .iter()
            .position(|line| line["table"] == "plan")
            .expect("a plan");
        let mut again = wrong[plan].clone();
        again["row"]["id"] = json!("2027-04-20-2");
        again["row"]["day_revision"] = json!(2);
        wrong.insert(plan + 1, again);
        let other = House::on_sqlite().await;
        let refused = import(&other, &whole(wrong))
            .await
            .expect_err("two published");
        let [(field, reason)] = <[_; 1]>::try_from(faults(&refused)).expect("one fault");
        assert!(field.starts_with("lines["), "{field}");
        assert_eq!(reason, "CONFLICT");
        let words = refused.message();
        assert!(words.contains("two published plans for one day"), "{words}");
        assert_eq!(other.counts().await, [0; 4]);
    })
    .await;
}

/// A row that comes twice is told by its line and as what it is, and not as one that another server brought in meanwhile.
#[tokio::test]
async fn a_row_that_comes_twice_is_told_by_its_line() {
    let source = House::on_sqlite().await;
    furnish(&source).await;
    let sound = lines(&export(&source).await);
    on_both(async |house| {
        for (table, words) in [
            ("crew", "in crew, one key twice"),
            ("branch", "a second row of branch"),
            ("branch_sequence", "a second row of branch_sequence"),
        ] {
            let mut wrong = sound.clone();
            let row = wrong.iter().position(|line| line["table"] == table);
            let row = row.expect("a row");
            wrong.insert(row + 1, wrong[row].clone());
            let refused = import(house, &whole(wrong)).await.expect_err("twice");
            let [(field, reason)] = <[_; 1]>::try_from(faults(&refused)).expect("one fault");
            assert!(field.starts_with("lines["), "{field}");
            assert_eq!(reason, "CONFLICT");
            assert!(refused.message().contains(words), "{refused:?}");
            assert_eq!(house.counts().await, [0; 4]);
        }
        import(house, &whole(sound.clone())).await.expect("sound");
    })
    .await;
}

/// Guards the server's disk: a branch takes so many bytes of it and no more, whether its end ever comes or not.
#[tokio::test]
async fn more_than_is_taken_of_a_branch_is_refused() {
    let source = House::on_sqlite().await;
    furnish(&source).await;
    let bytes = export(&source).await;
    let exactly = u64::try_from(bytes.len()).expect("small");
    for (import_bytes_max, taken) in [(exactly - 1, false), (exactly, true)] {
        let limits = Limits {
            import_bytes_max,
            ..Limits::default()
        };
        let house = House::with_limits(limits).await;
        let answer = import(&house, &bytes).await;
        if taken {
            answer.expect("brought in");
            continue;
        }
        let refused = answer.expect_err("too much");
        assert_eq!(
            reason(&refused),
            (Code::ResourceExhausted, "TOO_MUCH".into())
        );
        assert!(
            refused.message().contains("import_bytes_max"),
            "{refused:?}"
        );
        assert_eq!(house.counts().await, [0; 4]);
    }
}

/// The record of a deleted branch is kept, so that the same branch cannot come back beside it; it is said what can be done.
#[tokio::test]
async fn a_branch_that_was_deleted_here_comes_in_elsewhere_only() {
    on_both(async |house| {
        yard::open(house).await;
        let bytes = export(house).await;
        let present = import(house, &bytes).await.expect_err("it is there");
        assert_eq!(
            reason(&present),
            (Code::AlreadyExists, "ALREADY_EXISTS".into())
        );
        let delete = v1::DeleteBranchRequest {
            name: NORTH.into(),
            ..Default::default()
        };
        let deleted = house.branches().delete_branch(delete).await;
        deleted.expect("deleted");
        let before = house.counts().await;
        let refused = import(house, &bytes).await;
        let words = refused.as_ref().expect_err("refused").message();
        assert!(words.contains("a database that never had it"), "{words}");
        assert_eq!(
            obstacles(refused),
            [("RECORD_KEPT".to_owned(), NORTH.to_owned())]
        );
        assert_eq!(house.counts().await, before);
        let other = House::on_sqlite().await;
        import(&other, &bytes).await.expect("brought in");
    })
    .await;
}
