//! Who may ask: only a page this server itself has served, to whoever has its [`Key`].
//!
//! A page elsewhere can make a browser send requests here. It is told apart by `Host` (a name that was made to point at this
//! machine), `Origin` and `Sec-Fetch-Site` (Fetch Metadata, W3C); answers carry a policy under which a page loads nothing from
//! elsewhere (Content Security Policy Level 3).

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use std::sync::Arc;

use crate::failure::Failure;
use crate::key::{Entry, Key};

/// What every answer says about what its page may load.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data: blob:; \
    connect-src 'self'; media-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

const NOT_HERE: &str = "this desk answers only to its own address on this machine";

const NO_KEY: &str = "The desk was started again, or this browser has not been let in yet. \
    Open the address that `ripieno desk` printed when it was started, then load this page again.";
const USED: &str = "This address opens the desk once and has been used. \
    Open the one that `ripieno desk` printed when it was started.";

/// The names under which this server may be asked, and its key.
#[derive(Debug, Clone)]
pub(crate) struct Own {
    port: u16,
    hosts: Vec<String>,
    key: Arc<Key>,
}

impl Own {
    pub(crate) fn at(port: u16, key: Arc<Key>) -> Self {
        // Not `[::1]`: nothing listens there, and whoever did could serve a page of its own under that name.
        let names = ["127.0.0.1", "localhost"];
        let mut hosts: Vec<String> = names.iter().map(|name| format!("{name}:{port}")).collect();
        if port == 80 {
            // The usual port of HTTP is left out of `Host` (RFC 9110, 7.2).
            hosts.extend(names.map(str::to_owned));
        }
        Self { port, hosts, key }
    }

    fn is_host(&self, host: &str) -> bool {
        self.hosts.iter().any(|own| own == host)
    }

    /// Why a request is refused; `None` when it may pass.
    fn refuses(&self, headers: &HeaderMap) -> Option<&'static str> {
        let text = |name: HeaderName| headers.get_all(name).iter().map(|value| value.to_str().unwrap_or("?")).collect::<Vec<_>>();
        let hosts = text(header::HOST);
        let [host] = hosts.as_slice() else { return Some(NOT_HERE) };
        if !self.is_host(host) {
            return Some(NOT_HERE);
        }
        let own_page = |origin: &&str| origin.strip_prefix("http://") == Some(host);
        if !text(header::ORIGIN).iter().all(own_page) {
            return Some("a page from elsewhere may not ask here");
        }
        let site = HeaderName::from_static("sec-fetch-site");
        if text(site).iter().any(|site| !matches!(*site, "same-origin" | "none")) {
            return Some("a page from elsewhere may not ask here");
        }
        None
    }
}

/// Why someone without the key is not let in: a sentence to read in a browser, JSON for whoever asks for that.
fn turned_away(why: &str, headers: &HeaderMap) -> Response {
    let is_page =
        headers.get(header::ACCEPT).and_then(|accept| accept.to_str().ok()).is_some_and(|kinds| kinds.contains("text/html"));
    if is_page {
        (StatusCode::UNAUTHORIZED, why.to_owned()).into_response()
    } else {
        Failure::new(StatusCode::UNAUTHORIZED, why).into_response()
    }
}

/// Refuses foreign requests and adds the headers every answer carries.
pub(crate) async fn guard(State(own): State<Own>, request: Request, next: Next) -> Response {
    let mut answer = match own.refuses(request.headers()) {
        Some(why) => Failure::new(StatusCode::FORBIDDEN, why).into_response(),
        None => match own.key.entry(own.port, request.uri(), request.headers()) {
            Entry::Known => next.run(request).await,
            Entry::Admitted => {
                let mut answer = next.run(request).await;
                if let Ok(cookie) = HeaderValue::from_str(&own.key.set_cookie(own.port)) {
                    answer.headers_mut().insert(header::SET_COOKIE, cookie);
                }
                answer
            }
            Entry::Used => turned_away(USED, request.headers()),
            Entry::Stranger => turned_away(NO_KEY, request.headers()),
        },
    };
    let headers = answer.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    answer
}
