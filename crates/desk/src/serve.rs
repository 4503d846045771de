//! The server: this machine only.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;

use crate::api::router;
use crate::desk::Desk;
use crate::key::Key;

/// Where the desk is found unless something else stands there: below the ports that are handed out for a while (from 49152 on by RFC 6335,
/// section 6; from 32768 on by Linux), so that it is seldom taken.
pub const USUAL_PORT: u16 = 17_476;

/// How to serve.
#[derive(Debug, Clone)]
pub struct Options {
    /// The library's file; begun when there is none.
    pub library: PathBuf,
    /// The port, 0 for any that is free. Without it [`USUAL_PORT`] where it is free, so that bookmarks of views last, else any.
    pub port: Option<u16>,
    /// A SoundFont 2 file to play from instead of the built-in instruments.
    pub soundfont: Option<PathBuf>,
}

/// Addresses of a desk that is ready.
#[derive(Debug, Clone, Copy)]
pub struct Addresses<'a> {
    /// To be printed: opens the desk as long as it runs.
    pub lasting: &'a str,
    /// To be handed to a browser: opens it once.
    pub once: &'a str,
}

/// Serves the desk on the loopback address until Ctrl-C; `ready` is told the addresses of the page.
///
/// # Errors
/// When the library or the SoundFont cannot be opened or the port is taken: one sentence.
pub fn serve(options: &Options, ready: impl FnOnce(Addresses<'_>)) -> Result<(), String> {
    let desk = Desk::on(&options.library)?;
    let desk = match &options.soundfont {
        Some(soundfont) => desk.playing_from(soundfont)?,
        None => desk,
    };
    let key = Arc::new(Key::new()?);
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = runtime.map_err(|error| format!("the desk cannot start ({error})"))?;
    let done = runtime.block_on(async {
        let at = |port: u16| tokio::net::TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
        let taken = |error: std::io::Error| {
            let why = if error.kind() == std::io::ErrorKind::PermissionDenied {
                "Ports below 1024 are for the administrator of this machine; choose one above"
            } else {
                "Another desk may be open; choose another"
            };
            format!("port {} cannot be used ({error}). {why} with --port, or leave it out", options.port.unwrap_or(0))
        };
        let listener = match options.port {
            Some(port) => at(port).await,
            None => match at(USUAL_PORT).await {
                Ok(listener) => Ok(listener),
                Err(_) => at(0).await,
            },
        };
        let listener = listener.map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        ready(Addresses { lasting: &key.address(port), once: &key.address_once(port) });
        // Open event streams would hold a graceful end back; the library is whole at any moment.
        let stop = async {
            let _ = tokio::signal::ctrl_c().await;
        };
        let server = axum::serve(listener, router(desk, port, key));
        tokio::select! {
            served = async { server.await } => served.map_err(|error| format!("the desk has stopped ({error})")),
            () = stop => Ok(()),
        }
    });
    runtime.shutdown_background();
    done
}
