"""The three ideas of the overture, in the plain form; the sections transpose, trim and mark them.

A  the crew's theme: eight bars with an upbeat, two matching halves, E flat major.
R  the answering figure: a rising triplet landing on a short note, grown into two bars.
B  the song of the middle section: two periods of eight bars, G major, in three.
"""
A_UP = "Bb3e( C4)"
A_FIRST = "Eb4q.( F4e G4h) | Bb4q.( Ab4e G4q F4) | G4q.( F4e Eb4q C4) | F4h."
A_SECOND = "Eb4q.( F4e G4h) | C5q.( Bb4e Ab4q G4) | Ab4q.( G4e F4q D4)"
A_TO_DOMINANT = "Eb4q.( F4e G4h) | C5q.( Bb4e A4q G4) | F4q.( G4e A4q C5) | Bb4h. rq"

A_UP_LOUD = "Bb3e> C4>"
A_FIRST_LOUD = "Eb4q.> F4e G4h> | Bb4q.> Ab4e G4q F4 | G4q.> F4e Eb4q C4 | F4h."
A_SECOND_LOUD = "Eb4q.> F4e G4h> | C5q.> Bb4e Ab4q G4 | Ab4q.> G4e F4q D4"

B_FIRST = "B4h( D5q) | C5q.( B4e A4q) | G4h( B4q) | A4h. | C5h( E5q) | D5q.( C5e B4q) | A4q( G4 F#4) | G4h."
B_SECOND_A = "B4h( D5q) | G5q.( F#5e E5q) | D5h( C5q) | B4h."
B_SECOND_B = "C5q( D5 E5) | D5q.( B4e G4q) | A4h( F#4q) | G4h."

# the bass of the theme in a tutti, and the countermelody that goes with it
A_BASS = "Eb2h Bb2 | G2 C3q D3 | Eb3h Ab2 | Bb2h. rq | Eb2h Bb2 | Ab2 F2q Eb2 | F2h Bb2"
A_COUNTER = "G4h Eb4q Bb4 | Eb5h C5q Bb4 | Bb4h Ab4 | rq D4 F4 Bb4 | G4h Bb4 | Ab4 C5q Eb5 | Eb5h D5q Ab4"
