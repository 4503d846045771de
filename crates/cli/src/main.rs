//! The `ripieno` command: reads arguments, calls the crates that do the work, prints. Computes nothing musical.
#![allow(clippy::print_stdout, clippy::print_stderr)] // printing is what a command does

mod ask;
mod balance;
mod cast;
mod chart;
mod check;
mod compare;
mod convert;
mod correct;
mod deliver;
mod desk;
mod excerpt;
mod hear;
mod library;
mod notes;
mod open;
mod roles;
mod save;
mod sketch;
mod study;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// What to do next, for somebody who typed just `ripieno`.
const FIRST_STEPS: &str = "\
Ripieno studies full scores: who has the melody, the chords, the bass, the figures, in every bar.
  ripieno study SCORE            a report you can open in a browser, and its tables
  ripieno roles SCORE            who does what, with reasons, as a table
Scores are MusicXML (.musicxml, .xml, .mxl), Standard MIDI (.mid) or Humdrum kern (.krn). Try demo/lifeboat_overture.musicxml.
  ripieno help                   all commands";

#[derive(Parser)]
#[command(name = "ripieno", version, about = "Study full scores: who does what, bar by bar.", long_about = None)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Read scores and leave a report for each: a page for the browser and tables
    Study(study::StudyArguments),
    /// Print the sounding notes as a table: concert pitch, ties joined, repeats played out
    Notes(notes::NotesArguments),
    /// Print who does what: the role of each line with its reasons, by span or by bar
    Roles(roles::RolesArguments),
    /// Say what you know better about roles and layers; kept beside the score and in force from then on
    Correct(Box<correct::CorrectArguments>),
    /// Say what players, conductor and copyist would object to: compass, breath, slides, mutes, double stops, missing marks
    Check(check::CheckArguments),
    /// Find the bars of scores by a question in words, or ask the library in SQL
    Ask(ask::AskArguments),
    /// Tell whether the melody is heard and chords ring evenly, by rule and by estimate, and how loud it is for the players
    Balance(balance::BalanceArguments),
    /// Play bars of a score into a sound file: .wav, .flac or .ogg, with some groups silent if you like
    Hear(Box<hear::HearArguments>),
    /// Keep scores in a library: add, list, find, tag, note, remove, back up, export
    Library(library::LibraryArguments),
    /// Open the desk: a page in your browser on which scores are studied, served by this machine to this machine alone
    Desk(desk::DeskArguments),
    /// Cut bars and parts out of a score: as a picture, MusicXML or MIDI
    Excerpt(excerpt::ExcerptArguments),
    /// Take a score apart for the stands: parts with cues, pages turned in rests, full score, cover and proof list
    Deliver(deliver::DeliverArguments),
    /// Lay two practices side by side, or two versions of a cue: what differs most, and where to look
    Compare(compare::CompareArguments),
    /// Save the practice of a score or of many, to compare with later
    Profile(compare::ProfileArguments),
    /// Cast a sketch for a line-up: who plays what and in which voicing, as a score, with reasons
    Cast(cast::CastArguments),
    /// Reduce bars of a score to a sketch by role: melody, chords, bass, figures, one staff each
    Sketch(sketch::SketchArguments),
    /// Chart a score that exists only on paper: line-up, bars, and who does what in them; and studied scores likewise
    Chart(chart::ChartArguments),
    /// Write a score in another format: .musicxml, .mxl, .mid or .csv, by the ending of the new file
    Convert(convert::ConvertArguments),
}

/// How files are read; shared by all commands.
#[derive(clap::Args)]
struct Reading {
    /// Scores to read
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Refuse a file about which the reader has to warn, instead of mending it
    #[arg(long)]
    strict: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome = match arguments.command {
        None => {
            println!("{FIRST_STEPS}");
            return ExitCode::SUCCESS;
        }
        Some(Command::Study(arguments)) => study::run(&arguments),
        Some(Command::Notes(arguments)) => notes::run(&arguments),
        Some(Command::Roles(arguments)) => roles::run(&arguments),
        Some(Command::Correct(arguments)) => correct::run(*arguments),
        Some(Command::Ask(arguments)) => return ask::run(&arguments),
        Some(Command::Balance(arguments)) => balance::run(&arguments),
        Some(Command::Check(arguments)) => check::run(&arguments),
        Some(Command::Hear(arguments)) => hear::run(&arguments),
        Some(Command::Library(arguments)) => library::run(&arguments),
        Some(Command::Desk(arguments)) => desk::run(&arguments),
        Some(Command::Excerpt(arguments)) => excerpt::run(&arguments),
        Some(Command::Deliver(arguments)) => deliver::run(&arguments, None),
        Some(Command::Compare(arguments)) => compare::run(&arguments),
        Some(Command::Profile(arguments)) => compare::run_profile(&arguments),
        Some(Command::Cast(arguments)) => cast::run(&arguments),
        Some(Command::Sketch(arguments)) => sketch::run(&arguments),
        Some(Command::Chart(arguments)) => chart::run(&arguments),
        Some(Command::Convert(arguments)) => convert::run(&arguments),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            if !failure.is_empty() {
                eprintln!("ripieno: {failure}");
            }
            ExitCode::FAILURE
        }
    }
}
