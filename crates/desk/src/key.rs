//! The key of a desk: whoever has it may ask, other people on the same machine may not.
//!
//! A new one is made at each start. The address that is printed carries it; the page's first answer puts it into a cookie that no
//! script can read and no page of another site can make the browser send (RFC 6265bis: `HttpOnly`, `SameSite=Strict`; cookies know no
//! ports, so a server that somebody else runs on this machine would be sent it if the browser is led there). The address handed to
//! the browser stands in the list of processes, which others may read, so that one carries a ticket that opens the desk once.

use std::fmt::Write as _;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::http::{HeaderMap, Uri, header};

/// The word in the address before the key.
const WORD: &str = "key";

/// What a desk asks of whoever comes.
#[derive(Debug)]
pub struct Key {
    secret: String,
    ticket: String,
    is_used: AtomicBool,
}

/// Whether someone may come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Entry {
    /// Has the cookie.
    Known,
    /// Comes by an address with the key; the cookie is to be given.
    Admitted,
    /// The address was used before.
    Used,
    /// Has no key.
    Stranger,
}

impl Key {
    /// A new key nobody can guess: 128 bits from the system.
    ///
    /// # Errors
    /// When the system gives no random numbers.
    pub fn new() -> Result<Self, String> {
        Ok(Self { secret: random()?, ticket: random()?, is_used: AtomicBool::new(false) })
    }

    /// The address that opens the desk as long as it runs: for the person who started it.
    #[must_use]
    pub fn address(&self, port: u16) -> String {
        format!("http://127.0.0.1:{port}/?{WORD}={}", self.secret)
    }

    /// The address that opens the desk once: for the browser.
    #[must_use]
    pub fn address_once(&self, port: u16) -> String {
        format!("http://127.0.0.1:{port}/?{WORD}={}", self.ticket)
    }

    /// The `Cookie` header of one who has come in; cookies are shared among ports, so its name has the port.
    #[must_use]
    pub fn cookie(&self, port: u16) -> String {
        format!("{}={}", cookie_name(port), self.secret)
    }

    pub(crate) fn set_cookie(&self, port: u16) -> String {
        format!("{}; Path=/; HttpOnly; SameSite=Strict", self.cookie(port))
    }

    pub(crate) fn entry(&self, port: u16, uri: &Uri, headers: &HeaderMap) -> Entry {
        let name = cookie_name(port);
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
        if pairs.any(|(given, value)| given == name && same(value, &self.secret)) {
            return Entry::Known;
        }
        if uri.path() != "/" {
            return Entry::Stranger;
        }
        let mut words = uri.query().unwrap_or_default().split('&').filter_map(|pair| pair.split_once('='));
        let Some((_, given)) = words.find(|(word, _)| *word == WORD) else { return Entry::Stranger };
        if same(given, &self.secret) {
            Entry::Admitted
        } else if same(given, &self.ticket) {
            if self.is_used.swap(true, Ordering::Relaxed) { Entry::Used } else { Entry::Admitted }
        } else {
            Entry::Stranger
        }
    }
}

fn cookie_name(port: u16) -> String {
    format!("ripieno-{port}")
}

/// Compares in a time that does not tell how much is right.
fn same(given: &str, secret: &str) -> bool {
    given.len() == secret.len() && given.bytes().zip(secret.bytes()).fold(0, |unlike, (a, b)| unlike | (a ^ b)) == 0
}

fn random() -> Result<String, String> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(|error| format!("the system gives no random numbers for the desk's key ({error})"))?;
    Ok(bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    }))
}
