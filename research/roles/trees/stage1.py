from exp import *
def aux_feats(n,cache={}):
    if n in cache: return cache[n]
    z=np.load(f'auxp/{n}.npz'); A=z['A'].astype(float); nm=list(z['names']); K,B,_=A.shape; s=~np.isnan(A[:,:,0]); out={}
    i=np.arange(B)
    for j,a in enumerate(nm):
        v=np.where(s,A[:,:,j],0); out['x_'+a]=A[:,:,j]
        cv=np.concatenate([np.zeros((K,1)),np.cumsum(v,1)],1); cn=np.concatenate([np.zeros((K,1)),np.cumsum(s,1)],1)
        for wd in (1,4):
            l=np.clip(i-wd,0,B);h=np.clip(i+wd+1,0,B)
            with np.errstate(all='ignore'): out[f'x_{a}@{wd}']=(cv[:,h]-cv[:,l])/(cn[:,h]-cn[:,l])
        if a in('hs_main','hs_maind','le_mel','le_rhythm','le_harm'):
            mx=np.nanmax(np.where(s,A[:,:,j],0),0); out[f'x_{a}^max']=np.where(s,mx,np.nan); out[f'x_{a}^rel']=A[:,:,j]-mx
            out[f'x_{a}^rank']=np.where(s,((v[None]>v[:,None])&s[None]).sum(1),np.nan)
    k=sorted(out); cache[n]=(k,np.stack([out[x] for x in k],-1).astype(np.float32)); return cache[n]
def aux_table(g):
    parts=[]
    for n in g.piece.unique():
        k,A=aux_feats(n); x=g[g.piece==n]; parts.append(pd.DataFrame(A[x.k,x.b],index=x.index,columns=k))
    return pd.concat(parts).loc[g.index]
def smooth(g,Pr,wd,dbl=0.5):
    """average probabilities over exact doublers of the bar, then over +-wd bars of the part's own consecutive units"""
    out=np.zeros_like(Pr)
    for n in g.piece.unique():
        x=g[g.piece==n]; z=fe(n); K,B=z['sound'].shape; V=np.full((K,B,3),np.nan); V[x.k,x.b]=Pr[x.index]
        DB=pickle.load(open(f'feat/{n}.dbl','rb')); V2=V.copy()
        if dbl>0:
            for b,d in enumerate(DB):
                if d is None: continue
                act,db,_=d
                if not db.any(): continue
                a=V[act,b]; ok=~np.isnan(a[:,0]); w=db&ok[None,:]; c=w.sum(1)
                m=(w@np.where(ok[:,None],a,0))/np.maximum(c,1)[:,None]
                V2[act,b]=np.where((c>0)[:,None],(1-dbl*c/(c+1))[:,None]*a+(dbl*c/(c+1))[:,None]*m,a)
        if wd:
            num=np.zeros_like(V2);den=np.zeros((K,B,1)); ok=~np.isnan(V2[:,:,:1]); v=np.where(ok,V2,0)
            RH=z['RH']; 
            for d in range(-wd,wd+1):
                wt=0.6**abs(d)
                l=max(0,-d);h=B-max(0,d)
                o=ok[:,l+d:h+d]
                num[:,l:h]+=wt*v[:,l+d:h+d];den[:,l:h]+=wt*o
            with np.errstate(all='ignore'): V2=num/den
        out[x.index]=V2[x.k,x.b]
    return out
def nested(g,X,Y,cols,rounds=300,params=None,trainmask=None,seeds=1):
    """pair models a->b and outer models (a,b)->s. Returns Pr (outer) and Q[(s)] = inner OOF for the works != s"""
    w=g.work.values; ws=sorted(set(w)); tm=~g.rep.values if trainmask is None else trainmask
    Pr=np.zeros(Y.shape); pair={}
    Xv=X[cols].values
    def go(tr,te):
        p=np.zeros((te.sum(),3))
        for sd in range(seeds):
            ms=fit3(Xv[tr],Y[tr],weights(w[tr]),rounds,{**(params or {}),'seed':sd+1})
            for i in range(3): p[:,i]+=ms[i].predict(Xv[te],num_threads=1)/seeds
        return p
    for s in ws:
        Pr[w==s]=go((w!=s)&tm,w==s)
        for b in ws:
            if b!=s: pair[s,b]=go((w==s)&tm,w==b)
    Q={}
    for s in ws:
        q=np.full(Y.shape,np.nan); a,b=[x for x in ws if x!=s]
        q[w==b]=pair[a,b]; q[w==a]=pair[b,a]; Q[s]=q
    return Pr,Q,pair
def decide(g,Y,Pr,Q,mode='f1k'):
    w=g.work.values; Pd=np.zeros(Y.shape,bool); T={}
    for s in sorted(set(w)):
        m=(w!=s)&~g.rep.values; T[s]=[best_thr(Y[m,i],Q[s][m,i],w[m],mode) for i in range(3)]
        Pd[w==s]=Pr[w==s]>np.array(T[s])
    # never an empty set: take the label with largest margin
    e=~Pd.any(1)
    for s in T:
        mm=e&(w==s); j=np.argmax(Pr[mm]/np.array(T[s]),1); Pd[np.flatnonzero(mm),j]=True
    return Pd,T
if __name__=='__main__':
    g=pd.read_pickle('g_s3.pkl'); X=pd.read_pickle('X_s3.pkl'); Y=g[LAB].values.astype(bool)
    A=aux_table(g); X=pd.concat([X,A],axis=1); X.to_pickle('X_s3a.pkl')
    for nm,cols in (('aux',list(X.columns)),('noaux',[c for c in X.columns if not c.startswith('x_')])):
        t=time.time(); Pr,Q,pair=nested(g,X,Y,cols,250); pickle.dump((Pr,Q,pair),open(f'st1_{nm}.pkl','wb')); print(nm,time.time()-t)
        report(g,Y,Pr>.5,nm+' stage1 thr .5')
        for mode in('f1','f1k','k'):
            Pd,T=decide(g,Y,Pr,Q,mode); print(T); report(g,Y,Pd,f'{nm} stage1 nested thresholds {mode}')
        for wd,db in ((0,1),(1,1),(2,1),(4,1),(2,0)):
            Ps=smooth(g,Pr,wd,db); Qs={s:smooth(g,Q[s],wd,db) for s in Q}
            Pd,T=decide(g,Y,Ps,Qs,'f1k'); report(g,Y,Pd,f'{nm} smooth wd{wd} dbl{db} f1k')
