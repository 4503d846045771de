"""Role features per part and bar. One piece in, dict(name -> [K x B] float32, NaN = undefined) out."""
import re, zlib, numpy as np
from collections import defaultdict
from data import family
NAN=np.nan
UNP=re.compile(r'drum|cymbal|triangle',re.I)

def beat_of(ts):
    n,d=ts; u=1920//d
    return 3*u if (d>=8 and n%3==0 and n>3) else u

def prep(p):
    K=len(p.parts); st=p.starts; B=len(st); ends=np.append(st[1:],max(p.end,st[-1]+1)); blen=(ends-st).astype(float)
    q={}
    q['K'],q['B'],q['st'],q['en'],q['blen']=K,B,st,ends,blen
    q['unp']=np.array([bool(UNP.search(n)) for n in p.parts])
    q['fam']=[family(n) for n in p.parts]
    # instrument stem = name without trailing digits -> section mates
    q['stem']=[re.sub(r'[\d\s]+$','',re.sub(r'^(A|B|Bb|C|D|E|Eb|F|G)\s+(\(.*\)\s*)?','',n)).strip().lower() for n in p.parts]
    if p.ts is not None and len(p.ts)==B: q['beat']=np.array([beat_of(t) for t in p.ts],float)
    else: q['beat']=np.full(B,480.)
    # top line: highest note at every onset of a part
    o=np.lexsort((-p.key,p.on,p.part)); pt,on,off,ky=p.part[o],p.on[o],p.off[o],p.key[o]
    new=np.ones(len(pt),bool); new[1:]=(pt[1:]!=pt[:-1])|(on[1:]!=on[:-1])
    idx=np.flatnonzero(new); cnt=np.diff(np.append(idx,len(pt)))
    L=dict(part=pt[idx],on=on[idx],off=off[idx],key=ky[idx],n=cnt)
    nxt=np.full(len(idx),2**60); same=L['part'][1:]==L['part'][:-1]; nxt[:-1][same]=L['on'][1:][same]
    L['nxt']=nxt; L['dur']=np.minimum(L['off'],nxt)-L['on']
    L['ioi']=np.minimum(nxt-L['on'],np.maximum(L['off']-L['on'],nxt-L['on']))
    big=nxt>2**59; L['ioi'][big]=(L['off']-L['on'])[big]
    L['bar']=np.searchsorted(st,L['on'],side='right')-1
    q['L']=L
    return q

def slices(p,q):
    """top/low sounding key per part and time slice"""
    pts=np.unique(np.concatenate([p.on,p.off,q['st'],[q['en'][-1]]])); pts=pts[(pts>=0)&(pts<=q['en'][-1])]
    S=len(pts)-1; K=q['K']
    a=np.searchsorted(pts,p.on); b=np.searchsorted(pts,np.minimum(p.off,pts[-1]))
    top=np.full((K,S),-1,np.int16); low=np.full((K,S),999,np.int16)
    for k,i,j,y in zip(p.part,a,b,p.key):
        t=top[k,i:j]; np.maximum(t,y,out=t); l=low[k,i:j]; np.minimum(l,y,out=l)
    ln=np.diff(pts).astype(float); bar=np.searchsorted(q['st'],pts[:-1],side='right')-1
    return top,low,ln,bar

def entropy(c):
    c=c[c>0]/c.sum(); return float(-(c*np.log2(c)).sum())

def features(p,q=None):
    q=q or prep(p); K,B,st,en,blen=q['K'],q['B'],q['st'],q['en'],q['blen']; L=q['L']; beat=q['beat']
    F={}
    def new(name,fill=NAN):
        F[name]=np.full((K,B),fill,np.float32); return F[name]
    top,low,ln,sbar=slices(p,q)
    snd=top>=0
    pit=snd&~q['unp'][:,None]
    # ---- time-weighted facts from slices
    W=np.zeros((K,B)); np.add.at(W.T,sbar,(snd*ln).T)
    sound=W>0; q['sound']=sound
    F['cover']=(W/blen).astype(np.float32)
    topm=np.where(pit,top,-1); lowm=np.where(pit,low,999)
    hi=topm.max(0); lo=lowm.min(0); npit=pit.sum(0)
    def tw(x,mask=pit):
        """time-weighted mean of x (K x S) over own sounding time"""
        num=np.zeros((K,B)); den=np.zeros((K,B)); np.add.at(num.T,sbar,(np.where(mask,x,0)*ln).T); np.add.at(den.T,sbar,(mask*ln).T)
        with np.errstate(all='ignore'): return (num/den).astype(np.float32)
    F['hi_share']=tw(topm>=hi); F['lo_share']=tw(lowm<=lo)
    F['hi_gap']=tw(hi-topm); F['lo_gap']=tw(lowm-lo)
    # hi share within strings/winds/brass group
    fam=np.array(q['fam'])
    above=np.zeros_like(top,dtype=np.float32)
    key2=np.where(pit,top,-999)
    rank=np.zeros((K,len(ln)),np.float32); sharing=np.zeros((K,len(ln)),np.float32); uni=np.zeros((K,len(ln)),np.float32)
    pc=np.where(pit,top%12,-1)
    for k in range(K):
        d=key2-key2[k]
        rank[k]=((d>0)&pit).sum(0)
        sharing[k]=((pc==pc[k])&pit).sum(0)-1
        uni[k]=((d==0)&pit).sum(0)-1
    F['rank_above']=tw(rank); F['rank_rel']=tw(rank/np.maximum(npit-1,1))
    F['samepc']=tw(sharing/np.maximum(npit-1,1)); F['uni_n']=tw(uni); F['samepc_n']=tw(sharing)
    F['n_parts']=tw(np.broadcast_to(snd.sum(0),snd.shape),snd)
    for f in ('strings','woodwind','brass'):
        F['n_'+f]=tw(np.broadcast_to((snd&(fam==f)[:,None]).sum(0),snd.shape),snd)
    # silence in ensemble besides
    # family-inner rank
    frank=np.zeros_like(rank); fn=np.zeros_like(rank)
    for f in set(q['fam']):
        m=(fam==f); kk=np.flatnonzero(m)
        for k in kk:
            frank[k]=((key2[kk]>key2[k])&pit[kk]).sum(0); fn[k]=pit[kk].sum(0)
    F['frank']=tw(frank); F['frank_rel']=tw(frank/np.maximum(fn-1,1)); F['fn']=tw(fn)
    # harmony: pitch-class weight per bar (by time, all sounding parts' top and low)
    pcw=np.zeros((B,12))
    for arr in (topm,lowm):
        for c in range(12):
            m=(arr%12==c)&pit
            np.add.at(pcw[:,c],sbar,(m*ln).sum(0))
    pcw/=np.maximum(pcw.sum(1,keepdims=True),1e-9)
    ordr=np.sort(pcw,1)[:,::-1]; third=ordr[:,2]
    # top pc set: share of own time in the three strongest pitch classes
    sal=pcw[sbar][np.arange(len(sbar))[None,:],np.where(pc<0,0,pc)]
    F['pc_sal']=tw(sal); F['pc_top3']=tw(sal>=np.maximum(third[sbar],1e-9)[None,:])
    F['pc_n']=np.broadcast_to((pcw>.04).sum(1),(K,B)).astype(np.float32).copy()
    bassp=np.where(lo<999,lo%12,-2); F['pc_bass']=tw(pc==bassp[None,:])
    F['pitch']=tw(topm)
    ens=np.array([ (pit[:,i]*topm[:,i]).sum()/max(npit[i],1) for i in range(len(ln))]) if len(ln)<1 else (np.where(pit,topm,0).sum(0)/np.maximum(npit,1))
    F['pitch_vs_ens']=F['pitch']-tw(np.broadcast_to(ens,pit.shape))
    # own-range position
    medk=np.array([np.median(L['key'][L['part']==k]) if (L['part']==k).any() else 60 for k in range(K)]); 
    loq=np.array([np.percentile(L['key'][L['part']==k],10) if (L['part']==k).any() else 50 for k in range(K)])
    hiq=np.array([np.percentile(L['key'][L['part']==k],90) if (L['part']==k).any() else 70 for k in range(K)])
    F['own_pos']=((F['pitch']-loq[:,None])/np.maximum(hiq-loq,5)[:,None]).astype(np.float32)
    # ---- own facts from the line
    names=['n_on','dens','mdur','maxdur','legato','ioi_min','ioi_mean','ioi_ent','n_ioi','range','n_pitch','n_pc','p_ent','rep','step','third','leap','maxleap','turns','net','run','arp','osc','first_pos','on_start','held_in','offbeat','onbeat','sync','chord','iv_ent','same_ioi','dot','longest_last','last_gap']
    for n in names: new(n)
    for n in ('n_on','dens'): F[n][:]=0
    cell=L['part'].astype(np.int64)*B+L['bar']; bounds=np.searchsorted(cell,np.arange(K*B+1))
    rh={}; ct={}; pk={}
    on_,dur_,key_,ioi_,n_,off_=L['on'],L['dur'],L['key'],L['ioi'],L['n'],L['off']
    prevkey=np.full(len(key_),-1); prevkey[1:]=np.where(L['part'][1:]==L['part'][:-1],key_[:-1],-1)
    prevend=np.full(len(key_),-10**9); prevend[1:]=np.where(L['part'][1:]==L['part'][:-1],(on_+dur_)[:-1],-10**9)
    RH=np.zeros((K,B),np.int64);CT=np.zeros((K,B),np.int64);PK=np.zeros((K,B),np.int64)
    for c in np.flatnonzero(np.diff(bounds)>0):
        k,b=divmod(int(c),B); s,e=bounds[c],bounds[c+1]; n=e-s
        o=on_[s:e]-st[b]; d=dur_[s:e]; y=key_[s:e]; io=ioi_[s:e].astype(float); bl=blen[b]; bt=beat[b]
        F['n_on'][k,b]=n; F['dens'][k,b]=n*bt/bl
        F['mdur'][k,b]=np.log2(max(d.mean(),15)/480); F['maxdur'][k,b]=np.log2(max(d.max(),15)/480)
        io=np.minimum(io,2*bl); F['legato'][k,b]=d.sum()/max(io.sum(),1)
        F['ioi_min'][k,b]=np.log2(max(io.min(),15)/480); F['ioi_mean'][k,b]=np.log2(max(io.mean(),15)/480)
        u,cn=np.unique(io[:-1] if n>1 else io,return_counts=True)
        F['n_ioi'][k,b]=len(u); F['ioi_ent'][k,b]=entropy(cn.astype(float)); F['same_ioi'][k,b]=cn.max()/cn.sum()
        u,cn=np.unique(y,return_counts=True)
        F['range'][k,b]=y.max()-y.min(); F['n_pitch'][k,b]=len(u); F['n_pc'][k,b]=len(set(u%12)); F['p_ent'][k,b]=entropy(cn.astype(float))
        F['first_pos'][k,b]=o[0]/bl; F['on_start'][k,b]=o[0]==0
        F['onbeat'][k,b]=(o%bt==0).mean(); F['offbeat'][k,b]=((o%bt)*2==bt).mean()
        # syncopation: attack off the beat held over the next beat
        F['sync'][k,b]=((o%bt!=0)&((o//bt+1)*bt<o+d)).mean()
        F['chord'][k,b]=n_[s:e].mean()
        F['held_in'][k,b]=prevend[s]>st[b]
        F['last_gap'][k,b]=1-min(1,(o[-1]+d[-1])/bl)
        # intervals: note into note, incl. from the previous bar's last if it ends within a beat
        if prevkey[s]>=0 and on_[s]-prevend[s]<=bt: ys=np.concatenate([[prevkey[s]],y])
        else: ys=y
        if len(ys)>1 and not q['unp'][k]:
            iv=np.diff(ys); a=np.abs(iv); m=len(iv)
            F['rep'][k,b]=(a==0).mean(); F['step'][k,b]=((a>0)&(a<=2)).mean(); F['third'][k,b]=((a>2)&(a<=4)).mean(); F['leap'][k,b]=(a>4).mean(); F['maxleap'][k,b]=a.max()
            F['net'][k,b]=iv.sum()/m; F['iv_ent'][k,b]=entropy(np.unique(iv,return_counts=True)[1].astype(float))
            sg=np.sign(iv)
            if m>1:
                F['turns'][k,b]=(sg[1:]*sg[:-1]<0).mean()
                F['arp'][k,b]=((a[1:]>2)&(a[:-1]>2)&(sg[1:]==sg[:-1])).mean()
                F['osc'][k,b]=((ys[2:]==ys[:-2])&(ys[1:-1]!=ys[2:])).mean()
                # longest stepwise run in one direction
                best=cur=0;last=0
                for v in iv:
                    if 0<abs(v)<=2 and (np.sign(v)==last or last==0 or cur==0): cur=cur+1 if np.sign(v)==last else 1
                    elif 0<abs(v)<=2: cur=1
                    else: cur=0
                    last=np.sign(v) if v else 0
                    best=max(best,cur)
                F['run'][k,b]=best
        RH[k,b]=zlib.crc32(o.astype(np.int32).tobytes())+1
        CT[k,b]=zlib.crc32(np.concatenate([o,y-y[0]]).astype(np.int32).tobytes())+1
        PK[k,b]=zlib.crc32(np.concatenate([o,y]).astype(np.int32).tobytes())+1
    q['RH'],q['CT'],q['PK']=RH,CT,PK
    # ---- self-similarity
    for lag in (1,2,4):
        for nm,H in (('rh',RH),('ct',CT),('pk',PK)):
            e=np.zeros((K,B),np.float32); 
            same=(H[:,lag:]==H[:,:-lag])&(H[:,lag:]>0); e[:,lag:]+=same; e[:,:-lag]+=same
            F[f'{nm}_lag{lag}']=np.where(sound,e,NAN).astype(np.float32)
    # rhythm cell rarity within part/movement
    for nm,H in (('rh',RH),('ct',CT)):
        v,inv,cn=np.unique(H,return_inverse=True,return_counts=True); F[nm+'_freq']=np.where(H>0,np.log2(cn[inv].reshape(H.shape)),NAN).astype(np.float32)
    # ---- pairwise in each bar
    PW=['sync_mean','sync_max','uniq','ens_cov','same_rh','same_rh_rel','dbl','dbl_uni','dbl_above','dbl_below','dbl_fam','par','line_n','line_hi','line_rank','layer_hi','layer_lo','layer_dens_rank','n_layers','n_lines','dens_rank','dens_rel','dens_max','np_rank','ivent_rank','rng_rank','ioi_rel','line_size_rel','mate_dbl','mate_rh','mate_above','layer_moving','xinst','bass_dbl','str_dbl','dur_rel','hi_moving','only_moving']
    for n in PW: new(n)
    T=np.unique(on_); ti=np.searchsorted(T,on_); tb=np.searchsorted(T,np.append(st,en[-1]))
    ON=np.zeros((K,len(T)),np.float32); KY=np.zeros((K,len(T)),np.int16); SG=np.zeros((K,len(T)),np.int8)
    ON[L['part'],ti]=1; KY[L['part'],ti]=key_
    SG[L['part'],ti]=np.where(prevkey>=0,np.sign(key_-prevkey),0)
    unp=q['unp']; stem=np.array(q['stem'])
    DBL=[]; RHL=[]
    for b in range(B):
        act=np.flatnonzero(ON[:,tb[b]:tb[b+1]].any(1)); t0,t1=tb[b],tb[b+1]; A=len(act)
        if A==0: DBL.append(None); continue
        M=ON[act,t0:t1]; n=M.sum(1); C=M@M.T; nt=t1-t0
        y=KY[act,t0:t1].astype(int); both=(M[:,None,:]*M[None,:,:])>0
        dy=y[None,:,:]-y[:,None,:]   # [i,j] = j - i
        ok=~(unp[act][:,None]|unp[act][None,:])
        D=(both&(dy%12==0)).sum(2)*ok; U=(both&(dy==0)).sum(2)*ok
        sg=SG[act,t0:t1]; P=(both&(sg[:,None,:]==sg[None,:,:])&(sg[:,None,:]!=0)).sum(2)*ok
        mv=(sg!=0).sum(1)
        nmax=np.maximum(n[:,None],n[None,:]); eye=np.eye(A,dtype=bool)
        jac=C/(n[:,None]+n[None,:]-C)
        same=(jac>.99)&~eye
        dbl=(D>=.75*nmax)&~eye
        par=same&~dbl&(mv[:,None]>0)&(P>=.75*mv[:,None])&(P>=.75*mv[None,:])
        DBL.append((act,dbl,same))
        S=C/n[:,None]; S[eye]=0
        others=M.sum(0)[None,:]-M
        cols={}
        cols['sync_mean']=S.sum(1)/max(A-1,1) if A>1 else np.full(A,NAN)
        cols['sync_max']=S.max(1) if A>1 else np.full(A,NAN)
        cols['uniq']=((others==0)*M).sum(1)/n
        cols['ens_cov']=n/nt
        cols['same_rh']=same.sum(1); cols['same_rh_rel']=same.sum(1)/max(A-1,1)
        cols['dbl']=dbl.sum(1); cols['dbl_uni']=(dbl&(U>=.75*nmax)).sum(1)
        mp=np.where(M>0,y,0).sum(1)/n
        cols['dbl_above']=(dbl&(mp[None,:]>mp[:,None]+6)).sum(1); cols['dbl_below']=(dbl&(mp[None,:]<mp[:,None]-6)).sum(1)
        fa=fam[act]; cols['dbl_fam']=(dbl&(fa[:,None]!=fa[None,:])).sum(1)
        cols['str_dbl']=(dbl&(fa[None,:]=='strings')).sum(1)
        cols['par']=par.sum(1)
        # lines = connected sets of doublers; layers = connected sets of same rhythm (>=.99)
        def comps(adj):
            lab=np.arange(A)
            for i in range(A):
                for j in np.flatnonzero(adj[i]):
                    if lab[j]!=lab[i]: lab[lab==lab[j]]=lab[i]
            return np.unique(lab,return_inverse=True)[1]
        line=comps(dbl|dbl.T); layer=comps(same)
        nl=line.max()+1; ny=layer.max()+1
        cols['n_lines']=np.full(A,nl); cols['n_layers']=np.full(A,ny)
        cols['line_n']=np.bincount(line)[line]; cols['line_size_rel']=cols['line_n']/A
        mpp=np.where(unp[act],-1,mp)
        lt=np.array([mpp[line==i].max() for i in range(nl)]); lmn=np.array([mpp[line==i].min() for i in range(nl)])
        cols['line_hi']=lt[line]-lt.max()
        cols['line_rank']=((lt[None,:]>lt[line][:,None]).sum(1))/max(nl-1,1)
        yt=np.array([mpp[layer==i].max() for i in range(ny)]); yl=np.array([mpp[layer==i].min() for i in range(ny)])
        cols['layer_hi']=yt[layer]>=yt.max(); cols['layer_lo']=yl[layer]<=yl.min()
        dn=np.array([n[layer==i][0] for i in range(ny)]); cols['layer_dens_rank']=(dn[None,:]>dn[layer][:,None]).sum(1)/max(ny-1,1)
        cols['layer_moving']=np.array([ (mv[layer==i]/n[layer==i]).mean() for i in range(ny)])[layer]
        cols['dens_rank']=(n[None,:]>n[:,None]).sum(1)/max(A-1,1); cols['dens_rel']=np.log2(n/n.mean()); cols['dens_max']=n/n.max()
        for nm,src in (('np_rank','n_pitch'),('ivent_rank','iv_ent'),('rng_rank','range')):
            v=np.nan_to_num(F[src][act,b]); cols[nm]=(v[None,:]>v[:,None]+1e-6).sum(1)/max(A-1,1)
        v=F['ioi_mean'][act,b]; cols['ioi_rel']=v-v.mean(); v=F['mdur'][act,b]; cols['dur_rel']=v-v.mean()
        mate=(stem[act][:,None]==stem[act][None,:])&~eye
        hm=mate.any(1)
        cols['mate_dbl']=np.where(hm,(mate&dbl).any(1),NAN); cols['mate_rh']=np.where(hm,(mate&same).any(1),NAN); cols['mate_above']=np.where(hm,(mate&(mp[None,:]>mp[:,None]+.1)).any(1),NAN)
        lowest=np.argmin(np.where(unp[act],999,mp)); cols['bass_dbl']=dbl[:,lowest]|(np.arange(A)==lowest)
        mvr=mv/np.maximum(n,1); moving=(F['n_pitch'][act,b]>=3)|((mvr>=.6)&(n>=2))
        mm=np.where(moving&~unp[act],mp,-1); cols['hi_moving']=np.where(moving,(mm.max()-mm),NAN) if moving.any() else np.full(A,NAN)
        cols['only_moving']=np.full(A,len(set(line[moving]))) 
        del cols['only_moving']; F['only_moving'][act,b]=len(set(line[moving]))
        cols['xinst']=np.array([len(set(stem[act][line==line[i]])) for i in range(A)])
        for nm,v in cols.items(): F[nm][act,b]=v
    q['DBL']=DBL
    # ---- themes: n-grams of (interval, ioi ratio) on lines
    N=4
    F['th_far']=np.full((K,B),NAN,np.float32);F['th_near']=F['th_far'].copy();F['th_parts']=F['th_far'].copy()
    grams=defaultdict(list); gid=np.full(len(key_),-1,np.int64)
    ids={}
    lastcontig=0
    P_=L['part']
    iv=np.zeros(len(key_),int); iv[1:]=key_[1:]-key_[:-1]
    contig=np.zeros(len(key_),bool); contig[1:]=(P_[1:]==P_[:-1])&(on_[1:]-(on_+dur_)[:-1]<=480)
    for i in range(N,len(key_)):
        if contig[i-N+1:i+1].all():
            ivs=iv[i-N+1:i+1]
            if len(set(np.cumsum(ivs).tolist()+[0]))<3: continue
            io=on_[i-N+1:i+1]-on_[i-N:i]; g=io.min()
            key=(tuple(ivs.tolist()),tuple(np.round(io/g*4).astype(int).tolist()))
            j=ids.setdefault(key,len(ids)); gid[i]=j; grams[j].append(i)
    far=np.zeros(len(key_));near=np.zeros(len(key_));prt=np.zeros(len(key_))
    for j,l in grams.items():
        l=np.array(l); bars=L['bar'][l]; ub,ix=np.unique(bars,return_index=True)
        for i,b in zip(l,bars):
            d=np.abs(ub-b); far[i]=min((d>=8).sum(),16); near[i]=min(((d<8)&(d>0)).sum(),8)
        prt[l]=len(set(P_[l].tolist()))
    # a note takes the best of the grams that contain it
    f2=np.zeros(len(key_));n2=np.zeros(len(key_));p2=np.zeros(len(key_))
    for i in np.flatnonzero(gid>=0):
        sl=slice(i-N,i+1)
        np.maximum(f2[sl],far[i],out=f2[sl]);np.maximum(n2[sl],near[i],out=n2[sl]);np.maximum(p2[sl],prt[i],out=p2[sl])
    for src,nm in ((f2,'th_far'),(n2,'th_near'),(p2,'th_parts')):
        num=np.bincount(cell,weights=np.log2(1+src),minlength=K*B); den=np.bincount(cell,minlength=K*B)
        with np.errstate(all='ignore'): F[nm]=(num/den).reshape(K,B).astype(np.float32)
    for nm in ('th_far','th_near'):
        v=np.nan_to_num(F[nm],nan=-1); 
        F[nm+'_rel']=(F[nm]-v.max(0,keepdims=True)).astype(np.float32)
    # ---- movement-level percentile ranks
    for nm in ('dens','pitch','n_parts','cover','p_ent'):
        v=F[nm]; ok=sound&~np.isnan(v); s=np.sort(v[ok]); r=np.full((K,B),NAN,np.float32); r[ok]=(np.searchsorted(s,v[ok],'left')+np.searchsorted(s,v[ok],'right'))/2/max(len(s),1); F[nm+'_pct']=r
    # ---- bar-level ensemble facts
    bt={'b_dens':np.nanmax(np.where(sound,F['n_on'],0)*beat/blen,axis=0),'b_layers':None}
    F['b_dens']=np.broadcast_to(bt['b_dens'].astype(np.float32),(K,B)).copy()
    # entry position: bars since entry, until exit, run length
    a=np.zeros((K,B),np.float32); z=np.zeros((K,B),np.float32)
    for b in range(B): a[:,b]=np.where(sound[:,b],(a[:,b-1]+1 if b else 1),0)
    for b in range(B-1,-1,-1): z[:,b]=np.where(sound[:,b],(z[:,b+1]+1 if b<B-1 else 1),0)
    F['since']=np.minimum(a,32);F['until']=np.minimum(z,32);F['runlen']=np.minimum(a+z-1,64)
    F['active_share']=np.broadcast_to((sound.mean(1,keepdims=True)).astype(np.float32),(K,B)).copy()
    # ensemble at entries
    for f in ('strings','woodwind','brass','voice','percussion'): F['fam_'+f]=np.broadcast_to((fam==f)[:,None].astype(np.float32),(K,B)).copy()
    second=np.array([bool(re.search(r'[2468]\b|2$|4$',n)) for n in p.parts]); F['second']=np.broadcast_to(second[:,None].astype(np.float32),(K,B)).copy()
    # ---- context
    CTX=['dens','cover','mdur','rep','step','leap','n_pitch','range','iv_ent','ioi_ent','hi_share','lo_share','rank_rel','dbl','same_rh_rel','uniq','dens_rel','dens_rank','n_parts','osc','arp','th_far','pc_top3','held_in','offbeat','legato','n_on','pitch_vs_ens','line_rank','layer_hi','sync_mean','pitch','par','mate_rh']
    for nm in CTX:
        v=F[nm].astype(float); ok=sound&~np.isnan(v); v0=np.where(ok,v,0)
        cv=np.concatenate([np.zeros((K,1)),np.cumsum(v0,1)],1); cn=np.concatenate([np.zeros((K,1)),np.cumsum(ok,1)],1)
        i=np.arange(B)
        def win(lo_,hi_):
            l=np.clip(i+lo_,0,B); h=np.clip(i+hi_+1,0,B)
            with np.errstate(all='ignore'): return ((cv[:,h]-cv[:,l])/(cn[:,h]-cn[:,l])).astype(np.float32)
        F[nm+'@-1']=win(-1,-1);F[nm+'@+1']=win(1,1);F[nm+'@2']=win(-2,2)
        F[nm+'@4']=win(-4,4);F[nm+'@8']=win(-8,8)
    return F,q
if __name__=='__main__':
    import sys,time,pickle,os
    from data import load_all
    P=load_all(); os.makedirs('feat',exist_ok=True)
    only=sys.argv[1:]
    for n,p in P.items():
        if only and not any(n.startswith(x) for x in only): continue
        t=time.time(); F,q=features(p)
        names=sorted(F); X=np.stack([F[k] for k in names],-1)  # K,B,F
        np.savez_compressed(f'feat/{n}.npz',X=X.astype(np.float32),names=np.array(names),sound=q['sound'],RH=q['RH'],PK=q['PK'],CT=q['CT'])
        pickle.dump(q['DBL'],open(f'feat/{n}.dbl','wb'))
        print(n,X.shape,round(time.time()-t,1),flush=True)
