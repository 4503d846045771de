"""predict.py MODEL.json.gz SCORE(.mid|.mxl) > csv : piece,part,bar,p_mel,p_rhythm,p_harm,mel,rhythm,harm (trees alone)
The numpy tree walk below is the reference for a port (float32 thresholds are NOT used: thresholds are doubles, features float32)."""
import sys,json,gzip,os,numpy as np
from data import load_midi,load_xml,make
from features import features
from features2 import features2
def raw(trees,classes,X):
    """sum of leaf values. A split sends x to the left when x <= threshold. NaN: with mode bits 2 or 4 clear it goes to
    the default side (bit 1 set = left); otherwise NaN counts as 0."""
    out=np.zeros((len(X),classes))
    for ti,t in enumerate(trees):
        f=np.array(t['f']);T=np.array(t['t']);l=np.array(t['l']);r=np.array(t['r']);m=np.array(t['m']);v=np.array(t['v'])
        if len(f)==0: out[:,ti%classes]+=v[0]; continue
        cur=np.zeros(len(X),int); live=cur>=0
        while live.any():
            i=np.flatnonzero(live); c=cur[i]; x=X[i,f[c]].astype(float); nan=np.isnan(x); x=np.where(nan,0,x)
            left=np.where(nan&((m[c]&6)==0),(m[c]&1)==1,x<=T[c]); cur[i]=np.where(left,l[c],r[c]); live=cur>=0
        out[:,ti%classes]+=v[-cur-1]
    return out
sg=lambda z:1/(1+np.exp(-z))
def melody_columns(A):
    """A [K,B,2] probabilities main, main_doubled (NaN where silent) -> dict of derived columns"""
    K,B,_=A.shape; A=A.astype(np.float32).astype(float); s=~np.isnan(A[:,:,0]); i=np.arange(B); out={}
    for j,a in enumerate(('main','maind')):
        v=np.where(s,A[:,:,j],0); mx=v.max(0)
        out['h_'+a]=A[:,:,j]; out[f'h_{a}^rel']=np.where(s,A[:,:,j]/np.maximum(mx,1e-6),np.nan); out[f'h_{a}^max']=np.where(s,mx,np.nan)
        out[f'h_{a}^rank']=np.where(s,(v[None]>v[:,None]).sum(1),np.nan)
        cv=np.concatenate([np.zeros((K,1)),np.cumsum(v,1)],1); cn=np.concatenate([np.zeros((K,1)),np.cumsum(s,1)],1)
        for wd in (1,4):
            l=np.clip(i-wd,0,B);h=np.clip(i+wd+1,0,B)
            with np.errstate(all='ignore'): out[f'h_{a}@{wd}']=(cv[:,h]-cv[:,l])/(cn[:,h]-cn[:,l])
    return {k:v.astype(np.float32) for k,v in out.items()}
def analyse(p,bundle):
    M=bundle['models']; F,q=features(p); F.update(features2(p,q)); s=q['sound']; k,b=np.nonzero(s)
    def table(cols,extra=None):
        return np.stack([np.full(len(k),0.,np.float32) if c=='collection' else (extra or F)[c][k,b] if extra and c in extra else F[c][k,b] for c in cols],1)
    A=np.full(s.shape+(2,),np.nan)
    for j,n in enumerate(('main','main_doubled')): A[k,b,j]=sg(raw(M[n]['trees'],1,table(M[n]['columns'])))[:,0]
    H=melody_columns(A)
    P=np.stack([sg(raw(M['s3_'+l]['trees'],1,table(M['s3_'+l]['columns'],H)))[:,0] for l in ('mel','rhythm','harm')],1)
    fine={n:sg(raw(M['fine_'+n]['trees'],1,table(M['fine_'+n]['columns'])))[:,0] for n in ('arp','scale','repeat_note','sparse')}
    z=raw(M['relation']['trees'],3,table(M['relation']['columns'])); z=np.exp(z-z.max(1,keepdims=True)); rel=z/z.sum(1,keepdims=True)
    return k,b,A,P,fine,rel
if __name__=='__main__':
    bundle=json.load(gzip.open(sys.argv[1],'rt')); path=sys.argv[2]; n=os.path.basename(path).rsplit('.',1)[0]
    if path.endswith('.mid'): names,notes,starts,ts,end=load_midi(path)
    else: names,notes,starts,ts,end=load_xml(path)
    p=make(n,'x',names,notes,starts,end,ts if path.endswith('.mid') else None)
    k,b,A,P,fine,rel=analyse(p,bundle); th=np.array(bundle['meta']['thresholds_alone']); D=P>th; e=~D.any(1); D[np.flatnonzero(e),np.argmax(P[e]/th,1)]=True
    print('piece,part,bar,p_mel,p_rhythm,p_harm,mel,rhythm,harm')
    for i in range(len(k)): print(f"{n},{p.parts[k[i]]},{b[i]+1},"+','.join(f'{x:.4f}' for x in P[i])+','+','.join(str(int(x)) for x in D[i]))
