//! The committed description is what the server does. `RIPIENO_WRITE=1` writes it anew.

use std::error::Error;
use std::path::Path;

#[test]
fn the_description_is_up_to_date() -> Result<(), Box<dyn Error>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("openapi.json");
    let now = ripieno_desk::openapi()?;
    if std::env::var_os("RIPIENO_WRITE").is_some() {
        std::fs::write(&path, &now)?;
    }
    let kept = std::fs::read_to_string(&path)?;
    assert!(kept == now, "openapi.json is out of date: run this test with RIPIENO_WRITE=1, then `npm run types` in web/");
    Ok(())
}
