"""Loads all collections into one columnar form. Ticks: 480 per crotchet."""
import csv, glob, os, sys, pickle, re
import numpy as np, pandas as pd
D=os.environ.get('RIPIENO_DATA','../shared/data')
sys.path.insert(0,os.environ.get('RIPIENO_EVAL','../shared/eval'))
import mido

def work_of(piece):
    """Work id across collections."""
    if piece[:2]=='mo' and piece[2:].isdigit(): return 'mozart41'
    if piece[:2]=='be' and piece[2:].isdigit(): return 'beethoven9'
    if piece[:2]=='dv' and piece[2:].isdigit(): return 'dvorak9'
    m=re.match(r'(beethoven|haydn|mozart)-symph0*(\d+)',piece)
    if m: return m.group(1)+m.group(2)
    m=re.match(r'Beethoven_Op\.(\d+)_',piece)
    if m: return 'beethoven'+{'21':'1','55':'3','67':'5','92':'7','125':'9'}[m.group(1)]
    m=re.match(r'([A-Za-z]+_(?:Op|BWV|WAB)\.\d+)',piece)
    return m.group(1)

FAM={'woodwind':('flute','piccolo','oboe','clarinet','bassoon','fagott','traverso','english','corno inglese','oboi','flauto','flauti','d\'amore'),
 'brass':('horn','trumpet','tromba','trombone','tuba','corno','posaune','cornet'),
 'strings':('violin','viola','cello','violoncello','bass','contrabass','violone','doublebass'),
 'voice':('soprano','alto','tenor','baritone','choir','solo'),
 'percussion':('timpani','drum','cymbal','triangle')}
def family(name):
    n=name.lower()
    if any(w in n for w in ('choir','solo','soprano','baritone')) : return 'voice'
    if any(w in n for w in ('timp','drum','cymbal','triangle','glock','tambour')): return 'percussion'
    if 'bassoon' in n or 'bass clarinet' in n: return 'woodwind'
    if 'english' in n: return 'woodwind'
    for k in ('woodwind','brass'):
        if any(w in n for w in FAM[k]): return k
    if n.strip() in ('alto','tenor','bass','s1','s2','s','a','t','b','soprano 1','soprano 2'): return 'voice'
    if any(w in n for w in FAM['strings']) or 'vln' in n: return 'strings'
    return 'other'

def load_midi(path):
    m=mido.MidiFile(path); assert m.ticks_per_beat==480
    ts=[];t=0;end=0
    for x in m.tracks[0]:
        t+=x.time
        if x.type=='time_signature': ts.append((t,x.numerator,x.denominator))
        end=max(end,t)
    names=[];notes=[]
    for k,tr in enumerate(m.tracks[1:]):
        names.append(tr.name);t=0;held={}
        for x in tr:
            t+=x.time
            if x.type=='note_on' and x.velocity>0: held.setdefault(x.note,[]).append(t)
            elif x.type in('note_off','note_on'):
                if held.get(x.note):
                    o=held[x.note].pop(0); notes.append((k,o,t,x.note))
        end=max(end,t)
    starts=[];nb=[]
    for i,(t,n,d) in enumerate(ts):
        stop=ts[i+1][0] if i+1<len(ts) else end
        L=n*480*4//d
        while t<stop: starts.append(t);nb.append((n,d)); t+=L
    return names,notes,starts,nb,end

def load_xml(path):
    from musicxml_notes import read
    s=read(path)
    notes=[(k,a,b,p) for k,(nm,ns) in enumerate(s['parts']) for a,b,p in ns]
    return [n for n,_ in s['parts']],notes,s['starts'],None,s['end']

class Piece: pass
def make(piece,coll,names,notes,starts,end,ts=None):
    p=Piece(); p.name=piece;p.coll=coll;p.work=work_of(piece)
    p.parts=names
    a=np.array(sorted(notes),dtype=np.int64).reshape(-1,4)
    a=a[a[:,2]>a[:,1]]
    p.part,p.on,p.off,p.key=a.T
    p.starts=np.array(starts,dtype=np.int64)
    p.end=int(max(end,p.off.max(),p.starts[-1]+1))
    p.ts=ts
    return p
def load_all():
    f=os.environ.get('RIPIENO_ROLES_WORK', 'target/roles')+'/pieces.pkl'
    if os.path.exists(f): return pickle.load(open(f,'rb'))
    out={}
    for m in sorted(glob.glob(D+'/texture/s3_midi/*.mid')):
        n=os.path.basename(m)[:-4]
        names,notes,starts,ts,end=load_midi(m); out[n]=make(n,'s3',names,notes,starts,end,ts)
    for m in sorted(glob.glob(D+'/scores/*.mxl')):
        n=os.path.basename(m)[:-4]
        names,notes,starts,ts,end=load_xml(m); out[n]=make(n,'hs',names,notes,starts,end,None)
    pickle.dump(out,open(f,'wb')); return out
if __name__=='__main__':
    P=load_all()
    g=pd.read_csv(D+'/texture/s3_gold.csv')
    for n,p in P.items():
        msg=''
        if p.coll=='s3':
            x=g[g.piece==n][['bar','onset','offset']].drop_duplicates()
            bad=(np.abs(p.starts[x.bar-1]/480-x.onset)>.01).sum(); msg=f'badbars {bad} of {len(x)} ts {sorted(set(p.ts))}'
        print(n,p.work,len(p.parts),len(p.on),len(p.starts),[ (x,family(x)[:2]) for x in p.parts] if p.coll=='hs' else '',msg)
