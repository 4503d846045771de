"""Who doubles whom and who runs parallel, read off the notes and checked against what was planted."""
from . import pitch as P, views
from .orchestra import BY_ID

LEAST_NOTES = 4      # a coincidence of fewer notes is not called a doubling


def _streams(piece):
    """{(part, staff, voice, rank from the top): {bar: (line number, relation, [(onset, length, key)])}}."""
    out = {}
    for bar in piece.bars:
        for line in piece.lines:
            notes = views.in_bar(line, bar)
            if not notes or any(n.stroke for n in notes):
                continue
            for rank in range(max(len(n.pitches) for n in notes)):
                tones = [(n.onset, n.length, P.midi(n.pitches[-1 - rank])) for n in notes if len(n.pitches) > rank]
                bars = out.setdefault((line.part, line.staff, line.voice, rank), {})
                bars.setdefault(bar.number, []).append((line, tones))
    return out


def _shift(a, b):
    """Semitones from b up to a when both have the same notes octaves apart, else None."""
    if len(a) != len(b):
        return None
    steps = {x[2] - y[2] for x, y in zip(a, b) if x[:2] == y[:2]}
    same = all(x[:2] == y[:2] for x, y in zip(a, b))
    return next(iter(steps)) if same and len(steps) == 1 and next(iter(steps)) % 12 == 0 else None


def doublings(piece):
    rows = [("part", "doubles", "interval_semitones", "first_bar", "last_bar", "notes", "kind", "layer", "note_of_chord",
             "doubled_note_of_chord")]
    streams = _streams(piece)
    keys = sorted(streams, key=lambda k: (views.ORDER[k[0]], *k[1:]))
    found = []
    for i, a in enumerate(keys):
        for b in keys[i + 1:]:
            if a[0] == b[0]:
                continue
            runs = []
            for bar in sorted(set(streams[a]) & set(streams[b])):
                for line_a, tones_a in streams[a][bar]:
                    for line_b, tones_b in streams[b][bar]:
                        interval = _shift(tones_a, tones_b)
                        if interval is None:
                            continue
                        planted = line_a.line == line_b.line and a[3] == b[3]
                        state = (interval, planted, line_a.layer, line_a.relation, line_b.relation)
                        if runs and runs[-1][0] == state and runs[-1][2] >= bar - 1:
                            runs[-1][2] = bar
                            runs[-1][3] += len(tones_a)
                        else:
                            runs.append([state, bar, bar, len(tones_a), line_a])
            for (interval, planted, layer, how_a, how_b), first, last, count, line in runs:
                if not planted and count < LEAST_NOTES:
                    continue
                lead, follow = (b, a) if planted and how_b == "lead" else (a, b)
                size = interval if follow is a else -interval
                found.append((first, last, follow, lead, size, count, "planted" if planted else "incidental", layer))
    for first, last, follow, lead, size, count, kind, layer in sorted(
            found, key=lambda f: (f[0], f[1], views.ORDER[f[3][0]], views.ORDER[f[2][0]], f[2], f[3])):
        rows.append((BY_ID[follow[0]].name, BY_ID[lead[0]].name, size, first, last, count, kind, layer,
                     follow[3] + 1, lead[3] + 1))
    return rows


def thickened(piece):
    """Lines that run parallel to a leader: the intervals below (-) or above (+) it, note by note."""
    rows = [("part", "leader", "first_bar", "last_bar", "intervals_semitones", "layer")]
    for line in piece.lines:
        if line.relation != "parallel":
            continue
        lead = next(l for l in piece.lines if l.part == line.leader and l.layer == line.layer
                    and l.start <= line.start < l.end)
        above = {n.onset: max(map(P.midi, n.pitches)) for n in lead.notes if n.pitches}
        steps = sorted({max(map(P.midi, n.pitches)) - above[n.onset] for n in line.notes if n.pitches and n.onset in above})
        numbers = [piece.bar_at(n.onset).number for n in line.notes if n.sounds]
        rows.append((BY_ID[line.part].name, BY_ID[line.leader].name, numbers[0], numbers[-1],
                     " ".join(map(str, steps)), line.layer))
    return rows
