//! Humdrum's instrument codes, for files that name their parts by nothing else.
//!
//! Source: Humdrum User Guide, Appendix II (instrumentation codes). Names are the usual English ones.

/// English name of an instrument or voice code such as `violn`.
pub(super) fn name(code: &str) -> Option<&'static str> {
    NAMES.binary_search_by_key(&code, |(code, _)| code).ok().and_then(|index| NAMES.get(index)).map(|(_, name)| *name)
}

/// Whether two staves side by side with this code belong to one player: keyboards and the harp.
pub(super) fn has_several_staves(code: &str) -> bool {
    matches!(
        code,
        "accor"
            | "arpa"
            | "caril"
            | "cemba"
            | "clavi"
            | "clest"
            | "forte"
            | "hammd"
            | "marim"
            | "organ"
            | "piano"
            | "porta"
            | "reedo"
            | "rhode"
            | "synth"
    )
}

/// Sorted by code.
const NAMES: [(&str, &str); 165] = [
    ("accor", "Accordion"),
    ("alto", "Alto"),
    ("archl", "Archlute"),
    ("armon", "Harmonica"),
    ("arpa", "Harp"),
    ("bagpI", "Irish Bagpipes"),
    ("bagpS", "Scottish Bagpipes"),
    ("banjo", "Banjo"),
    ("bansu", "Bansuri"),
    ("barit", "Baritone"),
    ("baset", "Basset Horn"),
    ("bass", "Bass"),
    ("bdrum", "Bass Drum"),
    ("bguit", "Bass Guitar"),
    ("biwa", "Biwa"),
    ("bscan", "Bass"),
    ("bspro", "Bass"),
    ("calam", "Chalumeau"),
    ("calpe", "Calliope"),
    ("calto", "Contralto"),
    ("campn", "Bell"),
    ("cangl", "English Horn"),
    ("cant", "Cantus"),
    ("caril", "Carillon"),
    ("castr", "Castrato"),
    ("casts", "Castanets"),
    ("cbass", "Double Bass"),
    ("cello", "Violoncello"),
    ("cemba", "Harpsichord"),
    ("cetra", "Cittern"),
    ("chime", "Chimes"),
    ("chlma", "Alto Shawm"),
    ("chlms", "Soprano Shawm"),
    ("chlmt", "Tenor Shawm"),
    ("clara", "Alto Clarinet"),
    ("clarb", "Bass Clarinet"),
    ("clarp", "Piccolo Clarinet"),
    ("clars", "Clarinet"),
    ("clavi", "Clavichord"),
    ("clest", "Celesta"),
    ("colsp", "Soprano"),
    ("cor", "Horn"),
    ("cornm", "Cornemuse"),
    ("corno", "Cornett"),
    ("cornt", "Cornet"),
    ("crshc", "Crash Cymbal"),
    ("ctenor", "Countertenor"),
    ("ctina", "Concertina"),
    ("drmsp", "Soprano"),
    ("dulc", "Dulcimer"),
    ("eguit", "Electric Guitar"),
    ("fag_c", "Contrabassoon"),
    ("fagot", "Bassoon"),
    ("false", "Falsetto"),
    ("feme", "Female Voice"),
    ("fife", "Fife"),
    ("fingc", "Finger Cymbals"),
    ("flt", "Flute"),
    ("flt_a", "Alto Flute"),
    ("flt_b", "Bass Flute"),
    ("fltda", "Alto Recorder"),
    ("fltdb", "Bass Recorder"),
    ("fltdn", "Sopranino Recorder"),
    ("fltds", "Soprano Recorder"),
    ("fltdt", "Tenor Recorder"),
    ("flugh", "Flugelhorn"),
    ("forte", "Fortepiano"),
    ("glock", "Glockenspiel"),
    ("gong", "Gong"),
    ("guitr", "Guitar"),
    ("hammd", "Electronic Organ"),
    ("heltn", "Tenor"),
    ("hichi", "Hichiriki"),
    ("hurdy", "Hurdy-gurdy"),
    ("kit", "Kit"),
    ("kokyu", "Kokyu"),
    ("komun", "Komungo"),
    ("koto", "Koto"),
    ("kruma", "Alto Crumhorn"),
    ("krumb", "Bass Crumhorn"),
    ("krums", "Soprano Crumhorn"),
    ("krumt", "Tenor Crumhorn"),
    ("liuto", "Lute"),
    ("lyrsp", "Soprano"),
    ("lyrtn", "Tenor"),
    ("male", "Male Voice"),
    ("mando", "Mandolin"),
    ("marac", "Maracas"),
    ("marim", "Marimba"),
    ("mezzo", "Mezzo-soprano"),
    ("nfant", "Child's Voice"),
    ("nokan", "Nokan"),
    ("oboe", "Oboe"),
    ("oboeD", "Oboe d'amore"),
    ("ocari", "Ocarina"),
    ("organ", "Organ"),
    ("panpi", "Panpipes"),
    ("piano", "Piano"),
    ("piatt", "Cymbals"),
    ("picco", "Piccolo"),
    ("pipa", "Pipa"),
    ("piri", "Piri"),
    ("porta", "Portative Organ"),
    ("psalt", "Psaltery"),
    ("qin", "Qin"),
    ("quitr", "Gittern"),
    ("rackt", "Racket"),
    ("rebec", "Rebec"),
    ("recit", "Recitative"),
    ("reedo", "Reed Organ"),
    ("rhode", "Electric Piano"),
    ("ridec", "Ride Cymbal"),
    ("sarod", "Sarod"),
    ("sarus", "Sarrusophone"),
    ("saxA", "Alto Saxophone"),
    ("saxB", "Bass Saxophone"),
    ("saxC", "Contrabass Saxophone"),
    ("saxN", "Sopranino Saxophone"),
    ("saxR", "Baritone Saxophone"),
    ("saxS", "Soprano Saxophone"),
    ("saxT", "Tenor Saxophone"),
    ("sdrum", "Snare Drum"),
    ("shaku", "Shakuhachi"),
    ("shami", "Shamisen"),
    ("sheng", "Sheng"),
    ("sho", "Sho"),
    ("sitar", "Sitar"),
    ("soprn", "Soprano"),
    ("spshc", "Splash Cymbal"),
    ("steel", "Steel Drums"),
    ("sxhA", "Alto Saxhorn"),
    ("sxhB", "Bass Saxhorn"),
    ("sxhC", "Contrabass Saxhorn"),
    ("sxhR", "Baritone Saxhorn"),
    ("sxhS", "Soprano Saxhorn"),
    ("sxhT", "Tenor Saxhorn"),
    ("synth", "Synthesizer"),
    ("tabla", "Tabla"),
    ("tambn", "Tambourine"),
    ("tambu", "Tanpura"),
    ("tanbr", "Tanbur"),
    ("tenor", "Tenor"),
    ("timpa", "Timpani"),
    ("tiorb", "Theorbo"),
    ("tom", "Tom-tom"),
    ("trngl", "Triangle"),
    ("tromb", "Bass Trombone"),
    ("tromp", "Trumpet"),
    ("tromt", "Trombone"),
    ("tuba", "Tuba"),
    ("ud", "Oud"),
    ("ukule", "Ukulele"),
    ("vibra", "Vibraphone"),
    ("vina", "Vina"),
    ("viola", "Viola"),
    ("violb", "Bass Viol"),
    ("viold", "Viola d'amore"),
    ("violn", "Violin"),
    ("violp", "Violino piccolo"),
    ("viols", "Treble Viol"),
    ("violt", "Tenor Viol"),
    ("vox", "Voice"),
    ("xylo", "Xylophone"),
    ("zithr", "Zither"),
    ("zurna", "Zurna"),
];

#[cfg(test)]
mod tests {
    use super::{NAMES, name};

    #[test]
    fn is_sorted() {
        assert!(NAMES.is_sorted_by(|a, b| a.0 < b.0));
        assert_eq!(name("violn"), Some("Violin"));
        assert_eq!(name("cbass"), Some("Double Bass"));
        assert_eq!(name("nosuch"), None);
    }
}
