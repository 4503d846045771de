//! How roles look: a hue, a lightness and a texture each, so that they can be told apart without colour too.
//!
//! Roles that lie side by side (melody and countermelody, bass and pedal) differ in lightness as well, since in a cell few pixels wide
//! no upright or slanting texture shows. The colours were searched for with the look of each role fixed: with protanopia, deuteranopia or tritanopia
//! any two differ by CIEDE2000 8 or more, texture and fill blended (`crates/desk/web/src/lib/vision.test.ts` says by how much).

use ripieno_texture::Role;

/// Texture laid over a role's colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Weave {
    /// Plain.
    Plain,
    /// Rising strokes.
    Rising,
    /// Falling strokes.
    Falling,
    /// Upright strokes.
    Upright,
    /// Level strokes.
    Level,
    /// A broad level band: to be seen in a cell three pixels wide.
    Bands,
    /// Dots.
    Dots,
    /// Crossed strokes.
    Crossed,
}

/// The look of a role.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Fill, as `#rrggbb`.
    pub fill: &'static str,
    /// Colour of the texture, as `#rrggbb`.
    pub ink: &'static str,
    /// Texture.
    pub weave: Weave,
}

/// The SVG fill of `role`: its colour, or a texture of [`crate::definitions`]; `none` for tacet.
#[must_use]
pub fn fill(role: Role) -> String {
    match look(role) {
        Some(look) if look.weave == Weave::Plain => look.fill.to_owned(),
        Some(_) => format!("url(#weave-{})", role.name()),
        None => "none".to_owned(),
    }
}

/// The look of `role`; tacet is not drawn and has none.
#[must_use]
pub const fn look(role: Role) -> Option<Look> {
    let (fill, ink, weave) = match role {
        Role::Melody => ("#b3261e", "#b3261e", Weave::Plain),
        Role::Countermelody => ("#ffc083", "#e26400", Weave::Bands),
        Role::Bass => ("#1e356c", "#1e356c", Weave::Plain),
        Role::Harmony => ("#9cc5c1", "#9cc5c1", Weave::Plain),
        Role::Pedal => ("#7093c7", "#2d5992", Weave::Level),
        Role::Rhythm => ("#d8af29", "#4d1f03", Weave::Upright),
        Role::Figuration => ("#d4e5a1", "#7d5265", Weave::Falling),
        Role::Punctuation => ("#5b4b6a", "#edd7cd", Weave::Dots),
        Role::Effect => ("#c6a9d7", "#44828a", Weave::Crossed),
        _ => return None,
    };
    Some(Look { fill, ink, weave })
}

/// Least contrast of a tinted notehead with the paper (WCAG 2.2, 1.4.11: graphical objects, 3 to 1; we ask for more, since heads are small).
const LEAST_CONTRAST: f64 = 3.5;

/// The ink for single notes of a role, engraved or in a register picture: the darker colour of its look, darkened until it stands out on white. Tacet has none.
#[must_use]
pub fn ink(role: Role) -> Option<String> {
    let look = look(role)?;
    let darker = if contrast_with_white(look.ink) >= contrast_with_white(look.fill) { look.ink } else { look.fill };
    let mut colour = channels(darker);
    while contrast(colour) < LEAST_CONTRAST {
        // Nineteen twentieths, in whole steps: the same on every machine.
        colour = colour.map(|channel| u8::try_from(u16::from(channel) * 19 / 20).unwrap_or(channel));
    }
    Some(format!("#{:02x}{:02x}{:02x}", colour[0], colour[1], colour[2]))
}

/// Contrast of a colour `#rrggbb` with white by WCAG 2.2, from 1 to 21.
#[must_use]
pub fn contrast_with_white(colour: &str) -> f64 {
    contrast(channels(colour))
}

fn channels(colour: &str) -> [u8; 3] {
    let channel = |at: usize| colour.get(at..at + 2).and_then(|digits| u8::from_str_radix(digits, 16).ok()).unwrap_or(0);
    [channel(1), channel(3), channel(5)]
}

/// Relative luminance and contrast ratio as WCAG 2.2 defines them.
fn contrast(colour: [u8; 3]) -> f64 {
    let linear = colour.map(|channel| {
        let share = f64::from(channel) / 255.0;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    });
    let luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2];
    1.05 / (luminance + 0.05)
}

/// How far each of so many groups of a family goes from its colour, in percent of the way to black (below 0) or to white, from dark to light.
#[must_use]
pub fn steps(count: usize) -> Vec<i32> {
    match count {
        0 | 1 => vec![0],
        2 => vec![-30, 20],
        3 => vec![-40, 0, 30],
        4 => vec![-50, -20, 10, 40],
        5 | 6 => [-60, -30, 0, 20, 40, 50][..count].to_vec(),
        // Evenly between the ends.
        _ => (0..count).map(|place| -60 + i32::try_from(110 * place / (count - 1)).unwrap_or(110)).collect(),
    }
}

/// Shades of a colour from dark to light, one for each of `count` groups of a family, so that sections side by side are told apart.
#[must_use]
pub fn shades(colour: &str, count: usize) -> Vec<String> {
    let of = channels(colour);
    let mixed = |percent: i32| {
        let [r, g, b] = of.map(|channel| {
            let (channel, to) = (i32::from(channel), if percent < 0 { 0 } else { 255 });
            channel + (to - channel) * percent.abs() / 100
        });
        format!("#{r:02x}{g:02x}{b:02x}")
    };
    steps(count).into_iter().take(count).map(mixed).collect()
}

/// Colour of a family, told apart from those of roles by where it stands: bands and the thread, never cells.
#[must_use]
pub fn family(name: &str) -> &'static str {
    FAMILIES.iter().find(|(family, _)| *family == name).map_or("#6d6459", |(_, colour)| colour)
}

/// Families with their colours.
pub const FAMILIES: [(&str, &str); 9] = [
    ("woodwind", "#2c7a57"),
    ("brass", "#b06f12"),
    ("percussion", "#6d6459"),
    ("keyboard", "#4a6c8f"),
    ("plucked", "#4f8aa6"),
    ("strings", "#8a3f63"),
    ("voice", "#a8452f"),
    ("electronic", "#5a6470"),
    ("other", "#6d6459"),
];

/// How well a line is heard, from covered to prominent: dark red over ochre and pale to dark blue-green, so that both ends differ in lightness from the middle.
pub const HEARD: [&str; 5] = ["#9c1c14", "#d99a3a", "#d9d5cb", "#7cb3b4", "#1c5f68"];

/// How evenly a chord rings, from even to uneven: violets, the darker the less even, none of them a colour of [`HEARD`].
pub const EVEN: [&str; 3] = ["#cbb8ec", "#8f6cc4", "#45207e"];

/// Fill of who goes along with the melody: pale beside its red on light ground, and no louder than it on dark.
pub const ALONG: &str = "#b8a098";

/// Fill of what sounds without a printed level.
pub const UNMARKED: &str = "#e6e2d8";

/// Fill of a printed level on the scale on which pp is 2 and ff 7: the louder the darker.
#[must_use]
pub fn shade(level: f32) -> &'static str {
    const SHADES: [&str; 8] = ["#dcecea", "#c0dedb", "#9fcbc9", "#7cb3b4", "#58979c", "#3b7a83", "#235c69", "#123f4d"];
    let steps = (1u8..8).filter(|&step| level >= f32::from(step) + 0.5).count();
    SHADES[steps]
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn inks_stand_out_and_differ() {
        let inks: BTreeSet<String> = Role::ALL.into_iter().filter_map(ink).collect();
        assert_eq!(inks.len(), 9);
        assert!(inks.iter().all(|ink| contrast_with_white(ink) >= LEAST_CONTRAST));
        assert_eq!(ink(Role::Tacet), None);
    }

    /// Worked examples of WCAG 2.2: black on white is 21 to 1; #767676 is the lightest grey that reaches 4.5.
    #[test]
    fn contrast_is_that_of_wcag() {
        assert!((contrast_with_white("#000000") - 21.0).abs() < 1e-9);
        assert!((contrast_with_white("#ffffff") - 1.0).abs() < 1e-9);
        assert!(contrast_with_white("#767676") >= 4.5 && contrast_with_white("#777777") < 4.5);
    }

    #[test]
    fn shades_of_a_family_differ() {
        assert_eq!(shades("#2c7a57", 1), ["#2c7a57"]);
        for count in 2..=12 {
            assert_eq!(shades("#2c7a57", count).into_iter().collect::<BTreeSet<_>>().len(), count);
            assert!(steps(count).is_sorted(), "from dark to light");
        }
    }
}
