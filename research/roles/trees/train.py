"""Trains the final models on all development data and writes model/trees.json.gz (compact) + LightGBM text files in model/.
Run after: features.py, features2.py, aux.py (unit tables), hscv.py (cross-fitted melody probabilities for the training rows)."""
from s3run import *
import gzip
os.makedirs('model',exist_ok=True)
models={}   # name -> (booster(s), columns)
def compact(b,ncls=1):
    d=b.dump_model(); out=[]
    for t in d['tree_info']:
        F=[];T=[];Lc=[];Rc=[];DL=[];V=[]
        def walk(nd):
            if 'leaf_value' in nd and 'split_index' not in nd:
                V.append(float(np.float32(nd['leaf_value']))); return -len(V)
            i=len(F); F.append(nd['split_feature']);T.append(nd['threshold']);Lc.append(0);Rc.append(0)
            assert nd['decision_type']=='<=' 
            # missing: NaN goes default side when missing_type is NaN; when None/Zero NaN counts as 0
            DL.append((1 if nd['default_left'] else 0)+({'NaN':0,'None':2,'Zero':4}[nd['missing_type']]))
            Lc[i]=walk(nd['left_child']);Rc[i]=walk(nd['right_child']); return i
        walk(t['tree_structure']); out.append(dict(f=F,t=T,l=Lc,r=Rc,m=DL,v=V))
    return out
def add(name,b,cols): models[name]=dict(columns=list(cols),trees=compact(b),classes=b.num_model_per_iteration()); b.save_model(f'model/{name}.txt'); print(name,len(models[name]['trees']),flush=True)
h=pd.read_pickle('hs_units.pkl'); Xh=np.load('X_hs.npy'); hw=h.work.values; rng=np.random.default_rng(0); hs=np.zeros(len(h),bool)
for s in sorted(set(hw)):
    i=np.flatnonzero(hw==s); hs[rng.choice(i,min(len(i),9000),replace=False)]=True
names=list(fe('mo1')['names'])
ms=fit3(Xh[hs],h[['main','maind']].values[hs],weights(hw[hs]),350,dict(num_leaves=15,learning_rate=.06,min_data_in_leaf=200,feature_fraction=.15,lambda_l2=50,extra_trees=True),targets=range(2))
add('main',ms[0],names); add('main_doubled',ms[1],names)
S=pd.read_pickle('S_full.pkl'); Lx=pd.read_pickle('L_full.pkl')
cols=[c for c in S.columns if root(c) not in ABS|ENS and not c.endswith('@8')]
lw=weights(u.work.values)*u.wt.values; lw*=.3*sub.sum()/lw.sum()
Xt=np.vstack([np.hstack([S[cols].values[sub],np.zeros((sub.sum(),1))]),np.hstack([Lx[cols].values,np.ones((len(Lx),1))])]); Yt=np.vstack([Y[sub],u[LAB].values.astype(bool)]); wt=np.concatenate([weights(w[sub]),lw])
ms=fit3(Xt,Yt,wt,250,{**PAR,'seed':1})
for i,l in enumerate(LAB): add('s3_'+l,ms[i],cols+['collection'])
lc=[c for c in Xl.columns if root(c) not in ENS and not c.endswith('@8')]; F2=f2(u); lcols=lc+list(F2.columns); XL=pd.concat([Xl[lc],F2],axis=1).values
par=dict(num_leaves=15,learning_rate=.07,min_data_in_leaf=60,lambda_l2=30,extra_trees=True,feature_fraction=.2)
TG=['arp','scale','repeat_note','sparse']; Yf=np.stack([(u.role==t).values for t in TG],1); wu=weights(u.work.values)*u.wt.values
d=lgb.Dataset(XL,Yf[:,0].astype(float),weight=wu,params={**BASE,**par},free_raw_data=False).construct()
for i,t in enumerate(TG):
    d.set_label(Yf[:,i].astype(float)); add('fine_'+t,lgb.train({**BASE,**par},d,180),lcols)
R=u.relation.map({'u':0,'u-u':0,'h':1,'p':2}).fillna(-1).astype(int).values; ok=R>=0
add('relation',lgb.train({**BASE,**par,'objective':'multiclass','num_class':3},lgb.Dataset(XL[ok],R[ok],weight=wu[ok],params={**BASE,**par}),150),lcols)
meta=dict(thresholds_mix=[.425,.5,.4],thresholds_alone=[.4,.5,.35],fine_thresholds=dict(arp=.15,scale=.125,repeat_note=.3,sparse=.4),mix_weight_network=.5,labels=LAB)
s=json.dumps(dict(meta=meta,models=models),separators=(',',':')); gzip.open('model/trees.json.gz','wt',9).write(s); print('size',os.path.getsize('model/trees.json.gz'),len(s))
