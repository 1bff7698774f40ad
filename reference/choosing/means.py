"""Mean cost and P(no major failure) without simulation: nested Gauss quadrature, modes independent given (annual miles, ages)."""
import numpy as np, time, json
from model import *
def gh(n): x,w=np.polynomial.hermite_e.hermegauss(n);return x,w/w.sum()
def gl(n,a,b): x,w=np.polynomial.legendre.leggauss(n);return a+(b-a)*(x+1)/2,w*(b-a)/2
def line_mean():
    r=[]
    for nm,k,a,b,c in lines: r.append((a+b+c)/3 if k==0 else ((a+4*b+c)/6 if k==1 else a*np.exp(b*b/2)))
    return np.array(r)
def exact(na=9,nc=3,nd=11,nt=7,nx=24):
    M=np.zeros(NO);NF=np.zeros(NO);FM=(FC[:,0]+4*FC[:,1]+FC[:,2])/6
    base=Q@line_mean()+PCB*(CB[:,0]+4*CB[:,1]+CB[:,2])/6
    t,w=gh(nt);W2=np.outer(w,w).ravel()
    BE=np.exp(LB0[:,None]+SB[:,None]*np.repeat(t,nt)[None]);LE=LE0[:,None]+SE[:,None]*np.tile(t,nt)[None]
    for o in range(NO):
        xa,wa=gh(na);cars=gh(nc) if (A[o]==1).any() else (np.zeros(1),np.ones(1));dons=gh(nd) if (A[o]==2).any() else (np.zeros(1),np.ones(1))
        for za,pa in zip(xa,wa):
            ann=ANN_MED*np.exp(ANN_SD*za);h=ann*YEARS;wm=min(WM[o],h)
            segs=[gl(nx,0,wm)] if wm>0 else []
            if h>wm: segs.append(gl(nx,wm,h))
            x=np.concatenate([s[0] for s in segs]);wx=np.concatenate([s[1] for s in segs])
            cov=(x[None]<WM[o])&COV[o][:,None]
            for zc,pc in zip(*cars):
                for zd,pd in zip(*dons):
                    age=np.array([0.,CAR_CLAIM*np.exp(CAR_SD*zc),np.exp(DON_MU+DON_SD*zd)])[A[o]]
                    with np.errstate(divide='ignore'): H0=np.where(age[:,None]>0,np.exp(BE*(np.log(age)[:,None]-LE)),0.)
                    la=np.log(age[:,None]+x[None])                    # NM x nx
                    H=np.exp(BE[:,:,None]*(la[:,None]-LE[:,:,None]))  # NM x nt2 x nx
                    S=np.exp(-HR[o][:,None,None]*(H-H0[:,:,None]))
                    Sb=np.einsum('t,mtx->mx',W2,S)
                    f=np.einsum('t,mtx->mx',W2,S*H*BE[:,:,None])*HR[o][:,None]/(age[:,None]+x[None])
                    P=np.prod(Sb[TERM],0)
                    G=np.where(TERM[:,None],P/Sb,P)
                    M[o]+=pa*pc*pd*(FM[:,None]*f*G*np.where(cov,WF,1)*np.exp(-RATE*x/ann)*wx).sum()
                    Hh=np.exp(BE*(np.log(age+h)[:,None]-LE))
                    NF[o]+=pa*pc*pd*np.prod((W2*np.exp(-HR[o][:,None]*(Hh-H0))).sum(1)[:NMAJ])
    return base+M,NF,base
if __name__=='__main__':
    r={}
    for k in ((5,3,5,3,10),(7,3,7,5,16),(9,3,11,7,24),(15,5,21,11,48)):
        t=time.process_time();m,nf,b=exact(*k);r[str(k)]=dict(cpu=time.process_time()-t,mean=m.tolist(),nofail=nf.tolist());print(k,r[str(k)])
    r['lines_and_comeback_mean']=b.tolist();json.dump(r,open("means.json","w"),indent=1)
