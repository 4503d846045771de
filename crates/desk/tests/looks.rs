//! The page's colours and textures of roles are those of every picture. `RIPIENO_WRITE=1` writes them anew.

use std::error::Error;
use std::path::Path;

use ripieno_engraving::ink;
use ripieno_pictures::palette::{FAMILIES, look, steps};
use ripieno_texture::Role;

#[test]
fn the_page_has_the_looks_of_the_pictures() -> Result<(), Box<dyn Error>> {
    let mut now = String::from("// Made from crates/pictures/src/palette.rs by the test `looks`; not to be edited.\n");
    now.push_str("export const ROLE_LOOKS = [\n");
    for role in Role::ALL {
        let Some(look) = look(role) else { continue };
        let weave = format!("{:?}", look.weave).to_lowercase();
        now.push_str(&format!(
            "  {{ role: '{}', fill: '{}', ink: '{}', weave: '{weave}', note: '{}' }},\n",
            role.name(),
            look.fill,
            look.ink,
            ink(role).unwrap_or_default()
        ));
    }
    now.push_str("] as const;\nexport const FAMILY_COLOURS: Readonly<Record<string, string>> = {\n");
    for (family, colour) in FAMILIES {
        now.push_str(&format!("  {family}: '{colour}',\n"));
    }
    now.push_str("};\n/** Percent of the way to black (below 0) or white for each of so many sections of a family, from dark to light. */\n");
    now.push_str("export const SHADES: readonly (readonly number[])[] = [\n");
    // More sections of one family than this have no room of their own on the page.
    for count in 0..=16 {
        now.push_str(&format!("  {:?},\n", steps(count)));
    }
    now.push_str("];\n");
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("web/src/generated/looks.ts");
    if std::env::var_os("RIPIENO_WRITE").is_some() {
        std::fs::write(&path, &now)?;
    }
    assert!(std::fs::read_to_string(&path)? == now, "looks.ts is out of date: run this test with RIPIENO_WRITE=1");
    Ok(())
}
