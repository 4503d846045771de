from exp import *
LE6={'beethoven-symph1-op21-mvt1':'Beethoven_Op.21_1','beethoven-symph3-op55-mvt1':'Beethoven_Op.55_1','beethoven-symph5-op67-mvt1':'Beethoven_Op.67_1','beethoven-symph7-op92-mvt1':'Beethoven_Op.92_1','beethoven-symph9-op125-mvt1':'Beethoven_Op.125_1','mozart-symph41-k551-mvt1':'mo1'}
def le_parts(code,piece):
    """indices of score parts for an le code such as Fl, Ob.1, HrnEbII"""
    names=P[piece].parts; base,_,div=code.partition('.')
    def idx(word,hs_no=None):
        o=[i for i,n in enumerate(names) if word in n.lower() and not (word=='flute' and 'picc' in n.lower()) and not (word=='bassoon' and 'contra' in n.lower()) and not(word=='trumpet' and False)]
        return o
    if base=='Fl': o=idx('flute')
    elif base=='Ob': o=idx('oboe')
    elif base=='Cl': o=idx('clarinet')
    elif base=='Fg': o=idx('bassoon')
    elif base=='Trp': o=idx('trumpet')
    elif base=='Timp': o=idx('timpani')
    elif base.startswith('Hrn'):
        o=idx('horn')
        if base=='HrnD': o=[i for i in o if names[i].startswith('D ')]
        if base=='HrnB': o=[i for i in o if names[i].startswith('Bb')]
        if piece=='Beethoven_Op.55_1':
            o={'HrnEbI':o[:1],'HrnEbII':o[1:2],'HrnEbIII':o[2:3],'HrnF':o[:1]}[base]
            # In this work the corpus writes "HrnEbII" for the pair in one staff
            if base=='HrnEbII': o=idx('horn')[:2]
    elif base=='Vln1': o=[i for i,n in enumerate(names) if n.lower() in('violin 1','violin1')]
    elif base=='Vln2': o=[i for i,n in enumerate(names) if n.lower() in('violin 2','violin2')]
    elif base=='Vla': o=idx('viola')
    elif base=='Vc': o=idx('violoncello')
    elif base=='Cb': o=[i for i,n in enumerate(names) if 'contrabass'==n.lower() or n=='doublebass']
    if div and len(o)>=2: o=[o[int(div)-1]]
    return o
FINE=['arp','scale','repeat_note','sparse','osc','batt','decmel']
def le_units():
    """rows: le row x score part (sounding)"""
    g=pd.read_csv(D+'/texture/le_gold.csv'); g=g[g.piece.isin(LE6)&(g[LAB].sum(axis=1)>0)].copy()
    mp=pd.read_csv(D+'/texture/le_bar_to_score.csv'); mp={(a,b):i for a,b,i in zip(mp.le_piece,mp.le_bar,mp.hs_measure_index)}
    rows=[]; miss=0
    cache={}
    for r in g.itertuples():
        sp=LE6[r.piece]
        if sp=='mo1': b=(r.bar if r.bar<=120 else r.bar+120)-1
        else:
            b=mp.get((r.piece,r.bar)); 
            if b is None: miss+=1; continue
            b-=1
        if (sp,r.part) not in cache: cache[sp,r.part]=le_parts(r.part,sp)
        snd=SND(sp)
        ks=[k for k in cache[sp,r.part] if b<snd.shape[1] and snd[k,b]]
        if not ks: miss+=1; continue
        for k in ks: rows.append((r.Index,r.piece,sp,r.part,r.family,r.bar,k,b,1/len(ks),r.mel,r.rhythm,r.harm,r.role,r.relation))
    u=pd.DataFrame(rows,columns=['row','le_piece','piece','part','family','bar','k','b','wt','mel','rhythm','harm','role','relation'])
    u['work']=u.piece.map(work_of); print('le rows without notes',miss,'units',len(u),u.row.nunique())
    return u
_s={}
def SND(n):
    if n not in _s: _s[n]=fe(n)['sound']
    return _s[n]
def hs_cells(n):
    """main melody share of bar per part, and doublers share by bar relation"""
    p=P[n]; K=len(p.parts);B=len(p.starts); st=p.starts; en=np.append(st[1:],p.end)
    a=pd.read_csv(f'{D}/scores/{fname(n)}_annotations.csv')
    ev=sorted(set(round(float(x)*480) for x in a.qstamp)); M=np.zeros((K,B))
    for i,t in enumerate(ev):
        e=ev[i+1] if i+1<len(ev) else p.end
        ks=[int(k) for k,x in zip(a.part_num,a.qstamp) if round(float(x)*480)==t and int(k)<K]
        b0=np.searchsorted(st,t,'right')-1; b1=np.searchsorted(st,e,'left')
        for b in range(max(b0,0),min(b1,B)):
            ov=min(e,en[b])-max(t,st[b])
            if ov>0:
                for k in ks: M[k,b]+=ov/(en[b]-st[b])
    DB=pickle.load(open(f'feat/{n}.dbl','rb')); M2=M.copy()
    for b,d in enumerate(DB):
        if d is None: continue
        act,dbl,_=d
        for i,j in zip(*np.nonzero(dbl|dbl.T)): M2[act[i],b]=max(M2[act[i],b],M[act[j],b])
    return M,M2
def fname(n):
    return n
if __name__=='__main__':
    t0=time.time()
    u=le_units(); u.to_pickle('le_units.pkl'); print(u.groupby('piece').size(), u.groupby('piece')[LAB].mean())
    Xl=table(u)
    Xl.to_pickle('X_le.pkl')
    HS=[n for n,p in P.items() if p.coll=='hs']
    rows=[];XS=[];y1=[];y2=[]
    for n in HS:
        M,M2=hs_cells(n); z=fe(n); s=z['sound']&(M.max(0)>.5)[None,:]
        k,b=np.nonzero(s); XS.append(z['X'][k,b]); y1.append(M[k,b]>.5); y2.append(M2[k,b]>.5); rows.append(pd.DataFrame(dict(piece=n,k=k,b=b)))
    h=pd.concat(rows,ignore_index=True); h['main']=np.concatenate(y1);h['maind']=np.concatenate(y2);h['work']=h.piece.map(work_of); h.to_pickle('hs_units.pkl')
    X=np.concatenate(XS); np.save('X_hs.npy',X); print(h.groupby('work')[['main','maind']].agg(['mean','size']),X.shape,time.time()-t0)
