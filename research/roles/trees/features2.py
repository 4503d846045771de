"""Second feature group: figures (per cell) and layer relations (per bar). dict(name -> [K x B])."""
import numpy as np
from features import prep, NAN
def features2(p,q):
    K,B,st,en,blen=q['K'],q['B'],q['st'],q['en'],q['blen']; L=q['L']; beat=q['beat']; unp=q['unp']
    F={}
    def new(n): F[n]=np.full((K,B),NAN,np.float32)
    FIG=['runshare','runmax','arpshare','arpmax','reprun','repmax','oscshare','chordfig','albert','fast','isoshare','hits','shortshare','firsthit','steps_dir']
    for n in FIG: new(n)
    P_,on_,dur_,key_=L['part'],L['on'],L['dur'],L['key']
    n=len(key_)
    same=np.zeros(n,bool); same[1:]=(P_[1:]==P_[:-1])
    iv=np.zeros(n,int); iv[1:]=np.where(same[1:],key_[1:]-key_[:-1],0)
    gap=np.full(n,10**6); gap[1:]=np.where(same[1:],on_[1:]-(on_+dur_)[:-1],10**6)
    bt=beat[L['bar']]
    lk=same&(gap<=bt/2)   # note i is linked to i-1 when at most half a beat of silence lies between
    def runs(ok):
        """length (in notes) of the maximal run of linked notes, over which ok[i] (i-1 -> i) holds, that contains each note"""
        r=np.ones(n,int); i=0
        while i<n:
            j=i
            while j+1<n and ok[j+1]: j+=1
            if j>i: r[i:j+1]=np.maximum(r[i:j+1],j-i+1); i=j
            else: i+=1
        return r
    a=np.abs(iv)
    up=lk&(iv>0)&(iv<=2); dn=lk&(iv<0)&(iv>=-2); run=np.maximum(runs(up),runs(dn))
    au=lk&(iv>=3)&(iv<=9); ad=lk&(iv<=-3)&(iv>=-9); arp=np.maximum(runs(au),runs(ad))
    rp=runs(lk&(iv==0))
    osc=np.zeros(n,bool); osc[2:]=lk[2:]&lk[1:-1]&(key_[2:]==key_[:-2])&(iv[2:]!=0)
    os_=runs(osc)
    cell=P_.astype(np.int64)*B+L['bar']; bounds=np.searchsorted(cell,np.arange(K*B+1))
    nxt=np.minimum(L['nxt'],2**40)
    for c in np.flatnonzero(np.diff(bounds)>0):
        k,b=divmod(int(c),B); s,e=bounds[c],bounds[c+1]; m=e-s
        y=key_[s:e]; d=dur_[s:e]
        F['runshare'][k,b]=(run[s:e]>=4).mean(); F['runmax'][k,b]=run[s:e].max()
        F['arpshare'][k,b]=(arp[s:e]>=3).mean(); F['arpmax'][k,b]=arp[s:e].max()
        F['reprun'][k,b]=(rp[s:e]>=3).mean(); F['repmax'][k,b]=rp[s:e].max(); F['oscshare'][k,b]=(os_[s:e]>=3).mean()
        st_=(a[s:e]>0)&(a[s:e]<=2)&lk[s:e]; lp=(a[s:e]>=3)&lk[s:e]
        F['chordfig'][k,b]=float(m>=4 and not st_.any() and len(set(y))>=3)
        F['albert'][k,b]=lp.mean()-st_.mean()
        F['fast'][k,b]=(d<=beat[b]/3).mean()
        g=nxt[s:e]-(on_[s:e]+d); pg=gap[s:e]
        F['isoshare'][k,b]=((g>=beat[b]/2)&(pg>=beat[b]/2)&(d<=beat[b])).mean()
        F['hits'][k,b]=((g>=beat[b]/2)&(d<=beat[b])).mean()
        F['shortshare'][k,b]=(d<=beat[b]).mean(); F['firsthit'][k,b]=float(m==1 and on_[s]==st[b] and d[0]<=beat[b])
        F['steps_dir'][k,b]=abs(np.sign(iv[s:e][st_]).sum())/max(m,1)
    REL=['r_n','r_dbl','r_uni','r_par','r_con','r_pcs','r_dblfam','r_same','r_alone','r_pairdbl','r_pairpar','r_pairpc','r_top','r_low','r_match']
    for nme in REL: new(nme)
    T=np.unique(on_); ti=np.searchsorted(T,on_); tb=np.searchsorted(T,np.append(st,en[-1]))
    ON=np.zeros((K,len(T)),np.float32); KY=np.zeros((K,len(T)),np.int16); SG=np.zeros((K,len(T)),np.int16)
    ON[P_,ti]=1; KY[P_,ti]=key_; SG[P_,ti]=np.where(same,np.sign(iv),0)
    for b in range(B):
        t0,t1=tb[b],tb[b+1]; act=np.flatnonzero(ON[:,t0:t1].any(1)&~unp); A=len(act)
        if A==0: continue
        M=ON[act,t0:t1]; nn=M.sum(1); C=M@M.T; y=KY[act,t0:t1].astype(int); sg=SG[act,t0:t1]
        both=(M[:,None]*M[None])>0; dy=y[None]-y[:,None]
        eye=np.eye(A,dtype=bool); jac=C/(nn[:,None]+nn[None]-C); Cm=np.maximum(C,1)
        D=(both&(dy%12==0)).sum(2)/Cm; U=(both&(dy==0)).sum(2)/Cm
        mv=both&(sg[:,None]!=0)&(sg[None]!=0); mvn=mv.sum(2); PR=np.where(mvn>0,(mv&(sg[:,None]==sg[None])).sum(2)/np.maximum(mvn,1),.5)
        CN=np.where(mvn>0,(mv&(sg[:,None]==-sg[None])).sum(2)/np.maximum(mvn,1),0)
        cl=(jac>=.6)&~eye; c=cl.sum(1); cc=np.maximum(c,1)
        def mean(Z): return np.where(c>0,(Z*cl).sum(1)/cc,NAN)
        mp=np.where(M>0,y,0).sum(1)/nn
        V={'r_n':c,'r_dbl':mean(D),'r_uni':mean(U),'r_par':mean(PR),'r_con':mean(CN),'r_same':mean(jac),'r_alone':(c==0)}
        V['r_match']=np.where(c>0,np.where(cl,D,0).max(1),NAN)
        dbl=(D>=.75)&(jac>=.6)&~eye
        # distinct pitch classes attacked together by the cluster, mean over its onsets; share of pairs inside the cluster that double / move in parallel
        pcs=np.full(A,NAN);pd=np.full(A,NAN);pp=np.full(A,NAN);tp=np.full(A,NAN);lw=np.full(A,NAN)
        for i in range(A):
            m=np.flatnonzero(cl[i]|eye[i])
            tp[i]=mp[i]-mp[m].max(); lw[i]=mp[i]-mp[m].min()
            if len(m)>1:
                cols=np.flatnonzero(M[i]); pcs[i]=np.mean([len(set((y[m,t]%12)[M[m,t]>0])) for t in cols])
                x=D[np.ix_(m,m)]; z=PR[np.ix_(m,m)]; r=len(m)*(len(m)-1); pd[i]=(x.sum()-np.trace(x))/r; pp[i]=(z.sum()-np.trace(z))/r
        V.update(r_pcs=pcs,r_pairdbl=pd,r_pairpar=pp,r_top=tp,r_low=lw)
        fam=np.array(q['stem'])[act]; V['r_dblfam']=np.where(c>0,(dbl&(fam[:,None]==fam[None])).sum(1),NAN)
        V['r_pairpc']=np.where(c>0,pcs/np.minimum(c+1,4),NAN)
        for k_,v in V.items(): F[k_][act,b]=v
    ctx=['runshare','runmax','arpshare','reprun','oscshare','chordfig','albert','isoshare','hits','shortshare','r_n','r_dbl','r_uni','r_par','r_pcs','r_pairdbl','r_pairpar','r_match']
    i=np.arange(B)
    for nm in ctx:
        v=F[nm].astype(float); ok=~np.isnan(v); v0=np.where(ok,v,0); cv=np.concatenate([np.zeros((K,1)),np.cumsum(v0,1)],1); cn=np.concatenate([np.zeros((K,1)),np.cumsum(ok,1)],1)
        for w in (1,4):
            l=np.clip(i-w,0,B);h=np.clip(i+w+1,0,B)
            with np.errstate(all='ignore'): F[f'{nm}@{w}']=((cv[:,h]-cv[:,l])/(cn[:,h]-cn[:,l])).astype(np.float32)
    return F
if __name__=='__main__':
    import time,os
    from data import load_all
    os.makedirs('feat2',exist_ok=True)
    for n,p in load_all().items():
        t=time.time(); q=prep(p); F=features2(p,q); nm=sorted(F); np.savez_compressed(f'feat2/{n}.npz',X=np.stack([F[k] for k in nm],-1),names=np.array(nm))
    print(len(nm),time.time()-t)
