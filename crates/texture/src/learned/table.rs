//! The table of features: name, unit, meaning; one row a number the model reads of each part in each bar.

macro_rules! features {
    ($($name:ident $unit:literal $meaning:literal;)*) => {
        /// Which feature; the order is the model's.
        // The names are those of the model file; two columns are never filled.
        #[allow(non_camel_case_types, dead_code)]
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub(super) enum Feature { $($name),* }

        /// Name, unit and meaning of every feature, in the model's order.
        pub(super) const TABLE: &[(&str, &str, &str)] = &[$((stringify!($name), $unit, $meaning)),*];
    };
}

features! {
    active_share "share" "bars of the piece in which the part sounds";
    arp "share" "pairs of intervals wider than a tone that go on in one direction";
    b_dens "per beat" "attacks of the busiest part of the bar";
    bass_dbl "0/1" "is the lowest attacking part or doubles it";
    chord "notes" "begun together";
    cover "share" "of the bar filled with sound";
    cover_pct "rank 0-1" "of cover in the piece";
    ct_freq "log2" "cells of the piece with this rhythm and contour";
    ct_lag1 "0-2" "the bars next to this one with the same rhythm and contour";
    ct_lag2 "0-2" "the same, two bars away";
    ct_lag4 "0-2" "the same, four bars away";
    dbl "parts" "that double it at the unison or octaves";
    dbl_above "parts" "doublers more than a tritone higher";
    dbl_below "parts" "doublers more than a tritone lower";
    dbl_fam "parts" "doublers of another family";
    dbl_uni "parts" "doublers at the unison";
    dens "per beat" "attacks";
    dens_max "share" "of the busiest part's attacks";
    dens_pct "rank 0-1" "of dens in the piece";
    dens_rank "share" "of the attacking parts that attack more often";
    dens_rel "log2" "attacks over the mean of the attacking parts";
    dot "" "kept for the model's width; never defined";
    dur_rel "log2" "mean length over the mean of the attacking parts";
    ens_cov "share" "of the bar's moments of attack that are its own";
    first_pos "share" "of the bar before the first attack";
    fn_family "parts" "of its family that sound";
    frank "parts" "of its family above it";
    frank_rel "share" "the same";
    held_in "0/1" "a note comes over the barline";
    hi_gap "semitones" "below the highest sounding note";
    hi_moving "semitones" "below the highest moving part; of moving parts";
    hi_share "share" "of its time on top";
    ioi_ent "bits" "of the times between attacks";
    ioi_mean "log2 crotchets" "between attacks";
    ioi_min "log2 crotchets" "shortest";
    ioi_rel "log2" "ioi_mean over the mean of the attacking parts";
    iv_ent "bits" "of the intervals";
    ivent_rank "share" "of the attacking parts with more of it";
    last_gap "share" "of the bar after the last note";
    layer_dens_rank "share" "of the layers that attack more often";
    layer_hi "0/1" "its layer is the highest";
    layer_lo "0/1" "its layer is the lowest";
    layer_moving "share" "of the layer's attacks that change key";
    leap "share" "intervals beyond a third";
    legato "share" "of the time between attacks that sounds";
    line_hi "semitones" "from the highest line";
    line_n "parts" "on its line, doublers together";
    line_rank "share" "of the lines above";
    line_size_rel "share" "of the attacking parts on its line";
    lo_gap "semitones" "above the lowest sounding note";
    lo_share "share" "of its time at the bottom";
    longest_last "" "kept for the model's width; never defined";
    mate_above "0/1" "a desk mate lies higher";
    mate_dbl "0/1" "a desk mate doubles it";
    mate_rh "0/1" "a desk mate has its rhythm";
    maxdur "log2 crotchets" "longest note";
    maxleap "semitones" "widest interval";
    mdur "log2 crotchets" "mean note";
    n_brass "parts" "brass that sounds";
    n_ioi "count" "different times between attacks";
    n_layers "count" "sets of parts with one rhythm";
    n_lines "count" "lines, doublers together";
    n_on "count" "attacks";
    n_parts "parts" "that sound";
    n_parts_pct "rank 0-1" "of n_parts in the piece";
    n_pc "count" "pitch classes attacked";
    n_pitch "count" "keys attacked";
    n_strings "parts" "strings that sound";
    n_woodwind "parts" "woodwind that sounds";
    net "semitones" "mean interval with its sign";
    np_rank "share" "of the attacking parts with more keys";
    offbeat "share" "attacks half-way between beats";
    on_start "0/1" "attacks with the bar";
    onbeat "share" "attacks on beats";
    only_moving "lines" "that move in the bar";
    osc "share" "attacks that return to the last but one";
    own_pos "ratio" "place between the part's own 10th and 90th percentile";
    p_ent "bits" "of the keys";
    p_ent_pct "rank 0-1" "of p_ent in the piece";
    par "parts" "that move in parallel";
    pc_bass "share" "of its time on the bass's pitch class";
    pc_n "count" "pitch classes that matter in the bar";
    pc_sal "share" "weight of its pitch classes in the bar";
    pc_top3 "share" "of its time on the three main pitch classes";
    pitch "key" "mean of its highest notes";
    pitch_pct "rank 0-1" "of pitch in the piece";
    pitch_vs_ens "semitones" "over the mean of all parts";
    pk_lag1 "0-2" "the bars next to this one with the same rhythm and keys";
    pk_lag2 "0-2" "the same, two bars away";
    pk_lag4 "0-2" "the same, four bars away";
    range "semitones" "from lowest to highest attack";
    rank_above "parts" "above it";
    rank_rel "share" "the same";
    rep "share" "intervals that repeat the key";
    rh_freq "log2" "cells of the piece with this rhythm";
    rh_lag1 "0-2" "the bars next to this one with the same rhythm";
    rh_lag2 "0-2" "the same, two bars away";
    rh_lag4 "0-2" "the same, four bars away";
    rng_rank "share" "of the attacking parts with more range";
    run "intervals" "longest stepwise run in one direction";
    runlen "bars" "of unbroken playing";
    same_ioi "share" "of the commonest time between attacks";
    same_rh "parts" "with its rhythm";
    same_rh_rel "share" "the same";
    samepc "share" "of sounding parts on its pitch class";
    samepc_n "parts" "the same";
    second "0/1" "a second or fourth chair";
    since "bars" "since it entered";
    step "share" "intervals of a semitone or tone";
    str_dbl "parts" "strings that double it";
    sync "share" "attacks off the beat held over the next";
    sync_max "share" "of its attacks with the nearest part";
    sync_mean "share" "of its attacks with another part";
    th_far "log2" "statements of its figures eight bars or more away";
    th_far_rel "log2" "the same, from the most in the bar";
    th_near "log2" "statements of its figures nearby";
    th_near_rel "log2" "the same, from the most in the bar";
    th_parts "log2" "parts that have its figures";
    third "share" "intervals of a third";
    turns "share" "changes of direction";
    uni_n "parts" "at its key";
    uniq "share" "attacks that are its alone";
    until "bars" "until it rests";
    xinst "sections" "on its line";
}
