"""Bars 51 to 80: the song in G major, a page of chamber music, and the storm."""
from . import tunes as T
from .notation import stamp


def write(p):
    song_alone(p)
    song_in_strings(p)
    chamber(p)
    storm_tune(p)
    storm_ground(p)
    storm_colour(p)


RIPPLE = "1e( 2 3 4 3 2)"


def song_alone(p):
    p.put("cl/1", 51, f"!p {T.B_FIRST.replace('A4q( G4 F#4)', '!> A4q( G4 F#4) !!')}", "melody", "moving", "F.melody",
          ("B", "G", "first period"), say="solo|espressivo", until=59)
    harp = ("!p [D4,G4,B4]h. | [C4,E4,A4] | [B3,E4,G4] | [A3,D4,F#4] | [C4,E4,G4] | [B3,D4,G4] | [A3,C4,E4]h [A3,C4,F#4]q | "
            "[B3,D4,G4]h.")
    text = stamp(harp, RIPPLE)
    p.put("hp", 51, text, "figuration", "arpeggio", "F.arpeggio", until=59)
    p.put("hp", 51, "G2h. | A2 | E2 | D2 | C3 | B2 | C3h D3q | G2h.", "bass", "sustained", "F.bass", staff=2, until=59)
    p.put("db", 51, "!p G2q r r | A2 r r | E2 r r | D2 r r | C2 r r | B1 r r | C2 r D2 | G1 r r", "bass", "moving",
          "F.bass", say="pizz.", relation="octave", leader="hp", until=59)
    chords = {"vn2": "!pp D4h. | E4 | E4 | D4 | E4 | D4 | E4h D4q | D4h.",
              "va": "!pp B3h. | C4 | B3 | A3 | G3 | G3 | A3h C4q | B3h."}
    for part, text in chords.items():
        p.put(part + "/all", 51, text, "harmony", "sustained", "F.chords", relation="rhythm",
              leader="" if part == "vn2" else "vn2", until=59)
    p.put("fl1", 54, "rq !p 3{ A4e( B4 C#5 } D5q')", "countermelody", "moving", "F.answer", ("R", "D", "head"),
          until=55)
    p.put("fl1", 58, "rq !p 3{ D5e( E5 F#5 } G5q')", "countermelody", "moving", "F.answer", ("R", "G", "head"),
          until=59)


def song_in_strings(p):
    theme = ("B", "G", "second period")
    p.put("vn1", 59, f"!mp {T.B_SECOND_A} | !< {T.B_SECOND_B.replace('D5q.(', '!! !mf D5q.(').replace('A4h(', '!> A4h(')} !!",
          "melody", "moving", "G.melody", theme, say="senza sord.", until=67)
    line = p.last_line
    p.put("fl1:1 cl/1", 63, f"!p !< {T.B_SECOND_B.replace('D5q.(', '!! !mf D5q.(').replace('A4h(', '!> A4h(')} !!",
          "melody", "moving", "G.melody", theme, line=line, until=67)
    thirds = ("!mp G4h( B4q) | E5q.( D5e C5q) | B4h( A4q) | G4h. | !< A4q( B4 C5) | !! !mf B4q.( G4e D4q) | "
              "!> F#4h( D4q) | B3h. !!")
    p.put("vn2", 59, thirds, "melody", "moving", "G.melody", theme, relation="parallel", leader="vn1", until=67)
    counter = "rq !mp G3( B3) | C4h( G4q) | G4h( E4q) | E4q( F#4 G4) | A4h( G4q) | G4h( D4q) | C4h( A3q) | !> B3h. !!"
    p.put("ob2", 59, counter, "countermelody", "moving", "G.counter", say="solo", until=67)
    violas = "!p [D3,B3]h. | [E3,C4] | [D3,B3]h [E3,C4]q | [E3,B3]h. | [E3,C4] | [D3,B3] | [F#3,C4] | [G3,B3]"
    p.put("va/div", 59, violas, "harmony", "sustained", "G.chords", until=67)
    bass = "!p G2h.( | C3) | B2h( A2q) | E2h. | A2( | D3) | D3 | G2"
    p.put("vc", 59, bass, "bass", "moving", "G.bass", until=67)
    p.put("db:-1", 59, bass, "bass", "moving", "G.bass", say="arco", line=p.last_line, until=67)
    harp = ("!mp [D4,G4,B4]h. | [C4,E4,G4] | [D4,G4,B4]h [C4,E4,A4]q | [B3,E4,G4]h. | [C4,E4,A4] | [B3,D4,G4] | "
            "[C4,F#4,A4] | [B3,D4,G4]")
    p.put("hp", 59, stamp(harp, RIPPLE), "figuration", "arpeggio", "G.arpeggio", until=67)
    p.put("hn12", 63, "!pp !< [A3,E4]h. | !! !mp [B3,D4] | !> [A3,C4] | [G3,D4] !!", "harmony", "sustained", "G.horns",
          until=67)


def chamber(p):
    """English horn and four string soloists."""
    p.put("ob2", 67, "!p G4h( B4q) | A4q.( G4e F#4q) | E4h( G4q) | !> F#4h. !!", "melody", "moving", "H.melody",
          ("B", "e", "first half"), until=71)
    inner = {"vn2": "!pp E4h. | D4 | E4 | D#4", "va": "!pp B3h. | A3 | G3 | A3"}
    for part, text in inner.items():
        p.put(part + "/solo", 67, text, "harmony", "sustained", "H.chords", relation="rhythm",
              leader="" if part == "vn2" else "vn2", until=71)
    p.put("vc/solo", 67, "!pp E3h.( | F#3) | C3( | B2)", "bass", "sustained", "H.bass", until=71)
    p.put("vn1/solo", 70, "rq !p B4e( D#5 F#5 A5)", "countermelody", "arpeggio", "H.link", until=71)


def storm_tune(p):
    """The head of the theme climbs by fourths: low, middle, high, then the trumpets."""
    head = lambda key: ("A", key, "first quarter")
    p.put("vc/all", 71, "!p C3q. D3e Eb3h | G3q. F3e Eb3q D3", "melody", "moving", "I2.melody", head("c"),
          until=73)
    p.put("bn/a2", 71, "!p C3q. D3e Eb3h | G3q. F3e Eb3q D3", "melody", "moving", "I2.melody", head("c"),
          line=p.last_line, until=73)
    p.put("cl/a2 va/all", 73, "!mp F4q. G4e Ab4h | C5q. Bb4e Ab4q G4", "melody", "moving", "I2.melody", head("f"),
          until=75)
    high = "!mf Bb4q. C5e Db5h | F5q. Eb5e Db5q C5"
    p.put("vn1/all vn2", 75, high, "melody", "moving", "I2.melody", head("bb"), until=77)
    p.put("fl1:1", 75, high, "melody", "moving", "I2.melody", head("bb"), line=p.last_line, say="ord.", until=77)
    climb = "!f Gb4q.> Ab4e Bb4h> | Bb4q.> C5e D5h> | Eb5q.> F5e G5h> | !< G5q.> F5e Eb5q Bb4 !!"
    p.put("tp12/a2 tp3 ob1 ob2", 77, climb, "melody", "moving", "I2.melody", ("A", "Gb", "head, in sequence"),
          until=81)


def storm_ground(p):
    ground = ("!p C2w | C2h. G1q | !< F2w | F2h. C2q | Bb1w | Bb1h. F1q !! | !f Gb1w | !< Bb1w !!")
    p.put("db/all", 71, stamp(ground, "xe x x x x x x x"), "bass", "repeated", "I2.bass", until=79)
    upper = "!mp !< F2w | F2h. C2q | Bb1w | Bb1h. F1q !! | !f Gb1w | !< Bb1w !!"
    p.put("vc:1", 73, stamp(upper, "xe x x x x x x x"), "bass", "repeated", "I2.bass", relation="octave", leader="db",
          until=79)
    pedal = stamp("!f Eb2w | !< Eb2w !!", "xe x x x x x x x")
    p.put("db vc:1", 79, pedal, "pedal", "repeated", "I2.pedal", also=("bass",), until=81)
    p.put("timp", 79, "!mf Eb3w*3~ | !< Eb3*3 !!", "pedal", "roll", "I2.pedal", relation="octave", leader="db", until=81)
    p.put("bn/a2", 77, "!f Gb2w( | Bb2) | Eb2~ | !< Eb2 !!", "bass", "sustained", "I2.low", until=81)
    trem = {"vn1": "!pp Eb5w*3 | Eb5h.*3 D5q*3 | !< F5w*3 | F5h.*3 E5q*3 !!",
            "vn2/all": "!pp G4w*3 | G4h.*3 G4q*3 | !< C5w*3 | C5h.*3 C5q*3 !!"}
    for part, text in trem.items():
        p.put(part, 71, text, "harmony", "tremolo", "I2.tremolo", relation="rhythm",
              leader="" if part == "vn1" else "vn1", until=75)
    p.put("va/all", 71, "!pp C4w*3 | C4h.*3 B3q*3", "harmony", "tremolo", "I2.tremolo",
          relation="rhythm", leader="vn1", until=73)
    p.put("va", 75, "!mf [Db4,F4]w*3 | [Db4,F4]h.*3 [C4,F4]q*3", "harmony", "tremolo", "I2.tremolo", until=77)
    p.put("va/all", 77, "!f [Db4,Gb4]w*3 | [D4,F4]*3 | [Db4,G4]*3 | !< [Db4,G4]*3 !!", "harmony", "tremolo",
          "I2.tremolo", until=81)
    horns = {"hn12": "!f [Db4,Gb4]w | [D4,F4] | [Db4,G4]~ | !< [Db4,G4] !!",
             "hn34": "!f [Gb3,Bb3]w | [Ab3,Bb3] | [Eb4,Bb3]~ | !< [Eb4,Bb3] !!"}
    for part, text in horns.items():
        p.put(part, 77, text, "harmony", "sustained", "I2.horns", relation="rhythm",
              leader="" if part == "hn12" else "hn12", say="open" if part == "hn34" else None, until=81)


def storm_colour(p):
    p.put("fl1", 71, "!pp G5w*3 | G5h.*3 G5q*3", "effect", "tremolo", "I2.flutter", say="flutter-tongue", until=73)
    p.put("fl2", 71, "!pp Eb5w*3 | Eb5h.*3 D5q*3", "effect", "tremolo", "I2.flutter", say="flutter-tongue",
          relation="parallel", leader="fl1", until=73)
    for bar, chord in ((72, "[B3,D4]"), (74, "[E4,G4]"), (76, "[A3,C4]")):
        p.put("hn34", bar, f"rh. !sfz {chord}q>{{+}}", "punctuation", "hit", "I2.stopped",
              say="stopped" if bar == 72 else None, also=("effect",))
    runs = ("!f [Gb4,Bb4,Db5]w | [F4,Bb4,D5] | [G4,Bb4,Eb5] | !< [G4,Bb4,Eb5] !!")
    p.put("vn1:1 vn2", 77, stamp(runs, "1s( 2 3 4 3 2 1 2) 3( 2 1 2 3 4 5 4)"), "figuration", "arpeggio", "I2.waves", until=81)
    p.put("cl:0/a2", 77, stamp(runs, "1s( 2 3 4 3 2 1 2) 3( 2 1 2 3 4 5 4)"), "figuration", "arpeggio", "I2.waves",
          line=p.last_line, until=81)
    p.put("fl1", 79, "!f Bb5w{tr} | !< Bb5{tr} !!", "effect", "sustained", "I2.trill", until=81)
    p.put("fl2:1", 79, "!f G5w{tr} | !< G5{tr} !!", "effect", "sustained", "I2.trill", relation="rhythm", leader="fl1",
          say="ord.", until=81)
    p.put("bd", 71, "!ppp x2w~ | x2h rh", "effect", "hit", "I2.tamtam", until=73)
    p.put("bd", 73, "!pp x1w*3~ | x1*3~ | !< x1*3~ | x1*3 !!", "effect", "roll", "I2.thunder", until=77)
    p.put("cym", 79, "!pp !< xw*3~ | x*3 !!", "effect", "roll", "I2.swell", say="with soft sticks", until=81)
    p.put("sd", 77, "!mf " + " | ".join(["xq> 3{ xe x x } xq> 3{ xe x x }"] * 3) + " | !< xe x 3{ xe x x } xs x x x xs x x x !!",
          "rhythm", "repeated", "I2.drum", until=81)
    p.put("timp", 72, "rh. !mf G2q>", "punctuation", "hit", "I2.stroke")
    p.put("timp", 75, "!pp !< Bb2w*3~ | Bb2*3 !!", "pedal", "roll", "I2.roll", until=77)
    p.put("hp", 80, "rh !ff Eb3{gliss} | Eb6q r r r", "effect", "glissando", "I2.gliss", until=82)
    p.put("hn56/a2", 80, "rh !mf !< Bb3h*3 !!", "effect", "tremolo", "I2.horns2", say="flutter-tongue", until=81)
