//! Serves the contract on a listener until told to stop.

use std::any::Any;
use std::time::Duration;

use forenoon_proto::FILE_DESCRIPTOR_SET;
use http::{HeaderName, HeaderValue, Response};
use tokio::net::TcpListener;
use tonic::Status;
use tonic::body::Body;
use tonic::service::Routes;
use tonic::transport::server::TcpIncoming;
use tonic::transport::{Identity, Server, ServerTlsConfig};
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;
use tonic_web::GrpcWebLayer;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::classify::{GrpcCode, GrpcErrorsAsFailures, SharedClassifier};
use tower_http::cors::{AllowOrigin, CorsLayer};
use tower_http::trace::TraceLayer;
use tracing::{error, info, info_span};

use crate::config::Limits;
use crate::edge::{Services, SignIn, State};

/// How often a quiet connection is asked whether it lives.
const KEEPALIVE_INTERVAL: Duration = Duration::from_secs(30);
/// How long it has to answer.
const KEEPALIVE_TIMEOUT: Duration = Duration::from_secs(20);
/// Longest time for a connection to agree on its encryption.
const HANDSHAKE_MAX: Duration = Duration::from_secs(10);
/// Largest set of headers taken, in bytes.
const HEADER_BYTES_MAX: u32 = 32 * 1024;
/// How long a browser may keep the answer to a preflight request.
const PREFLIGHT_AGE: Duration = Duration::from_hours(1);

/// Why serving ended other than as asked.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// Calls were still at work when the time to stop was over.
    #[error("calls were cut off: they did not finish within {} s", .0.as_secs())]
    CutOff(Duration),
    /// The certificate or its key is of no use.
    #[error("the certificate or its key cannot be used: {0}")]
    Certificate(tonic::transport::Error),
    /// The transport failed.
    #[error("serving failed: {0}")]
    Transport(#[from] tonic::transport::Error),
    /// The descriptors of the contract cannot be read, which is a fault of the build.
    #[error("reflection: {0}")]
    Reflection(#[from] tonic_reflection::server::Error),
}

/// How callers come in.
#[derive(Debug)]
pub struct Entrance {
    /// The certificate by which the server is known, with its key; none where calls come in the clear.
    pub identity: Option<Identity>,
    /// Whether they are asked for keys.
    pub sign_in: SignIn,
}

impl Default for Entrance {
    /// In the clear, and without keys.
    fn default() -> Self {
        Self {
            identity: None,
            sign_in: SignIn::is_not_asked_for(),
        }
    }
}

/// Serves until `state.going_down` is cancelled; then finishes running calls, for `limits.stop_max` at
/// most. The database stays open.
///
/// # Errors
/// Where the transport fails, or calls had to be cut off.
pub async fn serve(
    state: State,
    limits: Limits,
    entrance: Entrance,
    listener: TcpListener,
) -> Result<(), ServeError> {
    let (health, health_service) = tonic_health::server::health_reporter();
    tell_health(&health, ServingStatus::Serving).await;

    let mut routes = Routes::builder();
    routes.add_service(health_service);
    routes.add_service(reflection().build_v1()?);
    // Python's reflection client and older tools speak the earlier version.
    routes.add_service(reflection().build_v1alpha()?);
    Services::add_to(&mut routes, &state, &limits);

    let stop = state.going_down.clone();
    let mut builder = Server::builder();
    if let Some(identity) = entrance.identity {
        let tls = ServerTlsConfig::new()
            .identity(identity)
            .timeout(HANDSHAKE_MAX);
        builder = builder.tls_config(tls).map_err(ServeError::Certificate)?;
    }
    let serving = builder
        // Browsers reach gRPC-Web over HTTP/1.1.
        .accept_http1(true)
        .http2_keepalive_interval(Some(KEEPALIVE_INTERVAL))
        .http2_keepalive_timeout(Some(KEEPALIVE_TIMEOUT))
        .http2_max_header_list_size(HEADER_BYTES_MAX)
        .concurrency_limit_per_connection(limits.calls_max)
        .load_shed(true)
        .layer(trace())
        .layer(cors(&limits.web_origins))
        .layer(GrpcWebLayer::new())
        .layer(CatchPanicLayer::custom(panicked))
        .layer(entrance.sign_in)
        .add_routes(routes.routes())
        .serve_with_incoming_shutdown(
            // Set here: the builder sets it only where it listens itself. Without it a small answer may wait 40 ms.
            TcpIncoming::from(listener).with_nodelay(Some(true)),
            stop.clone().cancelled_owned(),
        );

    let stop_max = limits.stop_max;
    let deadline = async {
        stop.cancelled().await;
        info!("stopping; running calls may finish");
        tell_health(&health, ServingStatus::NotServing).await;
        tokio::time::sleep(stop_max).await;
    };
    tokio::select! {
        served = serving => Ok(served?),
        () = deadline => Err(ServeError::CutOff(stop_max)),
    }
}

async fn tell_health(health: &HealthReporter, status: ServingStatus) {
    for name in Services::NAMES.into_iter().chain([""]) {
        health.set_service_status(name, status).await;
    }
}

fn reflection() -> tonic_reflection::server::Builder<'static> {
    tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(FILE_DESCRIPTOR_SET)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
}

/// Traces calls. What is the caller's fault is no failure of the server.
fn trace() -> TraceLayer<
    SharedClassifier<GrpcErrorsAsFailures>,
    impl Fn(&http::Request<Body>) -> tracing::Span + Clone,
> {
    let classes = GrpcErrorsAsFailures::new()
        .with_success(GrpcCode::InvalidArgument)
        .with_success(GrpcCode::NotFound)
        .with_success(GrpcCode::AlreadyExists)
        .with_success(GrpcCode::FailedPrecondition)
        .with_success(GrpcCode::Aborted)
        .with_success(GrpcCode::Cancelled)
        .with_success(GrpcCode::PermissionDenied)
        .with_success(GrpcCode::Unauthenticated)
        .with_success(GrpcCode::OutOfRange)
        .with_success(GrpcCode::Unimplemented);
    TraceLayer::new(SharedClassifier::new(classes)).make_span_with(
        |request: &http::Request<Body>| info_span!("call", method = %request.uri().path()),
    )
}

fn cors(origins: &[String]) -> CorsLayer {
    let allowed = if origins.iter().any(|origin| origin == "*") {
        AllowOrigin::any()
    } else {
        AllowOrigin::list(
            origins
                .iter()
                .filter_map(|origin| HeaderValue::from_str(origin).ok()),
        )
    };
    let request_headers = [
        "content-type",
        "x-grpc-web",
        "x-user-agent",
        "grpc-timeout",
        "authorization",
        "forenoon-actor",
    ];
    let response_headers = ["grpc-status", "grpc-message", "grpc-status-details-bin"];
    CorsLayer::new()
        .allow_origin(allowed)
        .allow_methods([http::Method::POST])
        .allow_headers(request_headers.map(HeaderName::from_static))
        .expose_headers(response_headers.map(HeaderName::from_static))
        .max_age(PREFLIGHT_AGE)
}

/// A panic is a fault of ours; it ends one call and not the connection.
#[expect(
    clippy::needless_pass_by_value,
    reason = "the layer hands the payload over"
)]
fn panicked(payload: Box<dyn Any + Send>) -> Response<Body> {
    let words = payload
        .downcast_ref::<&str>()
        .map(|words| (*words).to_owned())
        .or_else(|| payload.downcast_ref::<String>().cloned())
        .unwrap_or_default();
    error!(%words, "a call panicked");
    Status::internal("a fault of the server; its log has the details").into_http()
}
