import numpy as np, os, pickle, sys
meta=pickle.load(open(os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')+'/meta.pkl','rb'))
N=max(m['idx'].max() for m in meta)+1; out=None
P=pickle.load(open(os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')+'/pieces.pkl','rb'))
for m in meta:
    z=np.load(os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')+f'/feat/{m["name"]}.npz',allow_pickle=True); names=[str(x) for x in z['names']]; keep=[i for i,n in enumerate(names) if '@' not in n and not n.startswith('fam_')]
    X=z['X'][:,:,keep]; p=P[m['name']]; pn=[str(x) for x in p.parts]
    if len(m['name'])==3: k=[pn.index(x) for x in m['parts']]
    else: k=list(range(m['P'])); assert len(pn)==m['P'],(m['name'],len(pn),m['P'])
    B=min(m['B'],X.shape[1])
    if X.shape[1]!=m['B']: print(m['name'],X.shape,m['B'])
    if out is None: out=np.zeros((N,len(keep)),np.float32); kn=[names[i] for i in keep]
    assert [names[i] for i in keep]==kn
    i=m['idx'][:,:B]; ok=i>0; out[i[ok]]=X[k][:,:B][ok]
mu=np.nanmean(out[1:],0); sd=np.nanstd(out[1:],0)+1e-3
nanf=np.isnan(out).mean(0); print([(n,round(float(f),2)) for n,f in zip(kn,nanf) if f>.02])
out=np.nan_to_num((out-mu)/sd).clip(-5,5); out[0]=0
out=np.round(out*64)/64
np.savez_compressed(os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')+'/A.npz',A=out.astype(np.float16),names=np.array(kn),mu=mu,sd=sd); print(out.shape)
