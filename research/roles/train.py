import os, sys, json, time, pickle, numpy as np, torch, torch.nn.functional as Fn
from model import *
FAMS = np.array([0,0,0,0,1,1,1,2,3,3,3,3,3,4,5])
HERE = os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')
class Data:
    def __init__(s, dev, feats='B', fam=0):
        s.feats = feats; s.fam = fam
        z = np.load(HERE + '/data.npz'); s.meta = pickle.load(open(HERE + '/meta.pkl', 'rb')); s.dev = dev
        t = lambda k, dt=None: torch.from_numpy(z[k]).to(dev) if dt is None else torch.from_numpy(z[k]).to(dev).to(dt)
        s.R, s.PV, s.F, s.s3, s.le, s.hs = t('R'), t('PV'), t('F', torch.float32), t('s3'), t('le'), t('hs', torch.float32)
        
        if s.feats != 'B':
            A = torch.from_numpy(np.load(HERE + '/A.npz')['A']).to(dev).float(); s.F = torch.cat([s.F, A], 1) if s.feats == 'AB' else torch.cat([A[:, :0], A], 1)
        s.nf = s.F.shape[1]; s.names = list(z['names'])
    def batch(s, segs, T, pmax, rng=None, aug=0.):
        n = len(segs); P = 1; sel = []
        for pi, b0 in segs:
            x = s.meta[pi]['idx'][:, max(b0, 0):b0 + T]; ps = np.flatnonzero(x.any(1))
            if rng is not None and aug:
                if rng.random() < .5: ps = ps[rng.random(len(ps)) > rng.random() * .35]
                if rng.random() < .1:
                    fam = np.array([0,0,0,0,1,1,1,2,3,3,3,3,3,4,5])[s.meta[pi]['ids'][ps]]; ps = ps[fam != rng.integers(0, 4)]
                if len(ps) == 0: ps = np.flatnonzero(x.any(1))
            if rng is not None and len(ps) > pmax: ps = np.sort(rng.choice(ps, pmax, replace=False))
            sel.append(ps); P = max(P, len(ps))
        I = np.zeros((n, T, P), np.int64); cls = np.full((n, P), 15); num = np.zeros((n, P), np.int64); L = np.ones((n, T), np.float32)
        for i, ((pi, b0), ps) in enumerate(zip(segs, sel)):
            me = s.meta[pi]; a, z = max(b0, 0), min(b0 + T, me['B'])
            I[i, a - b0:z - b0, :len(ps)] = me['idx'][ps, a:z].T; L[i, a - b0:z - b0] = me['L'][a:z]
            cls[i, :len(ps)] = FAMS[me['ids'][ps]] if s.fam else me['ids'][ps]; num[i, :len(ps)] = np.minimum(me['nums'][ps], 3)
        if rng is not None and aug:
            I[rng.random((n, T)) < .04] = 0
        g = lambda x: torch.from_numpy(x).to(s.dev)
        return g(I), g(cls), g(num), g(L), sel
    def inputs(s, I, cls, L, shift=None):
        R = s.R[I]; PV = s.PV[I]; F = s.F[I]; m = I > 0
        if shift is not None:      # octave shifts per part [n,P]
            sh = shift[:, None, :, None].to(torch.int16)
            def mv(x): y = x.to(torch.int16); return torch.where(y > 0, (y + sh).clamp(12, 120), y)
            R = torch.stack([mv(R[..., 0, :]), mv(R[..., 1, :]), R[..., 2, :].to(torch.int16), R[..., 3, :].to(torch.int16)], -2); PV = mv(PV)
        return bar_features(R, PV, F, L, m, cls) + (m,)
def run(cfg, data):
    dev = data.dev; torch.manual_seed(cfg['seed']); rng = np.random.default_rng(cfg['seed'])
    excl = set(cfg['exclude']); T = cfg.get('T', 32); N = cfg.get('batch', 16); steps = cfg['steps']
    meta = data.meta; tr = [i for i, m in enumerate(meta) if m['work'] not in excl]
    hasS3 = [i for i in tr if len(meta[i]['name']) == 3]; hasLe = [i for i in tr if meta[i]['lename']]; hasHs = [i for i in tr if len(meta[i]['name']) > 3]
    sy = {}
    for i in hasS3: sy.setdefault(meta[i]['work'], []).append(i)
    syms = sorted(sy)
    def starts(i):      # segment starts not wholly inside written-out repeats
        r = meta[i]['rep']; return np.array([b for b in range(-T // 2, max(meta[i]['B'] - T // 2, 1)) if not r[max(b, 0):b + T].all()] or [0])
    st = {i: starts(i) for i in tr}
    def pick(l, pw): w = np.array([len(st[i]) for i in l]) ** pw; i = l[rng.choice(len(l), p=w / w.sum())]; return i, int(st[i][rng.integers(len(st[i]))])
    notrep = torch.ones(len(data.s3), dtype=torch.bool)
    if cfg.get('droprep', 1):
        for m in meta: notrep[torch.from_numpy(m['idx'][:, m['rep']].ravel().astype(np.int64))] = False
    notrep = notrep.to(dev)
    net = Net(data.nf, d=cfg.get('d', 64), nb=cfg.get('nb', 3), drop=cfg.get('drop', .15), ff=cfg.get('ff', 128), slots=cfg.get('slots', False), k=cfg.get('k', 5), nsym=len(syms), hand=cfg.get('hand', True), share=cfg.get('share', 0), stack=cfg.get('stack', 0), noise=cfg.get('noise', .1), noE=cfg.get('noE', 0), norel=cfg.get('norel', 0), dils=cfg.get('dils', (1, 2, 4, 1)), h=cfg.get('h', 4)).to(dev)
    with torch.no_grad():
        acc = []
        for _ in range(6):
            I, cls, num, L, _s = data.batch([pick(tr, .5) for _ in range(N)], T, 20, rng); ch, rel, f, m = data.inputs(I, cls, L); acc.append(f[m])
        a = torch.cat(acc); net.mu.copy_(a.mean(0)); net.sd.copy_(a.std(0).clamp(min=.05))
    ema = {k: v.clone() for k, v in net.state_dict().items()}
    dec = [p for n_, p in net.named_parameters() if p.ndim > 1]; nod = [p for n_, p in net.named_parameters() if p.ndim <= 1]
    opt = torch.optim.AdamW([dict(params=dec, weight_decay=cfg.get('wd', .05)), dict(params=nod, weight_decay=0)], lr=cfg.get('lr', 2e-3), betas=(.9, .98))
    sched = torch.optim.lr_scheduler.OneCycleLR(opt, cfg.get('lr', 2e-3), total_steps=steps, pct_start=.15)
    ls = cfg.get('ls', .05); wS, wL, wH, wX = cfg.get('wS3', 1.), cfg.get('wLe', .7), cfg.get('wHs', .15), cfg.get('wSsl', .1); t0 = time.time(); log = []
    pS, pL = cfg.get('pS3', .5), cfg.get('pLe', .25); cnt = {}
    eval_at = set(cfg.get('eval_at', [])) | {steps}; outs = {}
    for step in range(1, steps + 1):
        segs = []; sid = []
        for _ in range(N):
            u = rng.random()
            if (u < pS or not hasHs) and hasS3 : w = syms[rng.integers(len(syms))]; segs.append(pick(sy[w], cfg.get('ppw', .5))); sid.append(syms.index(w))
            elif u < pS + pL and hasLe: segs.append(pick(hasLe, .5)); sid.append(-1)
            else: segs.append(pick(hasHs, .5)); sid.append(-1)
        I, cls, num, L, _s = data.batch(segs, T, cfg.get('pmax', 20), rng, cfg.get('aug', 1.))
        n, _, P = I.shape; shift = torch.from_numpy(np.where(rng.random((n, P)) < cfg.get('oct', .08), rng.choice([-12, 12], (n, P)), 0)).to(dev)
        cd = torch.from_numpy(rng.random((n, P)) < cfg.get('clsdrop', .3)).to(dev) | torch.from_numpy(rng.random((n, 1)) < cfg.get('clsdropall', .3)).to(dev)
        with torch.no_grad(): ch, rel, f, m = data.inputs(I, cls, L, shift)
        cls = torch.where(cd, torch.full_like(cls, 15), cls); num = torch.where(cd, torch.zeros_like(num), num)
        mask = (torch.rand(m.shape, device=dev) < cfg.get('mask', .12)) & m if wX else None
        net.train(); o = net(ch, rel, f, m, cls, num, mask); loss = 0.
        keep = notrep[I]
        y = data.s3[I].float(); k = (y[..., 0] >= 0) & keep
        if wS and k.any():
            lg = o['s3']
            sidt = torch.tensor(sid, device=dev)
            if cfg.get('habit', 0):
                hb = net.sym[sidt.clamp(min=0)] * (torch.rand(n, 1, device=dev) < .7); lg = lg + hb[:, None, None, :]; loss = loss + cfg['habit'] * (net.sym ** 2).sum()
            t = y[..., :3].clamp(0, 1); t = t * (1 - 2 * ls) + ls; l = Fn.binary_cross_entropy_with_logits(lg, t, reduction='none').sum(-1)
            loss = loss + wS * (l * k).sum() / k.sum()
        y = data.le[I]; k = (y[..., 0] >= 0) & keep
        if cfg.get('mixle', 0) and k.any():
            tt = y[..., :3].float().clamp(0, 1) * (1 - 4 * ls) + 2 * ls; l = Fn.binary_cross_entropy_with_logits(o['s3'], tt, reduction='none').sum(-1); loss = loss + cfg['mixle'] * (l * k).sum() / k.sum()
        if wL and k.any():
            t = y[..., :3].float().clamp(0, 1) * (1 - 2 * ls) + ls; l = Fn.binary_cross_entropy_with_logits(o['le'][..., :3], t, reduction='none').sum(-1)
            l = l + .5 * Fn.cross_entropy(o['le'][..., 3:13].permute(0, 3, 1, 2), y[..., 3].long().clamp(min=0), reduction='none', label_smoothing=.05)
            kr = k & (y[..., 4] >= 0); l2 = Fn.cross_entropy(o['le'][..., 13:].permute(0, 3, 1, 2), y[..., 4].long().clamp(min=0), reduction='none')
            loss = loss + wL * ((l * k).sum() + .5 * (l2 * kr).sum()) / k.sum()
        y = data.hs[I]; a, b = y[..., 0].clamp(min=0) * m, y[..., 1].clamp(min=0) * m; k = (a.sum(2) > .3)
        if wH and k.any():
            lp = torch.log_softmax(o['hs'].masked_fill(~m, -30.), 2)
            l = -.7 * (a / a.sum(2, keepdim=True).clamp(min=1e-3) * lp).sum(2) - .3 * torch.log((lp.exp() * b.clamp(max=1)).sum(2) + 1e-4)
            loss = loss + wH * (l * k).sum() / k.sum() * 3
        if wX: 
            fz = ((f - net.mu) / net.sd).clamp(-4, 4)[..., :o['ssl'].shape[-1]]; loss = loss + wX * ((o['ssl'] - fz) ** 2)[mask].mean() * 3
        opt.zero_grad(set_to_none=True); loss.backward(); torch.nn.utils.clip_grad_norm_(net.parameters(), 1.); opt.step(); sched.step()
        with torch.no_grad():
            dcy = min(cfg.get('ema', .995), step / (step + 20))
            if step % 2 == 0:
                sd = net.state_dict(); fk = [k_ for k_ in sd if sd[k_].is_floating_point()]
                torch._foreach_lerp_([ema[k_] for k_ in fk], [sd[k_] for k_ in fk], 1 - dcy ** 2)
        if step % 500 == 0 or step == 20: print(cfg['tag'], step, float(loss.detach()), round(time.time() - t0, 1), flush=True)
        if step in eval_at:
            cur = {k_: v.clone() for k_, v in net.state_dict().items()}; net.load_state_dict(ema)
            outs[step] = predict(net, data, [i for i, m_ in enumerate(meta) if m_['work'] in cfg['test']], cfg); net.load_state_dict(cur)
    net.load_state_dict(ema)
    return net, outs
@torch.no_grad()
def predict(net, data, which, cfg, T=96, margin=20, nocls=False):
    net.eval(); out = {}
    for pi in which:
        me = data.meta[pi]; B = me['B']; rows = []; val = []
        for b0 in range(0, B, T - 2 * margin):
            I, cls, num, L, sel = data.batch([(pi, b0 - margin)], T, 99); ch, rel, f, m = data.inputs(I, cls, L)
            if cfg.get('clsdropall', 0) == 1: cls = torch.full_like(cls, 15); num = torch.zeros_like(num)
            o = net(ch, rel, f, m, cls, num); z = torch.cat([o['s3'], o['le'], o['hs'][..., None]], -1)
            a, e = margin, min(T - margin, B - b0 + margin); k = I[0, a:e] > 0; rows.append(I[0, a:e][k].cpu().numpy()); val.append(z[0, a:e][k].cpu().numpy())
        out[me['name']] = (np.concatenate(rows), np.concatenate(val).astype(np.float16))
    return out
if __name__ == '__main__':
    import zlib; cfg = json.loads(sys.argv[1]); dev = 'cuda' if torch.cuda.is_available() else 'cpu'
    if dev == 'cuda': torch.backends.cuda.matmul.allow_tf32 = True; torch.backends.cudnn.allow_tf32 = True
    data = Data(dev, cfg.get('feats', 'B'), cfg.get('fam', 0)); net, outs = run(cfg, data)
    if cfg.get('count'): print(sum(p.numel() for p in net.parameters()))
    st = sorted(outs)
    for s_ in st:
        lite = cfg.get('lite', 0) or s_ != st[-1]
        keep = {}
        for k, (r_, v_) in outs[s_].items():
            s3_ = len(k) == 3; le_ = bool([m for m in data.meta if m['name'] == k][0]['lename'])
            if lite and not s3_: continue
            v_ = (np.round(v_.astype(np.float32) * 16) / 16).astype(np.float16)
            keep[k] = (r_, v_ if le_ and not lite else v_[:, :6] if s3_ else v_[:, 16:])
        outs[s_] = keep
    d = dict(cfg=cfg, outs=outs); 
    if not cfg.get('lite', 0): d['state'] = {k: v.cpu().half().numpy() if v.is_floating_point() else v.cpu().numpy() for k, v in net.state_dict().items()}
    open(cfg['out'], 'wb').write(zlib.compress(pickle.dumps(d), 6))
