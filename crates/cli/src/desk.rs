//! `ripieno desk`

use std::path::PathBuf;
use std::process::{Command, Stdio};

use ripieno_desk::{Options, serve};

use crate::library::library_path;

/// Arguments of `ripieno desk`.
#[derive(clap::Args)]
pub struct DeskArguments {
    /// The library's file; without it the one RIPIENO_LIBRARY names, else ripieno/library.db among your data
    #[arg(long, value_name = "FILE")]
    library: Option<PathBuf>,
    /// The port on this machine, 0 for any that is free; without it 17476, so that bookmarks of views last, or any where that is taken
    #[arg(long, value_name = "NUMBER")]
    port: Option<u16>,
    /// Play from this SoundFont 2 file instead of the built-in instruments
    #[arg(long, value_name = "FILE")]
    soundfont: Option<PathBuf>,
    /// Print the address only, and open no browser
    #[arg(long)]
    no_open: bool,
}

/// Serves the desk until Ctrl-C.
pub fn run(arguments: &DeskArguments) -> Result<(), String> {
    let options = Options {
        library: library_path(arguments.library.as_deref())?,
        port: arguments.port,
        soundfont: arguments.soundfont.clone(),
    };
    serve(&options, |addresses| {
        println!("The desk is at {} (Ctrl-C ends it)", addresses.lasting);
        println!("The address lets in whoever has it; it changes at each start.");
        if !arguments.no_open {
            open_browser(addresses.once);
        }
    })
}

/// Asks the system to show the page; where it cannot, the printed address is enough.
fn open_browser(address: &str) {
    let (program, before): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("cmd", &["/C", "start", ""])
    } else {
        ("xdg-open", &[])
    };
    let quiet = || Stdio::null();
    let _ = Command::new(program).args(before).arg(address).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn();
}
