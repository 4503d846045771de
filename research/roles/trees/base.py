from exp import *
g=s3_units().reset_index(drop=True); Y=g[LAB].values.astype(bool); w=g.work.values
report(g,Y,np.ones_like(Y),'all ones')
# per-instrument majority label set, LOO
Pd=np.zeros_like(Y)
for s in set(w):
    tr=g[(w!=s)&~g.rep]; maj=tr.groupby('instrument')[LAB].mean(); ov=tr[LAB].mean()
    for i in np.flatnonzero(w==s):
        r=maj.loc[g.instrument[i]] if g.instrument[i] in maj.index else ov
        Pd[i]=r.values>.5
report(g,Y,Pd,'per-instrument majority')
X=table(g); print(X.shape)
X.to_pickle('X_s3.pkl'); g.to_pickle('g_s3.pkl')
cols_plain=[c for c in X.columns if '@' not in c or c.endswith('@-1') or c.endswith('@+1')]
for nm,cols in (('plain GB: own+relative, prev/next bar',cols_plain),('GB all context features',list(X.columns))):
    Pr=np.zeros(Y.shape); t=time.time()
    for s in sorted(set(w)):
        tr=(w!=s)&~g.rep.values
        for i in range(3):
            m=fit(X.loc[tr,cols],Y[tr,i],weights(w[tr])); Pr[w==s,i]=m.predict(X.loc[w==s,cols])
    np.save('pr_'+('plain' if cols is cols_plain else 'full')+'.npy',Pr)
    report(g,Y,Pr>.5,nm+f' thr .5 ({time.time()-t:.0f}s)'); report(g,Y,Pr>.35,nm+' thr .35 (fixed)')
