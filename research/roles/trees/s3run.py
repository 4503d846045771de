"""S3: joint with Le, HS aux; pairs + outer with strict exclusion; saves probabilities"""
from cfg import *
from lecv import f2
import sys
def hsfeat(n,c={}):
    if n in c: return c[n]
    A=np.load(f'hsp/{n}.npy').astype(float); K,B,_=A.shape; s=~np.isnan(A[:,:,0]); i=np.arange(B); out={}
    for j,a in enumerate(('main','maind')):
        v=np.where(s,A[:,:,j],0); mx=v.max(0); out['h_'+a]=A[:,:,j]; out[f'h_{a}^rel']=np.where(s,A[:,:,j]/np.maximum(mx,1e-6),np.nan); out[f'h_{a}^max']=np.where(s,mx,np.nan)
        out[f'h_{a}^rank']=np.where(s,(v[None]>v[:,None]).sum(1),np.nan)
        cv=np.concatenate([np.zeros((K,1)),np.cumsum(v,1)],1); cn=np.concatenate([np.zeros((K,1)),np.cumsum(s,1)],1)
        for wd in (1,4):
            l=np.clip(i-wd,0,B);h=np.clip(i+wd+1,0,B)
            with np.errstate(all='ignore'): out[f'h_{a}@{wd}']=(cv[:,h]-cv[:,l])/(cn[:,h]-cn[:,l])
    k=sorted(out); c[n]=(k,np.stack([out[x] for x in k],-1).astype(np.float32)); return c[n]
def hs_table(gg):
    parts=[]
    for n in gg.piece.unique():
        k,A=hsfeat(n); x=gg[gg.piece==n]; parts.append(pd.DataFrame(A[x.k,x.b],index=x.index,columns=k))
    return pd.concat(parts).loc[gg.index]
def build():
    S=pd.concat([X[noaux],f2(g),hs_table(g)],axis=1); Lx=pd.concat([Xl[noaux],f2(u),hs_table(u)],axis=1)
    return S,Lx
PAR=dict(lambda_l2=50,min_data_in_leaf=200,feature_fraction=.12,extra_trees=True,num_leaves=15,learning_rate=.06)
def run(S,Lx,cols,le=.3,rounds=300,par=PAR,subs=sub,seeds=1,pairs_only=False):
    """returns dict excl(tuple) -> probabilities on excluded works (Nx3)"""
    Sv=np.hstack([S[cols].values,np.zeros((len(S),1),np.float32)]); Lv=np.hstack([Lx[cols].values,np.ones((len(Lx),1),np.float32)]); uw=u.work.values; Yl=u[LAB].values.astype(bool); out={}
    for ex in [tuple(sorted(x for x in ws if x!=a)) for a in ws]+([] if pairs_only else [(s,) for s in ws]):
        tr=~np.isin(w,ex)&subs; l=~np.isin(uw,ex); lw=weights(uw[l])*u.wt.values[l]; lw*=le*tr.sum()/lw.sum()
        Xt=np.vstack([Sv[tr],Lv[l]]); Yt=np.vstack([Y[tr],Yl[l]]); wt=np.concatenate([weights(w[tr]),lw]); te=np.isin(w,ex); p=np.full(Y.shape,np.nan); p[te]=0
        for sd in range(seeds):
            ms=fit3(Xt,Yt,wt,rounds,{**par,'seed':sd+1})
            for i in range(3): p[te,i]+=ms[i].predict(Sv[te],num_threads=1)/seeds
        out[ex]=p
    return out
def qs(out):
    """Pr and Q in the form decide() wants"""
    Pr=np.zeros(Y.shape); Q={}
    for s in ws:
        if (s,) in out: Pr[w==s]=out[(s,)][w==s]
        q=np.full(Y.shape,np.nan)
        for b in ws:
            if b!=s: q[w==b]=out[tuple(sorted((s,b)))][w==b]
        Q[s]=q
    return Pr,Q
def pscore(out):
    r=[]
    for ex,p in out.items():
        if len(ex)!=2: continue
        for b in ex:
            m=(w==b)&~rep; x=[]
            for i in range(3):
                ks=[kap_f1(Y[m,i],p[m,i]>t) for t in np.arange(.2,.7,.05)]; x+=[max(k for k,_ in ks),max(f for _,f in ks),kap_f1(Y[m,i],p[m,i]>.45)[0]]
            r.append(x)
    A=np.array(r); return f"bestk {A[:,[0,3,6]].mean(0).round(3)} bestF {A[:,[1,4,7]].mean(0).round(3)} k.45 {A[:,[2,5,8]].mean(0).round(3)} avg {A[:,[0,1,3,4,6,7]].mean():.4f}"
