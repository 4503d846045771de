//! `docs/players.md` lists what the register holds. `WRITE=1 cargo test -p ripieno-players --test documented` rewrites the lists.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test stops at the first surprise

use std::path::Path;

use ripieno_players::{Kind, sources};

fn lists() -> [(&'static str, String); 2] {
    let mut kinds = String::from("| kind | what is objected to | source |\n|---|---|---|\n");
    for kind in Kind::ALL {
        kinds.push_str(&format!("| `{}` | {} | {} |\n", kind.id(), kind.definition(), kind.source()));
    }
    let mut named = String::from("| source | status | what it is |\n|---|---|---|\n");
    for source in sources() {
        named.push_str(&format!("| {} | {} | {} |\n", source.code, source.status, source.citation));
    }
    [("kinds", kinds), ("sources", named)]
}

#[test]
fn the_page_lists_every_kind_and_source() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/players.md");
    let mut page = std::fs::read_to_string(&path).unwrap();
    for (name, list) in lists() {
        let (begin, end) = (format!("<!-- {name} -->\n"), format!("<!-- end of {name} -->"));
        let from = page.find(&begin).expect("the list has a beginning") + begin.len();
        let to = page.find(&end).expect("the list has an end");
        if std::env::var_os("WRITE").is_some() {
            page.replace_range(from..to, &list);
        } else {
            assert!(
                page[from..to] == *list,
                "the list of {name} is out of date: WRITE=1 cargo test -p ripieno-players --test documented"
            );
        }
    }
    if std::env::var_os("WRITE").is_some() {
        std::fs::write(&path, page).unwrap();
    }
}

/// Every rule names sources that exist.
#[test]
fn every_kind_has_a_source() {
    for kind in Kind::ALL {
        for code in kind.source().split('+') {
            assert!(ripieno_players::source(code).is_some(), "{kind}: {code}");
        }
    }
}
