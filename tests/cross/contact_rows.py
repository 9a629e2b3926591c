#!/usr/bin/env python3
"""Cross-check of contact-level blocks: rows of balls or rollers, alone and inside a whole machine.

Written apart from the program: every element is a force on its own line of action, moments are cross products r x F,
the machine is the meshed frame of whole_pose.py with every element's row of the gradient written out, and scipy finds the
minimum over the pose and over what the supports yield, together.
Ball stiffness: exact Hertz with scipy's elliptic integrals and brentq (Johnson, Contact Mechanics, chapter 4).
Roller stiffness: 35,948 L^(8/9) N/mm^(10/9), steel (ISO/TS 16281, from memory): here only so that both sides use the same.
Besides, each row is integrated as a continuous line by adaptive quadrature, to show what the discrete elements differ by.
It writes contact_rows.json beside itself.

    pip install numpy scipy
    python3 tests/cross/contact_rows.py
"""
import datetime, json, pathlib, platform
import numpy as np
import scipy
from scipy.integrate import quad
from scipy.linalg import solve
from scipy.optimize import brentq, minimize
from scipy.special import ellipe, ellipk

import whole_pose as frame

BALLS_X = dict(arrangement="x", element="ball", count=12, diameter_mm=3.969, pitch_mm=4.2, angle_deg=45.0, conformity=0.52,
               row_lateral_mm=11.5, row_height_mm=3.5, e_mpa=206000.0, nu=0.3, preload_n=340.0, roller_length_mm=0.0)
BALLS_O = dict(BALLS_X, arrangement="o", count=17, diameter_mm=4.762, pitch_mm=5.1, angle_deg=50.0, conformity=0.53,
               row_lateral_mm=14.0, row_height_mm=5.0, preload_n=900.0)
ROLLERS = dict(BALLS_X, arrangement="o", element="roller", count=14, diameter_mm=4.0, pitch_mm=5.0, roller_length_mm=6.0,
               row_lateral_mm=13.0, row_height_mm=6.0, preload_n=1500.0)

def stiffness(g):
    """Force at 1 mm of approach over both contacts, and the exponent."""
    if g["element"] == "roller":
        return 35948.0 * g["roller_length_mm"] ** (8 / 9), 10 / 9
    a, b = 2 / g["diameter_mm"] - 1 / (g["conformity"] * g["diameter_mm"]), 2 / g["diameter_mm"]
    def gap(k):
        m = 1 - 1 / k**2
        return ((k * k + 1) * ellipe(m) - 2 * ellipk(m)) / ((k * k - 1) * ellipe(m)) - (b - a) / (b + a)
    k = brentq(gap, 1.0001, 1e3, xtol=1e-14, rtol=1e-15)
    m = 1 - 1 / k**2
    es, r = g["e_mpa"] / (2 * (1 - g["nu"] ** 2)), 1 / (a + b)
    one = lambda f: ellipk(m) * (9 / (2 * ellipe(m) * r) * (f / (2 * np.pi * k * es)) ** 2) ** (1 / 3)
    # Both contacts carry the force; their approaches add up.
    return 1.0 / (2 * one(1.0)) ** 1.5, 1.5

def elements(g):
    """Places, directions and row number of all elements."""
    al, down = np.radians(g["angle_deg"]), 1.0 if g["arrangement"] == "o" else -1.0
    xs = (np.arange(g["count"]) - (g["count"] - 1) / 2) * g["pitch_mm"]
    r, n = [], []
    for side, level in ((1, 1), (-1, 1), (1, -1), (-1, -1)):
        for x in xs:
            r.append([x, side * g["row_lateral_mm"], level * g["row_height_mm"]])
            n.append([0.0, -side * np.cos(al), level * down * np.sin(al)])
    return np.array(r), np.array(n)

def loads(g, d):
    """Element loads, and force and moment as sums of n Q and r x n Q; d = y, z, roll, pitch, yaw."""
    (k, p), (r, n) = stiffness(g), elements(g)
    q0 = g["preload_n"] / (2 * g["count"] * np.sin(np.radians(g["angle_deg"])))
    move = np.array([0, d[0], d[1]]) + np.cross(np.array(d[2:]), r)
    q = k * np.maximum((q0 / k) ** (1 / p) + np.sum(n * move, axis=1), 0) ** p
    f, m = (n * q[:, None]).sum(axis=0), np.cross(r, n * q[:, None]).sum(axis=0)
    return q, [f[1], f[2], m[0], m[1], m[2]]

def line(g, d):
    """The same force and moments with every row spread evenly over its length (adaptive quadrature)."""
    (k, p), (r, n) = stiffness(g), elements(g)
    q0, z = g["preload_n"] / (2 * g["count"] * np.sin(np.radians(g["angle_deg"]))), g["count"]
    out, half = np.zeros(6), g["count"] * g["pitch_mm"] / 2
    for i in range(4):
        r0, n0 = r[i * z] * [0, 1, 1], n[i * z]
        def part(x, j):
            at = r0 + [x, 0, 0]
            q = k * max((q0 / k) ** (1 / p) + n0 @ (np.array([0, d[0], d[1]]) + np.cross(d[2:], at)), 0) ** p
            return np.concatenate([n0 * q, np.cross(at, n0 * q)])[j] / g["pitch_mm"]
        out += [quad(part, -half, half, args=(j,), epsabs=1e-7, epsrel=1e-7, limit=400)[0] for j in range(6)]
    return [out[1], out[2], out[3], out[4], out[5]]

def alone():
    states = [[0.002, -0.003, 1e-4, 1.5e-4, -1e-4], [0, 0, 0, 4e-4, 0], [0, 0, 0, 0, -6e-4], [0, 0, 8e-4, 0, 0],
              [0.006, 0.004, -3e-4, -2e-4, 3e-4], [-0.001, -0.012, 0, 9e-4, 0]]
    out = []
    for g in (BALLS_X, BALLS_O, ROLLERS):
        for d in states:
            q, f = loads(g, d)
            out.append(dict(geometry=g, displacement=d, force=f, element_n=q.tolist(), as_a_line=line(g, d)))
    return out

# ---------------------------------------------------------------------------- inside a whole machine
class ContactModel(frame.Model):
    """The meshed machine with rows instead of block springs; unknowns: q, then s (y, z, roll) of every block."""

    def minimum(self, lc, g):
        f, _ = self.loads(lc)
        f = (f + self.f0).astype(float)
        K, scale = self.K.copy(), self.scale
        blocks, (k, p), (r, n) = [], stiffness(g), elements(g)
        q0 = g["preload_n"] / (2 * g["count"] * np.sin(np.radians(g["angle_deg"])))
        for s in [s for s in self.springs if s["of"][0] == "block"]:      # take the block springs out again
            K[np.ix_(s["idx"], s["idx"])] -= s["k"] * np.outer(s["b"], s["b"])
            f[s["idx"]] -= (s["k"] * s["b"] * s["c"]).astype(float)
        K = K.astype(float)
        for side in "AB":
            for i, blk in enumerate(self.cfg["trucks"][side]["blocks"]):
                own = [s for s in self.springs if s["of"][:3] == ("block", side, i)]
                imposed = np.array([float(s["c"]) for s in own])
                U = frame.arm((blk["x_mm"], blk["lateral_mm"], 0)).astype(float)
                rows = np.hstack([n, np.cross(r, n)]) @ np.vstack([U[:3], U[3:]])  # n.(u + theta x r) of the truck's six
                push = np.hstack([n, np.cross(r, n)])[:, 1:]                       # the same of the block's y z rx ry rz
                blocks.append(dict(idx=self.truck[side], rows=rows, still=push @ imposed, yields=push[:, :3], side=side, i=i,
                                   push=push, imposed=imposed, ks=np.array([float(v) for v in blk["k_support"].values()])))
        floats = [s for s in self.springs if "float" in s]
        nd, total = self.nd, self.nd + 3 * len(blocks)
        unit = np.concatenate([scale, np.tile([1, 1, 1 / frame.SCALE], len(blocks))]).astype(float)

        def parts(x, want):
            q = x[:nd]
            e, grad, hess = 0.5 * q @ K @ q - f @ q, np.zeros(total), np.zeros((total, total)) if want else None
            grad[:nd] = K @ q - f
            if want:
                hess[:nd, :nd] = K
            for b, blk in enumerate(blocks):
                sl = slice(nd + 3 * b, nd + 3 * b + 3)
                s = x[sl]
                ap = np.maximum((q0 / k) ** (1 / p) + blk["rows"] @ q[blk["idx"]] - blk["still"] - blk["yields"] @ s, 0)
                load = k * ap**p
                e += (load * ap).sum() / (p + 1) + 0.5 * (blk["ks"] * s * s).sum()
                grad[blk["idx"]] += blk["rows"].T @ load
                grad[sl] += blk["ks"] * s - blk["yields"].T @ load
                if want:
                    t, both = p * k * ap ** (p - 1), np.hstack([blk["rows"], -blk["yields"]])
                    at = np.concatenate([blk["idx"], np.arange(sl.start, sl.stop)])
                    hess[np.ix_(at, at)] += both.T @ (t[:, None] * both)
                    hess[np.arange(sl.start, sl.stop), np.arange(sl.start, sl.stop)] += blk["ks"]
            for s in floats:
                d = float((s["b"] @ q[s["idx"]]) - s["c"])
                F, t, en, _ = frame.law(d, s["float"])
                e += float(en)
                grad[s["idx"]] += (s["b"] * F).astype(float)
                if want:
                    hess[np.ix_(s["idx"], s["idx"])] += float(t) * np.outer(s["b"], s["b"]).astype(float)
            return e, grad * unit, hess * np.outer(unit, unit) if want else None

        x = minimize(lambda y: parts(y * unit, False)[0], np.zeros(total), method="trust-exact", jac=lambda y: parts(y * unit, False)[1],
                     hess=lambda y: parts(y * unit, True)[2], options=dict(gtol=1e-3, maxiter=5000)).x
        for _ in range(8):                                                # Newton to the last digits
            _, grad, hess = parts(x * unit, True)
            x = x - solve(hess, grad, assume_a="sym")
        residual = float(np.max(abs(parts(x * unit, False)[1])))
        assert residual < 1e-6, residual
        x = x * unit
        q, out = x[:nd], dict(A=[], B=[])
        for b, blk in enumerate(blocks):
            s = x[nd + 3 * b:nd + 3 * b + 3]
            ap = np.maximum((q0 / k) ** (1 / p) + blk["rows"] @ q[blk["idx"]] - blk["still"] - blk["yields"] @ s, 0)
            out[blk["side"]].append(dict(load=(blk["push"].T @ (k * ap**p)).tolist(), most_loaded_n=float((k * ap**p).max())))
        pose = np.concatenate([q[:12], q[self.end["A"]] + self.face["A"].astype(float), q[self.end["B"]] + self.face["B"].astype(float)])
        return dict(pose=[float(v) for v in pose], blocks=out, residual_n=residual)

def whole():
    cases, out = frame.make_cases(), []
    for name, g in (("stiff_all_errors", BALLS_X), ("floats_on_stops", BALLS_O), ("odd_machine", ROLLERS)):
        cfg, err = cases[name]
        for x in cfg["stations_mm"]:
            for lc_name, lc in cfg["load_cases"].items():
                m = ContactModel(cfg, err, frame.N_MESH, x)
                out.append(dict(case=name, geometry=g, station_mm=x, load_case=lc_name, **m.minimum(lc, g)))
                print(name, x, lc_name, out[-1]["residual_n"])
    return out

def main():
    doc = dict(purpose="contact-level blocks, element by element", date=datetime.date.today().isoformat(), command="python3 tests/cross/contact_rows.py",
               versions=dict(python=platform.python_version(), numpy=np.__version__, scipy=scipy.__version__),
               notes=["displacement: y, z (mm), roll, pitch, yaw (rad); force: Fy, Fz (N), Mx, My, Mz (N mm), what the truck exerts on the block",
                      "as_a_line: every row spread evenly over count x pitch, by quadrature; it differs from discrete elements by design",
                      "whole machines are those of whole_pose.json with these rows instead of block springs"],
               alone=alone(), whole=whole())
    pathlib.Path(__file__).with_suffix(".json").write_text(frame.dump(doc, 2) + "\n")

if __name__ == "__main__":
    main()
