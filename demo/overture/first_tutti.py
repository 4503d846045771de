"""Bars 35 to 50: the first tutti, every group with a task of its own, and the way down to the middle section."""
from . import tunes as T
from .notation import stamp

SIXTEENTHS = "1s( 2 3 4 5 4 3 2) 1( 2 3 4 5 4 3 2)"
FANFARE = "xq> 3{ xe' x' x' } xq> 3{ xe' x' x' }"


def write(p):
    melody(p)
    counter(p)
    low_brass(p)
    pulse(p)
    figures(p)
    strokes(p)
    descent(p)


def melody(p):
    whole = f"!ff {T.A_UP_LOUD} | {T.A_FIRST_LOUD} {T.A_UP_LOUD} | {T.A_SECOND_LOUD} | Eb4h> rq"
    rise = "3{ Bb4e C5 D5 } | Eb5q.> D5e D5q F5 | G5q.> F5e E5q C#5 | D5h.>"
    first = ("A", "Eb", "whole, extended")
    p.put("tp12/a2", (34, 3), f"{whole} {rise} rq", "melody", "moving", "D.melody", first, say="senza sord.", until=46)
    line = p.last_line
    body = whole.split("|", 1)[1]
    p.put("vn1:1 vn2/all ob1:1 ob2:1", 35, f"!ff {body} {rise} rq", "melody", "moving", "D.melody", first, line=line,
          until=46)


def counter(p):
    text = (f"!ff {T.A_COUNTER} | G4h rh | Eb4q F4 G4h | D5h A4 | F#4h.> rq")
    p.put("hn12/a2 hn34/a2 hn56/a2", 35, text, "countermelody", "moving", "D.counter", until=46)


def low_brass(p):
    """The trombones and the tuba have waited since the beginning."""
    chords = ("!ff [G3,Bb3]h> [Bb3,Eb4]> | [Bb3,Eb4]h> [G3,Eb4]q [F3,D4] | [G3,Eb4]h> [Ab3,Eb4]> | [Bb3,D4]h.> rq | "
              "[G3,Bb3]h> [Bb3,Eb4]> | [C4,Eb4]h> [Ab3,C4]q [G3,Bb3] | [Ab3,C4]h> [Ab3,D4]> | [G3,Eb4]h. rq | "
              "[G3,Eb4]h> [F3,D4]> | [G3,D4]> [G3,C#4]> | [F#3,D4]h.> rq")
    p.put("tb12", 35, chords, "harmony", "moving", "D.chords", until=46)
    bass = f"!ff {T.A_BASS} | Eb2h. rq | C3h> B2> | Bb2> A2> | D2h.> rq"
    p.put("tba btb bn:1/a2 vc db", 35, bass, "bass", "moving", "D.bass", until=46)


def pulse(p):
    trumpet = ("!ff Bb4w | Bb4h C5q Bb4 | Bb4h C5 | Bb4w | Bb4 | C5h C5q Bb4 | C5h Bb4 | Bb4w | G4h G4 | Bb4 A4")
    p.put("tp3", 35, stamp(trumpet, FANFARE), "rhythm", "repeated", "D.fanfare", until=45)
    p.put("sd", 35, "!ff " + " | ".join(["xq> 3{ xe x x } xq> 3{ xe x x }"] * 10), "rhythm", "repeated", "D.fanfare",
          relation="rhythm", leader="tp3", until=45)
    p.put("tp3", 45, "A4h.> rq", "harmony", "sustained", "D.close", relation="rhythm", leader="tb12")
    violas = ("!ff [Bb3,G4]w | [Bb3,G4]h [C4,G4]q [Bb3,F4] | [Bb3,G4]h [C4,Ab4] | [Bb3,F4]w | [Bb3,G4] | "
              "[C4,Ab4]h [C4,Ab4]q [Bb3,G4] | [C4,Ab4]h [Bb3,Ab4] | [Bb3,G4]w | [C4,G4]h [B3,G4] | [Bb3,G4] [A3,G4]")
    p.put("va/all", 35, stamp(violas, "xe' x' x' x' x' x' x' x'"), "rhythm", "repeated", "D.pulse", until=45)
    p.put("va", 45, "[A3,F#4]h.> rq", "harmony", "sustained", "D.close", relation="rhythm", leader="tb12")


def figures(p):
    chords = ("!f [Eb5,G5,Bb5]w | [Eb5,G5,Bb5]h [Eb5,G5,C6]q [D5,F5,Bb5] | [Eb5,G5,Bb5]h [Eb5,Ab5,C6] | [D5,F5,Bb5]w | "
              "[Eb5,G5,Bb5] | [Eb5,Ab5,C6]h [F5,Ab5,C6]q [Eb5,G5,Bb5] | [Eb5,Ab5,C6]h [D5,F5,Ab5] | [Eb5,G5,Bb5]w | "
              "[Eb5,G5,C6]h [D5,F5,B5] | [D5,G5,Bb5] [C#5,E5,A5]")
    text = stamp(chords, SIXTEENTHS) + " | D6h.> rq"
    p.put("fl1 fl2 cl:-1/a2", 35, text, "figuration", "arpeggio", "D.figures", until=46)


def strokes(p):
    for bar in (35, 39, 43):
        p.put("cym", bar, "!ff xh> rh", "punctuation", "hit", "D.crash")
    for bar in (35, 37, 39, 41, 43):
        p.put("bd", bar, "!f x1q> r r r", "punctuation", "hit", "D.crash", relation="rhythm", leader="cym")
    drum = ("!ff Eb3q r Bb2 Bb2 | G2 r r r | Eb3 r Eb3 r | Bb2 3{ Bb2e Bb2 Bb2 } Bb2q r | Eb3 r Bb2 Bb2 | Eb3 r r r | r r Bb2 Bb2 | "
            "Eb3 3{ Eb3e Eb3 Eb3 } Eb3q r")
    p.put("timp", 35, drum, "rhythm", "repeated", "D.drum", until=43)


def descent(p):
    """A pedal on D; the theme's head goes from horn to stopped horn to clarinet to flute."""
    p.put("timp", 45, "!fp !> D3w*3~ | D3*3~ !! | !pp D3*3~ | D3*3~ | D3*3~ | D3*3", "pedal", "roll", "E.pedal", until=51)
    p.put("vc", 46, "!p D3w~ | !pp D3~ | D3~ | D3~ | D3h. rq", "pedal", "sustained", "E.pedal", until=51)
    p.put("db", 46, "!p D2w~ | !pp D2~ | D2~ | D2~ | D2h. rq", "pedal", "sustained", "E.pedal", line=p.last_line, until=51)
    chords = {"vn1": "!pp D4w | D4 | D4 | D4", "vn2": "!pp B3w | C4 | Bb3 | C4",
              "va/div": "!pp [D3,G3]w | [F#3,A3] | [D3,G3] | [F#3,A3]"}
    for part, text in chords.items():
        p.put(part, 47, text, "harmony", "sustained", "E.chords", relation="rhythm",
              say="con sord." if part == "vn1" else None, leader="" if part == "vn1" else "vn1", until=51)
    theme = lambda key: ("A", key, "head")
    p.put("hn12/1", (46, 3), "!p D4e( E4) | G4q.( A4e B4h) | r r", "melody", "moving", "E.melody", theme("G"), say="solo|dolce")
    p.put("hn34/2", (47, 3), "!p A3e{+} B3{+} | D4q.{+} E4e{+} F#4h{+}", "melody", "moving", "E.melody", theme("D"),
          say="stopped", also=("effect",))
    p.put("cl/1", (48, 3), "!p F4e( G4) | Bb4q.( C5e D5h)", "melody", "moving", "E.melody", theme("Bb"), say="solo")
    p.put("fl1", (49, 3), "!p A4e( B4) | !> D5q.( E5e F#5h) !!", "melody", "moving", "E.melody", theme("D"), say="solo")
    p.put("hp", 46, "!p [D3,A3,D4,F#4,A4]h.{arp} rq", "effect", "arpeggio", "E.harp")
