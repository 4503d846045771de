//! Parts, bars and roles as a person names them.

use ripieno_instruments::{is_same_name, printed};
use ripieno_score::{Crotchets, Score};
use ripieno_texture::Role;

use super::change::Moment;
use super::file;
use super::parts::plain;

/// A part by its name, as the file has it or as scores print it (capitals do not matter), its abbreviation or identifier, or as `#3` by its place from 0.
///
/// # Errors
/// When none or several are meant: a sentence with the names there are.
pub fn part_named(score: &Score, name: &str) -> Result<usize, String> {
    let listed = |parts: &[usize]| {
        let named = |&part: &usize| format!("{} (#{part})", printed(&score.parts[part].name));
        parts.iter().map(named).collect::<Vec<_>>().join(", ")
    };
    let all: Vec<usize> = (0..score.parts.len()).collect();
    if let Some(place) = name.trim().strip_prefix('#') {
        let part = place.parse::<usize>().ok().filter(|part| *part < score.parts.len());
        return part.ok_or_else(|| format!("there is no part {name:?}; the parts are {}", listed(&all)));
    }
    let wanted = plain(name);
    let keys: [fn(&ripieno_score::Part) -> &str; 3] = [|part| &part.name, |part| &part.abbreviation, |part| &part.id];
    for key in keys {
        let is = |known: &str| plain(known) == wanted || (!known.trim().is_empty() && is_same_name(known, name));
        let found: Vec<usize> = all.iter().copied().filter(|&part| is(key(&score.parts[part]))).collect();
        match found.as_slice() {
            [] => {}
            [part] => return Ok(*part),
            several => return Err(format!("several parts are called {name:?}: {}; give the number", listed(several))),
        }
    }
    Err(format!("there is no part {name:?}; the parts are {}", listed(&all)))
}

/// A span by the bars' printed numbers: `35`, `35-45`, with positions in crotchets from the barline `35:2-45:7/2`; a bar by its
/// place from 0 as `#34`. Without a position the whole of the first and last bar belongs to it.
///
/// # Errors
/// When there is no such bar, or several have the number.
pub fn span_named(score: &Score, text: &str) -> Result<(Moment, Moment), String> {
    let (from, to) = text.split_once(['-', '–']).unwrap_or((text, text));
    Ok((moment_named(score, from)?, moment_named(score, to)?))
}

fn moment_named(score: &Score, text: &str) -> Result<Moment, String> {
    let (bar, at) = text.split_once(':').map_or((text, None), |(bar, at)| (bar, Some(at)));
    let at = at.map(str::parse::<Crotchets>).transpose().map_err(|error| error.to_string())?;
    Ok(Moment { bar: bar_named(score, bar.trim())?, at })
}

fn bar_named(score: &Score, text: &str) -> Result<u32, String> {
    let number = |bar: usize| u32::try_from(bar).unwrap_or(u32::MAX);
    if let Some(place) = text.strip_prefix('#') {
        let bar = place.parse::<usize>().ok().filter(|bar| *bar < score.bars.len());
        return bar.map(number).ok_or_else(|| format!("there is no bar {text:?}; the score has {} bars", score.bars.len()));
    }
    let found: Vec<usize> = (0..score.bars.len()).filter(|&bar| &*score.bars[bar].number == text).collect();
    match found.as_slice() {
        [bar] => Ok(number(*bar)),
        [] => Err(format!("no bar bears the number {text:?}; bars are given as 35, 35-45 or 35:2-45:7/2")),
        several => {
            let places: Vec<String> = several.iter().map(|bar| format!("#{bar}")).collect();
            Err(format!("several bars bear the number {text:?}; give the one meant as {}", places.join(" or ")))
        }
    }
}

/// A role by its word, whatever the capitals: "melody", "Countermelody".
///
/// # Errors
/// When there is no such role: a sentence that lists them.
pub fn role_named(name: &str) -> Result<Role, String> {
    file::role(name)
}
