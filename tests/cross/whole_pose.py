#!/usr/bin/env python3
"""Cross-check of the whole pose: two rails, two trucks, joints, a bridge, by another route.

The model works with 24 degrees of freedom and closed-form beam terms.  This script reaches the same
numbers another way, so that the two can be compared: the bridge is a mesh of 60 three-dimensional
shear-flexible (Timoshenko) frame elements, loads sit on the mesh, and the bridge's making errors are
small misalignments of its end faces (and an initial axial strain).  Blocks, joints and drives are
scalar springs between rigid arms; floats are solved as a convex minimisation by scipy.
It writes whole_pose.json beside itself: per case the complete configuration, the errors, the results.

Element: from its cantilever flexibility and equilibrium, k = T' f^-1 T ("Theory of Matrix Structural
Analysis", 1968, chapter 5: beam elements with shear deformation, stiffness from flexibility).
Axes: x along the rails, y from rail A to rail B, z up; units inside: N, mm, MPa, rad.

    pip install numpy scipy
    python3 tests/cross/whole_pose.py
"""
import copy, datetime, json, pathlib, platform
import numpy as np
import scipy
from scipy.interpolate import CubicSpline
from scipy.linalg import lu_factor, lu_solve
from scipy.optimize import minimize

LD = np.longdouble            # 80-bit where the platform has it: residuals far below 1e-9 N
G0 = 9.80665                  # m/s2
COMP = ["x", "y", "z", "rx", "ry", "rz"]
SCALE = 100.0                 # mm; rotations are scaled by it before factoring
N_MESH = 60

# ------------------------------------------------------------------------------- small mechanics
def arm(r):
    """6x6 map from the motion [u, theta] of a body to its motion at the arm r: u + theta x r."""
    x, y, z = r
    U = np.eye(6, dtype=LD)
    U[:3, 3:] = np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]], dtype=LD)
    return U

def element(l, b):
    """Stiffness of one element along y, length l, and the end forces of a unit axial elongation."""
    E, G = LD(b["e_mpa"]), LD(b["g_mpa"])
    fi = np.zeros((6, 6), dtype=LD)          # inverse of the cantilever flexibility of end j
    fi[1, 1] = E * b["area_mm2"] / l
    fi[4, 4] = G * b["torsion_constant_mm4"] / l
    for u, r, sign, I, As in ((2, 3, 1, b["i_vertical_about_x_mm4"], b["shear_area_vertical_mm2"]),
                              (0, 5, -1, b["i_lateral_about_z_mm4"], b["shear_area_lateral_mm2"])):
        uu, ur, rr = l**3 / (3 * E * I) + l / (G * As), sign * l**2 / (2 * E * I), l / (E * I)
        det = uu * rr - ur * ur                            # slope is +rx in (uz,rx), -rz in (ux,rz)
        fi[u, u], fi[r, r], fi[u, r], fi[r, u] = rr / det, uu / det, -ur / det, -ur / det
    T = np.hstack([-arm((0, l, 0)), np.eye(6, dtype=LD)])  # end j relative to end i carried rigidly
    return T.T @ fi @ T, T.T @ fi[:, 1]

def law(d, p):
    """Force, slope, energy and state of a float at the displacement d."""
    ks, drag, kp, tr = (LD(p[k]) for k in ("k_slide_n_per_mm", "drag_n", "k_stop_n_per_mm", "travel_mm"))
    d, a, sg = LD(d), abs(d), np.sign(d)
    stick, over = ks * a < drag, max(a - tr, LD(0))
    F = (ks * d if stick else drag * sg) + kp * sg * over
    E = (ks * d * d / 2 if stick else drag * a - drag**2 / (2 * ks)) + kp * over**2 / 2
    return F, (ks if stick else LD(0)) + (kp if over > 0 else LD(0)), E, \
        "stop" if over > 0 else "stick" if stick else "slide"

# ------------------------------------------------------------------------------------- the rails
def rail_profile(cfg, err, rail):
    """x -> (v, v', w, w', phi, phi'): residual through the anchors, straight beyond, plus s-terms."""
    xs = np.array(cfg["anchors_mm"])
    L, mid = xs[-1] - xs[0], (xs[-1] + xs[0]) / 2
    b = rail == "B"
    line = {"v_mm": (err["g0_mm"] * b, err["g1_mm"] * b), "w_mm": (err["h0_mm"] * b, err["h1_mm"] * b),
            "phi_rad": (err["p0_rad"][rail], err["p1_rad"][rail])}
    sp = {k: CubicSpline(xs, err["residual"][rail][k], bc_type="natural") for k in line}
    def at(x):
        out, xc = [], min(max(x, xs[0]), xs[-1])
        for k, (c0, c1) in line.items():
            slope = float(sp[k](xc, 1))
            out += [float(sp[k](xc)) + slope * (x - xc) + c0 + c1 * (x - mid) / L, slope + c1 / L]
        return out
    return at

# ------------------------------------------------------- model of one case at one station
class Model:
    """Unknowns: truck A (0-5), truck B (6-11), then 6 per mesh node from end A to end B."""

    def __init__(self, cfg, err, n, station):
        self.cfg, self.err, self.n, self.S, self.nd = cfg, err, n, LD(cfg["span_mm"]), 12 + 6 * (n + 1)
        self.scale = np.tile([1, 1, 1, 1 / SCALE, 1 / SCALE, 1 / SCALE], self.nd // 6)
        self.K, self.f0 = np.zeros((self.nd, self.nd), dtype=LD), np.zeros(self.nd, dtype=LD)
        k, axial = element(self.S / n, cfg["bridge"])
        growth = LD(err["bridge_length_mm"]) + self.S * (LD(cfg["bridge"]["alpha_per_k"]) * LD(err["bridge_temperature_k"])
                                                         - LD(cfg["frame_alpha_per_k"]) * LD(err["frame_temperature_k"]))
        for e in range(n):
            s = slice(12 + 6 * e, 24 + 6 * e)
            self.K[s, s] += k
            self.f0[s] += axial * growth / n
        t, q = err["end_tilt_rad"], err["end_squareness_rad"]
        self.face = {"A": np.array([0, 0, 0, t["A"], 0, q["A"]], dtype=LD),     # face = node + this
                     "B": np.array([0, 0, 0, t["B"], err["bridge_twist_rad"], q["B"]], dtype=LD)}
        self.truck = {"A": np.arange(6), "B": np.arange(6, 12)}
        self.end = {"A": np.arange(12, 18), "B": np.arange(self.nd - 6, self.nd)}
        self.base = {"A": np.zeros(3, dtype=LD), "B": np.array([0, self.S, 0])}
        self.rail, self.springs = {"A": [], "B": []}, []
        def spring(idx, b, c, k, *of):
            """delta = b.q[idx] - c; k is a stiffness, or the dict of a float's law."""
            self.springs.append({"idx": idx, "b": b, "c": LD(c), "of": of, "float" if isinstance(k, dict) else "k": k})
            if not isinstance(k, dict):
                self.K[np.ix_(idx, idx)] += k * np.outer(b, b)
                self.f0[idx] += k * b * LD(c)
        for r in "AB":
            at = rail_profile(cfg, err, r)
            for i, blk in enumerate(cfg["trucks"][r]["blocks"]):
                (v, v1, w, w1, ph, ph1), lat = at(station + blk["x_mm"]), blk["lateral_mm"]
                self.rail[r].append([v, w + lat * ph, ph, -(w1 + lat * ph1), v1])
                U, mount = arm((blk["x_mm"], lat, 0)), err["block_mount_yz_mm"][r][i] + [0, 0, 0]
                for j, k in enumerate(block_stiffness(blk)):
                    spring(self.truck[r], U[1 + j], LD(self.rail[r][i][j]) + LD(mount[j]), k, "block", r, i, j)
            if d := cfg["trucks"][r]["drive"]:
                spring(self.truck[r], arm((0, d["lateral_mm"], d["height_mm"]))[0], err["drive_offset_mm"][r], LD(d["k_n_per_mm"]), "drive", r, 0, 0)
            for i, jt in enumerate(cfg["joints"][r]):
                p, idx = np.array(jt["arm_mm"], dtype=LD), np.concatenate([self.end[r], self.truck[r]])
                Ut, Ub = arm(p), arm(p - np.array([0, 0, cfg["bridge_axis_height_mm"]], dtype=LD))
                for j, w in enumerate(jt["laws"].values()):
                    spring(idx, np.concatenate([Ub[j], -Ut[j]]), LD(err["joint_seat_mm_rad"][r][i][j]) - Ub[j] @ self.face[r],
                           w if w["law"] == "float" else LD(w["k_nmm_per_rad" if j > 2 else "k_n_per_mm"]), "joint", r, i, j)
        self.lu0 = self.factor(self.K)

    def factor(self, H):
        return lu_factor((H * np.outer(self.scale, self.scale)).astype(float))

    def solve(self, H, lu, rhs):
        """Linear solve refined in extended precision."""
        x = np.zeros(self.nd, dtype=LD)
        for _ in range(12):
            r = rhs - H @ x
            x = x + self.scale * lu_solve(lu, (self.scale * r).astype(float)).astype(LD)
        return x

    def node(self, y):
        k = y / float(self.S) * self.n
        assert abs(k - round(k)) < 1e-9, "a loaded position must be a mesh node"
        return np.arange(6) + 12 + 6 * int(round(k))

    def loads(self, lc):
        """Load vector, and the same loads as forces at points (for the balance): [(point, force)]."""
        f, pts, axis = np.zeros(self.nd, dtype=LD), [], np.array([0, 0, self.cfg["bridge_axis_height_mm"]], dtype=LD)
        acc = -np.array(lc["acceleration_m_per_s2"], dtype=LD) - np.array([0, 0, G0], dtype=LD)
        def put(on, point, F):
            """On the bridge the point is [x arm, y position, z arm], on a truck the arm from its reference."""
            F, p = np.array(F, dtype=LD), np.array(point, dtype=LD)
            idx, r = (self.node(point[1]), p * [1, 0, 1]) if on == "bridge" else (self.truck[on[-1]], p)
            f[idx] += arm(r).T[:, :3] @ F
            pts.append((p + (axis if on == "bridge" else self.base[on[-1]]), F))
        W = LD(self.cfg["bridge"]["mass_kg"]) * acc               # spread: w l/2 and w l^2/12 at each element end
        w, c = W / self.n / 2, np.array([W[2], 0, -W[0]]) / self.n * (self.S / self.n) / 12
        for e in range(self.n):
            f[12 + 6 * e:24 + 6 * e] += np.concatenate([w, c, w, -c])
        pts.append((axis + self.base["B"] / 2, W))
        put("bridge", (lc["payload_x_mm"], lc["payload_y_mm"], lc["payload_z_mm"]), LD(lc["payload_mass_kg"]) * acc)
        for r in "AB":
            put("truck_" + r, self.cfg["trucks"][r]["cog_mm"], LD(self.cfg["trucks"][r]["mass_kg"]) * acc)
        for x in lc["extra_forces"]:
            put(x["on"], x["point_mm"], x["force_n"])
        return f, pts

    def solve_pose(self, lc):
        """Minimise 1/2 q'Kq - f'q + float energies: condensed to the float displacements d, scipy finds
        the minimum; one step on the straight pieces of the laws found there makes it exact."""
        f, pts = self.loads(lc)
        f = f + self.f0
        H, rhs, lu, fl = self.K.copy(), f.copy(), self.lu0, [s for s in self.springs if "float" in s]
        if fl:
            B, c = np.zeros((len(fl), self.nd), dtype=LD), np.array([s["c"] for s in fl])
            for row, s in zip(B, fl):
                row[s["idx"]] = s["b"]
            laws = lambda d, k: np.array([law(x, s["float"])[k] for x, s in zip(d, fl)])
            X = np.array([self.solve(H, lu, row) for row in B])
            Ci, lin = np.linalg.inv((X @ B.T).astype(float)), (X @ f - c).astype(float)
            d = minimize(lambda d: float((d - lin) @ Ci @ (d - lin) / 2 + laws(d, 2).sum()), 0 * lin, method="trust-exact",
                         jac=lambda d: Ci @ (d - lin) + laws(d, 0).astype(float),
                         hess=lambda d: Ci + np.diag(laws(d, 1).astype(float)), options=dict(gtol=1e-9, maxiter=2000)).x
            F, k = laws(d, 0), laws(d, 1)
            H, rhs = H + B.T @ (k[:, None] * B), f - (F - k * (d + c)) @ B
            lu = self.factor(H)
        q = self.solve(H, lu, rhs)
        g = self.K @ q - f + (laws(B @ q - c, 0) @ B if fl else 0)
        self.residual, self.step = float(max(abs(g * self.scale))), float(max(abs(B @ q - c - d))) if fl else 0.0
        assert self.residual < 1e-9, self.residual
        return q, pts

    def result(self, station, name, lc, q, pts):
        pose = np.concatenate([q[:12], q[self.end["A"]] + self.face["A"], q[self.end["B"]] + self.face["B"]])
        blocks = {r: [[0] * 5 for _ in self.cfg["trucks"][r]["blocks"]] for r in "AB"}
        joints = {r: [dict(end=r, joint=i, delta=[0] * 6, force=[0] * 6, float_state={}) for i, _ in enumerate(v)]
                  for r, v in self.cfg["joints"].items()}
        drives, react = {"A": 0.0, "B": 0.0}, []               # reactions: (point, force, couple)
        for s in self.springs:
            kind, r, i, j = s["of"]
            d = s["b"] @ q[s["idx"]] - s["c"]
            value, state = (s["k"] * d, None) if "k" in s else law(d, s["float"])[::3]
            if kind == "block":
                blocks[r][i][j] = value
            elif kind == "drive":
                dr, drives[r] = self.cfg["trucks"][r]["drive"], -value
                react.append((self.base[r] + [0, dr["lateral_mm"], dr["height_mm"]], (-value, 0, 0), (0, 0, 0)))
            else:
                joints[r][i]["delta"][j], joints[r][i]["force"][j] = d, value
                if state:
                    joints[r][i]["float_state"][COMP[j]] = state
        for r in "AB":
            for b, v in zip(self.cfg["trucks"][r]["blocks"], blocks[r]):
                react.append((self.base[r] + [b["x_mm"], b["lateral_mm"], 0], (0, -v[0], -v[1]), [-m for m in v[2:]]))
        F = sum(p[1] for p in pts) + sum(np.array(w[1]) for w in react)
        M = sum(np.cross(*p) for p in pts) + sum(np.cross(w[0], w[1]) + np.array(w[2]) for w in react)
        tool = arm((lc["payload_x_mm"], 0, lc["payload_z_mm"])) @ q[self.node(lc["payload_y_mm"])]
        twist = LD(self.err["bridge_twist_rad"]) * lc["payload_y_mm"] / self.S
        spread = tool[:3] + twist * np.array([lc["payload_z_mm"], 0, -lc["payload_x_mm"]])
        return dict(
            station_mm=station, load_case=name, pose=pose, block_loads=blocks, joints=joints["A"] + joints["B"],
            drive_force_n=drives, tool_displacement_mm=tool[:3],
            tool_displacement_twist_spread_mm=spread, tool_rz_rad=tool[5], rail_at_blocks=self.rail,
            checks=dict(force_balance_rel=float(max(abs(F)) / max(max(abs(p[1])) for p in pts)),
                        moment_balance_rel=float(max(abs(M)) / max(max(abs(np.cross(*p))) for p in pts)),
                        residual_n=self.residual, last_step_after_scipy_mm=self.step))

def block_stiffness(blk):
    """Block and support in series in y, z, roll."""
    k = [LD(x) for x in blk["k_block"].values()]
    s = [LD(x) for x in blk["k_support"].values()]
    return [k[i] * s[i] / (k[i] + s[i]) for i in range(3)] + k[3:]

# ------------------------------------------------------------------------------------ the cases
def residuals(xs, zone_mm, zone_rad, rng):
    """Smooth random profiles, squared-exponential correlation, line removed, given peak-to-valley."""
    xs = np.array(xs)
    w, V = np.linalg.eigh(np.exp(-(((xs[:, None] - xs[None]) / ((xs[-1] - xs[0]) / 3)) ** 2) / 2))
    def draw(zone):
        p = V @ (np.sqrt(np.maximum(w, 0)) * rng.standard_normal(len(xs)))
        p -= np.polyval(np.polyfit(xs, p, 1), xs)
        return (p * zone / np.ptp(p)).tolist()
    return {r: dict(v_mm=draw(zone_mm), w_mm=draw(zone_mm), phi_rad=draw(zone_rad)) for r in "AB"}

def block(x, b, k, sup, size):
    d = dict(x_mm=x, lateral_mm=b, block_length_mm=size[0], block_width_mm=size[1],
             k_block=dict(zip(("y_n_per_mm", "z_n_per_mm", "roll_nmm_per_rad", "pitch_nmm_per_rad", "yaw_nmm_per_rad"), k)),
             k_support=dict(zip(("y_n_per_mm", "z_n_per_mm", "roll_nmm_per_rad"), sup)))
    d["k_in_series"] = dict(zip(d["k_block"], map(float, block_stiffness(d))))
    return d

def joint(p, k):
    return dict(arm_mm=list(p), laws={c: {"law": "elastic", "k_nmm_per_rad" if j > 2 else "k_n_per_mm": k[j]} for j, c in enumerate(COMP)})

def beam(*v):
    return dict(zip(("e_mpa", "g_mpa", "area_mm2", "i_vertical_about_x_mm4", "i_lateral_about_z_mm4", "torsion_constant_mm4",
                     "shear_area_vertical_mm2", "shear_area_lateral_mm2"), v))

def mounts(n, rng, size):
    return {r: [[round(float(v), 4) for v in rng.uniform(-size, size, 2)] for _ in range(n)] for r in "AB"}

def load_case(mass, y, x, z, acc, *extra):
    return dict(payload_mass_kg=mass, payload_y_mm=y, payload_x_mm=x, payload_z_mm=z, acceleration_m_per_s2=acc,
                extra_forces=[dict(on=o, point_mm=p, force_n=f) for o, p, f in extra])

def make_cases():
    rng = np.random.default_rng(7)
    ball, sup, size = (3.1e5, 3.6e5, 6.0e7, 2.4e8, 2.1e8), (2.2e4, 6.5e4, 3.5e7), (82.0, 48.0)
    four = [block(x, b, ball, sup, size) for x in (-150.0, 150.0) for b in (-45.0, 45.0)]
    jk = (1.6e5, 1.2e5, 2.5e5, 2.2e8, 1.4e8, 1.8e8)
    cfg = dict(
        span_mm=2600.0, bridge_axis_height_mm=110.0, frame_alpha_per_k=12.0e-6,
        anchors_mm=[750.0 * i for i in range(9)], stations_mm=[110.0, 3400.0, 5930.0],
        bridge=dict(**beam(70000.0, 26300.0, 8200.0, 2.1e7, 1.3e7, 1.6e7, 3600.0, 2900.0), mass_kg=58.0, alpha_per_k=23.4e-6),
        trucks=dict(A=dict(mass_kg=11.0, cog_mm=[18.0, -22.0, 47.0], drive=dict(k_n_per_mm=1.8e4, lateral_mm=62.0, height_mm=-24.0), blocks=four),
                    B=dict(mass_kg=9.5, cog_mm=[-14.0, 31.0, 39.0], drive=dict(k_n_per_mm=1.8e4, lateral_mm=-57.0, height_mm=-24.0), blocks=four)),
        joints={r: [joint((x, 0.0, 60.0), jk) for x in (-150.0, 150.0)] for r in "AB"},
        load_cases=dict(forward=load_case(42.0, 780.0, 95.0, -130.0, [2.5, -1.2, 0.6]),
                        braking=load_case(26.0, 1950.0, -70.0, 85.0, [-4.0, 1.8, -0.9])))
    err = dict(
        g0_mm=0.12, g1_mm=-0.21, h0_mm=0.34, h1_mm=-0.27, p0_rad=dict(A=2.1e-4, B=-3.4e-4), p1_rad=dict(A=-2.6e-4, B=4.3e-4),
        residual=residuals(cfg["anchors_mm"], 0.06, 3.0e-4, rng),
        bridge_length_mm=0.17, bridge_twist_rad=6.0e-4, end_tilt_rad=dict(A=4.1e-4, B=-2.7e-4),
        end_squareness_rad=dict(A=-3.3e-4, B=5.2e-4), bridge_temperature_k=7.0, frame_temperature_k=4.0,
        drive_offset_mm=dict(A=-0.14, B=0.14), block_mount_yz_mm=mounts(4, rng, 0.015),
        joint_seat_mm_rad=dict(A=[[0.02, -0.03, 0.015, 1e-4, 0.0, -8e-5], [0.0, 0.025, -0.02, 0.0, 1.2e-4, 0.0]],
                               B=[[-0.015, 0.01, 0.03, -6e-5, 9e-5, 0.0], [0.01, -0.02, 0.0, 0.0, 0.0, 1.1e-4]]))
    cases = {"stiff_all_errors": (cfg, err)}

    c2, e2 = copy.deepcopy(cfg), copy.deepcopy(err)
    for jt in c2["joints"]["B"]:
        jt["laws"]["y"] = dict(law="float", travel_mm=0.3, drag_n=40.0, k_slide_n_per_mm=2000.0, k_stop_n_per_mm=5.0e5)
        jt["laws"]["rx"]["k_nmm_per_rad"], jt["laws"]["rz"]["k_nmm_per_rad"] = 8.0e5, 1.2e6
    e2.update(g0_mm=0.29, g1_mm=1.75, h0_mm=1.4, h1_mm=-0.9, drive_offset_mm=dict(A=-0.05, B=0.11),
              residual=residuals(cfg["anchors_mm"], 0.08, 4.0e-4, rng), block_mount_yz_mm=mounts(4, rng, 0.02))
    cases["floats_on_stops"] = (c2, e2)

    ra = (1.1e6, 1.4e6, 4.2e8, 1.5e9, 1.1e9)
    sa, sb, za, zb = (3.0e4, 9.0e4, 6.0e7), (1.8e4, 7.0e4, 4.0e7), (110.0, 70.0), (90.0, 60.0)
    c3 = dict(
        span_mm=1800.0, bridge_axis_height_mm=95.0, frame_alpha_per_k=10.8e-6,
        anchors_mm=[0.0, 420.0, 1000.0, 1750.0, 2300.0, 3100.0, 3550.0, 4200.0], stations_mm=[90.0, 2420.0, 4080.0],
        bridge=dict(**beam(206000.0, 79300.0, 5400.0, 9.5e6, 1.25e7, 1.1e7, 1900.0, 2400.0), mass_kg=77.0, alpha_per_k=11.9e-6),
        trucks=dict(A=dict(mass_kg=16.0, cog_mm=[-25.0, 12.0, 33.0], drive=dict(k_n_per_mm=2.6e4, lateral_mm=35.0, height_mm=20.0),
                           blocks=[block(x, b, ra, sa, za) for x, b in ((-170.0, 0.0), (25.0, 38.0), (160.0, -30.0))]),
                    B=dict(mass_kg=13.0, cog_mm=[9.0, -17.0, 28.0], drive=None,
                           blocks=[block(x, b, ra, sb, za) for x, b in ((-140.0, 25.0), (-15.0, -42.0), (185.0, 12.0))])),
        joints=dict(A=[joint((15.0, 40.0, 55.0), (3.0e5, 1.9e5, 4.0e5, 9.0e8, 7.0e8, 8.0e8))],
                    B=[joint((-12.0, -35.0, 62.0), (2.4e5, 1.1e5, 3.3e5, 6.0e8, 5.0e8, 6.5e8))]),
        load_cases=dict(
            pushing=load_case(35.0, 1260.0, -110.0, 140.0, [1.5, 2.2, -0.4],
                              ("bridge", [64.0, 1020.0, -48.0], [120.0, -85.0, 210.0]), ("truck_B", [55.0, -28.0, 72.0], [-90.0, 60.0, -150.0])),
            pulling=load_case(20.0, 540.0, 60.0, -90.0, [-3.0, -0.8, 1.1],
                              ("bridge", [-35.0, 270.0, 110.0], [-300.0, 140.0, -95.0]), ("truck_B", [-80.0, 46.0, 15.0], [70.0, -110.0, 130.0]))))
    e3 = dict(
        g0_mm=-0.09, g1_mm=0.16, h0_mm=-0.22, h1_mm=0.31, p0_rad=dict(A=-1.7e-4, B=2.9e-4), p1_rad=dict(A=3.8e-4, B=-2.2e-4),
        residual=residuals(c3["anchors_mm"], 0.05, 2.5e-4, rng),
        bridge_length_mm=-0.11, bridge_twist_rad=-4.5e-4, end_tilt_rad=dict(A=-2.9e-4, B=3.7e-4),
        end_squareness_rad=dict(A=4.4e-4, B=-1.9e-4), bridge_temperature_k=-5.0, frame_temperature_k=3.0,
        drive_offset_mm=dict(A=-0.2, B=0.2), block_mount_yz_mm=mounts(3, rng, 0.012),
        joint_seat_mm_rad=dict(A=[[0.03, 0.02, -0.025, -1.3e-4, 7e-5, 1e-4]], B=[[-0.02, 0.0, 0.04, 9e-5, 0.0, -1.5e-4]]))
    cases["odd_machine"] = (c3, e3)
    return cases

def beam_alone():
    """End actions (the load carried to the clamped ends: minus the clamp reactions) at t = 0.3."""
    cfg = dict(length_mm=1200.0, t=0.3, elements=N_MESH, force_n=1.0, couple_nmm=1.0,
               **beam(70000.0, 26300.0, 8200.0, 2.1e7, 1.3e7, 1.6e7, 1600.0, 2900.0))
    n, out = N_MESH, {}
    k, _ = element(LD(cfg["length_mm"]) / n, cfg)
    K = np.zeros((6 * n + 6, 6 * n + 6), dtype=LD)
    for e in range(n):
        K[6 * e:6 * e + 12, 6 * e:6 * e + 12] += k
    I, at = slice(6, 6 * n), 6 * round(cfg["t"] * n)
    lu = lu_factor(K[I, I].astype(float))
    for plane, u, r in (("vertical_uz_rx", 2, 3), ("lateral_ux_rz", 0, 5)):
        out[plane] = {}
        for what, dof in (("force", u), ("couple", r)):
            f, x = np.zeros((2, 6 * n + 6), dtype=LD)
            f[at + dof] = 1
            for _ in range(12):
                x[I] += lu_solve(lu, (f - K @ x)[I].astype(float))
            end = f - K @ x
            out[plane][what] = dict(end_actions_fa_ma_fb_mb=end[[u, r, 6 * n + u, 6 * n + r]],
                                    displacement_at_load_mm=x[at + u], rotation_at_load_rad=x[at + r])
    return dict(config=cfg, errors={}, outputs=out)

# ------------------------------------------------------------------------------- run and write
def run(cfg, err, n):
    out = []
    for x in cfg["stations_mm"]:
        m = Model(cfg, err, n, x)
        out += [m.result(x, name, lc, *m.solve_pose(lc)) for name, lc in cfg["load_cases"].items()]
    return out

def zero(err):
    """The same errors, all zero."""
    return {k: zero(v) for k, v in err.items()} if isinstance(err, dict) else [zero(v) for v in err] if isinstance(err, list) else err * 0

def add_tool_from_perfect(outputs, perfect):
    """Tool point against the machine without errors: the bow under the bridge's own loads drops out."""
    for o, p in zip(outputs, perfect):
        at = lambda r: np.append(r["tool_displacement_twist_spread_mm"], r["tool_rz_rad"])
        o["tool_from_perfect"] = at(o) - at(p)

def change(a, b):
    """Largest change between two results, relative to the largest value of its kind in the first."""
    def kinds(o):
        p, bl = np.array(o["pose"]).reshape(4, 2, 3), np.array(o["block_loads"]["A"] + o["block_loads"]["B"])
        d, f = (np.array([j[k] for j in o["joints"]]) for k in ("delta", "force"))
        return [p[:, 0], p[:, 1], bl[:, :2], bl[:, 2:], d[:, :3], d[:, 3:], f[:, :3], f[:, 3:],
                np.array(list(o["drive_force_n"].values())), np.array(o["tool_displacement_mm"]), np.array(o["tool_rz_rad"])]
    return max(float(np.max(abs(x - y)) / np.max(abs(x))) for x, y in zip(kinds(a), kinds(b)))

NOTES = [
    "pose: truck A, truck B, bridge end A, bridge end B, each [ux uy uz rx ry rz], mm and rad; bridge ends are the end faces (mesh node plus making error)",
    "block load: [Fy, Fz, Mx, My, Mz], N and N*mm, what the truck exerts on the block; block i stands at (x_mm, lateral_mm, 0) from the truck reference",
    "joint force: F of the law, the force of the bridge on the truck; -F acts on the bridge; components x y z rx ry rz",
    "drive force: on the truck, F = -k (ux + ry z_d - rz y_d - s); drive_offset_mm is s of each truck, skew is s_B - s_A. In floats_on_stops s_A and s_B are not equal and opposite: a program that imposes -+ half the skew finds every ux (pose and tool) smaller by (s_A + s_B)/2, nothing else changed",
    "length error and thermal growth are one uniform axial strain, S as length; so an inner point gets its share t of it",
    "end tilt, end squareness and twist turn the end faces only; the stress-free axis stays straight and untwisted, so the tool point follows them only through the joints. A twist made evenly along the beam gives the same pose and loads but turns the section at t by t*twist: tool_displacement_twist_spread_mm has that reading. A temperature gradient would curve the axis; here only its end tilts exist",
    "bridge mass is spread evenly over the span on the axis; no rotary inertia; loads act at the undeformed places",
    "arms of the payload and of extra forces on the bridge are measured from the bridge axis, those on a truck from its reference; point_mm of an extra force on the bridge is [x arm, y position, z arm]",
    "rails: beyond the first and last anchor the spline goes on with its end slope; the s-terms stay linear there (s may pass 1/2); the twin-rail offset b does not act on v",
    "tool_rz is the rotation of the section (not the slope of the axis); displacement is of the point (payload_x_mm, 0, payload_z_mm) from the axis at payload_y_mm",
    "joint_seat_mm_rad: [x y z rx ry rz] per joint, subtracted from bridge minus truck; block_mount_yz_mm: [y, z] per block, added to the rail",
    "beam_alone: end actions are the equivalent end loads [force A, couple A, force B, couple B] = minus what the clamps exert, for a unit force along +uz (+ux) and a unit couple along +rx (+rz); couples in the axes' own sign",
    "float states: stick |k_slide delta| < drag, slide, stop |delta| > travel; drag acts on the stop too",
    "balance: sums of applied loads, block reactions and drive forces; moments about the reference of truck A; relative to the largest single load and largest single moment",
    "rail_at_blocks: [v, w + b phi, phi, pitch, yaw] at each block without its mounting offset",
]

def dump(o, depth):
    """JSON with a line per item down to the depth, compact below it; numpy numbers as plain floats."""
    if not depth or not isinstance(o, (dict, list)) or not o:
        return json.dumps(o, separators=(",", ":"), allow_nan=False, default=lambda v: v.tolist() if isinstance(v, np.ndarray) else float(v))
    rows = [json.dumps(k) + ":" + dump(v, depth - 1) for k, v in o.items()] if isinstance(o, dict) else [dump(v, depth - 1) for v in o]
    return ("{\n%s\n}" if isinstance(o, dict) else "[\n%s\n]") % ",\n".join(rows)

def main():
    doc = dict(purpose="whole pose from a meshed bridge, independent of the closed forms", date=datetime.date.today().isoformat(),
               command="python3 tests/cross/whole_pose.py", versions=dict(python=platform.python_version(), numpy=np.__version__, scipy=scipy.__version__),
               long_double_epsilon=float(np.finfo(LD).eps), elements=N_MESH, g_m_per_s2=G0, notes=NOTES, checks={}, cases={})
    for name, (cfg, err) in make_cases().items():
        a, b = run(cfg, err, N_MESH), run(cfg, err, 2 * N_MESH)
        add_tool_from_perfect(a, run(cfg, zero(err), N_MESH))
        top = lambda k: max(o["checks"][k] for o in a)
        doc["checks"][name] = dict(change_at_twice_the_elements_rel=max(change(x, y) for x, y in zip(a, b)), **{k: top(k) for k in a[0]["checks"]})
        doc["cases"][name] = dict(config=cfg, errors=err, outputs=a)
        print(name, doc["checks"][name])
        for o in a:
            print("  ", o["station_mm"], o["load_case"], [(j["end"], round(float(j["delta"][1]), 4), j["float_state"]) for j in o["joints"] if j["float_state"]])
    doc["cases"]["beam_alone"] = beam_alone()
    pathlib.Path(__file__).with_suffix(".json").write_text(dump(doc, 4) + "\n")

if __name__ == "__main__":
    main()
