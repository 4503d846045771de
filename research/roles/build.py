"""Note tables -> rolls and per-part features -> data.npz in $RIPIENO_ROLES_WORK (default target/roles)."""
import csv, glob, os, sys, collections, numpy as np, mido
sys.path.insert(0, os.environ.get('RIPIENO_EVAL', '../shared/eval'))
from musicxml_notes import read
D = os.environ.get('RIPIENO_DATA', '../shared/data') + '/'
S = 48                     # slots per bar
CLASSES = ['flute','oboe','clarinet','bassoon','horn','trumpet','trombone','percussion','violin1','violin2','viola','cello','bass','voice','other']
FAM = [0,0,0,0,1,1,1,2,3,3,3,3,3,4,5]
def klass(name):
    n = name.lower()
    if any(w in n for w in ('timp','drum','cymbal','triangle','percussion')): return 7
    if 'choir' in n or 'solo' in n or n.startswith(('soprano','alto','tenor','baritone')) and 'trombone' not in n: return 13
    if n in ('bass','bass 1','bass 2','basso'): return 13 if n!='basso' else 12
    if 'english' in n or 'inglese' in n or 'oboe' in n: return 1
    if 'flute' in n or 'piccolo' in n and 'trumpet' not in n or 'traverso' in n: return 0
    if 'clarinet' in n: return 2
    if 'bassoon' in n or 'fagott' in n: return 3
    if 'trombone' in n or 'tuba' in n or 'posaune' in n: return 6
    if 'trumpet' in n or 'tromba' in n or 'cornet' in n or 'clarino' in n: return 5
    if 'horn' in n or 'corno' in n: return 4
    if 'cello' in n: return 11
    if 'contrabass' in n or 'doublebass' in n or 'violone' in n: return 12
    if 'viola' in n: return 10
    if 'violin' in n: return 9 if any(x in n for x in ('2','ii','3')) else 8
    return 14
def number(name):
    d = [c for c in name if c.isdigit()]
    return int(d[-1]) if d else 1
def read_midi(path):
    m = mido.MidiFile(path); ts = []; parts = []; end = 0
    for t in m.tracks:
        at = 0; name = ''; held = collections.defaultdict(list); notes = []
        for x in t:
            at += x.time
            if x.type == 'time_signature': ts.append((at, x.numerator, x.denominator))
            elif x.type == 'track_name': name = x.name
            elif x.type == 'note_on' and x.velocity: held[x.note].append(at)
            elif x.type in ('note_off', 'note_on'):
                if held[x.note]:
                    o = held[x.note].pop(0)
                    if at > o: notes.append((o, at, x.note))
                    end = max(end, at)
        if notes: parts.append((name, sorted(notes)))
    starts = []; i = 0; at = 0
    while at < end:
        while i + 1 < len(ts) and ts[i + 1][0] <= at: i += 1
        starts.append(at); at += ts[i][1] * 4 * 480 // ts[i][2]
    return dict(parts=parts, starts=starts, end=at)
def rolls(sc):
    """-> dict row key (p,b) -> (top,low,on,dur) uint8[S]; bar lengths in crotchets"""
    st = np.array(list(sc['starts']) + [sc['end']], float); B = len(st) - 1
    ln = np.maximum(np.diff(st), 1)
    P = len(sc['parts']); out = np.zeros((P, B, 4, S), np.uint8)
    for p, (_, notes) in enumerate(sc['parts']):
        for o, e, k in notes:
            b = int(np.searchsorted(st, o, 'right') - 1); first = True
            while b < B and st[b] < e:
                w = ln[b] / S
                a = max(o, st[b]) - st[b]; z = min(e, st[b + 1]) - st[b]
                i = int(a / w + .5 if first else 0); i = min(i, S - 1)
                j = max(int(z / w + .5), i + 1); j = min(j, S)
                r = out[p, b]
                seg = slice(i, j)
                r[0, seg] = np.maximum(r[0, seg], k)
                lo = r[1, seg]; r[1, seg] = np.where((lo == 0) | (lo > k), k, lo)
                if first:
                    r[2, i] = min(255, r[2, i] + 1)
                    r[3, i] = max(r[3, i], min(255, max(1, round((e - o) / 40))))   # crotchets * 12
                first = False; b += 1
    return out, ln / 480.
# ---------------- features of one part alone (and of the whole piece's material)
def part_features(R, L):
    """R [P,B,4,S], L[B] crotchets -> float32 [P,B,NF]"""
    P, B = R.shape[:2]
    top = R[:, :, 0].astype(np.float32); low = R[:, :, 1].astype(np.float32); on = R[:, :, 2] > 0; dur = R[:, :, 3] / 12.
    snd = top > 0; any_ = snd.any(2)
    F = []; names = []
    def add(n, x): names.append(n); F.append(np.nan_to_num(np.asarray(x, np.float32)))
    n_on = on.sum(2); Lb = L[None, :]
    add('onsets_per_crotchet', np.log1p(n_on / Lb)); add('onsets', np.log1p(n_on))
    cov = snd.mean(2); add('coverage', cov)
    non = np.maximum(n_on, 1)
    add('mean_dur', np.log2(.05 + (dur * on).sum(2) / non)); 
    add('max_dur', np.log2(.05 + dur.max(2)))
    # previous onset pitch (carried over bars)
    prev = np.zeros((P, B, S), np.float32); gap = np.zeros((P, B, S), np.float32)
    for p in range(P):
        o = np.flatnonzero(on[p].ravel()); t = top[p].ravel()[o]
        pv = np.concatenate([[0], t[:-1]]); far = np.concatenate([[1e9], np.diff(o)]) > 2 * S
        pv[far] = 0; q = prev[p].reshape(-1); q[o] = pv
    iv = np.where(on & (prev > 0), top - prev, 0.); hasiv = on & (prev > 0); niv = np.maximum(hasiv.sum(2), 1)
    a = np.abs(iv)
    add('mean_abs_interval', np.minimum((a * hasiv).sum(2) / niv, 12) / 6)
    add('repeat_share', ((a == 0) & hasiv).sum(2) / niv); add('step_share', ((a > 0) & (a <= 2) & hasiv).sum(2) / niv)
    add('third_share', ((a >= 3) & (a <= 4) & hasiv).sum(2) / niv); add('leap_share', ((a > 4) & hasiv).sum(2) / niv)
    sg = np.sign(iv); add('up_share', (sg > 0).sum(2) / niv)
    tmax = np.where(snd, top, -1).max(2); tmin = np.where(snd, top, 200).min(2)
    add('range', np.where(any_, np.minimum(tmax - tmin, 24) / 12, 0))
    pcs = np.zeros((P, B, 12), bool)
    for c in range(12): pcs[:, :, c] = (on & (top % 12 == c) & snd).any(2)
    add('distinct_pc', pcs.sum(2) / 7.); add('pc_per_onset', pcs.sum(2) / non)
    # alternation a-b-a, zigzag
    alt = np.zeros((P, B), np.float32); turn = np.zeros((P, B), np.float32); dsd = np.zeros((P, B), np.float32); per = np.zeros((P, B), np.float32); sig = {}
    rsig = np.zeros((P, B), np.int64); msig = np.zeros((P, B), np.int64); esig = np.zeros((P, B), np.int64)
    for p in range(P):
        for b in np.flatnonzero(any_[p]):
            o = np.flatnonzero(on[p, b]); t = top[p, b, o]
            if len(o) >= 3:
                alt[p, b] = (t[2:] == t[:-2]).mean(); d = np.sign(np.diff(t)); 
                turn[p, b] = (d[1:] * d[:-1] < 0).mean()
                dsd[p, b] = np.std(np.log2(dur[p, b, o]))
                per[p, b] = max([(t[k:] == t[:-k]).mean() for k in (3, 4, 6, 8) if len(t) >= 2 * k] or [0])
            du = np.minimum(R[p, b, 3, o], 48)
            rsig[p, b] = hash((tuple(o),)) or 1
            msig[p, b] = hash((tuple(o), tuple(np.diff(t)))) if len(o) >= 3 else 0
            esig[p, b] = hash((tuple(o), tuple(t), tuple(top[p, b, :1]), tuple(low[p, b, o])))
    add('alternation', alt); add('turns', turn); add('dur_sd', dsd); add('period', per)
    add('chord_share', ((top > low) & on).sum(2) / non)
    q = np.arange(S)[None, None] / S * Lb[..., None]; fr = np.abs(q - np.round(q)) < .02
    add('onbeat_share', (on & fr).sum(2) / non)
    s16 = np.abs(q * 4 - np.round(q * 4)) < .1; add('triplet_share', (on & ~s16).sum(2) / non)
    add('tied_in', snd[:, :, 0] & ~on[:, :, 0]); add('downbeat_onset', on[:, :, 0])
    first = np.where(n_on > 0, on.argmax(2), S) / S; add('first_onset', first)
    last = np.where(n_on > 0, S - 1 - on[:, :, ::-1].argmax(2), 0) / S; add('last_onset', last)
    mp = np.where(any_, (top * snd).sum(2) / np.maximum(snd.sum(2), 1), 0)
    pm = np.array([mp[p][any_[p]].mean() if any_[p].any() else 60 for p in range(P)]); add('register_in_part', np.where(any_, (mp - pm[:, None]) / 12, 0))
    # neighbours in time, same part
    def sh(x, k): 
        y = np.zeros_like(x); 
        if k > 0: y[:, k:] = x[:, :-k]
        else: y[:, :k] = x[:, -k:]
        return y
    for k, nm in ((1, 'prev'), (-1, 'next'), (2, 'prev2'), (-2, 'next2')):
        add('rhythm_' + nm, (rsig == sh(rsig, k)) & any_ & (n_on > 0))
        add('exact_' + nm, (esig == sh(esig, k)) & any_ & (n_on > 0))
        if abs(k) == 1: add('shape_' + nm, (msig == sh(msig, k)) & (msig != 0))
    near_r = np.zeros((P, B), np.float32); near_n = np.zeros((P, B), np.float32)
    for k in list(range(1, 9)):
        for s in (k, -k):
            near_r += (rsig == sh(rsig, s)) & any_; near_n += sh(any_.astype(np.float32), s) > 0
    add('rhythm_near', near_r / np.maximum(near_n, 1))
    # material elsewhere
    def occ(sg): 
        d = collections.defaultdict(list)
        for p, b in zip(*np.nonzero(sg)): d[sg[p, b]].append((b, p))
        return d
    md = occ(msig); far_m = np.zeros((P, B)); oth_now = np.zeros((P, B)); oth_near = np.zeros((P, B)); far_o = np.zeros((P, B)); same_far = np.zeros((P, B))
    for s, l in md.items():
        bs = np.array([x for x, _ in l]); ps = np.array([x for _, x in l]); 
        for b, p in set(l):
            dd = np.abs(bs - b); ot = ps != p
            far_m[p, b] = len(set(bs[dd > 8])); far_o[p, b] = len(set(bs[(dd > 8) & ot])); same_far[p, b] = (dd[~ot] > 8).sum()
            oth_now[p, b] = (ot & (dd == 0)).sum(); oth_near[p, b] = len(set(bs[ot & (dd > 0) & (dd <= 4)]))
    add('shape_far', np.log1p(far_m) / 2); add('shape_far_others', np.log1p(far_o) / 2); add('shape_far_same', np.log1p(same_far) / 2)
    add('shape_others_now', np.log1p(oth_now)); add('shape_others_near', np.log1p(oth_near))
    rc = collections.Counter(); 
    for p in range(P):
        for v in rsig[p][any_[p] & (n_on[p] > 0)]: rc[v] += 1
    tot = max(sum(rc.values()), 1)
    add('rhythm_rarity', np.vectorize(lambda v: -np.log2((rc[v] + 1) / tot) / 8)(rsig) * any_)
    # spans
    ent = np.zeros((P, B)); ext = np.zeros((P, B))
    for b in range(B): ent[:, b] = np.where(any_[:, b], (ent[:, b - 1] if b else 0) + 1, 0)
    for b in range(B - 1, -1, -1): ext[:, b] = np.where(any_[:, b], (ext[:, b + 1] if b < B - 1 else 0) + 1, 0)
    add('since_entry', np.log2(1 + ent) / 4); add('until_rest', np.log2(1 + ext) / 4)
    act = any_.mean(1); add('part_activity', np.broadcast_to(act[:, None], (P, B)))
    add('bar_crotchets', np.broadcast_to(np.log2(L)[None] - 1.5, (P, B)))
    return np.stack(F, -1).astype(np.float32), names, any_, prev
def work_of(p):
    if p[:2] in ('be',) and len(p) == 3: return 'B9'
    if p[:2] in ('mo',) and len(p) == 3: return 'M41'
    if p[:2] == 'dv': return 'DV'
    return {'BWV.1048': 'Ba3', 'BWV.232': 'BaM', 'Op.32': 'Bea', 'Op.125': 'B9', 'Op.21': 'B1', 'Op.55': 'B3', 'Op.67': 'B5', 'Op.92': 'B7',
            'Op.45': 'BrR', 'Op.68': 'Br1', 'Op.90': 'Br3', 'WAB.105': 'Bru5'}[p.split('_')[1]]
def literal_repeats(R, m=4):
    """bars that are a written-out repeat: a run of at least m bars equal to an earlier run at one constant distance"""
    P, B = R.shape[:2]; sig = [hash(R[:, b].tobytes()) for b in range(B)]; empty = [not R[:, b].any() for b in range(B)]
    at = collections.defaultdict(list); rep = np.zeros(B, bool); run = {}
    for b in range(B):
        new = {}
        for a in at[sig[b]]: new[b - a] = run.get(b - a, 0) + 1
        for d, n in new.items():
            if n >= m and d >= m: rep[b - n + 1:b + 1] = True
        run = new; at[sig[b]].append(b)
    return rep
LE_ROLES = ['mel','decmel','harm','rhythm','repeat_note','osc','batt','arp','scale','sparse']; LE_REL = ['u','h','p']
def main():
    s3 = list(csv.DictReader(open(D + 'texture/s3_gold.csv'))); le = list(csv.DictReader(open(D + 'texture/le_gold.csv')))
    s3p = collections.defaultdict(list); [s3p[r['piece']].append(r) for r in s3]
    lep = collections.defaultdict(list); [lep[r['piece']].append(r) for r in le]
    lemap = collections.defaultdict(dict)
    for r in csv.DictReader(open(D + 'texture/le_bar_to_score.csv')): lemap[r['le_piece']][int(r['le_bar'])] = int(r['hs_measure_index']) - 1
    hs2le = {}
    for r in csv.DictReader(open(D + 'texture/le_bar_to_score.csv')): hs2le[r['hs_piece']] = r['le_piece']
    LEI = {'Fl': 'flute', 'Ob': 'oboe', 'Cl': 'clarinet', 'Fg': 'bassoon', 'Trp': 'trumpet', 'Timp': 'percussion', 'Vln1': 'violin1', 'Vln2': 'violin2', 'Vla': 'viola', 'Vc': 'cello', 'Cb': 'bass'}
    pieces = sorted(glob.glob(D + 'texture/s3_midi/*.mid')) + sorted(glob.glob(D + 'scores/*.mxl'))
    if len(sys.argv) > 1: pieces = [p for p in pieces if any(a in p for a in sys.argv[1].split(','))]
    allR, allF, rowmeta, PM = [np.zeros((1, 4, S), np.uint8)], [], [], []
    tgt = collections.defaultdict(list); row = 1; meta = []
    for f in pieces:
        name = os.path.basename(f).rsplit('.', 1)[0]; midi = f.endswith('.mid')
        sc = read_midi(f) if midi else read(f); sc['parts'] = [(n, x) for n, x in sc['parts']]
        R, L = rolls(sc); F, names, any_, prev = part_features(R, L); P, B = any_.shape
        idx = np.zeros((P, B), np.int32); n = any_.sum(); pb = np.argwhere(any_); idx[any_] = np.arange(row, row + n); row += n
        allR.append(R[any_]); allF.append(F[any_]); PM.append(prev[any_].astype(np.uint8))
        ids = np.array([klass(x) for x, _ in sc['parts']]); nums = np.array([number(x) for x, _ in sc['parts']])
        ts = np.full((P, B, 4), -1, np.int8); tl = np.full((P, B, 5), -1, np.int8); th = np.full((P, B, 2), -1, np.float32)
        if name in s3p:
            pi = {x: i for i, (x, _) in enumerate(sc['parts'])}
            for r in s3p[name]:
                v = [int(r[k]) for k in ('mel', 'rhythm', 'harm')]
                if sum(v) and int(r['n_sounding']) > 0: ts[pi[r['part']], int(r['bar']) - 1] = v + [min(int(float(r['share']) * 100), 100)]
        lename = hs2le.get(name) or ('mozart-symph41-k551-mvt1' if name == 'mo1' else None)
        lekey = {}
        if lename:
            for r in lep[lename]:
                code, div, bar = r['instrument_code'], r['divisi'], int(r['bar'])
                if code.startswith('Hrn'):
                    cand = [i for i in range(P) if ids[i] == 4]
                    w = {'HrnD': [0, 1], 'HrnB': [2, 3], 'HrnEbI': [0], 'HrnF': [0], 'HrnEbIII': [2], 'HrnEbII': [1] if 400 < bar < 505 else [0, 1]}.get(code)
                    if w is not None: cand = [cand[i] for i in w]
                else: cand = [i for i in range(P) if CLASSES[ids[i]] == LEI[code]]
                if div and len(cand) > 1: cand = [cand[int(div) - 1]]
                if lename in lemap: bars = [lemap[lename][bar]] if bar in lemap[lename] else []
                else: bars = [bar - 1, bar + 119] if bar <= 120 else [bar + 119]   # Mozart 41/i: exposition repeat written out
                for b in bars:
                    for i in cand:
                        lekey.setdefault((r['part'], bar), []).append((i, b))
                        if r['role'] == 'none': continue
                        if div or tl[i, b, 0] < 0:
                            tl[i, b] = [int(r['mel']), int(r['rhythm']), int(r['harm']), LE_ROLES.index(r['role']), LE_REL.index(r['relation']) if r['relation'] in LE_REL else -1]
        if not midi:
            st = np.array(list(sc['starts']) + [sc['end']]); main_ = np.zeros((P, B, S), bool); ann = np.zeros((B, S), bool)
            ev = collections.OrderedDict()
            for r in csv.DictReader(open(f[:-4] + '_annotations.csv', encoding='utf-8-sig')): ev.setdefault(round(float(r['qstamp']) * 480), []).append(int(r['part_num']))
            ks = sorted(ev); slot_t = (st[:-1, None] + (np.arange(S) + .5) / S * np.diff(st)[:, None])
            which = np.searchsorted(ks, slot_t.ravel(), 'right').reshape(B, S) - 1
            for i, k in enumerate(ks):
                m = which == i; ann |= m
                for pp in ev[k]:
                    if pp < P: main_[pp] |= m
            top = R[:, :, 0]; snd = top > 0; main_ &= snd
            att = np.zeros((P, B * S), np.int64); on = (R[:, :, 2] > 0).reshape(P, -1)
            att = np.maximum.accumulate(np.where(on, np.arange(B * S)[None], -1), 1).reshape(P, B, S)
            dbl = main_.copy()
            for m in range(P):
                if not main_[m].any(): continue
                mm = main_[m]
                dbl |= mm[None] & snd & ((top.astype(int) - top[m][None]) % 12 == 0) & (np.abs(att - att[m][None]) <= 0)
            has = main_.any(0); den = np.maximum(has.sum(1), 1)[None]
            v = np.stack([main_.sum(2) / den, dbl.sum(2) / den], -1); v[:, has.sum(1) == 0] = -1; th = v.astype(np.float32)
        tgt['s3'].append(ts[any_]); tgt['le'].append(tl[any_]); tgt['hs'].append(th[any_])
        rep = literal_repeats(R)
        meta.append(dict(name=name, work=work_of(name), P=P, B=B, parts=[x for x, _ in sc['parts']], ids=ids, nums=nums, L=L, idx=idx, rep=rep, starts=np.array(list(sc['starts']) + [sc['end']]), lekey=lekey, lename=lename or ''))
        print(name, P, B, n, 'rep', rep.sum(), 's3', (ts[any_][:, 0] >= 0).sum(), 'le', (tl[any_][:, 0] >= 0).sum(), 'hs', (th[any_][:, 0] > 0).sum(), flush=True)
    z = dict(R=np.concatenate(allR), F=np.concatenate([np.zeros((1, len(names)))] + allF).astype(np.float16), PV=np.concatenate([np.zeros((1, S), np.uint8)] + PM),
             s3=np.concatenate([-np.ones((1, 4), np.int8)] + tgt['s3']), le=np.concatenate([-np.ones((1, 5), np.int8)] + tgt['le']),
             hs=np.concatenate([-np.ones((1, 2), np.float32)] + tgt['hs']).astype(np.float16), names=np.array(names))
    import pickle
    out = os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')
    np.savez_compressed(out + '/data.npz', **z); pickle.dump(meta, open(out + '/meta.pkl', 'wb'))
    print({k: v.shape for k, v in z.items()})
if __name__ == '__main__': main()
