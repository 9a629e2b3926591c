#!/usr/bin/env python3
"""The baseline of the throughput bench: the same study in NumPy, as fast as plain NumPy goes.

Same plan, same sources and spreads, same states of service; the map comes from another route (numpy_machine.py), the draws
from NumPy's own generator, so results agree within the scatter of drawing. What is condensed:
- rails first: a profile's numbers give the values under the blocks at all stations (one product), these and the made numbers
  give the loads (one product a station); load cases, seasons and signs of the drag only add a constant;
- loads are scaled so that their absolute values add up to P; P0 needs a second sum only where its ratios differ;
- the largest length of a joint force or tool displacement over the situations, |F + c|^2, is |F|^2 and the largest of
  2 F c + |c|^2: one small product;
- float travel is looked at in batches; only installations that pass a stop are corrected, on the floats' own components.
In the baseline's favour: load cases without a share of the distance are left out of life, and what is known of all outcomes
at once (extra load, row unloading, life loss) is not made. Double precision, one BLAS thread a process.

    python3 tests/bench/numpy_baseline.py examples/panel-bridge.toml            # a table
    python3 tests/bench/numpy_baseline.py examples/panel-bridge.toml --serve    # asked by the bench, line by line
"""
import os
for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ[name] = "1"
import json, multiprocessing, platform, sys, time
sys.dont_write_bytecode = True
import numpy as np
import scipy
from numpy_machine import Machine

BATCHES = (256, 512, 1024, 2048)    # installations drawn and multiplied at once: the fastest of these on this processor


class Draws:
    """Numbers of a batch into `x`: profiles (modes, offset, drift, each by six profiles), then made numbers."""

    def __init__(self, machine, batch):
        self.m, modes = machine, machine.on_grid.shape[1]
        self.x = np.zeros((6 * (modes + 2) + len(machine.made_keys), batch))
        self.profiles = self.x[:6 * (modes + 2)].reshape(modes + 2, 6, batch)
        self.made = self.x[6 * (modes + 2):]
        lim = machine.limits
        zones = ["straightness_lateral_a", "straightness_vertical_a", "waviness_roll_a",
                 "straightness_lateral_b", "straightness_vertical_b", "waviness_roll_b"]
        self.zones = [lim[k] for k in zones]
        lines = {(0, 2): "cross_level_a", (1, 2): "cross_level_twist_a", (0, 3): "span", (1, 3): "parallelism",
                 (0, 4): "height", (1, 4): "vertical_parallelism", (0, 5): "cross_level_b", (1, 5): "cross_level_twist_b"}
        rows = [(self.profiles[modes + i, j], lim[key]) for (i, j), key in lines.items()] + list(zip(self.made, (lim[k] for k in machine.made_keys)))
        self.uniform = [r for r in rows if r[1][2] == "uniform"]
        self.normal = [r for r in rows if r[1][2] == "normal"]
        assert len(self.uniform) + len(self.normal) == len(rows)
        column = lambda rows, i: np.array([r[1][i] for r in rows])[:, None]
        self.uniform_half, self.uniform_low = 2 * column(self.uniform, 1), column(self.uniform, 0) - column(self.uniform, 1)
        self.normal_middle = column(self.normal, 0)
        self.normal_size = np.array([r[1][1] / (3 * r[1][3]) for r in self.normal])[:, None]
        self.normal_cut = np.array([3 * r[1][3] if r[1][4] else np.inf for r in self.normal])
        self.zone_middle = np.array([z[0] for z in self.zones])[:, None]
        self.zone_size = np.array([z[1] / (3 * z[3]) for z in self.zones])[:, None]
        self.zone_cut = np.array([3 * z[3] for z in self.zones])
        self.z = np.zeros((len(self.normal), batch))
        self.u = np.zeros((len(self.uniform), batch))
        self.v = np.zeros((6, batch))
        self.a = np.zeros((modes, 6, batch))
        self.on_grid = np.zeros((len(machine.on_grid), 6 * batch))

    def cut(self, rng, z, limits):
        """Draws again what lies beyond its limit."""
        for row, limit in zip(z, limits):
            if limit < np.inf:
                while row.max() > limit or row.min() < -limit:
                    out = np.flatnonzero(np.abs(row) > limit)
                    row[out] = rng.standard_normal(len(out))

    def draw(self, rng):
        rng.standard_normal(out=self.z)
        rng.standard_normal(out=self.v)
        rng.standard_normal(out=self.a)
        rng.random(out=self.u)
        self.cut(rng, self.z, self.normal_cut)
        self.cut(rng, self.v, self.zone_cut)
        self.u *= self.uniform_half
        self.u += self.uniform_low
        self.z *= self.normal_size
        self.z += self.normal_middle
        for (to, _), row in zip(self.uniform, self.u):
            to[:] = row
        for (to, _), row in zip(self.normal, self.z):
            to[:] = row
        self.v *= self.zone_size
        self.v += self.zone_middle
        modes = len(self.a)
        np.matmul(self.m.on_grid, self.a.reshape(modes, -1), out=self.on_grid)
        has = self.on_grid.max(axis=0)
        has -= self.on_grid.min(axis=0)
        np.divide(self.v, has.reshape(6, -1), out=self.v)
        np.multiply(self.a, self.v, out=self.profiles[:modes])
        return self.x


class Lengths:
    """Largest squared lengths of vectors (three rows each) over their situations and the stations."""

    def __init__(self, constants, squares):
        """`constants`: (vectors, situations, 3); `squares`: what is added to each vector's square in any situation."""
        self.middles = constants.mean(axis=1)[:, :, None]
        c = constants - self.middles.transpose(0, 2, 1)
        self.by = np.concatenate([2 * c, (c ** 2).sum(axis=2, keepdims=True) + np.array(squares)[:, None, None]], axis=2)

    def memory(self, batch):
        count, situations = self.by.shape[:2]
        self.rows = np.ones((count, 4, batch))
        self.all, self.sum, self.most = np.zeros((count, situations, batch)), np.zeros((count, batch)), np.zeros(batch)

    def note(self, rows):
        x = self.rows[:, :3]
        np.add(rows, self.middles, out=x)
        np.matmul(self.by, self.rows, out=self.all)
        np.maximum.reduce(self.all, axis=1, out=self.sum)
        np.multiply(x, x, out=x)
        for i in range(3):
            np.add(self.sum, x[:, i], out=self.sum)
        for square in self.sum:
            np.maximum(self.most, square, out=self.most)


class Study:
    """Life, peak load, static safety, float travel, joint force, tool point and pull of drawn installations."""

    def __init__(self, machine, batch):
        m = self.m = machine
        plan, block = m.plan, m.plan["block"]
        n, self.blocks, self.batch = m.block_count, m.block_count, batch
        self.c_n = block["dynamic_n"] * {"50": 2 ** (-1 / 3), "100": 1.0}[block["rating_basis_km"]]
        self.c0_n, self.load_factor = block["static_n"], block["load_factor"]
        assert block["element"] == "ball" and block["reliability"] == "90"
        turn = ("roll", "pitch", "yaw")
        dynamic = np.array([1, 1] + [block["dynamic_n"] / (block[f"dynamic_{t}_n_m"] * 1e3) for t in turn])
        static = np.array([1, 1] + [block["static_n"] / (block[f"static_{t}_n_m"] * 1e3) for t in turn])
        # Loads in units of the load at which a row unloads, times their weight: |row| adds up to P.
        self.unit_n = 2 ** 1.5 * block["preload_n"]
        scale = np.concatenate([np.repeat(dynamic, n) / self.unit_n, np.ones(len(m.rows) - 5 * n)])
        ratio = static / dynamic
        values = np.unique(np.round(ratio, 12))
        self.groups = [(float(v), np.flatnonzero(np.abs(ratio - v) < 1e-9)) for v in values[np.argsort(-values)]]
        self.by_rail = np.ascontiguousarray(scale[:, None] * m.by_rail)
        by_made = scale[:, None] * m.by_made
        profiles = m.rail_values.shape[2] * 6
        by_all = np.concatenate([np.zeros((len(scale), profiles)), by_made], axis=1) + (scale[:, None] * m.by_take_up) @ m.take_ups
        self.by_all = np.ascontiguousarray(np.concatenate([by_all, m.take_ups]))
        self.constants = m.constants * scale
        self.by_float = scale[:, None] * m.by_float
        self.rail_values = np.ascontiguousarray(m.rail_values.reshape(-1, m.rail_values.shape[2]))
        self.stations, self.values = m.rail_values.shape[:2]
        self.shares = np.round(m.shares, 12)
        self.load_constants = np.ascontiguousarray(self.constants[:, :5 * n].reshape(-1, 5, n, 1))
        self.travel = np.array([f["travel_mm"] for f in m.floats])
        drags = np.zeros(m.joint_count)
        np.add.at(drags, m.float_joints, [f["drag_n"] ** 2 for f in m.floats])
        self.joints = Lengths(self.constants[:, m.first_joint:m.first_tool].reshape(-1, m.joint_count, 3).transpose(1, 0, 2), drags)
        self.tools = Lengths(m.tool_constants[:, :, :3].transpose(1, 0, 2), np.zeros(len(m.tools)))
        self.yaws = m.tool_constants[:, :, 3]
        # Upward load of a block is its second component.
        self.most_lift = self.constants[:, n:2 * n].max(axis=0)
        self.lift_n = self.unit_n / dynamic[1]
        self.of_case = np.array([m.tools.index((c["payload_y_mm"], *c["payload_arm_mm"])) for c in plan["duty"]])
        self.memory(batch)

    def memory(self, batch):
        n, rows = self.blocks, len(self.m.rows)
        self.draws = Draws(self.m, batch)
        self.of_rails = np.zeros((self.stations * self.values, 6 * batch))
        self.rails = self.of_rails.reshape(self.stations, self.values * 6, batch)
        self.all = np.zeros((len(self.by_all), batch))
        self.loads = np.zeros((rows, batch))
        self.block_loads = self.loads[:5 * n].reshape(5, n, batch)
        self.joint_loads = self.loads[self.m.first_joint:self.m.first_tool].reshape(-1, 3, batch)
        self.tool_places = self.loads[self.m.first_tool:].reshape(-1, 4, batch)
        self.joints.memory(batch)
        self.tools.memory(batch)
        self.yaw_ends, self.lift = np.zeros((2, len(self.m.tools), batch)), np.zeros((n, batch))
        self.t = np.zeros((5, n, batch))
        self.by_ratio = [(ratio, [self.t[j] for j in members]) for ratio, members in self.groups]
        self.p, self.q, self.r, self.fatigue, self.peak, self.peak0 = (np.zeros((n, batch)) for _ in range(6))
        # Situations with the same share are summed before they are weighed.
        self.equal = {float(share): np.zeros((n, batch)) for share in np.unique(self.shares) if share > 0}

    def run(self, rng):
        """One batch: rows life (km), peak load (N), static safety, travel used, slot used, joint force (N), tool displacement
        (mm), its yaw (mrad), pull (N)."""
        m, n = self.m, self.blocks
        x = self.draws.draw(rng)
        profiles = x[:self.rail_values.shape[1] * 6].reshape(self.rail_values.shape[1], -1)
        np.matmul(self.rail_values, profiles, out=self.of_rails)
        rails = self.of_rails.reshape(self.stations, self.values * 6, self.batch)
        np.matmul(self.by_all, x, out=self.all)
        made, tau = self.all[:len(self.loads)], self.all[len(self.loads):]
        slot = np.zeros(self.batch)
        if len(tau):
            tau += m.take_up_0[:, None]
            slot = (np.abs(tau) / m.slots[:, None]).max(axis=0)
            assert slot.max() < 1, "a slot comes to its end: not in this baseline"
        travel = np.zeros(self.batch)
        for a in (self.fatigue, self.peak, self.peak0, self.joints.most, self.tools.most):
            a[:] = 0
        self.yaw_ends[0], self.yaw_ends[1], self.lift[:] = np.inf, -np.inf, -np.inf
        for rails, share in zip(self.rails, self.m.station_shares):
            np.matmul(self.by_rail, rails, out=self.loads)
            self.loads += made
            if len(self.travel):
                self.note_floats(travel)
            self.joints.note(self.joint_loads)
            self.tools.note(self.tool_places[:, :3])
            np.minimum(self.yaw_ends[0], self.tool_places[:, 3], out=self.yaw_ends[0])
            np.maximum(self.yaw_ends[1], self.tool_places[:, 3], out=self.yaw_ends[1])
            np.maximum(self.lift, self.block_loads[1], out=self.lift)
            self.count(share)
        low, high = self.yaw_ends + np.array([self.yaws.min(axis=0), self.yaws.max(axis=0)])[:, :, None]
        self.yaw = np.maximum(-low, high).max(axis=0)
        self.lift += self.most_lift[:, None]
        beyond = np.flatnonzero(travel > 1)
        if len(beyond):
            self.correct(beyond, made, travel)
        return self.outcome(travel, slot)

    def note_floats(self, travel):
        """Largest share of a float's travel, over the situations: their constants' extremes are enough."""
        for i, way in enumerate(self.travel):
            c = self.constants[:, 5 * self.blocks + i]
            row = self.loads[5 * self.blocks + i] / way
            np.maximum(travel, row + c.max() / way, out=travel)
            np.maximum(travel, -c.min() / way - row, out=travel)

    def count(self, station_share):
        """P and P0 of every situation at a station: their largest values, and the sum for life."""
        t, p, q, r, peak, peak0 = self.t, self.p, self.q, self.r, self.peak, self.peak0
        (first_ratio, first), *others = self.by_ratio
        for constant, share in zip(self.load_constants, self.shares):
            np.add(self.block_loads, constant, out=t)
            np.abs(t, out=t)
            np.add(first[0], first[1], out=p)
            for row in first[2:]:
                np.add(p, row, out=p)
            # P0 beyond the first ratio times P.
            for i, (ratio, (row, *rest)) in enumerate(others):
                for other in rest:
                    np.add(row, other, out=row)
                np.add(p, row, out=p)
                np.multiply(row, ratio - first_ratio, out=row if i else q)
                if i:
                    np.add(q, row, out=q)
            np.maximum(peak, p, out=peak)
            np.add(p if first_ratio == 1 else p * first_ratio, q, out=q)
            np.maximum(peak0, q, out=peak0)
            if share == 0:
                continue
            # Effective load ((min(P, 1) + 1)/2)^1.5, which lies above P below 1 and meets it there; its cube counts.
            np.minimum(p, 1.0, out=q)
            np.add(q, 1.0, out=q)
            np.sqrt(q, out=r)
            np.multiply(q, r, out=q)
            np.multiply(q, 2 ** -1.5, out=q)
            np.maximum(q, p, out=q)
            np.multiply(q, q, out=r)
            np.multiply(q, r, out=q)
            to = self.equal[share]
            np.add(to, q, out=to)
        for share, to in self.equal.items():
            np.multiply(to, share * station_share, out=q)
            np.add(self.fatigue, q, out=self.fatigue)
            to[:] = 0

    def correct(self, beyond, made, travel):
        """Installations that pass a stop, anew: every pose by the floats' own few equations, delta + C F(delta) = delta_linear."""
        n, floats = self.blocks, len(self.travel)
        k = np.array([f["k_stop_n_per_mm"] for f in self.m.floats])
        at_floats = slice(5 * n, 5 * n + floats)
        by_float, c = self.by_float, -self.by_float[at_floats]
        for a in (self.fatigue, self.peak, self.peak0):
            a[:, beyond] = 0
        for a in (travel, self.joints.most, self.tools.most, self.yaw):
            a[beyond] = 0
        self.lift[:, beyond] = -np.inf
        # Situations: season by season, case by case, both signs of the drag.
        situations = [(season, case, sign) for season in self.m.tool_constants for case in self.of_case for sign in (1, -1)]
        drag = np.array([f["drag_n"] for f in self.m.floats])
        for rails, station_share in zip(self.rails, self.m.station_shares):
            base = self.by_rail @ rails[:, beyond] + made[:, beyond]
            for constant, share, (season, tool, sign) in zip(self.constants, self.shares, situations):
                rows = (base + constant[:, None]).T
                free = delta = rows[:, at_floats]
                for _ in range(24):
                    side = np.sign(delta) * (np.abs(delta) > self.travel)
                    system = np.eye(floats) + c * (np.abs(side) * k)[:, None, :]
                    right = free + (side * k * self.travel) @ c.T
                    delta = np.linalg.solve(system, right[:, :, None])[:, :, 0]
                    if (side == np.sign(delta) * (np.abs(delta) > self.travel)).all():
                        break
                else:
                    raise RuntimeError("floats do not settle")
                stop = side * k * (np.abs(delta) - self.travel)
                rows += stop @ by_float.T
                x = np.abs(rows[:, :5 * n]).reshape(-1, 5, n)
                p = x.sum(axis=1)
                p0 = sum(ratio * x[:, members].sum(axis=1) for ratio, members in self.groups)
                self.peak[:, beyond] = np.maximum(self.peak[:, beyond], p.T)
                self.peak0[:, beyond] = np.maximum(self.peak0[:, beyond], p0.T)
                effective = np.maximum(((np.minimum(p, 1) + 1) / 2) ** 1.5, p)
                self.fatigue[:, beyond] += share * station_share * (effective ** 3).T
                travel[beyond] = np.maximum(travel[beyond], (np.abs(delta) / self.travel).max(axis=1))
                self.lift[:, beyond] = np.maximum(self.lift[:, beyond], rows[:, n:2 * n].T)
                squares = (rows[:, self.m.first_joint:self.m.first_tool].reshape(-1, self.m.joint_count, 3) ** 2).sum(axis=2)
                for i, joint in enumerate(self.m.float_joints):
                    squares[:, joint] += (sign * drag[i] + stop[:, i]) ** 2
                self.joints.most[beyond] = np.maximum(self.joints.most[beyond], squares.max(axis=1))
                first = self.m.first_tool + 4 * tool
                place = rows[:, first:first + 4] - constant[first:first + 4] + season[tool]
                self.tools.most[beyond] = np.maximum(self.tools.most[beyond], (place[:, :3] ** 2).sum(axis=1))
                self.yaw[beyond] = np.maximum(self.yaw[beyond], np.abs(place[:, 3]))

    def outcome(self, travel, slot):
        mean = np.cbrt(self.fatigue) * self.unit_n
        lives = (self.c_n / (self.load_factor * mean)) ** 3 * 100
        life = (lives ** (-10 / 9)).sum(axis=0) ** -0.9
        return np.array([life, self.peak.max(axis=0) * self.unit_n, self.c0_n / (self.peak0.max(axis=0) * self.unit_n), travel, slot,
                         np.sqrt(self.joints.most), np.sqrt(self.tools.most), self.yaw * 1e3, self.lift.max(axis=0) * self.lift_n])


def work(pipe, study, stream):
    """One process: batches until as many installations are done as were asked for; it ends with its parent."""
    parent = os.getppid()
    while os.getppid() == parent:
        if pipe.poll(1):
            seed, count = pipe.recv()
            rng = np.random.Generator(np.random.SFC64([seed, stream]))
            start = time.process_time()
            rows = np.concatenate([study.run(rng) for _ in range(count // study.batch)], axis=1)
            pipe.send((rows, time.process_time() - start))


def fastest_batch(machine):
    """The batch that costs least of the processor's time."""
    def cost(batch):
        study, rng, best = Study(machine, batch), np.random.Generator(np.random.SFC64(1)), np.inf
        study.run(rng)
        for _ in range(3):
            start = time.process_time()
            for _ in range(max(BATCHES) // batch):
                study.run(rng)
            best = min(best, time.process_time() - start)
        return best
    return min(BATCHES, key=cost)


class Crew:
    """As many processes as cores, each with its own memory and generator."""

    def __init__(self, machine, processes):
        fork = multiprocessing.get_context("fork")
        self.batch, self.pipes = fastest_batch(machine), []
        for stream in range(processes):
            ours, theirs = fork.Pipe()
            fork.Process(target=work, args=(theirs, Study(machine, self.batch), stream), daemon=True).start()
            self.pipes.append(ours)

    def run(self, seed, count, processes):
        """Rows of outcomes, seconds from the question to the last answer, and seconds of processor time."""
        share = -(-count // (processes * self.batch)) * self.batch
        start = time.perf_counter()
        for pipe in self.pipes[:processes]:
            pipe.send((seed, share))
        answers = [pipe.recv() for pipe in self.pipes[:processes]]
        seconds = time.perf_counter() - start
        return np.concatenate([rows for rows, _ in answers], axis=1), seconds, sum(used for _, used in answers)


def dense_product(n=384):
    """Multiply-adds per second of a dense product, one thread, the best of many."""
    a = np.random.default_rng(1).random((n, n))
    c, best = np.zeros((n, n)), np.inf
    for _ in range(60):
        start = time.perf_counter()
        np.matmul(a, a, out=c)
        best = min(best, time.perf_counter() - start)
    return n ** 3 / best


def summary(rows, seconds, processor):
    life, peak, safety, travel, slot, joint, tool, yaw, pull = rows
    return dict(count=len(life), seconds=seconds, processor_seconds=processor, life_km=np.quantile(life, [0.05, 0.5]).tolist(), peak_load_n=float(np.quantile(peak, 0.99)),
                static_safety=np.quantile(safety, [0.01, 0.05]).tolist(), least_safety=float(safety.min()), float_travel_used=float(np.quantile(travel, 0.99)),
                slot_used=float(np.quantile(slot, 0.99)), joint_force_n=float(np.quantile(joint, 0.99)),
                tool_displacement_mm=float(np.quantile(tool, 0.99)), tool_yaw_mrad=float(np.quantile(yaw, 0.99)), pull_n=float(np.quantile(pull, 0.99)), beyond_stops=float((travel > 1).mean()))


def main():
    path, serve = sys.argv[1], "--serve" in sys.argv
    processes = os.cpu_count()
    names = list(Machine.arrangements(path))
    crews = {name: Crew(Machine(path, name), processes) for name in names}
    versions = dict(python=platform.python_version(), numpy=np.__version__, scipy=scipy.__version__,
                    blas=np.show_config(mode="dicts")["Build Dependencies"]["blas"]["name"], processes=processes,
                    batches={name: crew.batch for name, crew in crews.items()})
    for crew in crews.values():
        crew.run(0, 1, processes)               # memory touched, before anything is timed
    if not serve:
        print(versions)
        for name, crew in crews.items():
            for used in sorted({1, processes}):
                s = min((summary(*crew.run(seed, 100_000, used)) for seed in (1, 2, 3)), key=lambda s: s["seconds"])
                print(f"{name}: {s['count'] / s['seconds']:,.0f} installations/s with {used} processes", s)
        return
    print(json.dumps(versions), flush=True)
    for line in sys.stdin:
        what, *rest = line.split()
        if what == "product":
            print(json.dumps(dict(per_second=dense_product())), flush=True)
        else:
            seed, count, used = map(int, rest)
            print(json.dumps(summary(*crews[what].run(seed, count, used))), flush=True)


if __name__ == "__main__":
    main()
