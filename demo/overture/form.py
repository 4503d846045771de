"""The ground plan: bars, keys, metres, tempi, rehearsal marks, repeats, and the chord plan."""
TITLE = "The Boat Goes Out"
SUBTITLE = "Concert overture for the lifeboat crew of a harbour town"


def build(p):
    p.add_pickup((4, 4), -3, 1)
    p.add_bars(1, 46, (4, 4), -3)
    p.add_bars(47, 50, (4, 4), 1)
    p.add_bars(51, 70, (3, 4), 1)
    p.add_bars(71, 80, (4, 4), -3)
    p.add_bars(81, 88, (4, 4), -4)
    p.add_bars(89, 108, (4, 4), -3)
    tempi = {0: ("Andante tranquillo", 66), 9: ("Allegro con spirito", 126), 47: ("Poco meno mosso", 104),
             51: ("Andante cantabile", 80), 71: ("Allegro agitato", 138), 81: ("Maestoso", 84),
             89: ("Tempo primo, con spirito", 126), 101: ("Pi\u00f9 mosso", 144)}
    for number, (text, rate) in tempi.items():
        p.bar(number).tempo = (text, "q", 0, rate)
    letters = {9: "A", 17: "B", 25: "C", 35: "D", 47: "E", 51: "F", 59: "G", 67: "H", 71: "I", 81: "K", 89: "L",
               101: "M"}
    for number, letter in letters.items():
        p.bar(number).rehearsal = letter
    for number, text in {8: "lunga", 50: "rit.", 88: "poco rit."}.items():
        p.bar(number).words = text
    for number in (8, 46, 50, 70, 80, 88, 100):
        p.bar(number).double_after = True
    p.bar(25).repeat_start = True
    p.bar(31).ending, p.bar(32).ending = (1, "start"), (1, "stop")
    p.bar(32).repeat_end = True
    p.bar(33).ending, p.bar(34).ending = (2, "start"), (2, "discontinue")
    p.bar(8).fermata = p.bar(108).fermata = True
    p.change("ob2", 51, 1)
    p.change("ob2", 71, 0)
    p.change("fl2", 77, 1)
    for number in range(71, 81):
        p.bar(number).mode = "minor"
    for part, at, sign, line in (("tb12", 81, "C", 4), ("tb12", 89, "F", 4), ("bn", 29, "C", 4), ("bn", 35, "F", 4)):
        p.clef(part, at, sign, line)
    p.tutti = [(35, 45, "layered"), (81, 88, "single stack"), (89, 100, "layered"), (105, 106, "layered"),
               (107, 108, "single stack")]
    harmony(p)


def harmony(p):
    """What sounds, bar by bar. Keys: capital = major, small = minor."""
    p.harmony(1, "Eb", "Eb | Eb:h Cm/Eb:h | Eb:h Ab/Eb:h | Bb/Eb | Eb | Ab/Eb | Fm7/Eb:h Bb7/D:h | Bb7", 9)
    period = "Eb | Eb/G:h Cm:q Bb/D:q | Eb:h Ab:h | Bb | Eb | Ab:h Fm:q Eb:q | Fm7:h Bb7:h | Eb"
    p.harmony(9, "Eb", period, 17)
    p.harmony(17, "Eb", "Eb | Eb/G:h Cm:q Bb/D:q | Eb:h Ab:h | Bb | Eb", 22)
    p.harmony(22, "Bb", "Cm/Eb:h F7:h | Bb:h F7:h | Bb", 25)
    p.harmony(25, "Bb", "Bb | Eb:h F:h", 27)
    p.harmony(27, "c", "Cm | Fm:h G:h", 29)
    p.harmony(29, "Eb", "Eb | Ab:h Bb:h", 31)
    p.harmony(31, "Bb", "Gm:h C7:h | F7", 33)
    p.harmony(33, "Eb", "Ab:h F7/A:h | Bb7", 35)
    p.harmony(35, "Eb", period, 43)
    p.harmony(43, "g", "Cm:h G7/B:h | Gm/Bb:h A7:h | D", 46)
    p.harmony(46, "G", "D | G/D | D7 | Gm/D | D7", 51)
    p.harmony(51, "G", "G | Am | Em | D | C | G/B | Am7/C:h D7:q | G", 59)
    p.harmony(59, "G", "G | C | G/B:h Am:q | Em | Am | G/D | D7 | G", 67)
    p.harmony(67, "e", "Em | D/F# | C | B7", 71)
    p.harmony(71, "c", "Cm | Cm:h. G:q", 73)
    p.harmony(73, "f", "Fm | Fm:h. C:q", 75)
    p.harmony(75, "bb", "Bbm | Bbm:h. F:q", 77)
    p.harmony(77, "Ab", "Gb | Bb7 | Eb7 | Eb7", 81)
    p.harmony(81, "Ab", "Ab:h Fm:h | Ab/C:q Bbm/Db:q Ab/Eb:q Eb/G:q | Ab:q Eb/G:q Fm:h | Eb | Ab:h Fm:h | "
                        "Db:q Ab/C:q Bbm:q Ab:q", 87)
    p.harmony(87, "Eb", "Fm:h Eb/G:h | Bb", 89)
    p.harmony(89, "Eb", period, 97)
    p.harmony(97, "Eb", "Cm:h Ab:h | Fm7:h Bb7:h | Eb/Bb:h Bb7:h | Eb", 101)
    p.harmony(101, "Eb", "Eb | Ab/Eb:h Bb7/Eb:h | Eb | Ab/Eb:h Bb7/Eb:h | Cb | Abm | Eb | Eb", 109)
