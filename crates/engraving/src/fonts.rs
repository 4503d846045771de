//! The fonts pages are drawn with where they become pictures: a serif text face and the music font, both under the SIL Open Font
//! License, never those of the machine.

use std::sync::{Arc, LazyLock};

use resvg::usvg::fontdb::Database;

/// Family used for text.
const SERIF: &str = "Libertinus Serif";

/// The fonts, loaded once.
pub(crate) fn fonts() -> Arc<Database> {
    static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| Arc::new(load()));
    Arc::clone(&FONTS)
}

fn load() -> Database {
    let mut fonts = Database::new();
    for data in typst_assets::fonts() {
        fonts.load_font_data(data.to_vec());
    }
    let others: Vec<_> =
        fonts.faces().filter(|face| face.families.iter().all(|(family, _)| family != SERIF)).map(|face| face.id).collect();
    for id in others {
        fonts.remove_face(id);
    }
    if let Some(music) = music() {
        fonts.load_font_data(music);
    }
    for set in [Database::set_serif_family, Database::set_sans_serif_family, Database::set_monospace_family] {
        set(&mut fonts, SERIF);
    }
    fonts
}

/// The music font for notes inside text, such as metronome marks: the engine's own, unpacked.
#[cfg(feature = "engine")]
fn music() -> Option<Vec<u8>> {
    use base64::Engine;
    let css = verovio_data::DATA.get_file("Bravura.css")?.contents_utf8()?;
    let (_, data) = css.split_once("base64,")?;
    let packed = base64::engine::general_purpose::STANDARD.decode(data.split(')').next()?.trim()).ok()?;
    wuff::decompress_woff2(&packed).ok()
}

#[cfg(not(feature = "engine"))]
const fn music() -> Option<Vec<u8>> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_music_have_a_font() {
        let fonts = fonts();
        let has = |name: &str| fonts.faces().any(|face| face.families.iter().any(|(family, _)| family == name));
        assert!(has(SERIF));
        assert_eq!(has("Bravura"), cfg!(feature = "engine"));
    }
}
