from aux import *
u=pd.read_pickle('le_units.pkl'); Xl=pd.read_pickle('X_le.pkl').values; h=pd.read_pickle('hs_units.pkl'); Xh=np.load('X_hs.npy')
par=dict(num_leaves=15,max_bin=63,learning_rate=.06)
t=time.time()
M={}
hm=(h.work!='beethoven9').values; 
for tg in('main','maind'):
    w=weights(h.work.values[hm]); m=fit(Xh[hm],h[tg].values[hm],w,250,{**par,'min_data_in_leaf':300}); M['hs_'+tg]=m; print(tg,time.time()-t,flush=True)
lm=~u.work.isin(['beethoven9','mozart41']).values
for tg in LAB+['arp','scale','repeat_note','sparse']:
    y=u[tg].values if tg in LAB else (u.role==tg).values
    M['le_'+tg]=fit(Xl[lm],y[lm],weights(u.work.values[lm])*u.wt.values[lm],120,{**par,'min_data_in_leaf':100}); 
for rel in ('u','h','p'):
    M['le_rel_'+rel]=fit(Xl[lm],(u.relation==rel).values[lm],weights(u.work.values[lm])*u.wt.values[lm],120,{**par,'min_data_in_leaf':100})
print(time.time()-t,flush=True)
# le model transfer: S3-trained? evaluate Le model on mo41,be9 Le rows
for wk in ('beethoven9','mozart41'):
    m=(u.work==wk).values; print(wk,[ [round(float(v),3) for v in kap_f1(u[l].values[m].astype(bool),M['le_'+l].predict(Xl[m])>.5)] for l in LAB],[ (r,round(float(kap_f1((u.role==r).values[m],M['le_'+r].predict(Xl[m])>.35)[1]),3)) for r in ('arp','scale','repeat_note','sparse')], 'rel acc',(np.array(['u','h','p'])[np.argmax([M['le_rel_'+r].predict(Xl[m]) for r in 'uhp'],0)]==u.relation.values[m]).mean())
os.makedirs('auxp',exist_ok=True)
for n,p in P.items():
    z=fe(n); s=z['sound']; k,b=np.nonzero(s); X=z['X'][k,b]; A=np.full(s.shape+(len(M),),np.nan,np.float32)
    for j,nm in enumerate(M): A[k,b,j]=M[nm].predict(X)
    np.savez_compressed(f'auxp/{n}.npz',A=A,names=np.array(list(M)))
for nm,m in M.items(): m.save_model(f'auxp/{nm}.txt')
print(time.time()-t)
