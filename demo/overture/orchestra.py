"""The orchestra of the overture: one row per staff system, in score order."""
from dataclasses import dataclass


@dataclass(frozen=True)
class Instrument:
    """What one player of a part may hold. `sound` is a standard sound id, `program` counts from 1."""
    name: str
    abbreviation: str
    sound: str
    program: int
    transpose: tuple = (0, 0)    # written minus sounding: (diatonic steps, semitones)
    fifths: int = 0              # added to the concert key signature
    unpitched: int = 0           # percussion key, counted from 1


@dataclass(frozen=True)
class Part:
    id: str
    name: str
    abbreviation: str
    section: str                 # players of one instrument
    family: str
    players: int                 # chairs; 0 = a string section
    instruments: tuple
    clefs: tuple = (("G", 2),)
    key: bool = True             # False: written without key signature
    lines: int = 5


FLUTE = Instrument("Flute", "Fl.", "wind.flutes.flute", 74)
PICCOLO = Instrument("Piccolo", "Picc.", "wind.flutes.flute.piccolo", 73, (-7, -12))
OBOE = Instrument("Oboe", "Ob.", "wind.reed.oboe", 69)
ENGLISH_HORN = Instrument("English horn", "E. h.", "wind.reed.english-horn", 70, (4, 7), 1)
CLARINET = Instrument("Clarinet in B\u266d", "Cl.", "wind.reed.clarinet.bflat", 72, (1, 2), 2)
BASSOON = Instrument("Bassoon", "Bn.", "wind.reed.bassoon", 71)
HORN = Instrument("Horn in F", "Hn.", "brass.french-horn", 61, (4, 7), 1)
TRUMPET = Instrument("Trumpet in B\u266d", "Tpt.", "brass.trumpet.bflat", 57, (1, 2), 2)
TROMBONE = Instrument("Trombone", "Tbn.", "brass.trombone.tenor", 58)
BASS_TROMBONE = Instrument("Bass trombone", "B. tbn.", "brass.trombone.bass", 58)
TUBA = Instrument("Tuba", "Tba.", "brass.tuba", 59)
TIMPANI = Instrument("Timpani", "Timp.", "drum.timpani", 48)
SNARE = Instrument("Snare drum", "S. d.", "drum.snare-drum", 1, unpitched=39)
CYMBALS = Instrument("Cymbals", "Cym.", "metal.cymbal.crash", 1, unpitched=50)
BASS_DRUM = Instrument("Bass drum", "B. d.", "drum.bass-drum", 1, unpitched=36)
TAM_TAM = Instrument("Tam-tam", "T.-t.", "metal.tamtam", 1, unpitched=53)
GLOCKENSPIEL = Instrument("Glockenspiel", "Glock.", "pitched-percussion.glockenspiel", 10, (-14, -24))
HARP = Instrument("Harp", "Hp.", "pluck.harp", 47)
VIOLIN = Instrument("Violin", "Vln.", "strings.violin", 49)
VIOLA = Instrument("Viola", "Vla.", "strings.viola", 49)
CELLO = Instrument("Violoncello", "Vc.", "strings.cello", 49)
BASS = Instrument("Double bass", "Db.", "strings.contrabass", 49, (7, 12))

BASS_CLEF = (("F", 4),)
LINE = (("percussion", None),)
W, B, R, H, S = "woodwind", "brass", "percussion", "harp", "strings"

PARTS = (
    Part("fl1", "Flute 1", "Fl. 1", "flutes", W, 1, (FLUTE,)),
    Part("fl2", "Flute 2 (Piccolo)", "Fl. 2", "flutes", W, 1, (FLUTE, PICCOLO)),
    Part("ob1", "Oboe 1", "Ob. 1", "oboes", W, 1, (OBOE,)),
    Part("ob2", "Oboe 2 (English horn)", "Ob. 2", "oboes", W, 1, (OBOE, ENGLISH_HORN)),
    Part("cl", "Clarinet 1.2 in B\u266d", "Cl. 1.2", "clarinets", W, 2, (CLARINET,)),
    Part("bn", "Bassoon 1.2", "Bn. 1.2", "bassoons", W, 2, (BASSOON,), BASS_CLEF),
    Part("hn12", "Horn 1.2 in F", "Hn. 1.2", "horns", B, 2, (HORN,)),
    Part("hn34", "Horn 3.4 in F", "Hn. 3.4", "horns", B, 2, (HORN,)),
    Part("hn56", "Horn 5.6 in F", "Hn. 5.6", "horns", B, 2, (HORN,)),
    Part("tp12", "Trumpet 1.2 in B\u266d", "Tpt. 1.2", "trumpets", B, 2, (TRUMPET,)),
    Part("tp3", "Trumpet 3 in B\u266d", "Tpt. 3", "trumpets", B, 1, (TRUMPET,)),
    Part("tb12", "Trombone 1.2", "Tbn. 1.2", "trombones", B, 2, (TROMBONE,), BASS_CLEF),
    Part("btb", "Bass trombone", "B. tbn.", "trombones", B, 1, (BASS_TROMBONE,), BASS_CLEF),
    Part("tba", "Tuba", "Tba.", "tuba", B, 1, (TUBA,), BASS_CLEF),
    Part("timp", "Timpani", "Timp.", "timpani", R, 1, (TIMPANI,), BASS_CLEF, key=False),
    Part("sd", "Snare drum", "S. d.", "snare drum", R, 1, (SNARE,), LINE, key=False, lines=1),
    Part("cym", "Cymbals", "Cym.", "cymbals", R, 1, (CYMBALS,), LINE, key=False, lines=1),
    Part("bd", "Bass drum and Tam-tam", "B. d. T.-t.", "bass drum and tam-tam", R, 1, (BASS_DRUM, TAM_TAM), LINE,
         key=False, lines=1),
    Part("glk", "Glockenspiel", "Glock.", "glockenspiel", R, 1, (GLOCKENSPIEL,)),
    Part("hp", "Harp", "Hp.", "harp", H, 1, (HARP,), (("G", 2), ("F", 4))),
    Part("vn1", "Violin I", "Vln. I", "violins I", S, 0, (VIOLIN,)),
    Part("vn2", "Violin II", "Vln. II", "violins II", S, 0, (VIOLIN,)),
    Part("va", "Viola", "Vla.", "violas", S, 0, (VIOLA,), (("C", 3),)),
    Part("vc", "Violoncello", "Vc.", "violoncellos", S, 0, (CELLO,), BASS_CLEF),
    Part("db", "Double bass", "Db.", "double basses", S, 0, (BASS,), BASS_CLEF),
)
BY_ID = {part.id: part for part in PARTS}
SECTIONS = tuple(dict.fromkeys(part.section for part in PARTS))
BRASS = ("horns", "trumpets", "trombones", "tuba")
