# Freezes the shim programs of tests/cross_shims.rs solved by scipy.optimize.milp.
import json, numpy as np, scipy
from scipy.optimize import milp, LinearConstraint, Bounds
rng = np.random.default_rng(2026)
cases = []
for k in range(50):
    n = int(rng.integers(6, 11)); N = int(rng.integers(6, 15)); step = 0.05
    s = (np.arange(n)/(n-1) - 0.5)
    off = rng.uniform(0.0, 0.45)
    f = [np.round(0.12*rng.normal(size=n)*0.5 + 0.08*np.sin(6*s+rng.uniform(0,6)), 4), np.round(off + 0.06*rng.normal(size=n) + 0.1*s*rng.normal(), 4)]
    zone = [0.16, 0.18]; b0 = 0.15; b1 = 0.25; big = 0.2; bend = [0.08, 0.08]
    # unknowns: n_A (n), n_B (n), z (2n), a,b,low for each rail (6)
    nv = 4*n + 6
    rows = []; lo = []; hi = []
    def add(r, l, h): rows.append(r); lo.append(l); hi.append(h)
    for i in range(2*n):
        r = np.zeros(nv); r[i] = 1; r[2*n+i] = -N; add(r, -np.inf, 0)
    for rail in range(2):
        o = rail*n; a = 4*n+3*rail; b = a+1; low = a+2
        for w in (np.ones(n), s):
            r = np.zeros(nv); r[a] = w.sum(); r[b] = (w*s).sum(); r[o:o+n] = -step*w
            add(r, (w*f[rail]).sum(), (w*f[rail]).sum())
        for i in range(n):
            r = np.zeros(nv); r[o+i] = step; r[a] = -1; r[b] = -s[i]; r[low] = -1
            add(r, -f[rail][i], zone[rail]-f[rail][i])
        for i in range(1, n):
            r = np.zeros(nv); r[o+i] = step; r[o+i-1] = -step; add(r, -big, big)
        for i in range(1, n-1):
            now = f[rail][i]-0.5*(f[rail][i-1]+f[rail][i+1]); lim = max(bend[rail], abs(now))
            r = np.zeros(nv); r[o+i] = step; r[o+i-1] = -step/2; r[o+i+1] = -step/2; add(r, -lim-now, lim-now)
    r = np.zeros(nv); r[4*n+3] = 1; r[4*n] = -1; add(r, -b0, b0)
    r = np.zeros(nv); r[4*n+4] = 1; r[4*n+1] = -1; add(r, -b1, b1)
    A = np.array(rows); con = LinearConstraint(A, np.array(lo), np.array(hi))
    integ = np.r_[np.ones(4*n), np.zeros(6)]
    lb = np.r_[np.zeros(4*n), -100*np.ones(6)]; ub = np.r_[N*np.ones(2*n), np.ones(2*n), 100*np.ones(6)]
    c = np.zeros(nv); c[2*n:4*n] = 1
    opt = dict(mip_rel_gap=0.0, time_limit=60)
    first = milp(c, constraints=con, integrality=integ, bounds=Bounds(lb, ub), options=opt)
    case = dict(steps=N, rails=[f[0].tolist(), f[1].tolist()], zones=zone, offset=b0, drift=b1, step=step, largest_step=big, bend=bend)
    if first.status == 0:
        t = round(first.fun)
        r = np.zeros(nv); r[2*n:4*n] = 1; A2 = np.vstack([A, r])
        c2 = np.zeros(nv); c2[:2*n] = 1
        second = milp(c2, constraints=LinearConstraint(A2, np.r_[lo, -np.inf], np.r_[hi, t]), integrality=integ, bounds=Bounds(lb, ub), options=opt)
        case.update(touched=t, movement=round(second.fun) if second.status == 0 else None)
    else:
        case.update(touched=None, movement=None, status=int(first.status))
    cases.append(case)
print(sum(c['touched'] is not None for c in cases), [ (c['touched'], c['movement']) for c in cases])
json.dump(dict(made_with=f"scipy {scipy.__version__} milp (HiGHS), numpy {np.__version__}, default_rng(2026); tests/cross/shim_programs.py", cases=cases), open('shim_programs.json','w'), indent=None, separators=(',',':'))
