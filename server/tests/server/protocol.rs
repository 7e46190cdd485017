//! Goal: what tools and browsers count on is there: health, reflection, gRPC-Web, stopping in order.
//! Method: each is spoken as its client does, gRPC-Web as bytes over HTTP/1.1.

use std::time::Duration;

use forenoon_server::config::Limits;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio_stream::StreamExt;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb;

use crate::house::House;

#[tokio::test]
async fn health_tells_of_the_whole_and_of_each_service() {
    let house = House::on_sqlite().await;
    let mut client = HealthClient::new(house.channel());
    for service in ["", "forenoon.v1.BranchService"] {
        let request = HealthCheckRequest {
            service: service.into(),
        };
        let answer = client.check(request).await.expect("answered").into_inner();
        assert_eq!(answer.status(), ServingStatus::Serving, "{service:?}");
    }
}

#[tokio::test]
async fn both_versions_of_reflection_list_the_services() {
    let house = House::on_sqlite().await;
    let request = pb::v1::ServerReflectionRequest {
        host: String::new(),
        message_request: Some(
            pb::v1::server_reflection_request::MessageRequest::ListServices(String::new()),
        ),
    };
    let mut client = pb::v1::server_reflection_client::ServerReflectionClient::new(house.channel());
    let mut answers = client
        .server_reflection_info(tokio_stream::once(request))
        .await
        .expect("answered")
        .into_inner();
    let answer = answers.next().await.expect("one").expect("answered");
    let listed = format!("{:?}", answer.message_response);
    assert!(listed.contains("forenoon.v1.BranchService"), "{listed}");

    let request = pb::v1alpha::ServerReflectionRequest {
        host: String::new(),
        message_request: Some(
            pb::v1alpha::server_reflection_request::MessageRequest::FileContainingSymbol(
                "forenoon.v1.Branch".into(),
            ),
        ),
    };
    let mut client =
        pb::v1alpha::server_reflection_client::ServerReflectionClient::new(house.channel());
    let mut answers = client
        .server_reflection_info(tokio_stream::once(request))
        .await
        .expect("answered")
        .into_inner();
    let answer = answers.next().await.expect("one").expect("answered");
    assert!(
        matches!(
            answer.message_response,
            Some(
                pb::v1alpha::server_reflection_response::MessageResponse::FileDescriptorResponse(_)
            )
        ),
        "{answer:?}"
    );
}

/// Sends bytes and reads the whole answer, lossily as text.
async fn spoken(house: &House, head: &str, body: &[u8]) -> String {
    let mut stream = TcpStream::connect(&house.address)
        .await
        .expect("a connection");
    let length = body.len();
    let head = format!(
        "{head}\r\nHost: {}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n",
        house.address
    );
    stream.write_all(head.as_bytes()).await.expect("sent");
    stream.write_all(body).await.expect("sent");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.expect("answered");
    String::from_utf8_lossy(&answer).into_owned()
}

#[tokio::test]
async fn a_browser_reaches_it_from_an_allowed_origin_only() {
    let house = House::with_limits(Limits {
        web_origins: vec!["https://office.example".into()],
        ..Limits::default()
    })
    .await;
    // An empty ListBranchesRequest: no compression, length 0 (gRPC over HTTP/2, "Length-Prefixed-Message").
    let frame = [0_u8; 5];
    let call = |origin: &str| {
        format!(
            "POST /forenoon.v1.BranchService/ListBranches HTTP/1.1\r\n\
             Content-Type: application/grpc-web+proto\r\nX-Grpc-Web: 1\r\nOrigin: {origin}"
        )
    };
    let answer = spoken(&house, &call("https://office.example"), &frame).await;
    let lower = answer.to_lowercase();
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    assert!(answer.contains("grpc-status:0"), "{answer}");
    assert!(
        lower.contains("access-control-allow-origin: https://office.example"),
        "{answer}"
    );
    let answer = spoken(&house, &call("https://elsewhere.example"), &frame).await;
    assert!(
        !answer
            .to_lowercase()
            .contains("access-control-allow-origin: https://elsewhere"),
        "{answer}"
    );

    let preflight = "OPTIONS /forenoon.v1.BranchService/ListBranches HTTP/1.1\r\n\
                     Origin: https://office.example\r\nAccess-Control-Request-Method: POST\r\n\
                     Access-Control-Request-Headers: content-type,x-grpc-web";
    let answer = spoken(&house, preflight, &[]).await.to_lowercase();
    assert!(
        answer.contains("access-control-allow-methods: post"),
        "{answer}"
    );
    assert!(answer.contains("x-grpc-web"), "{answer}");
}

#[tokio::test]
async fn stopping_waits_for_an_open_stream_no_longer_than_the_limit() {
    let house = House::with_limits(Limits {
        stop_max: Duration::from_millis(200),
        ..Limits::default()
    })
    .await;
    // A watch of the health service never ends by itself.
    let mut watch = HealthClient::new(house.channel())
        .watch(HealthCheckRequest::default())
        .await
        .expect("watching")
        .into_inner();
    let first = watch.next().await.expect("one").expect("answered");
    assert_eq!(first.status(), ServingStatus::Serving);
    house.going_down.cancel();
    let next = watch.next().await.expect("one").expect("answered");
    assert_eq!(
        next.status(),
        ServingStatus::NotServing,
        "told before it ends"
    );
    let served = tokio::time::timeout(Duration::from_secs(5), house.served)
        .await
        .expect("it ends")
        .expect("no panic");
    assert!(served.is_err(), "the stream was cut off");
}

#[tokio::test]
async fn stopping_with_nothing_at_work_is_at_once() {
    let house = House::on_sqlite().await;
    house.going_down.cancel();
    tokio::time::timeout(Duration::from_secs(5), house.served)
        .await
        .expect("it ends")
        .expect("no panic")
        .expect("in order");
}
