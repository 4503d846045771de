//! From ways of playing as the page gives them to those the acoustic model knows.

use ripieno_acoustics::Ways;
use ripieno_texture::Techniques;

/// Ways that change the tone itself. Tremolo is played, not modelled; so is the beating of a fluttered tone, beside its noise.
pub(crate) fn colouring(techniques: Techniques) -> Ways {
    let pairs = [
        (Techniques::STOPPED, Ways::STOPPED),
        (Techniques::MUTED, Ways::MUTED),
        (Techniques::PLUCKED, Ways::PLUCKED),
        (Techniques::HARMONIC, Ways::HARMONIC),
        (Techniques::AT_BRIDGE, Ways::AT_BRIDGE),
        (Techniques::WITH_WOOD, Ways::WITH_WOOD),
        (Techniques::FLUTTER, Ways::FLUTTER),
    ];
    pairs.into_iter().filter(|(technique, _)| techniques.contains(*technique)).map(|(_, way)| way).collect()
}
