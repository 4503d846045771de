"""Sets chord labels over the notes they describe.

Some label tables run some crotchets early or late against the notes from a first ending or a cut on. The lag is found from the labels themselves, before any
prediction is looked at: the share of sounding notes that belong to the labelled chord, summed, less a charge for each change of lag.
"""
import numpy as np

TONES = [[0, 4, 7], [0, 3, 7], [0, 4, 7, 10], [0, 3, 6, 9], [0, 3, 6, 10], [0, 3, 6], [0, 3, 7, 10], [0, 4, 7, 11], [0, 4, 8], [0, 2, 6, 9], [0, 3, 7, 11]]
LAGS = np.arange(-10, 10.5, 0.5)
CHANGE = 6.0


def notes(path):
    """(onset, offset, key) in crotchets, without percussion, by onset."""
    import mido  # here, so that training needs no reader of files

    midi = mido.MidiFile(path)
    out = []
    for track in midi.tracks:
        now, held = 0, {}
        for event in track:
            now += event.time
            if event.type not in ("note_on", "note_off") or event.channel == 9:
                continue
            name = (event.channel, event.note)
            if event.type == "note_on" and event.velocity:
                held.setdefault(name, []).append(now)
            elif held.get(name):
                out.append((held[name].pop(0) / midi.ticks_per_beat, now / midi.ticks_per_beat, event.note))
    return sorted(out)


def sums_of(spans, played):
    """Shares of each pitch class, summed up to each quarter of a crotchet."""
    end = int(max(max(s[1] for s in spans), max(n[1] for n in played)) * 4) + 80
    grid = np.zeros((end, 12))
    for on, off, key in played:
        grid[round(on * 4) : max(round(on * 4) + 1, round(off * 4)), key % 12] += 1
    grid /= grid.sum(1, keepdims=True) + 1e-9
    return end, np.vstack([np.zeros(12), np.cumsum(grid, 0)])


def fits(spans, played):
    """For each span, how many of 100 sounding notes belong to its chord; 0 in silence."""
    _, sums = sums_of(spans, played)
    out = []
    for on, off, root, quality, *_ in spans:
        heard = sums[int(off * 4)] - sums[int(on * 4)]
        tones = [(root + t) % 12 for t in TONES[quality]]
        out.append(int(100 * heard[tones].sum() / (heard.sum() + 1e-9)))
    return out


def steady(rows, charge):
    """The likeliest course through columns of `rows` when each change of column costs `charge`."""
    best, back = rows[0], []
    everywhere = np.arange(len(best))
    for row in rows[1:]:
        top = int(best.argmax())
        stay = best >= best[top] - charge
        back.append(np.where(stay, everywhere, top))
        best = np.where(stay, best, best[top] - charge) + row
    path = [int(best.argmax())]
    for row in reversed(back):
        path.append(int(row[path[-1]]))
    return np.array(path[::-1])


def aligned(spans, played):
    """The spans, moved; those that end up before the start are cut."""
    end, sums = sums_of(spans, played)
    fit = np.zeros((len(spans), len(LAGS)))
    for i, (on, off, root, quality, *_) in enumerate(spans):
        tones = [(root + t) % 12 for t in TONES[quality]]
        a = np.clip(((on + LAGS) * 4).astype(int), 0, end)
        b = np.clip(((off + LAGS) * 4).astype(int), 0, end)
        fit[i] = (sums[b][:, tones] - sums[a][:, tones]).sum(1) / 4
    fit[0] -= CHANGE * (LAGS != 0)
    moved = [(s[0] + lag, s[1] + lag, *s[2:]) for s, lag in zip(spans, LAGS[steady(fit, CHANGE)])]
    out, last = [], 0.0
    for i, s in enumerate(moved):
        on, off = max(s[0], last), s[1]
        if i + 1 < len(moved):
            off = min(off, max(moved[i + 1][0], on)) if moved[i + 1][0] > on else off
        if off > on:
            out.append((float(on), float(off), *s[2:]))
            last = off
    return out
