"""Bars 81 to 108: the chorale as a single stack, the theme in full dress, the coda."""
from . import tunes as T
from .notation import stamp

SOPRANO = ("!ff Ab4h_ C5_ | Eb5q_ Db5_ C5_ Bb4_ | C5_ Bb4_ Ab4_ F4_ | Bb4h. r4 | Ab4h_ C5_ | F5q_ Eb5_ Db5_ C5_ | "
           "C5h_ Eb5_ | D5h. r4")
ALTO = ("!ff Eb4h_ Ab4_ | Ab4q_ Bb4_ Ab4_ Eb4_ | Eb4_ Eb4_ F4_ C4_ | Eb4h. r4 | Eb4h_ Ab4_ | Ab4q_ Ab4_ F4_ Eb4_ | "
        "F4h_ Eb4_ | F4h. r4")
TENOR = ("!ff C4h_ F4_ | Eb4q_ F4_ Eb4_ Bb3_ | Ab3_ Bb3_ C4_ Ab3_ | G3h. r4 | C4h_ F4_ | Db4q_ Eb4_ Bb3_ C4_ | "
         "Ab3h_ Bb3_ | Bb3h. r4")
BASS = ("!ff Ab2h_ F2_ | C3q_ Db3_ Eb3_ G2_ | Ab2_ G2_ F2_ F2_ | Eb2h. r4 | Ab2h_ F2_ | Db3q_ C3_ Bb2_ Ab2_ | F2h_ G2_ | "
        "Bb2h. r4")
SOPRANO, ALTO, TENOR, BASS = (t.replace("r4", "rq") for t in (SOPRANO, ALTO, TENOR, BASS))
FANFARE = "xq> 3{ xe' x' x' } xq> xq>"


def both(low, high):
    """Two voices of the chorale as chords on one staff."""
    out = []
    for a, b in zip(low.split(), high.split()):
        out.append(a if a[0] in "!r|" else f"[{a[:3 if a[1] == 'b' else 2]},{b[:3 if b[1] == 'b' else 2]}]" +
                   a[3 if a[1] == "b" else 2:])
    return " ".join(out)


def write(p):
    chorale(p)
    recapitulation(p)
    extension_and_coda(p)
    coda_brass(p)
    coda_rest(p)


def chorale(p):
    layer, theme = "K.chorale", ("A", "Ab", "chorale")
    p.put("tp12/a2 ob1 fl1:1 fl2:2 vn1:1", 81, SOPRANO, "melody", "moving", layer, theme, until=89)
    p.put("hn56:-1/a2", 81, SOPRANO, "melody", "moving", layer, theme, say="ord.", line=p.last_line, until=89)
    lead = dict(relation="rhythm", leader="tp12", until=89)
    p.put("tp3", 81, ALTO, "harmony", "moving", layer, **lead)
    alto = p.last_line
    p.put("ob2 vn2:1", 81, ALTO, "harmony", "moving", layer, line=alto, until=89)
    inner = both(TENOR, ALTO)
    p.put("hn12", 81, inner, "harmony", "moving", layer, **lead)
    line = p.last_line
    p.put("hn34 tb12 cl", 81, inner, "harmony", "moving", layer, line=line, until=89)
    p.put("va/all", 81, TENOR, "harmony", "moving", layer, **lead)
    p.put("tba", 81, BASS, "bass", "moving", layer, **lead)
    p.put("btb bn/a2 vc db", 81, BASS, "bass", "moving", layer, line=p.last_line, until=89)
    for bar in (81, 85):
        p.put("cym", bar, "!ff xh> rh", "punctuation", "hit", "K.crash")
        p.put("bd", bar, "!ff x1h> rh", "punctuation", "hit", "K.crash", relation="rhythm", leader="cym")
    p.put("timp", 84, "!f Eb3h.*3 3{ Eb3e> Eb3> Eb3> }", "punctuation", "roll", "K.drum")
    p.put("timp", 88, "!f Bb2h.*3 3{ Bb2e> Bb2> Bb2> }", "punctuation", "roll", "K.drum")


def recapitulation(p):
    theme = ("A", "Eb", "whole, extended")
    more = "Eb4h. Bb3e C4 | G4q. F4e C5q Bb4 | Ab4q. G4e F4q Ab4 | G4h> F4> | Eb4h.> rq"
    body = f"{T.A_FIRST_LOUD} {T.A_UP_LOUD} | {T.A_SECOND_LOUD} | {more}"
    p.put("vn1:1 vn2/all fl1:1 fl2:2 ob1:1 ob2", (88, 3), f"!ff {T.A_UP_LOUD} | {body}", "melody", "moving", "L.melody", theme,
          until=101)
    line = p.last_line
    p.put("glk:2", 89, "!f " + body, "melody", "moving", "L.melody", theme, line=line, until=101)
    low = " ".join(w if w[0] in "!r|" else _down(w) for w in T.A_COUNTER.split())
    counter = f"!ff {low} | G3h. rq | Eb4h> Ab3> | C4> Bb3> | Eb4> Ab3> | G3h.> rq"
    p.put("tb12/a2 hn56/a2", 89, counter, "countermelody", "moving", "L.counter", until=101)
    bass = f"!ff {T.A_BASS} | Eb2h. rq | C3h> Ab2> | F2> Bb2> | Bb2> Bb2> | Eb2h.> rq"
    p.put("tba btb bn:1/a2 vc db", 89, bass, "bass", "moving", "L.bass", until=101)
    upper = ("!f [Eb4,G4]w | [Eb4,G4]h [Eb4,G4]q [D4,F4] | [Eb4,G4]h [Eb4,Ab4] | [D4,F4]w | [Eb4,G4] | "
             "[Eb4,Ab4]h [F4,Ab4]q [Eb4,G4] | [Eb4,Ab4]h [D4,Ab4] | [Eb4,G4]w | [Eb4,G4]h [Eb4,Ab4] | "
             "[Eb4,Ab4] [D4,Ab4] | [Eb4,G4] [D4,F4] | [Eb4,G4]h. rq")
    lower = ("!f [G3,Bb3]w | [G3,Bb3]h [G3,C4]q [F3,Bb3] | [G3,Bb3]h [Ab3,C4] | [F3,Bb3]w | [G3,Bb3] | "
             "[Ab3,C4]h [Ab3,C4]q [G3,Bb3] | [Ab3,C4]h [F3,Bb3] | [G3,Bb3]w | [G3,C4]h [Ab3,C4] | [Ab3,C4] [F3,Bb3] | "
             "[G3,Bb3] [F3,Bb3] | [G3,Bb3]h. rq")
    p.put("hn12", 89, upper, "harmony", "sustained", "L.chords", until=101)
    p.put("hn34", 89, lower, "harmony", "sustained", "L.chords", relation="rhythm", leader="hn12", until=101)
    pair = ("!ff [G4,Bb4]w | [G4,Bb4]h [G4,C5]q [F4,Bb4] | [G4,Bb4]h [Ab4,C5] | [F4,Bb4]w | [G4,Bb4] | "
            "[Ab4,C5]h [Ab4,C5]q [G4,Bb4] | [Ab4,C5]h [Ab4,D5] | [G4,Eb5]w | [G4,Eb5]h [Ab4,C5] | [Ab4,C5] [Ab4,D5] | "
            "[Bb4,Eb5] [Bb4,D5]")
    third = ("!ff Eb4w | Eb4h Eb4q D4 | Eb4w | D4 | Eb4 | Eb4h F4q Eb4 | F4h F4 | Eb4w | Eb4 | F4h F4 | G4 F4")
    p.put("tp12", 89, stamp(pair, FANFARE) + " | [Bb4,Eb5]h.> rq", "rhythm", "repeated", "L.fanfare", until=101)
    p.put("tp3", 89, stamp(third, FANFARE) + " | G4h.> rq", "rhythm", "repeated", "L.fanfare", relation="rhythm",
          leader="tp12", until=101)
    p.put("sd", 89, "!ff " + " | ".join(["xq> 3{ xe x x } xq> xq>"] * 11) + " | xh.> rq", "rhythm", "repeated",
          "L.fanfare", relation="rhythm", leader="tp12", until=101)
    waves = ("!f [Eb4,G4,Bb4]w | [Eb4,G4,Bb4]h [Eb4,G4,C5]q [D4,F4,Bb4] | [Eb4,G4,Bb4]h [Eb4,Ab4,C5] | [D4,F4,Bb4]w | "
             "[Eb4,G4,Bb4] | [Eb4,Ab4,C5]h [F4,Ab4,C5]q [Eb4,G4,Bb4] | [Eb4,Ab4,C5]h [D4,F4,Ab4] | [Eb4,G4,Bb4]w | "
             "[Eb4,G4,C5]h [Eb4,Ab4,C5] | [F4,Ab4,C5] [D4,F4,Bb4] | [Eb4,G4,Bb4] [D4,F4,Bb4]")
    text = stamp(waves, "1s( 2 3 4 3 2 1 2) 3( 2 1 2 3 4 3 2)") + " | [Bb3,G4]h.> rq"
    p.put("va", 89, text, "figuration", "arpeggio", "L.waves", until=101)
    p.put("cl/a2", 89, text.replace("[Bb3,G4]", "G4"), "figuration", "arpeggio", "L.waves", relation="unison",
          leader="va", until=101)


def _down(word):
    at = 2 if word[1] == "b" else 1
    return word[:at] + str(int(word[at]) - 1) + word[at + 1:]


def extension_and_coda(p):
    """Drums, cymbals and harp from the return of the theme to bar 100."""
    for bar in (89, 93, 97):
        p.put("cym", bar, "!ff xh> rh", "punctuation", "hit", "L.crash")
    for bar in range(89, 100, 2):
        p.put("bd", bar, "!f x1q> r r r", "punctuation", "hit", "L.crash", relation="rhythm", leader="cym")
    drum = ("!ff Eb3q r Bb2 Bb2 | G2 r r r | Eb3 r Eb3 r | Bb2 3{ Bb2e Bb2 Bb2 } Bb2q r | Eb3 r Bb2 Bb2 | Eb3 r r r | r r Bb2 Bb2 | "
            "Eb3 3{ Eb3e Eb3 Eb3 } Eb3q r | Eb3 r Eb3 r | r r Bb2 Bb2 | Bb2 r 3{ Bb2e Bb2 Bb2 } Bb2q | Eb3h.> rq")
    p.put("timp", 89, drum, "rhythm", "repeated", "L.drum", until=101)
    harp = ("[Eb4,G4,Bb4,Eb5]", "[Eb4,G4,Bb4,Eb5]", "[Eb4,G4,Bb4,Eb5]", "[D4,F4,Bb4,D5]", "[Eb4,G4,Bb4,Eb5]",
            "[Eb4,Ab4,C5,Eb5]", "[F4,Ab4,C5,Eb5]", "[Eb4,G4,Bb4,Eb5]", "[Eb4,G4,C5,Eb5]", "[F4,Ab4,C5,F5]",
            "[Eb4,G4,Bb4,Eb5]", "[Eb4,G4,Bb4,Eb5]")
    p.put("hp", 89, "!ff " + " | ".join(f"{c}q{{arp}} r r r" for c in harp), "punctuation", "hit", "L.harp", until=101)


CODA_LINE = "3{ Bb4e( C5 D5) } Eb5q' G5q.> F5e | Eb5q> D5e C5 Bb4h"


def coda_brass(p):
    theme = ("R", "Eb", "whole")
    top = "!ff 3{ [G4,Bb4]e [Ab4,C5] [Bb4,D5] } [Bb4,Eb5]q' [Bb4,G5]q.> [Ab4,F5]e | [Ab4,Eb5]q> [F4,D5]e [Ab4,C5] [F4,Bb4]h"
    p.put("tp12", 103, top, "melody", "moving", "M.answer", theme, until=105)
    p.put("tp3", 103, "!ff 3{ Eb4e Eb4 F4 } G4q' Eb4q.> D4e | C4q> Bb3e C4 D4h", "melody", "moving", "M.answer", theme,
          relation="parallel", leader="tp12", until=105)
    p.put("hn12/a2 hn34/a2 hn56/a2", 105, "!ff !< Gb4h.> Ab4q> | Cb5h.> Db5q> !! | !fff Eb5q^", "melody", "moving", "M.call",
          ("A", "Cb", "head, broadened"))
    bass = "!ff !< Cb3w> | Ab2> !! | !fff Eb2q^ rq Eb2^ 3{ Eb2e> Eb2> Eb2> } | Eb2w>@"
    p.put("tba btb bn/a2 vc db", 105, bass, "bass", "sustained", "M.bass", also=("punctuation",), until=109)
    hit = lambda c: f"!fff {c}q^ rq {c}^ 3{{ {c}e> {c}> {c}> }} | {c}w>@"
    lead = dict(relation="rhythm", leader="tp12")
    p.put("tp12", 105, "!ff !< [Eb4,Gb4]w> | [Eb4,Ab4]> !!", "harmony", "sustained", "M.chords")
    p.put("tp3", 105, "!ff !< Cb4w> | Cb4> !!", "harmony", "sustained", "M.chords", **lead)
    p.put("tb12", 105, "!ff !< [Gb3,Eb4]w> | [Ab3,Eb4]> !!", "harmony", "sustained", "M.chords", **lead)
    p.put("tp12", 107, hit("[Bb4,Eb5]"), "punctuation", "hit", "M.hits")
    for part, chord in {"tp3": "G4", "tb12": "[Bb3,Eb4]"}.items():
        p.put(part, 107, hit(chord), "punctuation", "hit", "M.hits", until=109, **lead)
    # the call of the horns lands on the first of the hits
    for part, c in {"hn12": "[Eb4,Bb4]", "hn34": "[G3,Bb3]", "hn56": "[Bb3,G4]"}.items():
        p.put(part, 107, f"rh {c}q^ 3{{ {c}e> {c}> {c}> }} | {c}w>@", "punctuation", "hit", "M.hits", until=109, **lead)
    p.put("hn12", 101, "!f [G3,Eb4]w | [Ab3,Eb4]h [Ab3,D4] | [G3,Eb4]w | [Ab3,Eb4]h [Ab3,D4]", "harmony", "sustained",
          "M.horns", until=105)
    p.put("hn34", 101, "!f [G3,Bb3]w | [Ab3,C4]h [F3,Bb3] | [G3,Bb3]w | [Ab3,C4]h [F3,Bb3]", "harmony", "sustained",
          "M.horns", until=105, relation="rhythm", leader="hn12")


def coda_rest(p):
    theme = ("R", "Eb", "whole")
    p.put("fl1:1 fl2:2 ob1 ob2 cl/a2", 101, "!ff " + CODA_LINE, "melody", "moving", "M.answer", theme, until=103)
    p.put("glk:2", 101, "!f " + CODA_LINE, "melody", "moving", "M.answer", theme, line=p.last_line, until=103)
    pulse = {"vn1/div": "!f [G4,Eb5]w | [Ab4,Eb5]h [Ab4,D5] | [G4,Eb5]w | [Ab4,Eb5]h [Ab4,D5]",
             "vn2/div": "!f [Bb3,Eb4]w | [C4,Eb4]h [Bb3,F4] | [Bb3,Eb4]w | [C4,Eb4]h [Bb3,F4]",
             "va/div": "!f [G3,Bb3]w | [Ab3,C4]h [F3,Bb3] | [G3,Bb3]w | [Ab3,C4]h [F3,Bb3]"}
    for part, text in pulse.items():
        p.put(part, 101, stamp(text, "xe' x' x' x' x' x' x' x'"), "rhythm", "repeated", "M.pulse", relation="rhythm",
              leader="" if part == "vn1/div" else "vn1", until=105)
    pedal = stamp("!f Eb2w | Eb2 | Eb2 | Eb2", "xe x x x x x x x")
    p.put("vc db", 101, pedal, "pedal", "repeated", "M.pedal", until=105)
    p.put("timp", 101, "!f Eb3w*3~ | Eb3*3~ | Eb3*3~ | Eb3*3", "pedal", "roll", "M.pedal", relation="octave",
          leader="vc", until=105)
    p.put("bn/a2", 101, "!f Eb2w~ | Eb2 | Eb2~ | Eb2", "pedal", "sustained", "M.pedal", relation="unison", leader="vc", until=105)
    trem = {"vn1/div": "!ff !< [Gb5,Eb6]w*3 | [Ab5,Eb6]*3 !!", "vn2/div": "!ff !< [Cb5,Eb5]w*3 | [Cb5,Eb5]*3 !!",
            "va/div": "!ff !< [Gb4,Cb5]w*3 | [Ab4,Cb5]*3 !!", "fl1:1": "!ff !< Eb5w{tr} | Eb5{tr} !!",
            "fl2:1": "!ff !< Gb5w{tr} | Ab5{tr} !!", "ob1": "!ff !< Gb5w | Ab5 !!", "ob2": "!ff !< Eb5w | Eb5 !!",
            "cl": "!ff !< [Gb4,Cb5]w | [Ab4,Cb5] !!"}
    for part, text in trem.items():
        manner = "tremolo" if part[:2] in ("vn", "va") else "sustained"
        p.put(part, 105, text, "harmony", manner, "M.shimmer", relation="rhythm",
              leader="" if part == "vn1/div" else "vn1", until=107)
    hits = {"fl1": "Eb6", "fl2": "G6", "ob1": "G5", "ob2": "Eb5", "cl": "[Bb4,Eb5]", "vn1": "[Bb4,G5,Eb6]",
            "vn2": "[Bb3,G4,Eb5]", "va": "[Eb3,Bb3,G4]"}
    for part, c in hits.items():
        strings = part in ("vn1", "vn2", "va")
        who = "/div" if strings else ""
        p.put(part + who, 107, f"!fff {c}q^ rq {c}^ 3{{ {c}e> {c}> {c}> }} | {c}w>@", "punctuation", "hit", "M.hits",
              relation="rhythm", leader="tp12", say="div. a 3" if strings else None, until=109)
    p.put("timp", 105, "!ff !< Eb3w*3~ | Eb3*3 !! | !fff Eb3q^ rq Eb3^ 3{ Eb3e> Eb3> Eb3> } | Eb3w*3>@", "punctuation", "roll",
          "M.drum", until=109)
    p.put("sd", 107, "!fff xq^ rq x^ 3{ xe> x> x> } | xw*3@", "punctuation", "hit", "M.hits", relation="rhythm",
          leader="tp12", until=109)
    p.put("cym", 105, "!mf !< xw*3~ | x*3 !! | !fff xq^ r r r | xw^@", "punctuation", "hit", "M.crash", until=109)
    p.put("bd", 107, "!fff x1q^ rq x1^ rq | x1w^@", "punctuation", "hit", "M.hits", relation="rhythm", leader="tp12",
          until=109)
    p.put("hp", 106, "rh !ff Eb3h{gliss} | Eb6q^ r r r", "effect", "glissando", "M.gliss", until=108)
    chord = {1: "[Eb4,G4,Bb4,Eb5]", 2: "[Eb2,Bb2,Eb3]"}
    for staff, tones in chord.items():
        p.put("hp", 108, f"!fff {tones}w{{arp}}@" if staff == 1 else f"{tones}w{{arp}}@", "punctuation", "hit", "M.hits",
              staff=staff, relation="rhythm", leader="tp12", until=109)
