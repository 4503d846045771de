//! Roles on a page: notes in the role's colour, its word where it begins, and a legend. The colours are those of the pictures, as
//! strong as thin strokes on white need them; the words carry the meaning without colour.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use ripieno_pictures::palette::ink;
use ripieno_texture::Role;

use crate::page::Page;

/// Room a legend takes, in pixels.
const LEGEND: f64 = 34.0;

/// The words at the beginning of a role on the page: in brackets of their own, so that nobody takes them for the composer's.
pub(crate) fn word(role: Role) -> String {
    format!("\u{2039}{}\u{203a}", role.name())
}

/// Tints the notes of a page by the roles of their ids and adds the legend of the roles that occur in `legend`.
pub(crate) fn tinted(page: &Page, roles: &BTreeMap<String, Role>, legend: &BTreeSet<Role>) -> Page {
    let mut svg = String::with_capacity(page.svg.len() + page.svg.len() / 8);
    let mut rest = page.svg.as_str();
    while let Some(at) = rest.find("<g ") {
        let Some(length) = rest[at..].find('>') else { break };
        let (tag, after) = (&rest[at..at + length], &rest[at + length..]);
        svg.push_str(&rest[..at]);
        let role = match class_of(tag) {
            "note" => id_of(tag).and_then(|id| roles.get(id)).copied(),
            // Stems and beams go with the first note they hold.
            "chord" | "beam" => first_note(after).and_then(|id| roles.get(id)).copied(),
            "dir" => legend.iter().copied().find(|&role| holds_word(after, role)),
            _ => None,
        };
        match role {
            Some(role) => svg.push_str(&tag.replacen("class=\"", &format!("class=\"role-{} ", role.name()), 1)),
            None => svg.push_str(tag),
        }
        rest = after;
    }
    svg.push_str(rest);
    let mut tinted = Page { svg, ..page.clone() };
    add_style(&mut tinted, legend);
    add_legend(&mut tinted, legend);
    tinted
}

/// The first class in the tag: the engine's own name for the element.
fn class_of(tag: &str) -> &str {
    quoted(tag, "class=\"").map_or("", |classes| classes.split(' ').next().unwrap_or(""))
}

fn id_of(tag: &str) -> Option<&str> {
    quoted(tag, " id=\"")
}

fn quoted<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let from = tag.find(name)? + name.len();
    tag[from..].split('"').next()
}

fn first_note(svg: &str) -> Option<&str> {
    let class = svg.find("class=\"note\"")?;
    let tag = svg[..class].rfind("<g ")?;
    let end = svg[tag..].find('>')? + tag;
    id_of(&svg[tag..end])
}

/// Whether the element that begins here holds a role's word before it ends.
fn holds_word(svg: &str, role: Role) -> bool {
    let end = svg.find("</g>").unwrap_or(svg.len());
    svg[..end].contains(&word(role))
}

fn add_style(page: &mut Page, roles: &BTreeSet<Role>) {
    let mut style = String::from("<style type=\"text/css\">");
    for &role in roles {
        if let Some(ink) = ink(role) {
            let _ = write!(style, "g.role-{} {{fill:{ink};color:{ink}}}", role.name());
        }
    }
    style.push_str("</style>");
    if let Some(at) = page.svg.find("<defs>") {
        page.svg.insert_str(at, &style);
    }
}

/// A line of swatches and words under the music; the page grows by its height.
fn add_legend(page: &mut Page, roles: &BTreeSet<Role>) {
    let Some(end) = page.svg.rfind("</svg>") else { return };
    let inks: Vec<(Role, String)> = roles.iter().filter_map(|&role| Some((role, ink(role)?))).collect();
    if inks.is_empty() {
        return;
    }
    let mut legend = format!(
        "<g class=\"legend\" font-family=\"Times, serif\" font-size=\"15px\" transform=\"translate(24, {:.0})\">",
        page.height + LEGEND / 2.0
    );
    let mut x = 0.0;
    for (role, ink) in inks {
        let _ = write!(
            legend,
            "<rect x=\"{x:.0}\" y=\"-9\" width=\"16\" height=\"10\" fill=\"{ink}\" stroke=\"none\"/>\
<text x=\"{:.0}\" y=\"0\" fill=\"black\">{}</text>",
            x + 21.0,
            role.name()
        );
        #[allow(clippy::cast_precision_loss)] // letters of a word
        let letters = role.name().chars().count() as f64;
        x += 21.0 + letters * 7.5 + 22.0;
    }
    legend.push_str("</g>");
    page.svg.insert_str(end, &legend);
    resize(page, page.height + LEGEND);
}

fn resize(page: &mut Page, height: f64) {
    let Some(end) = page.svg.find('>') else { return };
    let root = &page.svg[..end];
    if let Some(old) = quoted(root, " height=\"").map(str::to_owned) {
        page.svg = page.svg.replacen(&format!(" height=\"{old}\""), &format!(" height=\"{height:.0}px\""), 1);
        page.height = height;
    }
}

/// Draws the end of a tie before notes that are held over from before the page begins.
pub(crate) fn held_over(page: &mut Page, ids: &BTreeSet<String>) {
    let mut ties = String::new();
    for head in page.noteheads().into_iter().filter(|head| ids.contains(&head.id)) {
        let half = head.half_space;
        // Under the head when it lies low on the staff, over it otherwise: away from a stem of its own.
        let way = if head.step < 4 { 1.0 } else { -1.0 };
        let (from, to) = (head.x - 4.2 * half, head.x - 0.2 * half);
        let level = head.y + way * 1.1 * half;
        let (thin, thick) = (level + way * 1.3 * half, level + way * 1.75 * half);
        let _ = write!(
            ties,
            "<path class=\"tie held-over\" d=\"M{from:.0} {level:.0} Q{:.0} {thick:.0} {to:.0} {level:.0} Q{:.0} {thin:.0} {from:.0} {level:.0}Z\" \
stroke=\"none\" fill=\"currentColor\"/>",
            f64::midpoint(from, to),
            f64::midpoint(from, to),
        );
    }
    page.add_inside(&ties);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_get_their_class_and_nothing_else_does() {
        let svg = "<svg width=\"9px\" height=\"100px\"><defs></defs><g id=\"c\" class=\"chord\"><g id=\"n0-1\" class=\"note\"></g>\
<g id=\"n0-2\" class=\"note\"></g></g></svg>";
        let page = Page { svg: svg.to_owned(), width: 9.0, height: 100.0 };
        let roles = BTreeMap::from([("n0-1".to_owned(), Role::Bass)]);
        let tinted = tinted(&page, &roles, &BTreeSet::from([Role::Bass]));
        assert!(tinted.svg.contains("<g id=\"n0-1\" class=\"role-bass note\">"), "{}", tinted.svg);
        assert!(tinted.svg.contains("<g id=\"c\" class=\"role-bass chord\">"));
        assert!(tinted.svg.contains("<g id=\"n0-2\" class=\"note\">"));
        assert!(tinted.svg.contains("height=\"134px\"") && tinted.svg.contains(">bass</text>"));
    }
}
