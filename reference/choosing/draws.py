import numpy as np, numba as nb, math
from model import *
LK=np.array([l[1] for l in lines]);LA=np.array([[l[2],l[3],l[4]] for l in lines],float)
TI=TERM.copy()
LPCB,LWM=PCB,WM
@nb.njit(inline='always')
def ndt(p):
    # rational approximation of the normal quantile (Wichura AS241, PPND16 published algorithm), own layout
    q=p-0.5
    if abs(q)<=0.425:
        r=0.180625-q*q
        return q*(((((((2509.0809287301226727*r+33430.575583588128105)*r+67265.770927008700853)*r+45921.953931549871457)*r+13731.693765509461125)*r+1971.5909503065514427)*r+133.14166789178437745)*r+3.387132872796366608)/(((((((5226.495278852545925*r+28729.085735721942674)*r+39307.89580009271061)*r+21213.794301586595867)*r+5394.1960214247511077)*r+687.1870074920579083)*r+42.313330701600911252)*r+1.0)
    r=p if q<0 else 1-p
    r=math.sqrt(-math.log(r))
    if r<=5:
        r-=1.6
        x=(((((((7.7454501427834140764e-4*r+0.0227238449892691845833)*r+0.24178072517745061177)*r+1.27045825245236838258)*r+3.64784832476320460504)*r+5.7694972214606914055)*r+4.6303378461565452959)*r+1.42343711074968357734)/(((((((1.05075007164441684324e-9*r+5.475938084995344946e-4)*r+0.0151986665636164571966)*r+0.14810397642748007459)*r+0.68976733498510000455)*r+1.6763848301838038494)*r+2.05319162663775882187)*r+1.0)
    else:
        r-=5
        x=(((((((2.01033439929228813265e-7*r+2.71155556874348757815e-5)*r+0.0012426609473880784386)*r+0.026532189526576123093)*r+0.29656057182850489123)*r+1.7848265399172913358)*r+5.4637849111641143699)*r+6.6579046435011037772)/(((((((2.04426310338993978564e-15*r+1.4215117583164458887e-7)*r+1.8463183175100546818e-5)*r+7.868691311456132591e-4)*r+0.0148753612908506148525)*r+0.13692988092273580531)*r+0.59983220655588793769)*r+1.0)
    return -x if q<0 else x
@nb.njit(inline='always')
def itp(tab,u):
    x=u*(KT-1);k=int(x)
    if k>KT-2:k=KT-2
    f=x-k
    return tab[k]*(1-f)+tab[k+1]*f
@nb.njit(fastmath=True)
def one(u,cost,nf,X,H0,DH):
    ann=ANN_MED*math.exp(ANN_SD*ndt(u[0]));h=ann*YEARS
    car=CAR_CLAIM*math.exp(CAR_SD*ndt(u[1]));don=math.exp(DON_MU+DON_SD*ndt(u[2]))
    l_h=math.log(h);lc=math.log(car);lch=math.log(car+h);ld=math.log(don);ldh=math.log(don+h)
    for j in range(NL):
        v=u[83+j];a=LA[j,0];b=LA[j,1];c=LA[j,2]
        if LK[j]==0:
            X[j]=a+math.sqrt(v*(c-a)*(b-a)) if v<(b-a)/(c-a) else c-math.sqrt((1-v)*(c-a)*(c-b))
        elif LK[j]==1: X[j]=itp(LT[j],v)
        else: X[j]=a*math.exp(b*ndt(v))
    for o in range(NO):
        s=0.0
        for j in range(NL): s+=Q[o,j]*X[j]
        if u[95+o]<LPCB[o]: s+=itp(CT[o],u[101+o])
        cost[o]=s
    BE=np.empty(NM);LE=np.empty(NM);E=np.empty(NM);T=np.empty(NM)
    for m in range(NM):
        b=math.exp(LB0[m]+SB[m]*ndt(u[43+m]));l=LE0[m]+SE[m]*ndt(u[23+m])
        BE[m]=b;LE[m]=l;E[m]=-math.log1p(-u[3+m])
        H0[0,m]=0.0;DH[0,m]=math.exp(b*(l_h-l))
        x=math.exp(b*(lc-l));H0[1,m]=x;DH[1,m]=math.exp(b*(lch-l))-x
        x=math.exp(b*(ld-l));H0[2,m]=x;DH[2,m]=math.exp(b*(ldh-l))-x
    for o in range(NO):
        ts=1e300;any_=False;maj=False
        for m in range(NM):
            c=A[o,m];e=E[m]/HR[o,m]
            if e<DH[c,m]:
                ag=0.0 if c==0 else (car if c==1 else don)
                T[m]=math.exp(LE[m]+math.log(H0[c,m]+e)/BE[m])-ag
                any_=True
                if m<NMAJ: maj=True
                if TI[m] and T[m]<ts: ts=T[m]
            else: T[m]=1e301
        nf[o]=not maj
        if any_:
            for m in range(NM):
                t=T[m]
                if t<=ts and t<1e300:
                    cc=itp(FT[m],u[63+m])*math.exp(-RATE*t/ann)
                    if t<LWM[o] and COV[o,m]: cc*=WF
                    cost[o]+=cc
@nb.njit(fastmath=True)
def sim_pts(U):
    n=U.shape[0];C=np.empty((n,NO));F=np.empty((n,NO),np.bool_);X=np.empty(NL);H0=np.empty((3,NM));DH=np.empty((3,NM));u=np.empty(NDIM)
    for i in range(n):
        for j in range(NDIM): u[j]=min(max(U[i,j],1e-12),1-1e-12)
        one(u,C[i],F[i],X,H0,DH)
    return C,F
@nb.njit(fastmath=True)
def sim_nb(n,seed):
    C=np.empty((n,NO));F=np.empty((n,NO),np.bool_);X=np.empty(NL);H0=np.empty((3,NM));DH=np.empty((3,NM));u=np.empty(NDIM)
    s=np.uint64(seed)
    for i in range(n):
        for j in range(NDIM):
            s=s+np.uint64(0x9E3779B97F4A7C15);z=s
            z=(z^(z>>np.uint64(30)))*np.uint64(0xBF58476D1CE4E5B9);z=(z^(z>>np.uint64(27)))*np.uint64(0x94D049BB133111EB);z=z^(z>>np.uint64(31))
            u[j]=(float(z>>np.uint64(12))+0.5)*(1.0/4503599627370496.0)
        one(u,C[i],F[i],X,H0,DH)
    return C,F
