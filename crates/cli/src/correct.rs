//! `ripieno correct`

use std::path::PathBuf;

use ripieno_score::{Score, Sounding, Unroll};
use ripieno_study::corrections::{Change, Corrections, Listed, Request, Who, part_named, role_named, span_named};

use crate::open::open;

/// Arguments of `ripieno correct`.
#[derive(clap::Args)]
pub struct CorrectArguments {
    /// The score
    #[arg(value_name = "SCORE")]
    file: PathBuf,
    /// Whose role or layer, by the part's name; give it again for further parts
    #[arg(long = "part", value_name = "NAME", requires = "bars")]
    parts: Vec<String>,
    /// Only this voice of the part: its place on the staff from above, from 1
    #[arg(long, value_name = "NUMBER", requires = "parts")]
    voice: Option<u16>,
    /// Only this staff of the part
    #[arg(long, value_name = "NUMBER", requires = "parts")]
    staff: Option<u8>,
    /// In which bars: 35, 35-45, or with crotchets from the barline 35:2-45:7/2
    #[arg(long, value_name = "BARS", requires = "parts")]
    bars: Option<String>,
    #[command(flatten)]
    change: ChangeArguments,
    /// Why, in your words
    #[arg(long, value_name = "TEXT", requires = "bars")]
    comment: Option<String>,
    /// Take a correction back, by its identifier
    #[arg(long, value_name = "ID", conflicts_with_all = ["parts", "bars", "change"])]
    remove: Option<String>,
    /// Take over the corrections of another score, of which this is a revision under a new name
    #[arg(long, value_name = "OLD_SCORE", conflicts_with_all = ["parts", "bars", "change", "remove"])]
    take_over: Option<PathBuf>,
    /// Name a group of sections, families or parts, which is then measured like any other: "low brass = trombones, tubas"
    #[arg(long, value_name = "NAME=MEMBERS", conflicts_with_all = ["parts", "bars", "change", "remove", "take_over"])]
    group: Option<String>,
    /// Forget a named group
    #[arg(long, value_name = "NAME", conflicts_with_all = ["parts", "bars", "change", "remove", "take_over", "group"])]
    forget_group: Option<String>,
    /// List the corrections (what is done without anything else)
    #[arg(long, conflicts_with_all = ["parts", "bars", "change", "remove", "take_over", "group", "forget_group"])]
    list: bool,
}

/// What is said; one of them.
#[derive(clap::Args)]
#[group(id = "change", multiple = false, requires = "bars")]
struct ChangeArguments {
    /// The role, or several separated by commas, the chief one first
    #[arg(long, value_name = "ROLE", value_delimiter = ',')]
    role: Vec<String>,
    /// What is played there stands apart from what comes before and after
    #[arg(long)]
    split_role: bool,
    /// What is played there is one thing, in one role
    #[arg(long)]
    merge_roles: bool,
    /// What you call what is played there
    #[arg(long, value_name = "NAME")]
    name_role: Option<String>,
    /// The parts, and no others, form one layer, with a name or without
    #[arg(long, value_name = "NAME", num_args = 0..=1, default_missing_value = "")]
    layer: Option<String>,
    /// The parts leave their layers and form one of their own
    #[arg(long)]
    split_layer: bool,
    /// The layers of the parts become one
    #[arg(long)]
    merge_layers: bool,
    /// What you call the layer of the parts
    #[arg(long, value_name = "NAME")]
    name_layer: Option<String>,
    /// A remark that changes nothing
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
}

impl ChangeArguments {
    fn change(self) -> Result<Option<Change>, String> {
        let chosen = |yes: bool, change: Change| yes.then_some(change);
        let roles = self.role.iter().map(|name| role_named(name)).collect::<Result<Vec<_>, _>>()?;
        Ok(chosen(!roles.is_empty(), Change::SetRole(roles))
            .or_else(|| chosen(self.split_role, Change::SplitRole))
            .or_else(|| chosen(self.merge_roles, Change::MergeRoles))
            .or_else(|| self.name_role.map(Change::NameRole))
            .or_else(|| self.layer.map(|name| Change::SetLayer(Some(name).filter(|name| !name.is_empty()))))
            .or_else(|| chosen(self.split_layer, Change::SplitLayer))
            .or_else(|| chosen(self.merge_layers, Change::MergeLayers))
            .or_else(|| self.name_layer.map(Change::NameLayer))
            .or_else(|| self.remark.map(Change::Remark)))
    }
}

/// Adds, takes back, takes over or lists corrections.
pub fn run(arguments: CorrectArguments) -> Result<(), String> {
    let mut corrections = match &arguments.take_over {
        Some(old) => Corrections::taken_over(old, &arguments.file),
        None => Corrections::beside(&arguments.file),
    }
    .map_err(|error| error.to_string())?;
    if let Some(id) = &arguments.remove {
        if !corrections.remove(id) {
            return Err(format!("{}: there is no correction {id:?}; see them with --list", corrections.path().display()));
        }
        return corrections.save().map_err(|error| error.to_string());
    }
    if let Some(name) = &arguments.forget_group {
        if !corrections.remove_group(name) {
            return Err(format!("{}: there is no group {name:?}; see them with --list", corrections.path().display()));
        }
        return corrections.save().map_err(|error| error.to_string());
    }
    let Some(reading) = open(&arguments.file, false) else { return Err(String::new()) };
    let sounding = Sounding::new(&reading.score, Unroll::AsWritten);
    if let Some(group) = &arguments.group {
        let (name, members) = group
            .split_once('=')
            .ok_or_else(|| format!("{group:?} is no group; write it as \"low brass = trombones, tubas\""))?;
        let members: Vec<String> =
            members.split(',').map(|member| member.trim().to_owned()).filter(|member| !member.is_empty()).collect();
        corrections.name_group(&reading.score, name, &members).map_err(|error| error.to_string())?;
        corrections.save().map_err(|error| error.to_string())?;
        list(&corrections, &reading.score, &sounding);
        return Ok(());
    }
    if arguments.take_over.is_some() {
        corrections.save().map_err(|error| error.to_string())?;
    }
    let Some(bars) = &arguments.bars else {
        list(&corrections, &reading.score, &sounding);
        return Ok(());
    };
    let located = |what: String| format!("{}: {what}", arguments.file.display());
    let who = |name: &String| {
        let part = part_named(&reading.score, name)?;
        Ok(Who { part, voice: arguments.voice, staff: arguments.staff })
    };
    let who = arguments.parts.iter().map(who).collect::<Result<Vec<_>, String>>().map_err(located)?;
    let (from, to) = span_named(&reading.score, bars).map_err(located)?;
    let change = arguments.change.change().map_err(located)?;
    let change =
        change.ok_or_else(|| located("say what is to be changed, such as --role melody; see ripieno help correct".into()))?;
    let request = Request { change, who, from, to, comment: arguments.comment.unwrap_or_default() };
    let id = corrections.add(&reading.score, &sounding, request).map_err(|error| error.to_string())?;
    corrections.save().map_err(|error| error.to_string())?;
    corrections.list().iter().filter(|one| one.id == id).for_each(|one| println!("{}", line(one)));
    Ok(())
}

/// Prints all corrections, then what is to be said about them.
fn list(corrections: &Corrections, score: &Score, sounding: &Sounding) {
    let placed = corrections.place(score, sounding);
    for one in corrections.list() {
        let lost = if placed.unplaced.contains(&one.id) { " (no place in the score as it is)" } else { "" };
        println!("{}{lost}", line(&one));
    }
    for (name, members) in corrections.groups() {
        println!("group {name}: {}", members.join(", "));
    }
    placed.findings.iter().for_each(|finding| eprintln!("{finding}"));
}

/// `c1: Horn 1.2 in F, bars 35 to 45: countermelody`
fn line(one: &Listed) -> String {
    format!("{}: {one}", one.id)
}
