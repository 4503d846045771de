import torch, torch.nn as nn, torch.nn.functional as Fn
S = 48
NCH = 20
NREL = 8
DEV = 20      # first part features whose deviation from the bar's mean over the parts is given too
NE = 27
def bar_features(R, PV, F, L, m, cls):
    """R [n,T,P,4,S] uint8, PV [n,T,P,S], F [n,T,P,NF], L [n,T] crotchets, m [n,T,P] sounding -> slot channels, relations, ensemble features"""
    top, low = R[..., 0, :].float(), R[..., 1, :].float(); on = (R[..., 2, :] > 0).float(); dur = R[..., 3, :].float() / 12
    pv = PV.float(); snd = (top > 0).float(); sb = snd > 0
    hi = top.amax(2, keepdim=True); lo = torch.where(sb, low, torch.full_like(low, 999.)).amin(2, keepdim=True); lo = torch.where(lo > 500, torch.zeros_like(lo), lo)
    cnt = snd.sum(2, keepdim=True); c1 = cnt.clamp(min=1)
    mean = top.sum(2, keepdim=True) / c1
    non = on.sum(2, keepdim=True)
    iv = (top - pv) * on * (pv > 0)
    hasiv = on * (pv > 0)
    ishi = snd * (top >= hi); islo = snd * (low <= lo)
    rel = snd * (top - lo) / (hi - lo + 4)
    q = torch.arange(S, device=R.device) / S
    qb = q * L[..., None]                                  # crotchets
    fr = qb - torch.floor(qb + .02)
    on_share = on * (non - 1) / (c1 - 1).clamp(min=1)
    # pairs
    d = top.unsqueeze(3) - top.unsqueeze(2)                # p - q
    both = sb.unsqueeze(3) & sb.unsqueeze(2)
    O = both.float().sum(-1); same = both & (d == 0); pc = both & (torch.remainder(d, 12) == 0)
    onb = on.unsqueeze(3) * on.unsqueeze(2); ON = onb.sum(-1)
    sg = torch.sign(iv); SG = (onb * (sg.unsqueeze(3) == sg.unsqueeze(2)) * hasiv.unsqueeze(3) * hasiv.unsqueeze(2)).sum(-1)
    PAR = (onb * (iv.unsqueeze(3) == iv.unsqueeze(2)) * hasiv.unsqueeze(3) * hasiv.unsqueeze(2)).sum(-1)
    HV = (onb * hasiv.unsqueeze(3) * hasiv.unsqueeze(2)).sum(-1)
    above = (both & (d > 0)).float().sum(-1)
    ns = snd.sum(-1); no = on.sum(-1)
    O1 = O.clamp(min=1)
    relm = torch.stack([O / ns.unsqueeze(3).clamp(min=1), ON / no.unsqueeze(3).clamp(min=1), ON / no.unsqueeze(2).clamp(min=1), pc.float().sum(-1) / O1, same.float().sum(-1) / O1,
                        SG / HV.clamp(min=1), above / O1 - .5 * (O > 0), (cls.unsqueeze(2) == cls.unsqueeze(1)).float().unsqueeze(1).expand(O.shape)], -1)
    # slot-wise doubling share
    pcd = (pc.float().sum(3) - snd) / (c1 - 1).clamp(min=1)
    und = (same.float().sum(3) - snd).clamp(max=3) / 3
    ch = torch.stack([snd, on, on * torch.log2(dur + .1) / 3, snd * rel, ishi, islo, snd * (top - mean) / 12, (iv / 12).clamp(-1.5, 1.5), hasiv * (iv.abs() <= 2) * (iv != 0), hasiv * (iv == 0),
                      snd * torch.log2(c1) / 4, on_share, snd * pcd, snd * und, snd * (top > low), snd * torch.log2(1 + (top - low)) / 4,
                      snd * (fr.abs() < .03).float().unsqueeze(2), snd * torch.sin(6.2832 * q), snd * torch.cos(6.2832 * q), (on * (on_share < .12))], -2)
    # ensemble features
    P = R.shape[2]; eye = torch.eye(P, device=R.device, dtype=torch.bool)
    mf = m.float(); nP = mf.sum(2, keepdim=True); n1 = nP.clamp(min=1)
    s1 = ns.clamp(min=1); o1 = no.clamp(min=1)
    mp = top.sum(-1) / s1
    neg = (~m).unsqueeze(2) | eye
    def omax(x): return x.masked_fill(neg, 0).amax(3)
    dm = mp.unsqueeze(3) - mp.unsqueeze(2)
    up = torch.where((dm < 0) & ~neg & (O > 0), -dm, torch.full_like(dm, 36.)).amin(3) / 12; dn = torch.where((dm > 0) & ~neg & (O > 0), dm, torch.full_like(dm, 36.)).amin(3) / 12
    pshare = relm[..., 3] * (relm[..., 0] > .5); dbl = ((relm[..., 3] > .9) & (relm[..., 1] > .8) & (relm[..., 2] > .8) & ~neg)
    dblu = (dbl & (relm[..., 4] > .9))
    rh = ((relm[..., 1] > .9) & (relm[..., 2] > .9) & (no.unsqueeze(3) > 0) & ~neg)
    par = (PAR / HV.clamp(min=1) > .8) & (HV >= 2) & ~neg
    rank = ((dm < 0) & ~neg).float().sum(3) / (nP - 1).clamp(min=1)
    dens = no; dr = ((dens.unsqueeze(3) < dens.unsqueeze(2)) & ~neg).float().sum(3) / (nP - 1).clamp(min=1)
    mov = (dens >= dens.sum(2, keepdim=True) / n1) & m
    himov = torch.where(mov.unsqueeze(-1) & sb, top, torch.zeros_like(top)).amax(2, keepdim=True)
    ishm = (snd * (top >= himov) * mov.unsqueeze(-1)).sum(-1) / s1
    E = [ishi.sum(-1) / s1, islo.sum(-1) / s1, (snd * rel).sum(-1) / s1, (snd * (top - mean)).sum(-1) / s1 / 12, (on_share * on).sum(-1) / o1, (on * (on_share < .12)).sum(-1) / o1,
         (snd * pcd).sum(-1) / s1, torch.log2(nP + 0 * mf).clamp(min=0) / 4, torch.log1p(dbl.float().sum(3)), torch.log1p(dblu.float().sum(3)), rh.float().sum(3) / (n1 - 1).clamp(min=1), torch.log1p(par.float().sum(3)),
         up, dn, rank, dr, mov.float(), ishm, omax(relm[..., 1]), omax(relm[..., 3] * relm[..., 0]), no / dens.amax(2, keepdim=True).clamp(min=1), omax(relm[..., 5] * relm[..., 1]),
         (dbl & (dm < 0)).any(3).float(), (rh & (dm < 0)).any(3).float()]
    pcn = torch.remainder(top, 12).long(); hist = torch.zeros(*m.shape[:2], 12, device=R.device)
    hist.scatter_add_(2, pcn.flatten(2), snd.flatten(2)); hist = hist / hist.sum(-1, keepdim=True).clamp(min=1)
    sal = torch.gather(hist, 2, pcn.flatten(2)).view(snd.shape) * snd; third = hist.topk(3, -1)[0][..., 2]
    low_pc = torch.remainder(lo, 12)
    E += [sal.sum(-1) / s1 * 3, (snd * (sal >= third[..., None, None].clamp(min=1e-6))).sum(-1) / s1, (snd * (torch.remainder(top, 12) == low_pc)).sum(-1) / s1]
    E = torch.stack(E, -1) * mf[..., None]
    Fm = (F[..., :DEV] * mf[..., None]).sum(2, keepdim=True) / n1[..., None]
    dev = (F[..., :DEV] - Fm) * mf[..., None]
    return ch, relm, torch.cat([F, E, dev], -1)
class Block(nn.Module):
    def __init__(s, d, h, dil, k, drop, ff):
        super().__init__(); s.h = h
        s.n1, s.n2, s.n3 = nn.LayerNorm(d), nn.LayerNorm(d), nn.LayerNorm(d)
        s.qkv = nn.Linear(d, 3 * d); s.out = nn.Linear(d, d); s.bias = nn.Linear(NREL + 1, h)
        s.conv = nn.Conv1d(d, d, k, dilation=dil, padding=dil * (k // 2), groups=d); s.pw = nn.Linear(2 * d, d)
        s.f1 = nn.Linear(d, ff); s.f2 = nn.Linear(ff, d); s.drop = nn.Dropout(drop)
    def forward(s, x, rel, m):
        n, T, P, d = x.shape; h = s.h
        y = s.n1(x); q, k, v = s.qkv(y).view(n, T, P, 3, h, d // h).permute(3, 0, 1, 4, 2, 5)
        a = q @ k.transpose(-1, -2) / (d // h) ** .5 + s.bias(rel).permute(0, 1, 4, 2, 3)
        a = a.masked_fill(~m[:, :, None, None, :], -1e4).softmax(-1)
        y = (a @ v).permute(0, 1, 3, 2, 4).reshape(n, T, P, d)
        x = x + s.drop(s.out(y))
        y = s.n2(x) * m[..., None]
        c = s.conv(y.permute(0, 2, 3, 1).reshape(n * P, d, T)).view(n, P, d, T).permute(0, 3, 1, 2)
        x = x + s.drop(s.pw(torch.cat([Fn.gelu(c), y], -1)))
        return x + s.drop(s.f2(Fn.gelu(s.f1(s.n3(x)))))
class Net(nn.Module):
    def __init__(s, nf, d=64, h=4, nb=3, k=5, drop=.15, ff=128, cs=32, slots=True, ncls=15, nsym=0, dils=(1, 2, 4, 1), hand=True, share=0, stack=0, noise=.1, noE=0, norel=0):
        super().__init__(); s.slots = slots; s.hand = hand; nin = nf + NE + DEV
        s.c1 = nn.Conv1d(NCH, cs, 5, stride=2, padding=2); s.c2 = nn.Conv1d(cs, cs, 3, padding=1, stride=2)
        s.inp = nn.Linear(nin, d); s.cls = nn.Embedding(ncls + 1, d); s.num = nn.Embedding(4, d); s.sl = nn.Linear(2 * cs, d)
        s.blocks = nn.ModuleList([Block(d, h, dils[i], k, drop, ff) for i in range(nb)])
        s.nf_ = nn.LayerNorm(d); s.hd = nn.Dropout(drop)
        s.share = share; s.noise = noise; s.noE = noE; s.norel = norel; s.stack = stack; s.s3 = nn.Linear(d + (7 if stack else 0), 3); s.le = nn.Linear(d, 3 + 10 + 3); s.hs = nn.Linear(d, 1); s.ssl = nn.Linear(d, nf + NE)
        s.register_buffer('mu', torch.zeros(nin)); s.register_buffer('sd', torch.ones(nin)); s.drop = nn.Dropout(drop)
        s.mask = nn.Parameter(torch.zeros(d))
        s.sym = nn.Parameter(torch.zeros(max(nsym, 1), 3))
    def forward(s, ch, rel, f, m, cls, num, mask=None):
        n, T, P = m.shape; eye = torch.eye(P, device=f.device)[None, None, :, :, None].expand(n, T, P, P, 1)
        rel = torch.cat([rel, eye], -1)
        fz = ((f - s.mu) / s.sd).clamp(-4, 4)
        if s.noE: fz = torch.cat([fz[..., :-(NE + DEV)], torch.zeros_like(fz[..., -(NE + DEV):])], -1)
        if s.norel: rel = rel * torch.tensor([0.] * NREL + [1.], device=rel.device)
        if s.training: fz = fz + s.noise * torch.randn_like(fz)
        x = s.inp(s.drop(fz)) if s.hand else 0
        if s.slots:
            idx = m.nonzero(as_tuple=True); c = Fn.gelu(s.c1(ch[idx])); c = Fn.gelu(s.c2(c)); c = torch.cat([c.mean(-1), c.amax(-1)], -1)
            z = s.sl(s.drop(c)); y = torch.zeros(n, T, P, z.shape[-1], device=f.device, dtype=z.dtype); y[idx] = z; x = x + y
        if mask is not None: x = torch.where(mask[..., None], s.mask, x)
        x = (x + (s.cls(cls) + s.num(num))[:, None]) * m[..., None]
        for b in s.blocks: x = b(x, rel, m)
        x = s.hd(s.nf_(x)); 
        le = s.le(x); hs = s.hs(x)[..., 0]; xx = x
        if s.stack: xx = torch.cat([x, (le[..., :3] / 2).detach(), (le[..., 3:6] / 2).detach(), torch.log_softmax(hs.masked_fill(~m, -30.), 2)[..., None].clamp(min=-8).detach() / 4], -1)
        s3 = s.s3(xx)
        if s.share: s3 = s.share * s3 + le[..., :3]
        return dict(s3=s3, le=le, hs=hs, ssl=s.ssl(x))
