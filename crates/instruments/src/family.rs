//! Families and sections.

use std::fmt;
use std::str::FromStr;

/// Writes an enum whose variants are spelled as the data files and reports spell them.
macro_rules! named {
    ($(#[$meta:meta])* $name:ident { $($(#[$inner:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum $name { $($(#[$inner])* $variant),+ }

        impl $name {
            /// All of them, in score order.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The name as reports print it, in English and lower case.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(self.name())
            }
        }

        impl FromStr for $name {
            type Err = String;

            fn from_str(text: &str) -> Result<Self, String> {
                Self::ALL
                    .iter()
                    .copied()
                    .find(|item| item.name() == text)
                    .ok_or_else(|| format!("“{text}” is not one of the names of {}", stringify!($name)))
            }
        }
    };
}

named! {
    /// A family of instruments.
    Family {
        /// Flutes, oboes, clarinets, saxophones, bassoons and their early relatives.
        Woodwind = "woodwind",
        /// Horns to tubas, cornetts and serpents too, as in score order.
        Brass = "brass",
        /// Timpani, untuned and tuned percussion.
        Percussion = "percussion",
        /// Harp, guitars, lutes, zithers.
        Plucked = "plucked",
        /// Whatever is played from a keyboard, and the basso continuo.
        Keyboard = "keyboard",
        /// Synthesisers, tape, click.
        Electronic = "electronic",
        /// Solo voices and choirs.
        Voice = "voice",
        /// Bowed strings.
        Strings = "strings",
        /// A whole orchestra on one part, or nobody knows what.
        Other = "other",
    }
}

named! {
    /// The players of one kind of instrument: the horns. A piccolo sits in the flutes, an English horn in the oboes.
    #[allow(missing_docs)] // each is named by its text
    Section {
        Flutes = "flutes",
        Recorders = "recorders",
        Whistles = "whistles",
        Oboes = "oboes",
        OtherReeds = "other reeds",
        Clarinets = "clarinets",
        Saxophones = "saxophones",
        Bassoons = "bassoons",
        Harmonicas = "harmonicas",
        Bagpipes = "bagpipes",
        Woodwinds = "woodwinds",
        Horns = "horns",
        WagnerTubas = "wagner tubas",
        Trumpets = "trumpets",
        Cornets = "cornets",
        Flugelhorns = "flugelhorns",
        Saxhorns = "saxhorns",
        Euphoniums = "euphoniums",
        Cornetts = "cornetts",
        Trombones = "trombones",
        Sackbuts = "sackbuts",
        Tubas = "tubas",
        OtherBrass = "other brass",
        Brass = "brass",
        Timpani = "timpani",
        Percussion = "percussion",
        TunedPercussion = "tuned percussion",
        Harps = "harps",
        Guitars = "guitars",
        Mandolins = "mandolins",
        Lutes = "lutes",
        Zithers = "zithers",
        Celestas = "celestas",
        Pianos = "pianos",
        Keyboards = "keyboards",
        Harpsichords = "harpsichords",
        Organs = "organs",
        Accordions = "accordions",
        Electronics = "electronics",
        Synthesisers = "synthesisers",
        Voices = "voices",
        Sopranos = "sopranos",
        Altos = "altos",
        Tenors = "tenors",
        Basses = "basses",
        Choirs = "choirs",
        Violins = "violins",
        Violas = "violas",
        Viols = "viols",
        Cellos = "cellos",
        DoubleBasses = "double basses",
        Strings = "strings",
        OtherBowed = "other bowed strings",
        Continuo = "continuo",
        Others = "others",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_read_back() {
        for family in Family::ALL {
            assert_eq!(family.to_string().parse(), Ok(*family));
        }
        for section in Section::ALL {
            assert_eq!(section.to_string().parse(), Ok(*section));
        }
        assert!("hornets".parse::<Section>().is_err());
    }
}
