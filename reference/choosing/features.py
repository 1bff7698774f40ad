"""A second, small example with what the first has not: shared treatment, ages that were reached, two payers with ends in
miles and in years, failures made of labour, parts, towing and days, days at a price in doubt, something on top, value left.
Plain weighted draws with NumPy's own generator; no quadrature, no lattice. Writes features.json (inputs are here and in the test)."""
import json,numpy as np
rng=np.random.default_rng(20)
YEARS,RATE=4.0,.05
V=.5 # variance of the shared treatment
def pert(a,m,b,n): return a+(b-a)*rng.beta(1+4*(m-a)/(b-a),1+4*(b-m)/(b-a),n)
modes=[dict(beta=2.4,sb=.2,eta=170e3,se=.3,serious=1,ends=0,reached=["car"],labour=(300,500,900),parts=(100,200,500),tow=120.,days=2.),
       dict(beta=3.1,sb=.15,eta=210e3,se=.25,serious=1,ends=1,reached=["car","donor"],labour=(900,1500,2500),parts=(1500,2500,4000),tow=200.,days=8.),
       dict(beta=.8,sb=.1,eta=90e3,se=.3,serious=0,ends=0,reached=[],labour=(50,80,160),parts=(20,60,200),tow=0.,days=.5)]
ways=[dict(price=("tri",800,1100,1900),days=("pert",3,5,9),fitted=[("new",1.2,1),("car",1.,0),("car",1.,0)],covers=[("shop",15e3,1.5,(1,1,0,0)),("supplier",30e3,np.inf,(0,.8,0,0))],top=(.2,("pert",100,300,800),2.),left=1500.,ended=.25),
      dict(price=("log",2400,.2),days=("known",6),fitted=[("donor",1.1,1),("donor",1.1,1),("car",1.,0)],covers=[("dismantler",5e3,.25,(.5,1,0,.5))],top=(.35,("known",400),0.),left=2200.,ended=.25),
      dict(price=("known",0),days=("known",0),fitted=[("car",3.,0),("car",2.,0),("car",1.5,0)],covers=[],top=None,left=900.,ended=0.)]
parties=["shop","supplier","dismantler"]
def draw(law,n):
    k=law[0]
    if k=="known": return np.full(n,float(law[1]))
    if k=="pert": return pert(*law[1:],n)
    if k=="tri": return rng.triangular(*law[1:],n)
    return law[1]*np.exp(law[2]*rng.standard_normal(n))
def run(n):
    ann=9000*np.exp(.3*rng.standard_normal(n)); h=ann*YEARS
    age=dict(new=np.zeros(n),car=110e3*np.exp(.05*rng.standard_normal(n)),donor=rng.choice([60e3,90e3,140e3],n,p=[.5,.3,.2]))
    z=rng.gamma(1/V,V,n); day=draw(("tri",20,45,70),n); lw=np.zeros(n)
    C=np.zeros((n,3));F=np.ones((n,3));O=np.zeros((n,3)); L=[]
    for m in modes:
        be=m["beta"]*np.exp(m["sb"]*rng.standard_normal(n)); et=m["eta"]*np.exp(m["se"]*rng.standard_normal(n)); E=rng.exponential(size=n)
        for r in m["reached"]:
            H=(age[r]/et)**be
            lw-= z*H if r=="car" else np.log1p(V*H)/V
        L.append((be,et,E,pert(*m["labour"],n),pert(*m["parts"],n)))
    for o,w in enumerate(ways):
        c=draw(w["price"],n)+draw(w["days"],n)*day
        if w["top"]: p,a,d=w["top"]; c+=(rng.random(n)<p)*(draw(a,n)+d*day)
        T=[]
        for m,(be,et,E,_,_),(a,s,_) in zip(modes,L,w["fitted"]):
            H0=(age[a]/et)**be; t=et*(H0+E/(s*z))**(1/be)-age[a]; T.append(np.where(t<h,t,np.inf))
        stop=np.min([t for t,m in zip(T,modes) if m["ends"]],axis=0)
        for t,m,(_,_,_,lab,par),(_,_,cov) in zip(T,modes,L,w["fitted"]):
            hit=np.isfinite(t)&(t<=stop); tt=np.where(hit,t,0.); disc=hit*np.exp(-RATE*tt/ann)
            for k,x in enumerate((lab,par,np.full(n,m["tow"]),m["days"]*day)):
                own=np.ones(n); who=np.full(n,-1)
                if cov:
                    for q,um,uy,pays in w["covers"]:
                        on=tt<np.minimum(um,uy*ann); better=on&(1-pays[k]<own)
                        own=np.where(better,1-pays[k],own); who=np.where(better,parties.index(q),who)
                c+=disc*x*own
                for q in range(3): O[:,q]+= (who==q)*disc*x*(1-own)
            if m["serious"]: F[:,o]*=~np.isfinite(t)
        c-=w["left"]*np.where(np.isfinite(stop),w["ended"],1.)*np.exp(-RATE*YEARS)
        C[:,o]=c
    return C,F,O,np.exp(lw)
S=[];B=200;n=100000
for b in range(B):
    C,F,O,w=run(n); m=C.min(1); best=C.argmin(1)
    f=lambda x:(w[:,None]*x).sum(0)
    S.append(np.concatenate([[w.sum(),(w*w).sum()],f(C),f(F),f(O),f((np.arange(3)[None]==best[:,None])*1.),f(C-m[:,None]),f(C*C)]))
S=np.array(S); tot=S.sum(0); W=tot[0]; R=S[:,2:]/S[:,:1]; se=R.std(0,ddof=1)/np.sqrt(B); v=tot[2:]/W
g=lambda i:dict(value=v[3*i:3*i+3].tolist(),standard_error=se[3*i:3*i+3].tolist())
sd=np.sqrt(v[15:18]-v[0:3]**2)
json.dump(dict(draws=B*n,effective_share=float(W*W/tot[1]/(B*n)),cost=g(0),trouble_free=g(1),others=g(2),cheapest=g(3),regret=g(4),spread=sd.tolist(),numpy=np.__version__),open("features.json","w"),indent=1)
print(open("features.json").read())
