"""Total effects by pick-freeze (Jansen) on plain draws of draws.py: prices one by one, modes as groups of four inputs. Writes sensitivity.json."""
import json
import draws as d
from model import *
n=1<<17;rng=np.random.default_rng(11);U=rng.random((n,NDIM));V=rng.random((n,NDIM));C,_=d.sim_pts(U)
groups={"travel in a year":[0],"this engine":[1],"the donor":[2]}
for m in range(NM): groups[modes[m][0]]=[3+m,23+m,43+m,63+m]
for j in range(NL): groups[lines[j][0]]=[83+j]
pairs={"machine heads - exchange heads":(0,1),"machine heads - reman engine":(0,3)}
out={k:{} for k in pairs}
for g,ix in groups.items():
    W=U.copy();W[:,ix]=V[:,ix];c,_=d.sim_pts(W)
    for k,(a,b) in pairs.items():
        y=C[:,a]-C[:,b];out[k][g]=float(((y-(c[:,a]-c[:,b]))**2).mean()/2/y.var())
json.dump(out,open("sensitivity.json","w"),indent=1);print(out)
