//! Finds out who calls before a service sees the call.

use std::mem;
use std::task::{Context, Poll};

use futures::future::{BoxFuture, Either, FutureExt};
use http::header::AUTHORIZATION;
use http::{HeaderMap, HeaderValue, Request, Response};
use tonic::body::Body;
use tower_layer::Layer;
use tower_service::Service;

use super::access::{access, is_open};
use super::caller::Signed;
use crate::edge::caller::ACTOR_KEY;
use crate::edge::status::status;
use crate::work::Error;
use crate::work::sign_in::{Keys, Secret};

/// How a key is given, after RFC 6750, section 2.1.
const SCHEME: &str = "Bearer ";
/// Most characters of whom a program calls for.
const FOR_LENGTH_MAX: usize = 60;

/// Asks for keys, or lets everybody in.
#[derive(Clone, Debug)]
pub struct SignIn(Option<Keys>);

impl SignIn {
    /// Whoever reaches the server may do everything.
    pub fn is_not_asked_for() -> Self {
        Self(None)
    }

    /// Whoever calls needs one of these keys.
    pub fn by(keys: Keys) -> Self {
        Self(Some(keys))
    }
}

impl<S> Layer<S> for SignIn {
    type Service = Door<S>;

    fn layer(&self, inner: S) -> Door<S> {
        Door {
            keys: self.0.clone(),
            inner,
        }
    }
}

/// A service behind which nobody gets without a key.
#[derive(Clone, Debug)]
pub struct Door<S> {
    keys: Option<Keys>,
    inner: S,
}

impl<S> Service<Request<Body>> for Door<S>
where
    S: Service<Request<Body>, Response = Response<Body>> + Clone + Send + 'static,
    S::Future: Send,
    S::Error: Send,
{
    type Response = Response<Body>;
    type Error = S::Error;
    type Future = Either<S::Future, BoxFuture<'static, Result<Response<Body>, S::Error>>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, mut request: Request<Body>) -> Self::Future {
        let Some(keys) = &self.keys else {
            return Either::Left(self.inner.call(request));
        };
        if is_open(request.uri().path()) {
            return Either::Left(self.inner.call(request));
        }
        let keys = keys.clone();
        let another = self.inner.clone();
        // The one that said it was ready.
        let mut inner = mem::replace(&mut self.inner, another);
        let work = async move {
            match sign_in(keys, &mut request).await {
                Ok(signed) => signed.within(inner.call(request)).await,
                Err(error) => Ok(status(error).into_http()),
            }
        };
        Either::Right(work.boxed())
    }
}

/// The caller, who may call this method. From here on the request says whose it is.
async fn sign_in(keys: Keys, request: &mut Request<Body>) -> Result<Signed, Error> {
    let secret = secret(request.headers()).ok_or(Error::Unauthenticated)?;
    let caller = keys.holder(&secret).await?;
    let path = request.uri().path();
    let access = access(path);
    if !access.lets(&caller) {
        return Err(Error::NotPermitted {
            action: format!(
                "{} may not call {}",
                caller.name,
                path.trim_start_matches('/')
            ),
        });
    }
    let mut name = caller.name.clone();
    if caller.worker.is_none()
        && let Some(person) = person(request.headers())
    {
        name = format!("{name}: {person}");
    }
    let name = HeaderValue::from_str(&name)
        .map_err(|_| Error::Internal(format!("{name:?} cannot stand in a header")))?;
    request.headers_mut().insert(ACTOR_KEY, name);
    Ok(Signed {
        caller,
        keys,
        secret,
        access,
    })
}

fn secret(headers: &HeaderMap) -> Option<Secret> {
    let words = headers.get(AUTHORIZATION)?.to_str().ok()?;
    let (scheme, key) = words.split_at_checked(SCHEME.len())?;
    // A scheme's letters may be of either case (RFC 9110, section 11.1).
    scheme
        .eq_ignore_ascii_case(SCHEME)
        .then(|| Secret::read(key.trim()))?
}

/// For whom a program calls, as it says.
fn person(headers: &HeaderMap) -> Option<&str> {
    let said = headers.get(ACTOR_KEY)?.to_str().ok()?.trim();
    (!said.is_empty() && said.len() <= FOR_LENGTH_MAX).then_some(said)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_taken_from_the_header_alone() {
        let key = format!("fnk_{}", "A".repeat(43));
        let given = |words: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(AUTHORIZATION, words.parse().expect("a header"));
            secret(&headers).is_some()
        };
        assert!(given(&format!("Bearer {key}")));
        assert!(given(&format!("bearer {key}")));
        for words in [
            key.clone(),
            format!("Basic {key}"),
            "Bearer".to_owned(),
            "Bearer x".to_owned(),
        ] {
            assert!(!given(&words), "{words}");
        }
        assert!(secret(&HeaderMap::new()).is_none());
    }
}
