//! From ways of playing as the page gives them to those the acoustic model knows.

use ripieno_acoustics::Ways;
use ripieno_texture::Techniques;

/// Ways that change the tone itself. Tremolo is played, not modelled; so is the beating of a fluttered tone, beside its noise.
pub(crate) fn colouring(techniques: Techniques) -> Ways {
    Ways::of_names(techniques.iter_names().map(|(name, _)| name)) - Ways::TREMOLO
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_way_of_the_model_is_reached() {
        assert_eq!(colouring(Techniques::all()), Ways::all() - Ways::TREMOLO);
        assert_eq!(colouring(Techniques::SLIDE | Techniques::TRILL), Ways::empty());
    }
}
