"""D. bore and bearing statistics, numbers by SciPy -> statistics.json"""
import json,numpy as np
from scipy import stats,optimize,integrate
from scipy.special import ndtr
J={}
# 1. JCGM 106 conformity probability, two-sided interval, normal posterior
def pc(y,u,TL,TU): return float(ndtr((TU-y)/u)-ndtr((TL-y)/u))
J['conformity_normal']=[dict(y=y,u=u,TL=a,TU=b,p_c=pc(y,u,a,b)) for y,u,a,b in((13.6,1.8,12.5,16.3),(86.012,.003,86.000,86.020),(86.019,.003,86.000,86.020),(86.0215,.003,86.000,86.020),(86.050,.004,-1e9,86.050))]
# with an informative normal prior of the process
def post(y,u,y0,u0): w=u0*u0/(u0*u0+u*u);return w*y+(1-w)*y0,np.sqrt(u*u*u0*u0/(u*u+u0*u0))
m,s=post(86.0215,.003,86.010,.005);J['conformity_with_prior']=dict(y=86.0215,u=.003,prior_mean=86.010,prior_sd=.005,post_mean=float(m),post_sd=float(s),p_c=pc(m,s,86.0,86.020))
# guard bands: one-sided acceptance limit A=TU-z*u for p_c>=0.95 ; consumer/producer risk by 2-D integral
J['guard_band']=[dict(p=p,z=float(stats.norm.ppf(p)),u=.003,TU=86.020,accept_below=float(86.020-stats.norm.ppf(p)*.003)) for p in(.80,.90,.95,.99)]
def risks(y0,u0,u,TL,TU,AL,AU):
    f=lambda e: stats.norm.pdf(e,y0,u0);acc=lambda e: ndtr((AU-e)/u)-ndtr((AL-e)/u)
    g=lambda e:f(e)*acc(e);h=lambda e:f(e)*(1-acc(e))
    RC=integrate.quad(g,TU,y0+10*u0)[0]+integrate.quad(g,y0-10*u0,TL)[0];RP=integrate.quad(h,TL,TU,limit=200)[0];return RC,RP
for gb in(0,.5,1.,1.645):
    RC,RP=risks(86.010,.006,.003,86.0,86.02,86.0+gb*.003,86.02-gb*.003);J.setdefault('global_risk',[]).append(dict(guard_in_u=gb,consumer_risk=RC,producer_risk=RP,process_mean=86.01,process_sd=.006,u=.003))
# 2. one bore 3 heights x 2 axes
std=86.000
R={'1':[[86.038,86.061],[86.031,86.049],[86.012,86.018]],'2':[[86.034,86.052],[86.028,86.041],[86.011,86.015]],'3':[[86.036,86.058],[86.030,86.046],[86.013,86.017]],'4':[[86.052,86.094],[86.041,86.070],[86.016,86.022]]}  # rows top/middle/bottom, cols along crank, across (thrust)
u_r=.0025;u_set=.002   # repeatability of one reading ; shared setting ring+temperature
z=np.array([12.,70.,128.])
out={}
rng=np.random.default_rng(5);NMC=400000
for c,a in R.items():
    a=np.array(a);oor=np.abs(a[:,1]-a[:,0]);tap=np.ptp(a,axis=0)
    fit=np.polyfit(z,a.mean(1),1);y=a.max()
    # uncertainty: difference of two readings: setting error cancels; maximum of six: Monte Carlo of the true maximum given the readings
    tr=a[None]+rng.normal(0,u_r,(NMC,3,2))+rng.normal(0,u_set,(NMC,1,1));mx=tr.max((1,2));oo=np.abs(tr[:,:,1]-tr[:,:,0]).max(1);tp=np.ptp(tr,axis=1).max(1)
    # a naive upward bias: E[max of noisy] > max ; report it
    out[c]=dict(readings=a.tolist(),out_of_round_by_height=oor.tolist(),out_of_round_max=float(oor.max()),taper_by_axis=tap.tolist(),taper_max=float(tap.max()),max_wear=float(y-std),cone_fit_slope_per_100mm=float(fit[0]*100),mean_diameter=float(a.mean()),
      u_oor=float(np.sqrt(2)*u_r),u_taper=float(np.sqrt(2)*u_r),u_max=float(np.hypot(u_r,u_set)),mc=dict(max_mean=float(mx.mean()),max_sd=float(mx.std()),oor_sd=float(oo.std()),taper_sd=float(tp.std())),
      P_wear_below_0p10=pc(y-std,np.hypot(u_r,u_set),-1e9,.10),P_oor_below_0p05=pc(float(oor.max()),np.sqrt(2)*u_r,-1e9,.05),P_taper_below_0p05=pc(float(tap.max()),np.sqrt(2)*u_r,-1e9,.05))
J['bores']=dict(standard=std,limits_used_in_example=dict(wear=.10,out_of_round=.05,taper=.05,note='placeholders: take the limits of the engine at hand'),u_reading=u_r,u_setting=u_set,cylinders=out)
# 3. what two axes miss: ellipse of out-of-round D (max-min diameter), axis turned by theta: seen = D|cos 2theta|
th=np.linspace(0,np.pi,100001);k=np.abs(np.cos(2*th))
J['two_axis_bias']=dict(mean_seen_fraction=2/np.pi,numeric=float(np.trapezoid(k,th)/np.pi),P_seen_below_half=float((k<.5).mean()),three_axes_45deg_formula='with D0,D45,D90: D=2*sqrt(((D0-D90)/2)^2+(D45-(D0+D90)/2)^2); phase=0.5*atan2(D45-(D0+D90)/2,(D0-D90)/2)',
  example=dict(D0=86.030,D45=86.052,D90=86.034,D=float(2*np.sqrt(((86.030-86.034)/2)**2+(86.052-86.032)**2)),seen_by_two=.004),note='odd-lobed form (3,5 lobes) is invisible to any two-point gauge')
# 4. next oversize: needs  D_os >= max over cylinders of (largest diameter + 2*offset + clean-up) ; minimum stock for hone
os_=[.25,.50,.75,1.00];hone=.05;clean=.01;pit={'4':.04}
need={c:max(max(r) for r in a) for c,a in R.items()};rows=[]
for o in os_:
    fin=std+o;P=1.0;pr={}
    for c,a in R.items():
        a=np.array(a);
        # local wall must be cut everywhere: finished radius >= worst radius + centre offset; offset ~ |N2(0,.015)| mm radial (new centre vs worn centre)
        tr=a[None]+rng.normal(0,u_r,(200000,3,2))+rng.normal(0,u_set,(200000,1,1));e=np.hypot(*rng.normal(0,.015,(2,200000)))
        ok=(fin-hone-clean)>=tr.max((1,2))+2*e+2*pit.get(c,0.);pr[c]=float(ok.mean());P*=pr[c]
    rows.append(dict(oversize=o,P_each=pr,P_all_clean_up=float(P)))
J['oversize']=dict(rule='smallest listed oversize with P(all cylinders clean up) >= 0.99; all cylinders of an engine take the same size',hone_stock_dia=hone,cleanup_dia=clean,offset_sd_each_axis=.015,score_depth_radial=pit,table=rows)
# 5. bearing clearance: housing bore H, shell wall w (2 shells), journal d ; C=H-2w-d
H,uH,w,uw,d,ud=57.007,.003,2.485,.0015,51.998,.0025;C=H-2*w-d;uC=float(np.sqrt(uH**2+(2*uw)**2+ud**2));TL,TU=.025,.055
J['clearance']=dict(H=H,w=w,d=d,C=float(C),u=uC,TL=TL,TU=TU,p_c=pc(C,uC,TL,TU),sensitivities=dict(H=1,w=-2,d=-1),
  grades=[dict(wall=float(ww),C=float(H-2*ww-d),p_c=pc(H-2*ww-d,uC,TL,TU)) for ww in(2.480,2.4825,2.485,2.4875,2.490,2.4925)])
# 6. out of round of a difference when near zero: |N| bias (folded normal)
for t in(0.,.002,.005,.01):
    s=np.sqrt(2)*u_r;J.setdefault('folded_normal',[]).append(dict(true=t,u=float(s),mean_reported=float(stats.foldnorm.mean(t/s,scale=s))))
J['folded_max_of_three_heights_true_round']=dict(mean_reported=float(np.abs(rng.normal(0,np.sqrt(2)*u_r,(400000,3))).max(1).mean()))
# 7. cut of a head: volume and compression ratio
def cr(Vs,CR,A,delta): Vc=Vs/(CR-1);return (Vs+Vc-A*delta)/(Vc-A*delta)
Vs=np.pi/4*8.6**2*8.6;J['head_cut']=[dict(bore_cm=8.6,stroke_cm=8.6,CR0=10.5,open_area_cm2=Ac,cut_mm=dl,CR=float(cr(Vs,10.5,Ac,dl/10)),dV_cc=float(Ac*dl/10)) for Ac in(45.,58.09) for dl in(.05,.10,.20,.30,.50)]
J['cam_timing']=dict(formula='camshaft lag (deg) = (180/pi)*k*cut/r_sprocket; k=1 for one straight run between crank and cam on the fixed (tight) side',example=[dict(cut_mm=c,r_mm=50.,cam_deg=float(np.degrees(c/50.)),crank_deg=float(2*np.degrees(c/50.))) for c in(.1,.2,.5)])
json.dump(J,open('statistics.json','w'),indent=1)
print(json.dumps({k:v for k,v in J.items() if k!='bores'},indent=0)[:5200]);print({c:{k:v for k,v in o.items() if k!='readings'} for c,o in out.items()})
