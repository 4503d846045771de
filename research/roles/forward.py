"""Reference forward pass in numpy alone. See INPUTS.md for every input.
forward(A, rolls, prev, family, player, present) -> dict(s3 [P,B,3], le [P,B,16], hs [P,B]) mean logits over the seeds."""
import json, os, math, numpy as np
H = os.path.dirname(os.path.abspath(__file__))
M = json.load(open(H + '/manifest.json')); RAW = np.fromfile(H + '/weights.f16', '<f2').astype(np.float32)
W = {t['name']: RAW[t['offset']:t['offset'] + int(np.prod(t['shape']))].reshape(t['shape']) for t in M['tensors']}
_erf = np.vectorize(math.erf, otypes=[np.float32])
def gelu(x): return .5 * x * (1 + _erf(x / math.sqrt(2)))
def norm(x, g, b): m = x.mean(-1, keepdims=True); v = x.var(-1, keepdims=True); return (x - m) / np.sqrt(v + 1e-5) * g + b
def relations(top, on, prev, fam):
    """one bar: top, on, prev [P,S], parts sounding in the bar only -> [P,P,9], row = the part that asks"""
    top = top.astype(np.float32); snd = top > 0; P = len(top)
    d = top[:, None] - top[None]; both = snd[:, None] & snd[None]; O = both.sum(-1).astype(np.float32); O1 = np.maximum(O, 1)
    onb = on[:, None] & on[None]; ON = onb.sum(-1); has = on & (prev > 0); sg = np.sign(np.where(has, top - prev, 0))
    hh = onb & has[:, None] & has[None]; HV = hh.sum(-1); SG = (hh & (sg[:, None] == sg[None])).sum(-1)
    ns = np.maximum(snd.sum(-1), 1).astype(np.float32); no = np.maximum(on.sum(-1), 1).astype(np.float32)
    return np.stack([O / ns[:, None], ON / no[:, None], ON / no[None], (both & (d % 12 == 0)).sum(-1) / O1, (both & (d == 0)).sum(-1) / O1, SG / np.maximum(HV, 1),
                     (both & (d > 0)).sum(-1) / O1 - .5 * (O > 0), (fam[:, None] == fam[None]).astype(np.float32), np.eye(P)], -1).astype(np.float32)
def forward(A, rolls, prev, family, player, present):
    P, B, _ = A.shape; out = None; h, d = M['heads'], M['d']; dh = d // h
    act = [np.flatnonzero(present[:, b]) for b in range(B)]
    rel = [relations(rolls[a, b, 0], rolls[a, b, 2] > 0, prev[a, b].astype(np.float32), family[a]) if len(a) else None for b, a in enumerate(act)]
    for s in range(M['seeds']):
        w = lambda n: W[f's{s}.{n}']
        x = np.clip((A - w('mu')) / w('sd'), -4, 4) @ w('inp.w').T + w('inp.b') + (w('family')[family] + w('player')[player])[:, None]
        x = x * present[..., None]
        for i in range(M['blocks']):
            q = lambda n: W[f's{s}.b{i}.{n}']
            y = norm(x, q('n1.g'), q('n1.b')) @ q('qkv.w').T + q('qkv.b'); o = np.zeros((P, B, d), np.float32)
            for b, a in enumerate(act):
                if not len(a): continue
                bias = rel[b] @ q('bias.w').T + q('bias.b')
                for k in range(h):
                    Q, K, V = (y[a, b, j * d + k * dh:j * d + (k + 1) * dh] for j in range(3))
                    z = Q @ K.T / math.sqrt(dh) + bias[..., k]; z = np.exp(z - z.max(-1, keepdims=True)); z /= z.sum(-1, keepdims=True); o[a, b, k * dh:(k + 1) * dh] = z @ V
            x = x + o @ q('out.w').T + q('out.b')
            y = norm(x, q('n2.g'), q('n2.b')) * present[..., None]; dil = M['dilations'][i]; c = np.zeros_like(y) + q('conv.b')
            for k in range(5):
                sh = (k - 2) * dil; lo, hi = max(0, -sh), min(B, B - sh)
                if hi > lo: c[:, lo:hi] += y[:, lo + sh:hi + sh] * q('conv.w')[:, k]
            x = x + np.concatenate([gelu(c), y], -1) @ q('pw.w').T + q('pw.b')
            y = norm(x, q('n3.g'), q('n3.b')); x = x + gelu(y @ q('f1.w').T + q('f1.b')) @ q('f2.w').T + q('f2.b')
        y = norm(x, w('nf.g'), w('nf.b')); o = dict(s3=y @ w('s3.w').T + w('s3.b'), le=y @ w('le.w').T + w('le.b'), hs=(y @ w('hs.w').T + w('hs.b'))[..., 0])
        out = o if out is None else {k: out[k] + o[k] for k in o}
    return {k: v / M['seeds'] for k, v in out.items()}
