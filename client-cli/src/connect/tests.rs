//! Retries, against a small server of the real protocol that counts its calls.

use std::sync::{Arc, Mutex};

use tokio_stream::wrappers::TcpListenerStream;
use tonic::transport::Server;
use v1::branch_service_server::{BranchService, BranchServiceServer};

use super::*;
use crate::failure::exit;
use crate::names::request_id;

/// Fails as often as told, then answers; keeps the request ids it saw.
#[derive(Clone, Default)]
struct Moody {
    failures: Arc<Mutex<Vec<Code>>>,
    seen: Arc<Mutex<Vec<String>>>,
}

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl BranchService for Moody {
    async fn create_branch(
        &self,
        request: Request<v1::CreateBranchRequest>,
    ) -> Answer<v1::CreateBranchResponse> {
        self.seen
            .lock()
            .unwrap()
            .push(request.into_inner().request_id);
        match self.failures.lock().unwrap().pop() {
            Some(code) => Err(Status::new(code, "not now")),
            None => Ok(Response::new(v1::CreateBranchResponse::default())),
        }
    }

    /// Three pages of one branch each.
    async fn list_branches(
        &self,
        request: Request<v1::ListBranchesRequest>,
    ) -> Answer<v1::ListBranchesResponse> {
        let page: u32 = request.into_inner().page_token.parse().unwrap_or(0);
        Ok(Response::new(v1::ListBranchesResponse {
            branches: vec![v1::Branch {
                name: format!("branches/b{page}"),
                ..v1::Branch::default()
            }],
            next_page_token: if page < 2 {
                (page + 1).to_string()
            } else {
                String::new()
            },
        }))
    }

    async fn get_branch(&self, _: Request<v1::GetBranchRequest>) -> Answer<v1::GetBranchResponse> {
        tokio::time::sleep(Duration::from_mins(1)).await;
        Err(Status::unimplemented("too late to matter"))
    }

    async fn update_branch(
        &self,
        _: Request<v1::UpdateBranchRequest>,
    ) -> Answer<v1::UpdateBranchResponse> {
        Err(Status::unimplemented("not asked for"))
    }

    async fn delete_branch(
        &self,
        _: Request<v1::DeleteBranchRequest>,
    ) -> Answer<v1::DeleteBranchResponse> {
        Err(Status::unimplemented("not asked for"))
    }
}

async fn link_to(moody: &Moody, timeout: Duration) -> Link {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let server = format!("http://{}", listener.local_addr().unwrap());
    let service = BranchServiceServer::new(moody.clone());
    tokio::spawn(
        Server::builder()
            .add_service(service)
            .serve_with_incoming(TcpListenerStream::new(listener)),
    );
    connect(&Address {
        server,
        key: None,
        certificate_authority_pem: None,
        timeout,
    })
    .unwrap()
}

async fn create(moody: &Moody) -> Result<v1::CreateBranchResponse, Failure> {
    let link = link_to(moody, Duration::from_secs(10)).await;
    let request = v1::CreateBranchRequest {
        request_id: request_id(),
        ..v1::CreateBranchRequest::default()
    };
    link.create_branch(request).await
}

#[tokio::test]
async fn a_server_that_is_away_for_a_moment_is_asked_again_with_the_same_request_id() {
    let moody = Moody::default();
    *moody.failures.lock().unwrap() = vec![Code::Unavailable, Code::Unavailable];
    create(&moody).await.unwrap();
    let seen = moody.seen.lock().unwrap().clone();
    assert_eq!(seen.len(), 3);
    assert!(!seen[0].is_empty());
    assert!(seen.iter().all(|id| *id == seen[0]));
}

#[tokio::test]
async fn retries_end() {
    let moody = Moody::default();
    *moody.failures.lock().unwrap() = vec![Code::Unavailable; 50];
    let failure = create(&moody).await.unwrap_err();
    assert_eq!(failure.exit_code(), exit::UNREACHABLE);
    assert_eq!(moody.seen.lock().unwrap().len(), RETRY_WAITS.len() + 1);
}

#[tokio::test]
async fn what_the_server_refuses_is_not_asked_again() {
    let moody = Moody::default();
    *moody.failures.lock().unwrap() = vec![Code::Aborted];
    let failure = create(&moody).await.unwrap_err();
    assert_eq!(failure.exit_code(), exit::CONFLICT);
    assert_eq!(moody.seen.lock().unwrap().len(), 1);
}

#[tokio::test]
async fn lists_are_read_to_their_last_page() {
    let link = link_to(&Moody::default(), Duration::from_secs(10)).await;
    let branches = link
        .all_branches(v1::ListBranchesRequest::default())
        .await
        .unwrap();
    let names: Vec<&str> = branches.iter().map(|branch| branch.name.as_str()).collect();
    assert_eq!(names, ["branches/b0", "branches/b1", "branches/b2"]);
}

#[tokio::test]
async fn a_server_that_does_not_answer_in_time_is_left() {
    let link = link_to(&Moody::default(), Duration::from_millis(50)).await;
    let failure = link
        .get_branch(v1::GetBranchRequest::default())
        .await
        .unwrap_err();
    assert_eq!(failure.exit_code(), exit::TIMED_OUT, "{failure:?}");
}

#[tokio::test]
async fn no_server_at_all_says_where_none_is() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let server = format!("http://{}", listener.local_addr().unwrap());
    drop(listener);
    let address = Address {
        server: server.clone(),
        key: None,
        certificate_authority_pem: None,
        timeout: Duration::from_secs(5),
    };
    let failure = connect(&address)
        .unwrap()
        .list_branches(v1::ListBranchesRequest::default())
        .await
        .unwrap_err();
    assert_eq!(failure.exit_code(), exit::UNREACHABLE);
    assert!(failure.to_string().contains(&server), "{failure}");
}

#[tokio::test]
async fn what_is_no_address_is_told_at_once() {
    for (server, part) in [
        ("127.0.0.1:50470", "http://"),
        ("https://127.0.0.1:50470", "--ca"),
        ("http://", "write it"),
    ] {
        let address = Address {
            server: server.into(),
            key: None,
            certificate_authority_pem: None,
            timeout: Duration::from_secs(5),
        };
        let failure = connect(&address).unwrap_err();
        assert_eq!(failure.exit_code(), exit::USAGE);
        assert!(failure.to_string().contains(part), "{failure}");
    }
}
