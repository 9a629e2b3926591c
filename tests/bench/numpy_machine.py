"""A plan's machine as an affine map, by another route than the program's: the frame of beam elements of
tests/cross/whole_pose.py (meshed bridge, springs on rigid arms), solved once for every unit offset of a spring.

Reads what the example plan holds and no more: springs, floats with full drag, slots, seasons, one drive a truck.
Units: N, mm, rad.
"""
import pathlib, sys, tomllib
import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cross"))
import whole_pose as frame
from scipy.interpolate import CubicSpline

MESH = 26                     # elements of the bridge: the payloads of the example stand on nodes
MU = 1e-8                     # of the take-ups' regularisation
PER_UM, PER_MRAD = 1e3, 1e6   # N/um to N/mm, N m/mrad to N mm/rad
PROFILES = [("A", "v_mm"), ("A", "w_mm"), ("A", "phi_rad"), ("B", "v_mm"), ("B", "w_mm"), ("B", "phi_rad")]


def configuration(plan, arrangement):
    """The plan in the words of whole_pose.py."""
    f, s, d = plan["frame"], plan["support"], plan["drive"]
    b, t, section = plan["block"], plan["truck"], plan["bridge"]["section"]
    k = (b["lateral_n_per_um"] * PER_UM, b["vertical_n_per_um"] * PER_UM, b["roll_n_m_per_mrad"] * PER_MRAD,
         b["pitch_n_m_per_mrad"] * PER_MRAD, b["yaw_n_m_per_mrad"] * PER_MRAD)
    under = (s["lateral_n_per_um"] * PER_UM, s["vertical_n_per_um"] * PER_UM, s["roll_n_m_per_mrad"] * PER_MRAD)
    blocks = [frame.block(p["x_mm"], p["lateral_mm"], k, under, (b["length_mm"], b["width_mm"])) for p in t["block"]]
    truck = dict(mass_kg=t["mass_kg"], cog_mm=t["centre_mm"], blocks=blocks,
                 drive=dict(k_n_per_mm=d["stiffness_n_per_um"] * PER_UM, lateral_mm=0.0, height_mm=d["height_mm"]))
    beam = frame.beam(*(section[key] for key in ("e_mpa", "g_mpa", "area_mm2", "i_vertical_mm4", "i_lateral_mm4", "j_mm4",
                                                 "shear_area_vertical_mm2", "shear_area_lateral_mm2")))
    ends = plan["arrangement"][arrangement]
    return dict(
        span_mm=float(f["span_mm"]), bridge_axis_height_mm=float(t["bridge_axis_height_mm"]), frame_alpha_per_k=f["expansion_per_k"],
        anchors_mm=np.arange(f["first_anchor_mm"], f["last_anchor_mm"] + 1.0, f["anchor_pitch_mm"]).tolist(),
        stations_mm=np.linspace(f["stroke_from_mm"], f["stroke_to_mm"], f["stations"]).tolist(),
        bridge=dict(**beam, mass_kg=plan["bridge"]["mass_kg"], alpha_per_k=plan["bridge"]["expansion_per_k"]),
        trucks=dict(A=truck, B=truck), joints={r: [joint(plan, j) for j in ends["end_" + r.lower()]] for r in "AB"})


def joint(plan, placed):
    laws = {}
    for c in frame.COMP:
        w = plan["joint"][placed["joint"]][c]
        if w["law"] == "float":
            laws[c] = dict(law="float", travel_mm=w["travel_mm"], drag_n=w["drag_n"], k_slide_n_per_mm=w["slide_n_per_um"] * PER_UM,
                           k_stop_n_per_mm=w["stop_n_per_um"] * PER_UM)
        elif "r" in c:
            laws[c] = dict(law="elastic", k_nmm_per_rad=w["stiffness_n_m_per_mrad"] * PER_MRAD, slot=w.get("take_up_mrad", 0) / 1e3)
        else:
            laws[c] = dict(law="elastic", k_n_per_mm=w["stiffness_n_per_um"] * PER_UM, slot=w.get("take_up_mm", 0))
    return dict(arm_mm=[placed["x_mm"], placed.get("y_mm", 0), placed["z_mm"]], laws=laws)


def no_errors(cfg):
    flat = [0.0] * len(cfg["anchors_mm"])
    return dict(
        g0_mm=0.0, g1_mm=0.0, h0_mm=0.0, h1_mm=0.0, p0_rad=dict(A=0.0, B=0.0), p1_rad=dict(A=0.0, B=0.0),
        residual={r: {k: list(flat) for k in ("v_mm", "w_mm", "phi_rad")} for r in "AB"},
        bridge_length_mm=0.0, bridge_twist_rad=0.0, end_tilt_rad=dict(A=0.0, B=0.0), end_squareness_rad=dict(A=0.0, B=0.0),
        bridge_temperature_k=0.0, frame_temperature_k=0.0, drive_offset_mm=dict(A=0.0, B=0.0),
        block_mount_yz_mm={r: [[0.0, 0.0] for _ in cfg["trucks"][r]["blocks"]] for r in "AB"},
        joint_seat_mm_rad={r: [[0.0] * 6 for _ in cfg["joints"][r]] for r in "AB"})


def made_units(cfg, limits):
    """(key of the source, errors with one made number at 1), in the order of the numbers."""
    def unit(change):
        e = no_errors(cfg)
        change(e)
        return e
    def put(place, key, value):
        place[key] = value
    sides = [(r, i) for r in "AB" for i in range(len(cfg["trucks"][r]["blocks"]))]
    seats = [(r, i) for r in "AB" for i in range(len(cfg["joints"][r]))]
    units = []
    for j, key in enumerate(("block_lateral", "block_vertical")):
        units += [(key, unit(lambda e: put(e["block_mount_yz_mm"][r][i], j, 1.0))) for r, i in sides]
    units += [("bridge_length", unit(lambda e: put(e, "bridge_length_mm", 1.0))), ("bridge_twist", unit(lambda e: put(e, "bridge_twist_rad", 1.0)))]
    units += [("end_tilt_" + r.lower(), unit(lambda e: put(e["end_tilt_rad"], r, 1.0))) for r in "AB"]
    units += [("end_squareness_" + r.lower(), unit(lambda e: put(e["end_squareness_rad"], r, 1.0))) for r in "AB"]
    units += [("skew", unit(lambda e: e["drive_offset_mm"].update(A=-0.5, B=0.5)))]
    for first, key in ((0, "seat"), (3, "seat_angle")):
        units += [(key, unit(lambda e: put(e["joint_seat_mm_rad"][r][i], j, 1.0))) for r, i in seats for j in range(first, first + 3)]
    return [(key, e) for key, e in units if key in limits]


def limits_of(plan):
    """Key -> (middle, half width, spread, capability, cut) in mm and rad."""
    out = {}
    for key, t in plan["errors"].items():
        unit = 1e-3 if any(name.endswith("_mrad") for name in t) else 1.0
        half = next((v for name, v in t.items() if name.startswith("plus_minus")), None)
        zone = next((v for name, v in t.items() if name.startswith("zone")), None)
        middle, half = (0.0, half) if zone is None else (zone / 2, zone / 2)
        out[key] = (middle * unit, half * unit, t.get("distribution", "normal"), t.get("capability", 1.0), zone is not None or t.get("inspected", False))
    return out


def station_shares(plan, stations):
    """The stations' hat functions against the zones' density."""
    x = np.array(stations)
    shares = np.zeros(len(x))
    for zone in plan["zone"]:
        fine = np.unique(np.concatenate([x, [zone["from_mm"], zone["to_mm"]]]))
        fine = fine[(fine >= zone["from_mm"]) & (fine <= zone["to_mm"])]
        hats = np.array([np.interp(fine, x, np.eye(len(x))[i]) for i in range(len(x))])
        shares += zone["share"] * np.trapezoid(hats, fine, axis=1) / (zone["to_mm"] - zone["from_mm"])
    return shares / shares.sum()


def profile_modes(anchors, points):
    """Modes of the detrended kernel that carry 99 % of its variance: at `points` as value and slope, and on the zone's grid."""
    x = np.array(anchors)
    free = np.eye(len(x)) - 1 / len(x) - np.outer(x - x.mean(), x - x.mean()) / ((x - x.mean()) ** 2).sum()
    length = (x[-1] - x[0]) / 3
    w, v = np.linalg.eigh(free @ np.exp(-0.5 * ((x[:, None] - x) / length) ** 2) @ free)
    w, v = np.maximum(w[::-1], 0), v[:, ::-1]
    kept = int(np.searchsorted(np.cumsum(w), 0.99 * w.sum())) + 1
    spline = CubicSpline(x, v[:, :kept] * np.sqrt(w[:kept]), bc_type="natural")
    inside = np.clip(points, x[0], x[-1])
    slope = spline(inside, 1)
    grid = np.concatenate([np.linspace(a, b, 8, endpoint=False) for a, b in zip(x, x[1:])] + [x[-1:]])
    return spline(inside) + slope * (points - inside)[:, None], slope, spline(grid)


class Machine:
    """The affine map of one arrangement.

    Numbers of an installation: `profiles` (modes, offset, drift by six profiles), then `made`. Rows of the map are the five
    loads of every block (component by component), the displacement of every float, three forces of every joint (0 where it
    floats), then x, y, z and yaw of every tool point.
    """

    @staticmethod
    def arrangements(path):
        return tomllib.loads(pathlib.Path(path).read_text())["arrangement"]

    def __init__(self, path, arrangement):
        plan = tomllib.loads(pathlib.Path(path).read_text())
        self.plan, self.limits = plan, limits_of(plan)
        cfg = self.cfg = configuration(plan, arrangement)
        model = self.model = frame.Model(cfg, no_errors(cfg), MESH, 0.0)
        of = [s["of"] for s in model.springs]
        blocks = sorted((j, r, i, n) for n, (kind, r, i, j) in enumerate(of) if kind == "block")
        self.block_rows = [b[3] for b in blocks]
        self.float_rows = [n for n, s in enumerate(model.springs) if "float" in s]
        self.block_count = len(blocks) // 5
        straight = [[n for n, (kind, *at, j) in enumerate(of) if kind == "joint" and at == [r, i] and j < 3] for r in "AB" for i in range(len(cfg["joints"][r]))]
        self.joint_count, joint_rows = len(straight), [n for joint in straight for n in joint]
        assert all(len(joint) == 3 for joint in straight)
        self.b = np.zeros((len(of), model.nd), dtype=frame.LD)
        for row, s in zip(self.b, model.springs):
            row[s["idx"]] = s["b"]
        self.k = np.array([s.get("k", 0) for s in model.springs], dtype=frame.LD)
        self.tools = sorted({(c["payload_y_mm"], *c["payload_arm_mm"]) for c in plan["duty"]})
        tools = np.zeros((4 * len(self.tools), model.nd), dtype=frame.LD)
        for i, (y, x, z) in enumerate(self.tools):
            tools[4 * i:4 * i + 4, model.node(y)] = frame.arm((x, 0, z))[[0, 1, 2, 5]]
        self.seen = np.concatenate([self.b, tools])
        # What a unit offset of each spring does to every spring's displacement, its own offset left out, and to the tool points.
        poses = np.array([model.solve(model.K, model.lu0, k * b) for k, b in zip(self.k, self.b)])
        self.by_offset = (self.seen @ poses.T).astype(float)
        self.rows = self.block_rows + self.float_rows + joint_rows + list(range(len(of), len(self.seen)))
        self.first_joint = len(self.block_rows) + len(self.float_rows)
        self.first_tool = self.first_joint + 3 * self.joint_count
        self.floats = [model.springs[n]["float"] for n in self.float_rows]
        self.float_joints = [[n in joint for joint in straight].index(True) for n in self.float_rows]
        # Loads and joint forces are k (b q - c), a float's displacement b q - c.
        force = lambda rows: [float(self.k[n]) for n in rows]
        self.factor = np.array(force(self.block_rows) + [1.0] * len(self.floats) + force(joint_rows) + [1.0] * len(tools))
        self._rails()
        self._made()
        self._take_ups()
        self._situations()

    def displacements(self, offsets, force=None):
        """Of every spring and tool point, under offsets of the springs and a force beside them."""
        d = self.by_offset @ offsets
        d[:len(offsets)] -= offsets
        return d if force is None else d + (self.seen @ self.model.solve(self.model.K, self.model.lu0, force)).astype(float)

    def answer(self, offsets, force=None, shape=None):
        rows = self.factor * self.displacements(offsets, force)[self.rows]
        if shape is not None:
            rows[self.first_tool:] += shape
        return rows

    def shape(self, twist_rad=0.0, curvature=0.0):
        """What the tool points gain by a bridge that is twisted evenly and by one that a hotter top has bowed."""
        span, rows = self.cfg["span_mm"], []
        for y, x, z in self.tools:
            turned, tilted = twist_rad * y / span, curvature * (span / 2 - y)
            rows += [turned * z, -tilted * z, curvature * y * (span - y) / 2 - turned * x, 0.0]
        return np.array(rows)

    def errors(self, e):
        """Offsets of the springs, and the force that no offset gives (growth), for stated errors off the rails."""
        m = frame.Model(self.cfg, e, MESH, 0.0)
        offsets = np.array([s["c"] for s in m.springs])
        return offsets.astype(float), m.f0 - (self.k * offsets) @ self.b

    def _offsets_of_rail(self, of_block):
        """Offsets of all springs from (side, block, direction) -> value."""
        c = np.zeros(len(self.k))
        for n, s in enumerate(self.model.springs):
            kind, r, i, j = s["of"]
            if kind == "block":
                c[n] = of_block(r, self.cfg["trucks"][r]["blocks"][i], j)
        return c

    def _rails(self):
        """`rail_values`: (stations, values, numbers of a profile); `by_rail`: rows over (value, profile)."""
        x = sorted({b["x_mm"] for r in "AB" for b in self.cfg["trucks"][r]["blocks"]})
        anchors = self.cfg["anchors_mm"]
        length, middle = anchors[-1] - anchors[0], (anchors[-1] + anchors[0]) / 2
        def values(station):
            points = station + np.array(x)
            value, slope, self.on_grid = profile_modes(anchors, points)
            s = (points - middle) / length
            v = np.column_stack([value, np.ones(len(x)), s])
            d = np.column_stack([slope, np.zeros(len(x)), np.full(len(x), 1 / length)])
            return np.stack([v, d], axis=1).reshape(2 * len(x), -1)
        self.rail_values = np.array([values(s) for s in self.cfg["stations_mm"]])
        def unit(value, profile):
            rail, kind = PROFILES[profile]
            at, slope = x[value // 2], value % 2
            def of_block(r, b, j):
                if r != rail or b["x_mm"] != at:
                    return 0.0
                lat = b["lateral_mm"]
                v, v1, w, w1, p, p1 = (float(kind == k and slope == d) for k in ("v_mm", "w_mm", "phi_rad") for d in (0, 1))
                return [v, w + lat * p, p, -(w1 + lat * p1), v1][j]
            return self._offsets_of_rail(of_block)
        self.unit_rails = np.array([unit(v, p) for v in range(2 * len(x)) for p in range(6)])
        self.by_rail = np.array([self.answer(c) for c in self.unit_rails]).T
        self.values_at = values

    def _made(self):
        units = made_units(self.cfg, self.limits)
        self.made_keys = [key for key, _ in units]
        self.made_offsets = [self.errors(e) for _, e in units]
        shapes = [self.shape(e["bridge_twist_rad"]) for _, e in units]
        self.by_made = np.array([self.answer(*o, shape) for o, shape in zip(self.made_offsets, shapes)]).T

    def _take_ups(self):
        """`take_ups`: over profiles and made numbers; `take_up_0` of the perfect installation; what they do to the rows."""
        springs, state = self.model.springs, self.plan.get("tightening", {})
        slot = lambda s: self.cfg["joints"][s["of"][1]][s["of"][2]]["laws"][frame.COMP[s["of"][3]]].get("slot", 0)
        taken = [n for n, s in enumerate(springs) if s["of"][0] == "joint" and slot(s) > 0]
        self.slots = np.array([slot(springs[n]) for n in taken])
        profiles = self.rail_values.shape[2] * 6
        self.take_ups = np.zeros((len(taken), profiles + len(self.made_keys)))
        self.take_up_0 = np.zeros(len(taken))
        self.by_take_up = np.zeros((len(self.rows), len(taken)))
        if not taken:
            return
        k = self.k[taken].astype(float)
        case = dict(self.plan["duty"][0], acceleration_m_per_s2=[0, 0, 0], payload_y_mm=state["payload_y_mm"])
        weight = self.loads(case, pull=False)
        soft = np.array([1.0 if springs[n]["of"][3] == 2 else MU for n in taken])
        hanging = self.model.K - sum((1 - s) * self.k[n] * np.outer(self.b[n], self.b[n]) for s, n in zip(soft, taken))
        q = self.model.solve(hanging, self.model.factor(hanging), weight)
        carried = soft * k * (self.b[taken] @ q).astype(float)
        unit = np.eye(len(self.k))[taken]
        s = np.diag(k) - k[:, None] * self.by_offset[np.ix_(taken, taken)]
        force = lambda offsets, f=None: k * self.displacements(offsets, f)[taken]
        solve = lambda right: np.linalg.solve(s + MU * np.diag(k), right)
        self.take_up_0 = solve(force(np.zeros(len(self.k)), weight) - carried)
        rails = self.values_at(state["station_mm"])           # (values, numbers of a profile)
        by_number = np.einsum("vn,vps->nps", rails, self.unit_rails.reshape(len(rails), 6, -1)).reshape(profiles, -1)
        columns = [solve(force(c)) for c in by_number]
        for key, (c, f) in zip(self.made_keys, self.made_offsets):
            columns.append(solve(force(c, f)) if key != "skew" else np.zeros(len(taken)))
        self.take_ups = np.array(columns).T
        self.by_take_up = np.array([self.answer(u) for u in unit]).T

    def loads(self, case, pull=True):
        """Force vector of a load case; the extra masses always, the extra pulls only where wanted."""
        a = np.array(case["acceleration_m_per_s2"], dtype=float)
        extra = []
        for x in self.plan["extra"]:
            f = -x["mass_kg"] * (a + np.array([0, 0, frame.G0])) + (np.array(x["force_n"]) if pull else 0.0)
            extra.append((x["on"][:-1] + x["on"][-1].upper(), x["place_mm"], f))
        x, z = case["payload_arm_mm"]
        mass = self.plan["slide"]["mass_kg"] + case["payload_kg"]
        return self.model.loads(frame.load_case(mass, case["payload_y_mm"], x, z, a, *extra))[0]

    def _situations(self):
        """Constants of every state of service, load case and sign of the drag, and their shares of the distance.

        Those of a tool point count from where it is without errors at the reference temperature: its seasons alone.
        """
        plan, bridge, span = self.plan, self.plan["bridge"], self.cfg["span_mm"]
        self.constants, self.shares, tools = [], [], []
        signs = (1.0, -1.0) if self.floats else (0.0,)
        reference = plan["temperature"]["reference_c"]
        pushed = [-(self.seen @ self.model.solve(self.model.K, self.model.lu0, self.b[n])).astype(float) for n in self.float_rows]
        # Rows under a unit force of each float.
        self.by_float = np.array([self.factor * p[self.rows] for p in pushed]).reshape(len(self.floats), len(self.rows)).T
        for season in plan["temperature"]["season"]:
            curvature = bridge["expansion_per_k"] * season.get("top_hotter_k", 0.0) / bridge["height_mm"]
            bend = curvature * span / 2
            e = dict(no_errors(self.cfg), bridge_temperature_k=season["bridge_c"] - reference,
                     frame_temperature_k=season["frame_c"] - reference, end_tilt_rad=dict(A=bend, B=-bend))
            offsets, force = self.errors(e)
            tools.append(self.answer(offsets, force, self.shape(curvature=curvature))[self.first_tool:].reshape(-1, 4))
            for case in plan["duty"]:
                row = self.answer(offsets, force + self.loads(case)) + self.by_take_up @ self.take_up_0
                for sign in signs:
                    drags = np.array([sign * f["drag_n"] for f in self.floats])
                    self.constants.append(row + self.by_float @ drags)
                    self.shares.append(season["share"] * case["share"] / len(signs))
        self.constants, self.shares, self.tool_constants = np.array(self.constants), np.array(self.shares), np.array(tools)
        self.station_shares = station_shares(plan, self.cfg["stations_mm"])
