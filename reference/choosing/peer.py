"""Times NumPy and numba on the example: 1e6 draws with their summary, and the means on (9,3,11,7,24) nodes. One thread each; best of a few."""
import time,numpy as np
import draws as d
from model import *
from means import exact
def best(f,reps):
    b=9e9
    for _ in range(reps):
        t=time.perf_counter();f();b=min(b,time.perf_counter()-t)
    return b
d.sim_nb(10,1)
def plain(n,ch=4096):
    rng=np.random.default_rng(1);C=[];F=[]
    for k in range(0,n,ch):
        c,f=sim_rng(rng,min(ch,n-k));C.append(c);F.append(f)
    return summary(np.concatenate(C),np.concatenate(F))
print("means, numpy, (9,3,11,7,24)",best(lambda:exact(9,3,11,7,24),3))
print("means, numpy, (7,3,7,5,16)",best(lambda:exact(7,3,7,5,16),3))
print("1e6 draws and summary, numba",best(lambda:summary(*d.sim_nb(1000000,1)),2))
print("1e6 draws and summary, numpy",best(lambda:plain(1000000),1))
