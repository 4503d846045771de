"""Units tables. S3 units with gold; Le units mapped on the parts of scores / s3 midi."""
import re, pickle, os, numpy as np, pandas as pd
from data import *
P=load_all()
def fe(n):
    z=np.load(os.environ.get('RIPIENO_ROLES_WORK','target/roles')+f'/feat/{n}.npz',allow_pickle=True); return z
def repeats(n):
    """bars that copy an earlier bar as part of a written-out repeat of >= 8 bars (same lag)"""
    z=fe(n); PK=z['PK'].astype(np.int64); snd=z['sound']
    B=PK.shape[1]
    h=[hash((PK[:,b].tobytes(),snd[:,b].tobytes())) for b in range(B)]
    pos={}; run={}; rep=np.zeros(B,bool)
    prev={}
    runs=[]
    for b in range(B):
        cur={}
        for a in pos.get(h[b],()):
            lag=b-a
            if lag>=8: cur[lag]=prev.get(lag,0)+1
        for lag,l in cur.items():
            if l>=8: rep[b-l+1:b+1]=True
        prev=cur; pos.setdefault(h[b],[]).append(b)
    return rep
def s3_units():
    g=pd.read_csv(D+'/texture/s3_gold.csv')
    g=g[(g[['mel','rhythm','harm']].sum(axis=1)>0)&(g.n_sounding>=1)].copy()
    R={n:repeats(n) for n in g.piece.unique()}
    g['rep']=[R[n][b-1] for n,b in zip(g.piece,g.bar)]
    pi={n:{x:i for i,x in enumerate(P[n].parts)} for n in R}
    g['k']=[pi[n][x] for n,x in zip(g.piece,g.part)]; g['b']=g.bar-1
    g['work']=g.piece.map(work_of)
    return g
LEMAP={'Fl':'flute','Ob':'oboe','Cl':'clarinet','Fg':'bassoon'}
if __name__=='__main__':
    g=s3_units()
    print(g.groupby('piece').rep.agg(['sum','size','mean']))
    bad=[(n,k,b) for n,k,b in zip(g.piece,g.k,g.b) if not fe_s[n][k,b]] if False else 0
    # label agreement in repeats: same part, same PK at repeated bars
    # agreement between exact doublers
    from itertools import combinations
    for n in g.piece.unique():
        x=g[g.piece==n]; z=fe(n); PK=z['PK']; snd=z['sound']
        print(n,'not sounding in mine:',(~snd[x.k,x.b]).sum(), end=' ')
        lab={(k,b):(m,r,h) for k,b,m,r,h in zip(x.k,x.b,x.mel,x.rhythm,x.harm)}
        DB=pickle.load(open(os.environ.get('RIPIENO_ROLES_WORK','target/roles')+f'/feat/{n}.dbl','rb')); same=np.zeros(3);t=0;ex=0; s2=np.zeros(3);t2=0
        for b,d in enumerate(DB):
            if d is None: continue
            act,dbl,rh=d
            for i,j in zip(*np.nonzero(np.triu(dbl,1))):
                a=lab.get((act[i],b));c=lab.get((act[j],b))
                if a and c: same+=np.array(a)==np.array(c);t+=1;ex+=a==c
            for i,j in zip(*np.nonzero(np.triu(rh,1)&~np.triu(dbl,1))):
                a=lab.get((act[i],b));c=lab.get((act[j],b))
                if a and c: s2+=np.array(a)==np.array(c);t2+=1
        print('doublers agree',(same/t).round(3),'exact',round(ex/t,3),'same-rhythm agree',(s2/t2).round(3))
