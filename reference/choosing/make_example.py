"""Writes example.json: the example of model.py in the form that `witnessmark life compare` reads. No computing."""
import json
from model import *
KIND={0:lambda a,b,c:dict(low=a,likely=b,high=c,sides="straight"),1:lambda a,b,c:dict(low=a,likely=b,high=c),2:lambda a,b,c:dict(middle=a,spread_ln=b)}
AGES=["this engine","the donor"]
f=lambda x:round(float(x),12)
e=dict(currency="crowns",horizon_years=YEARS,yearly_miles=dict(middle=ANN_MED,spread_ln=ANN_SD),interest_per_year=RATE,
  ages=[dict(name=AGES[0],miles=dict(middle=CAR_CLAIM,spread_ln=CAR_SD),own=True),dict(name=AGES[1],miles=dict(middle=95e3,spread_ln=DON_SD))],
  prices=[dict(name=n,currency="crowns",amount=KIND[k](a,b,c)) for n,k,a,b,c in lines],
  modes=[dict(name=n,shape=dict(middle=b,spread_ln=sb),scale_miles=dict(middle=s,spread_ln=se),serious=i<NMAJ,ends=bool(t),
    labour=dict(low=lo,likely=mo,high=hi)) for i,(n,b,s,sb,se,lo,mo,hi,t) in enumerate(modes)],
  options=[])
for o,n in enumerate(names):
    fit={}
    for m in range(NM):
        d={"age":AGES[A[o,m]-1] if A[o,m] else "new"}
        if HR[o,m]!=1: d["strain"]=f(HR[o,m])
        if COV[o,m]: d["covered"]=True
        fit[modes[m][0]]=d
    w=dict(name=n,buys=[dict(price=lines[j][0],times=f(Q[o,j])) for j in range(NL) if Q[o,j]],fitted=fit)
    if PCB[o]>0: w["on_top"]=[dict(name="comeback",chance=f(PCB[o]),amount=dict(zip(("low","likely","high"),map(f,CB[o]))))]
    if WM[o]>0: w["warranties"]=[dict(by="the shop",until_miles=f(WM[o]),pays=f(1-WF))]
    e["options"].append(w)
json.dump(e,open("example.json","w"),indent=1)
