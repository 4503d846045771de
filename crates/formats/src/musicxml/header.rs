//! What stands before the music: titles, names, rights, and whether the score is notated at concert pitch.

use ripieno_score::About;

use super::context::Context;
use super::entities::plain;
use super::tag::Tag;
use super::text::clean;

/// Reads one header element if `tag` is one; `false` leaves it to the caller.
pub(super) fn read<'x>(about: &mut About, tag: Tag<'x>, context: &mut Context<'x, '_>) -> bool {
    match tag.name() {
        "work" => work(about, context),
        "movement-number" => about.movement_number = clean(&context.cursor.text()),
        "movement-title" => about.movement = clean(&context.cursor.text()),
        "identification" => identification(about, context),
        "defaults" => defaults(about, context),
        // Page layout, and text placed on the page: titles there repeat the ones above in most files.
        "credit" => context.cursor.skip(),
        _ => return false,
    }
    true
}

fn work(about: &mut About, context: &mut Context<'_, '_>) {
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "work-title" => about.work = clean(&context.cursor.text()),
            "work-number" => about.work_number = clean(&context.cursor.text()),
            _ => context.cursor.skip(),
        }
    }
}

fn identification(about: &mut About, context: &mut Context<'_, '_>) {
    while let Some(tag) = context.cursor.child() {
        match tag.name() {
            "creator" => {
                let role = clean(&plain(tag.attribute("type").unwrap_or_default()));
                let name = clean(&context.cursor.text());
                if !name.is_empty() {
                    about.creators.push((role, name));
                }
            }
            "rights" => {
                let rights = clean(&context.cursor.text());
                if !about.rights.is_empty() && !rights.is_empty() {
                    about.rights.push_str("; ");
                }
                about.rights.push_str(&rights);
            }
            _ => context.cursor.skip(),
        }
    }
}

fn defaults(about: &mut About, context: &mut Context<'_, '_>) {
    while let Some(tag) = context.cursor.child() {
        about.concert_pitch |= tag.name() == "concert-score";
        context.cursor.skip();
    }
}
