//! The server: this machine only.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use crate::api::router;
use crate::desk::Desk;

/// How to serve.
#[derive(Debug, Clone)]
pub struct Options {
    /// The library's file; begun when there is none.
    pub library: PathBuf,
    /// The port; 0 for any that is free.
    pub port: u16,
}

/// Serves the desk on the loopback address until Ctrl-C; `ready` is told the address of the page.
///
/// # Errors
/// When the library cannot be opened or the port is taken: one sentence.
pub fn serve(options: &Options, ready: impl FnOnce(&str)) -> Result<(), String> {
    let desk = Desk::on(&options.library)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = runtime.map_err(|error| format!("the desk cannot start ({error})"))?;
    let done = runtime.block_on(async {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, options.port));
        let taken = |error: std::io::Error| {
            format!(
                "port {} cannot be used ({error}). Another desk may be open; choose one with --port, or leave it out",
                options.port
            )
        };
        let listener = tokio::net::TcpListener::bind(address).await.map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        ready(&format!("http://127.0.0.1:{port}/"));
        // Open event streams would hold a graceful end back; the library is whole at any moment.
        let stop = async {
            let _ = tokio::signal::ctrl_c().await;
        };
        let server = axum::serve(listener, router(desk, port));
        tokio::select! {
            served = async { server.await } => served.map_err(|error| format!("the desk has stopped ({error})")),
            () = stop => Ok(()),
        }
    });
    runtime.shutdown_background();
    done
}
