"""Bars 0 to 34: the harbour before dawn, the theme in the horns, in the violins, and the chamber answer."""
from . import tunes as T
from .notation import stamp


def write(p):
    dawn(p)
    horns(p)
    violins(p)
    answers(p)
    second_ending(p)


def dawn(p):
    theme = f"!p {T.A_UP} | {T.A_FIRST.replace('F4h.', '!> F4h. !!')} rq"
    p.put("hn12/1", 0, theme, "melody", "moving", "I.melody", ("A", "Eb", "first half"), say="solo", until=5)
    p.put("ob1", (4, 3), "!p Bb4e( C5) | Eb5q.( F5e G5h) | !< C6q.( Bb5e !! !> Ab5q G5) !! | Ab5q.( G5e F5q D5 | F5h.@) rq",
          "melody", "moving", "I.melody", ("A", "Eb", "second half, to the dominant"), say="solo", until=9)
    p.put("cl/1", 4, "rq !pp 3{ F4e( G4 A4 } Bb4q') rq", "countermelody", "moving", "I.answer",
          ("R", "Bb", "head"), until=5)
    p.put("db", 1, "!pp Eb2w~ | Eb2~ | Eb2~ | Eb2~ | Eb2~ | Eb2 | Eb2h", "pedal", "sustained", "I.pedal")
    p.put("timp", 1, "!pp Eb3w*3~ | Eb3*3~ | Eb3*3~ | Eb3*3~ | Eb3*3~ | Eb3*3", "pedal", "roll", "I.pedal",
          relation="octave", leader="db")
    p.put("db", (7, 2), "D2h | Bb1h.@ rq", "bass", "sustained", "I.bass")
    chords = {"vn2": "!pp Bb3w | Bb3h C4 | Bb3 C4 | Bb3w | Bb3 | C4 | C4h Bb3 | D4h.@ rq",
              "va": "!pp [Eb3,G3]w | [Eb3,G3]h [Eb3,G3] | [Eb3,G3] [Eb3,Ab3] | [D3,F3]w | [Eb3,G3] | [Eb3,Ab3] | "
                    "[F3,Ab3]h [F3,Ab3] | [F3,Ab3]h.@ rq",
              "vc": "!pp Bb2w | Bb2h C3 | Bb2 C3 | Bb2w | Bb2 | C3 | C3h Bb2 | F3h.@ rq"}
    for part, text in chords.items():
        p.put(part + ("/div" if part == "va" else ""), 1, text, "harmony", "sustained", "I.chords",
              relation="rhythm", leader="" if part == "vn2" else "vn2", until=9)
    p.put("vn1", 5, "!pp Bb5w*3~ | Bb5*3~ | Bb5*3~ | Bb5h.*3@ rq", "effect", "tremolo", "I.shimmer",
          say="con sord.", also=("pedal",), until=9)
    arp = "Bb3e( Eb4 G4 Bb4 Eb5 Bb4 G4 Eb4) | C4( Eb4 Ab4 C5 Eb5 C5 Ab4 Eb4) | C4( Eb4 F4 Ab4) Bb3( D4 F4 Ab4)"
    p.put("hp", 5, "!p " + arp, "figuration", "arpeggio", "I.arpeggio", until=8)


def horns(p):
    text = f"!mf {T.A_UP} | {T.A_FIRST} {T.A_UP} | {T.A_SECOND} | Eb4h. rq"
    p.put("hn12/a2 hn34/a2", (8, 3), text, "melody", "moving", "A.melody", ("A", "Eb", "whole"), until=17)
    offbeat = "re xe' x' x' re x' x' x'"
    seconds = ("!p [Eb4,G4]w | [Eb4,G4]h [Eb4,G4]q [D4,F4] | [Eb4,G4]h [Eb4,Ab4] | [D4,F4]w | [Eb4,G4] | "
               "[Eb4,Ab4]h [F4,Ab4]q [Eb4,G4] | [Eb4,Ab4]h [D4,Ab4] | [Eb4,G4]w")
    violas = "!p Bb3w | Bb3h C4q Bb3 | Bb3h C4 | Bb3w | Bb3 | C4h C4q Bb3 | C4h Bb3 | Bb3w"
    p.put("vn2/div", 9, stamp(seconds, offbeat), "rhythm", "repeated", "A.pulse", until=17)
    p.put("va", 9, stamp(violas, offbeat), "rhythm", "repeated", "A.pulse", relation="rhythm", leader="vn2", until=17)
    bass = ("!p Eb3q r Bb2 r | G2 r C3 D3 | Eb3 r Ab2 r | Bb2 r F2 r | Eb3 r Bb2 r | Ab2 r F3 Eb3 | F3 r Bb2 r | "
            "Eb3 r Bb2 r")
    p.put("vc", 9, bass, "bass", "moving", "A.bass", say="pizz.", until=17)
    p.put("db:-1", 9, bass, "bass", "moving", "A.bass", say="pizz.", until=17, line=p.last_line)
    pads = ("!p [G4,Bb4]w | [G4,Bb4]h [Eb4,G4]q [D4,F4] | [Eb4,Bb4]h [Eb4,C5] | [D4,Bb4]w | [Eb4,Bb4] | "
            "[Eb4,C5]h [F4,C5]q [G4,Bb4] | [Ab4,C5]h [Ab4,D5] | [G4,Eb5]h. rq")
    p.put("cl", 9, pads, "harmony", "sustained", "A.chords", until=17)
    answer(p, 12, ("rq !mf 3{ F5e( G5 A5 } Bb5q') rq", "rq !mf 3{ D5e( Eb5 F5 } D5q') rq"), "Bb")
    answer(p, 16, ("rq !mf 3{ Bb5e( C6 D6 } Eb6q') rq", "rq !mf 3{ G5e( Ab5 Bb5 } G5q') rq"), "Eb")
    p.put("timp", 9, "!p Eb3q r r r", "punctuation", "hit", "A.stroke")
    p.put("timp", 12, "!p Bb2q r Bb2 r", "punctuation", "hit", "A.stroke")
    p.put("timp", 16, "!p Eb3q r Bb2 r", "punctuation", "hit", "A.stroke")


def answer(p, bar, texts, key):
    """The answering figure in the gap of the theme: flute, oboe an octave lower, second flute in parallel."""
    upper, lower = texts
    theme = ("R", key, "head")
    p.put("fl1 ob1:-1", bar, upper, "countermelody", "moving", "A.answer", theme, until=bar + 1)
    p.put("fl2", bar, lower, "countermelody", "moving", "A.answer", theme, relation="parallel", leader="fl1",
          until=bar + 1)


def violins(p):
    text = f"!mf {T.A_UP} | {T.A_FIRST} {T.A_UP} | !< {T.A_TO_DOMINANT.replace('Bb4h.', '!! !f Bb4h.')}"
    theme = ("A", "Eb", "whole, to the dominant")
    p.put("vn1:1", (16, 3), text, "melody", "moving", "B.melody", theme, say="senza sord.", until=25)
    line = p.last_line
    body = text.split("|", 1)[1]
    p.put("vn2/all fl1:1", 17, "!mf " + body, "melody", "moving", "B.melody", theme, line=line, until=25)
    counter = ("rq !mp Bb2q( Eb3 F3) | Eb4h( G3q Bb3) | Bb3h( C4) | D4q( C4 Bb3 F3) | G3h( Bb3) | !< Eb4h( C4) | "
               "D4h( Eb4) !! | !mf D4h. rq")
    p.put("vc", 17, counter, "countermelody", "moving", "B.counter", say="arco", until=25)
    p.put("bn/v", 17, counter, "countermelody", "moving", "B.counter", line=p.last_line, until=25)
    bass = ("!p Eb2q r Bb1 r | G1 r C2 D2 | Eb2 r Ab1 r | Bb1 r F1 r | Eb2 r Bb1 r | !< Eb2 r F2 r | Bb1 r F1 r !! | "
            "!mf Bb1 r r r")
    p.put("db", 17, bass, "bass", "moving", "B.bass", until=25)
    quiet = " ".join(w for w in bass.split() if w[0] != "!")
    p.put("bn:1/v", 17, quiet, "bass", "moving", "B.bass", voice=2, line=p.last_line, until=25)
    violas = ("!p [G3,Bb3]w | [G3,Bb3]h [G3,C4]q [F3,Bb3] | [G3,Bb3]h [Ab3,C4] | [F3,Bb3]w | [G3,Bb3] | "
              "!< [G3,C4]h [F3,C4] | [F3,Bb3] [F3,A3] !! | !mf [F3,Bb3]w")
    p.put("va/div", 17, stamp(violas, "re xe' x' x' re x' x' x'"), "rhythm", "repeated", "B.pulse", until=25)
    broken = ("!p [Eb4,G4,Bb4]w | [Eb4,G4,Bb4]h [Eb4,G4,C5]q [D4,F4,Bb4] | [Eb4,G4,Bb4]h [Eb4,Ab4,C5] | "
              "[D4,F4,Bb4]w | [Eb4,G4,Bb4] | !< [Eb4,G4,C5]h [Eb4,F4,C5] | [D4,F4,Bb4] [Eb4,F4,A4] !! | !mf [D4,F4,Bb4]w")
    p.put("cl/1", 17, stamp(broken, "1e( 2 3 2 1 2 3 2)"), "figuration", "arpeggio", "B.arpeggio", until=25)
    p.put("tp12/1", 20, "rq !mf 3{ F4e( G4 A4 } Bb4q') rq", "countermelody", "moving", "B.answer", ("R", "Bb", "head"),
          say="con sord.", until=21)
    p.put("hn12/1", 24, "rq !p 3{ F4e{+} G4{+} A4{+} } Bb4q'{+} rq", "countermelody", "moving", "B.echo",
          ("R", "Bb", "head"), say="stopped", also=("effect",), until=25)
    for bar, note in ((17, "Eb3"), (20, "Bb2"), (24, "Bb2")):
        p.put("timp", bar, f"!p {note}q r r r", "punctuation", "hit", "B.stroke")


def answers(p):
    """Chamber music; the whole is played twice."""
    statements = (("ob1", 25, "3{ F4e( G4 A4) } Bb4q_ D5q.( C5e) | gC5 Bb4q( A4e G4 F4h)", "Bb"),
                  ("cl/1", 27, "3{ G4e( A4 B4) } C5q_ Eb5q.( D5e) | gD5 C5q( Bb4e Ab4 G4h)", "c"),
                  ("bn/1", 29, "3{ Bb3e( C4 D4) } Eb4q_ G4q.( F4e) | Eb4q( D4e C4 Bb3h)", "Eb"))
    for part, bar, text, key in statements:
        p.put(part, bar, "!p " + text, "melody", "moving", "C.melody", ("R", key, "whole"), say="solo", until=bar + 2)
    p.put("fl1", 31, "!p 3{ D5e( E5 F#5) } G5q_ Bb5q.( A5e) | !> A5q( G5e F5 Eb5h) !!", "melody", "moving", "C.melody",
          ("R", "g", "whole"), until=33)
    p.put("fl2", 31, "!p 3{ Bb4e( C5 D5) } D5q_ E5q.( F5e) | !> F5q( Eb5e D5 C5h) !!", "melody", "moving",
          "C.melody", ("R", "g", "whole"), relation="parallel", leader="fl1", until=33)
    chords = {"vn2/div": "!p [D4,F4]w | [Eb4,G4]h [C4,F4] | [Eb4,G4]w | [F4,Ab4]h [D4,G4] | [Eb4,G4]w | "
                         "[Eb4,Ab4]h [D4,F4] | [D4,G4] [C4,E4] | [C4,Eb4]w",
              "va": "!p Bb3w | Bb3h A3 | C4w | C4h B3 | Bb3w | C4h Bb3 | Bb3 Bb3 | A3w"}
    for part, text in chords.items():
        p.put(part, 25, stamp(text, "rq xq rq xq"), "punctuation", "hit", "C.pizzicato",
              say="pizz.", relation="rhythm",
              leader="" if part[:3] == "vn2" else "vn2", until=33)
    p.put("vc", 25, "!p Bb2q r Bb2 r | Eb3 r F3 r | C3 r C3 r | F2 r G2 r | Eb3 r Eb3 r | Ab2 r Bb2 r | G2 r C3 r | F2 r F2 r",
          "bass", "hit", "C.bass", say="pizz.", until=33)


def second_ending(p):
    climb = "!p !< 3{ Eb5e( F5 G5 } Ab5q') 3{ F5e( G5 A5 } C6q') | 3{ F5e( G5 Ab5 } Bb5q') 3{ F5e( G5 Ab5 } Bb5q') !!"
    p.put("fl1 ob1 fl2 cl:-1/a2", 33, climb, "melody", "moving", "C.climb", ("R", "Ab", "head, climbing"), until=35)
    trem = {"vn2/div": "rq !p !< [C5,Eb5]q*3 [C5,F5]h*3 | [D5,F5]*3 [D5,F5]*3 !!",
            "va/div": "rq !p !< [Eb4,Ab4]q*3 [Eb4,A4]h*3 | [F4,Ab4]*3 [F4,Bb4]*3 !!"}
    for part, text in trem.items():
        p.put(part, 33, text, "harmony", "tremolo", "C.tremolo", say="arco", relation="rhythm",
              leader="" if part[:3] == "vn2" else "vn2", until=35)
    p.put("vn1", 34, "rh !mf !< Bb3s( C4 D4 Eb4 F4 G4 Ab4 Bb4) !!", "figuration", "run", "C.run", until=35)
    bass = "!p !< Ab2e Ab2 Ab2 Ab2 A2 A2 A2 A2 | Bb2 Bb2 Bb2 Bb2 Bb2 Bb2 Bb2 Bb2 !!"
    p.put("vc db:-1", 33, bass, "bass", "repeated", "C.bass2", say="arco", until=35)
    p.put("hn12", 34, "!p !< [Bb3,D4]w !!", "harmony", "sustained", "C.horns", say="open", until=35)
    p.put("hn34", 34, "!p !< [F4,Ab4]w !!", "harmony", "sustained", "C.horns", relation="rhythm", leader="hn12", until=35)
    p.put("timp", 34, "!pp !< Bb2w*3 !!", "pedal", "roll", "C.roll", until=35)
    p.put("sd", 34, "!pp !< xw*3 !!", "effect", "roll", "C.snare", until=35)
    p.put("hp", 34, "rh !f Bb3h{gliss} | Bb6q r r r", "effect", "glissando", "C.gliss", until=36)
